"""The travel delay: found from opposite passes, refused by rule, or what stands in for it."""

from dataclasses import replace

import numpy as np
import pytest
from tests.clean.truth import settings_of, to_points

from proofstrip.clean import Delay, estimate_delays, follow_machines
from proofstrip.clean.delay import Ends, _settle, delay_by_record, judge
from proofstrip.clean.opposite import correlate, pair_opposite_passes
from proofstrip.simulate import SCENARIOS, Combine, Scenario, simulate_harvest

ROWS = 200


@pytest.fixture
def field(make_track):
    """Build passes of 400 m side by side, 6 m apart, at 2 m/s, turns left out; up and down, or always up."""

    def build(passes=6, opposite=True, gap_s=30.0):
        number = np.repeat(np.arange(passes), ROWS)
        step = np.tile(np.arange(1, ROWS + 1), passes)
        down = (number % 2 == 1) & opposite
        north = np.where(down, 400 - 2.0 * step, 2.0 * step)
        time = number * (ROWS + gap_s) + step
        rows = passes * ROWS
        distance = np.full(rows, 2.0)
        return make_track(6.0 * number, north, time=time.astype(float), distance=distance, pass_id=number + 1)

    return build


def crop_at(north):
    """A crop that varies along the field and is the same in every pass."""
    return 4.0 + 0.6 * np.sin(north / 17.0) + 0.4 * np.sin(north / 7.3 + 1)


def flow_with_delay(track, seconds):
    """Flow as logged when the grain takes so long; full at once, so there is no entry ramp."""
    ahead = np.where(np.cos(track.heading) > 0, 1.0, -1.0)
    # The middle of the record's interval, and so much earlier on the same pass.
    return crop_at(track.northing - ahead * 2.0 * (seconds + 0.5))


LAGS = np.arange(-15.0, 25.5, 0.5)
ALL = np.ones(6 * ROWS, dtype=bool)


@pytest.mark.parametrize("seconds", [-5.0, 0.0, 6.0, 12.0])
def test_agreement_peaks_at_the_delay(field, seconds):
    track = field()
    samples = pair_opposite_passes(track, ALL)
    sums, _ = correlate(track, flow_with_delay(track, seconds), ALL, samples, LAGS)
    total = sums.sum(axis=1)
    curve = total[0] / np.sqrt(total[1] * total[2])
    assert LAGS[curve.argmax()] == pytest.approx(seconds, abs=0.5)
    assert curve.max() > 0.98


def test_treatments_and_machine_offsets_cannot_be_seen(field):
    track = field()
    samples = pair_opposite_passes(track, ALL)
    flow = flow_with_delay(track, 8.0)
    raised = flow * np.where(track.pass_id % 3 == 0, 1.3, 1.0)
    one, other = (correlate(track, values, ALL, samples, LAGS)[0] for values in (flow, raised))
    assert other == pytest.approx(one, abs=1e-6)


class TestPairs:
    def test_neighbours_in_opposite_directions_side_by_side(self, field):
        track = field(passes=4)
        samples = pair_opposite_passes(track, np.ones(4 * ROWS, dtype=bool))
        one, other = samples.pass_id[samples.one], samples.pass_id[samples.other]
        pairs = {tuple(sorted(pair)) for pair in zip(one, other, strict=True)}
        assert pairs == {(1, 2), (2, 3), (3, 4)}

    def test_the_same_direction_says_nothing(self, field):
        assert len(pair_opposite_passes(field(opposite=False), ALL).one) == 0

    def test_ends_are_left_out(self, field):
        track = field()
        samples = pair_opposite_passes(track, ALL)
        rows = np.isin(track.time, samples.time)
        assert track.northing[rows].min() > 39
        assert track.northing[rows].max() < 361

    def test_another_machine_s_passes_are_left_out(self, field):
        track = field()
        samples = pair_opposite_passes(track, track.pass_id <= 2)
        assert set(samples.pass_id) == {1, 2}

    def test_narrow_passes_are_left_out(self, field):
        track = field()
        narrow = np.where(track.pass_id == 3, 2.0, 6.0)
        samples = pair_opposite_passes(track.__class__(**(track.__dict__ | {"cut_width": narrow})), ALL)
        assert 3 not in set(samples.pass_id)

    def test_passes_too_short_to_compare(self, make_track):
        track = make_track(0.0, 2.0 * np.arange(30))
        samples = pair_opposite_passes(track, np.ones(30, dtype=bool))
        assert len(samples.time) == len(samples.one) == 0


def sums_with(peak_s, blocks=30, height=0.5, spread=4.0, pairs=6):
    """Sums by block whose correlation is a bell around one delay, the same in every block."""
    bell = height * np.exp(-0.5 * ((LAGS - peak_s) / spread) ** 2)
    sums = np.ones((3, blocks, len(LAGS)))
    sums[0] = bell
    return sums, np.arange(blocks) % pairs


class TestJudge:
    def test_a_clear_peak_is_taken(self, defaults):
        found = judge(*sums_with(9.0), LAGS, defaults.clean)
        assert isinstance(found, Delay)
        # The mixing's tail is added (docs/clean.md).
        assert found.seconds == pytest.approx(9.4, abs=0.05)
        assert found.low <= found.seconds <= found.high
        assert found.source == "estimated"
        assert "6 pairs of neighbouring passes" in found.reason

    def test_a_negative_delay_is_taken(self, defaults):
        assert judge(*sums_with(-4.5), LAGS, defaults.clean).seconds == pytest.approx(-4.1, abs=0.05)

    @pytest.mark.parametrize("edge", [-15.0, 25.0])
    def test_a_peak_at_the_edge_is_refused(self, defaults, edge):
        assert "the best fit lies at the edge of the search range" in judge(*sums_with(edge), LAGS, defaults.clean)

    def test_a_peak_that_hardly_stands_out_is_refused(self, defaults):
        assert "the best fit hardly stands out" in judge(*sums_with(9.0, height=0.03), LAGS, defaults.clean)

    def test_stretches_that_disagree_are_refused(self, defaults):
        sums, pair = sums_with(4.0)
        sums[0, 15:] = sums_with(14.0)[0][0, 15:]
        said = judge(sums, pair, LAGS, defaults.clean)
        assert "resampled stretches agree within 2 s in only" in said

    def test_halves_that_disagree_are_refused(self, defaults):
        sums, pair = sums_with(8.0, height=0.7)
        odd = pair % 2 == 1
        sums[0, odd] = sums_with(11.0, height=0.7)[0][0, odd]
        calm = defaults.clean.model_copy(update={"delay_min_confidence": 0.0})
        assert "the two halves of the field differ by" in judge(sums, pair, LAGS, calm)

    def test_too_few_stretches_are_refused(self, defaults):
        sums, pair = sums_with(9.0, blocks=5)
        assert "5 stretches of opposite passes side by side are too few" in judge(sums, pair, LAGS, defaults.clean)

    def test_the_same_data_give_the_same_range(self, defaults):
        sums, pair = sums_with(9.0)
        sums[0] += np.random.default_rng(1).normal(0, 0.2, sums[0].shape)
        assert judge(sums, pair, LAGS, defaults.clean) == judge(sums, pair, LAGS, defaults.clean)


@pytest.fixture(scope="module")
def harvest(tmp_path_factory):
    """Follow the machines of three invented fields: told, refused, refused and already shifted."""
    scenarios = {
        "told": SCENARIOS["ordinary"],
        "refused": SCENARIOS["one_way"],
        "shifted": Scenario(path="one_way", shift_applied_s=11.0),
    }
    found = {}
    for name, scenario in scenarios.items():
        simulated = simulate_harvest(scenario, 1)
        settings, points = settings_of(simulated, tmp_path_factory.mktemp("trial")), to_points(simulated)
        found[name] = points, follow_machines(points, settings.clean), settings.clean
    return found


class TestWhatStandsIn:
    def test_the_estimate(self, harvest):
        (delay,) = estimate_delays(*harvest["told"], None)
        assert delay.source == "estimated"
        assert delay.low < delay.seconds < delay.high

    def test_a_declared_delay_goes_first_and_the_estimate_is_told_beside_it(self, harvest):
        points, track, settings = harvest["told"]
        (delay,) = estimate_delays(points, track, settings.model_copy(update={"delay_s": 7.0}), None)
        assert (delay.seconds, delay.source) == (7.0, "declared")
        assert delay.reason.startswith("set in [clean] delay; the data say 1")

    def test_a_display_that_has_shifted_leaves_nothing_where_the_data_cannot_tell(self, harvest):
        (delay,) = estimate_delays(*harvest["refused"], 12.0)
        assert (delay.seconds, delay.source) == (0.0, "declared")
        assert "the display had applied 12 s" in delay.reason

    def test_an_estimate_goes_before_what_the_display_says(self, harvest):
        assert estimate_delays(*harvest["told"], 12.0) == estimate_delays(*harvest["told"], None)

    def test_what_entries_and_exits_look_like_is_assumed_and_says_why(self, harvest):
        (delay,) = estimate_delays(*harvest["refused"], None)
        assert delay.seconds == pytest.approx(SCENARIOS["one_way"].combines[0].delay_s, abs=1.0)
        assert (delay.low, delay.source) == (None, "assumed")
        assert delay.reason == (
            "the data cannot tell: 0 pairs of neighbouring passes in opposite directions, at least 3 are needed. "
            "Entries and exits of its passes look like so much"
        )

    def test_the_usual_delay_is_assumed_where_no_end_of_a_pass_is_logged(self, harvest):
        points, track, settings = harvest["refused"]
        (delay,) = estimate_delays(points, replace(track, header_up=np.zeros(len(track), dtype=bool)), settings, None)
        assert (delay.seconds, delay.source) == (12.0, "assumed")

    def test_records_that_were_shifted_already_show_at_the_entry(self, harvest):
        (delay,) = estimate_delays(*harvest["shifted"], None)
        left = SCENARIOS["one_way"].combines[0].delay_s - 12.0
        assert (delay.seconds, delay.source) == (pytest.approx(left, abs=1.0), "assumed")
        assert "the display must have shifted the records" in delay.reason

    def test_records_that_were_shifted_show_at_the_entry_alone_too(self, defaults):
        delay = _settle("combine 1", "too few pairs", Ends(1.2, False, None), defaults.clean, None)
        assert (delay.seconds, delay.source) == (0.0, "assumed")
        assert "the display has already shifted the records" in delay.reason


class TestWhatEndsOfPassesAdd:
    PAIRS = Delay("", 9.0, 8.0, 10.0, "estimated", "pairs agree")

    @pytest.mark.parametrize(
        ("entry_s", "by_ground", "accepted"),
        [
            (14.0, False, True),
            (16.0, False, False),
            (4.0, False, True),
            (12.0, True, True),
            (14.0, True, False),
            (4.0, True, False),
        ],
    )
    def test_entries_that_are_known_by_the_ground_may_differ_by_less_and_to_both_sides(
        self, defaults, entry_s, by_ground, accepted
    ):
        delay = _settle("combine 1", self.PAIRS, Ends(entry_s, by_ground, None), defaults.clean, None)
        assert (delay.source == "estimated") == accepted
        assert accepted or ("ground already cut" in delay.reason) == by_ground

    def test_ends_are_weighed_in_by_their_variance_and_the_range_narrows(self, defaults):
        delay = _settle("combine 1", self.PAIRS, Ends(11.0, False, 10.0), defaults.clean, None)
        own, ends = (2.0 / 3.29) ** 2, 0.7**2
        assert delay.seconds == pytest.approx((9 / own + 10 / ends) / (1 / own + 1 / ends), abs=0.01)
        assert delay.high - delay.low == pytest.approx(3.29 * (1 / (1 / own + 1 / ends)) ** 0.5, abs=0.02)
        assert "weighed with 10.0 s by the ends of its passes" in delay.reason

    def test_ends_that_are_far_off_are_told_and_not_weighed(self, defaults):
        delay = _settle("combine 1", self.PAIRS, Ends(11.0, False, 13.0), defaults.clean, None)
        assert (delay.seconds, delay.low, delay.high) == (9.0, 8.0, 10.0)
        assert "the ends of its passes look like 13.0 s" in delay.reason


DAYS = replace(
    SCENARIOS["ordinary"],
    blocks=10,
    combines=(Combine("combine 1", delay_s=9.0), Combine("combine 2", delay_s=14.0, start_s=86_400.0)),
    combine_takes="halves",
)


@pytest.mark.parametrize("later_s", [14.0, 9.0])
def test_days_of_one_machine_are_told_apart_where_they_differ(tmp_path, later_s):
    """Two days that take 9 and 14 s, and two that take 9 s both: one machine that is set otherwise overnight."""
    first, second = DAYS.combines
    harvest = simulate_harvest(replace(DAYS, combines=(first, replace(second, delay_s=later_s))), 2)
    points = to_points(harvest).assign(machine="combine 1")
    settings = settings_of(harvest, tmp_path).clean
    delays = estimate_delays(points, follow_machines(points, settings), settings, None)
    if later_s == 9.0:
        assert [(delay.machine, delay.day) for delay in delays] == [("combine 1", None)]
        assert delays[0].seconds == pytest.approx(9.0, abs=0.7)
    else:
        assert [delay.whose for delay in delays] == ["combine 1 on 2024-10-07", "combine 1 on 2024-10-08"]
        assert [delay.seconds for delay in delays] == pytest.approx([9.0, 14.0], abs=1.0)


def test_each_machine_has_its_own_delay(make_track):
    track = make_track([0.0, 0, 9, 9], [2.0, 4, 2, 4], machine=[0, 0, 1, 1])
    delays = (Delay("a", 9.0, None, None, "estimated", ""), Delay("b", -3.0, None, None, "declared", ""))
    assert delay_by_record(replace(track, names=("a", "b")), delays).tolist() == [9.0, 9.0, -3.0, -3.0]
