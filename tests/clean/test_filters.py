"""The filters in order: where each is asked, and what one excludes the next do not judge by value."""

from dataclasses import replace

import numpy as np
import pytest

from proofstrip.clean import Delay, clean_points, follow_machines, position
from proofstrip.clean.filters import (
    FILTERS,
    Evidence,
    apply_filters,
    entry_ramp,
    exit_ramp,
    flow_range,
    header_up,
    narrow_cut,
    off_pass,
    position_frozen,
    position_jump,
    recut,
    short_pass,
    speed_change,
    speed_range,
    spike,
    stuck_sensor,
    turn,
)
from proofstrip.clean.shift import find_cut
from proofstrip.config import load_defaults
from proofstrip.flags import EXCLUDING, Flag, has_flag

ROWS = 120
# Never the same twice in a row, as a flow is that is measured.
FLOW = 4.0 + 0.1 * np.sin(np.arange(ROWS))


def where(mask):
    return np.flatnonzero(mask).tolist()


def with_flow(records, value):
    flow = FLOW.copy()
    flow[records] = value
    return flow


@pytest.fixture
def evidence(make_track):
    """Build the evidence of one calm pass of 240 m; arrays of the track, the flow and the delay varied."""

    def build(flow=None, delay_s=0.0, logged=None, rows=ROWS, **arrays):
        north = arrays.pop("northing", 2.0 * np.arange(1, rows + 1))
        track = make_track(arrays.pop("easting", 0.0), north, **arrays)
        cut = find_cut(track, np.full(rows, delay_s))
        flow = FLOW[:rows] if flow is None else np.asarray(flow, dtype=float)
        ground = cut.area > 0
        density = np.divide(flow, cut.area, out=np.full(rows, np.nan), where=ground)
        if logged is not None:
            settings = load_defaults().clean
            jumped, frozen = position.position_jump(logged, settings), position.position_frozen(logged)
            track = replace(track, jumped=jumped, frozen=frozen, beside=position.off_pass(logged, settings))
        return Evidence(track, cut, flow, density, ground & (cut.pass_id > 0), np.ones(rows, bool))

    return build


@pytest.fixture
def logged_at(make_track):
    """Build the same pass as logged, with other positions."""

    def build(east, north):
        track = make_track(east, north)
        return replace(track, distance=np.full(ROWS, 2.0), odometer=2.0 * np.arange(1, ROWS + 1))

    return build


def test_causes_come_before_values():
    order = [flag for flag, _ in FILTERS]
    causes = (Flag.POSITION_JUMP, Flag.OFF_PASS, Flag.HEADER_UP, Flag.TURN, Flag.SHORT_PASS, Flag.RECUT)
    assert max(order.index(flag) for flag in causes) < min(order.index(f) for f in (Flag.FLOW_RANGE, Flag.SPIKE))
    assert order[-1] == Flag.SPIKE


def test_every_flag_has_one_filter_or_is_set_elsewhere():
    cleaning = {Flag.MISSING, Flag.DUPLICATE, Flag.EXCLUDED_BY_HAND}
    later = {Flag.MOISTURE_RANGE, Flag.OUTSIDE_STRIP, Flag.STRIP_END, Flag.STRADDLE}
    order = [flag for flag, _ in FILTERS]
    assert len(set(order)) == len(order)
    assert set(order) == set(Flag) - cleaning - later


class TestWhereTheGrainWasCut:
    def test_a_header_that_was_up(self, evidence, defaults):
        assert where(header_up(evidence(delay_s=5.0, header_up=np.arange(ROWS) == 60), defaults.clean)) == [65]

    def test_a_turn(self, evidence, defaults):
        assert where(turn(evidence(delay_s=5.0, turn=np.arange(ROWS) == 60), defaults.clean)) == [65]

    def test_what_was_not_logged_is_no_header_lift(self, evidence, defaults):
        # The first record stands in for what came before it; its header says nothing about that.
        assert where(header_up(evidence(delay_s=5.0, header_up=np.arange(ROWS) == 0), defaults.clean)) == [5]

    def test_a_jump_as_logged(self, evidence, logged_at, defaults):
        logged = logged_at(np.where(np.arange(ROWS) == 60, 20.0, 0.0), 2.0 * np.arange(1, ROWS + 1))
        assert where(position_jump(evidence(delay_s=5.0, logged=logged), defaults.clean)) == [65]

    def test_a_frozen_position_as_logged(self, evidence, logged_at, defaults):
        north = 2.0 * np.arange(1, ROWS + 1)
        north[60:62] = north[59]
        assert where(position_frozen(evidence(delay_s=5.0, logged=logged_at(0.0, north)), defaults.clean)) == [65, 66]

    def test_a_position_beside_its_pass(self, evidence, logged_at, defaults):
        logged = logged_at(np.where(np.arange(ROWS) == 60, 1.4, 0.0), 2.0 * np.arange(1, ROWS + 1))
        assert where(off_pass(evidence(delay_s=5.0, logged=logged), defaults.clean)) == [65]

    @pytest.mark.parametrize(
        ("width_m", "narrow", "again"),
        [(6.0, False, False), (5.5, False, False), (5.0, True, False), (1.0, True, True)],
    )
    def test_a_cut_that_met_less(self, evidence, defaults, width_m, narrow, again):
        one = evidence(delay_s=5.0, cut_width=np.where(np.arange(ROWS) == 60, width_m, 6.0))
        assert where(narrow_cut(one, defaults.clean)) == ([65] if narrow else [])
        assert where(recut(one, defaults.clean)) == ([65] if again else [])

    def test_speed(self, evidence, defaults):
        way = np.full(ROWS, 2.0)
        way[60:63] = 0.8
        one = evidence(delay_s=5.0, northing=np.cumsum(way), distance=way)
        assert where(speed_range(one, defaults.clean)) == [65, 66, 67]
        assert {65, 66} <= set(where(speed_change(one, defaults.clean)))


class TestAtTheMomentOfTheRecord:
    def test_a_stuck_flow(self, evidence, defaults):
        stuck = evidence(with_flow(slice(40, 60), 4.0), delay_s=5.0)
        assert where(stuck_sensor(stuck, defaults.clean)) == list(range(40, 60))

    def test_a_spike(self, evidence, defaults):
        assert where(spike(evidence(with_flow(60, 12.0), delay_s=5.0), defaults.clean)) == [60]

    def test_an_impossible_flow(self, evidence, defaults):
        one = evidence(with_flow([60, 61], [-1.0, 0.0]), delay_s=5.0)
        assert where(flow_range(one, defaults.clean)) == [60]

    def test_flow_over_little_ground_is_no_spike(self, evidence, defaults):
        # Speed and flow both halve: the crop is the same.
        way = np.full(ROWS, 2.0)
        way[60:62] /= 2
        one = evidence(FLOW * way / 2, northing=np.cumsum(way), distance=way)
        assert not spike(one, defaults.clean).any()


class TestPass:
    @pytest.mark.parametrize(("rows", "short"), [(19, True), (20, False)])
    def test_shorter_than_the_setting(self, evidence, defaults, rows, short):
        # Records of 2 m, the first one's own way counted: 40 m are 20 records.
        assert short_pass(evidence(rows=rows), defaults.clean).tolist() == [short] * rows

    def test_what_was_cut_outside_passes_is_no_short_pass(self, evidence, defaults):
        assert not short_pass(evidence(rows=10, pass_id=np.zeros(10, dtype=int)), defaults.clean).any()

    def test_ramps_at_both_ends(self, evidence, defaults):
        second = np.arange(ROWS)
        one = evidence(4.0 * np.clip(np.minimum((second + 1) / 8, (ROWS - second) / 5), 0, 1))
        assert where(entry_ramp(one, defaults.clean)) == list(range(7))
        assert where(exit_ramp(one, defaults.clean)) == list(range(ROWS - 4, ROWS))

    def test_grain_from_before_the_log_belongs_to_the_entry(self, evidence, defaults):
        assert entry_ramp(evidence(delay_s=9.0), defaults.clean)[:9].all()


class TestOrder:
    def test_a_value_is_judged_only_where_no_cause_excludes(self, evidence, defaults):
        one = evidence(with_flow([50, 80], 12.0), header_up=np.arange(ROWS) == 50)
        found = dict(apply_filters(one, defaults.clean))
        assert where(found[Flag.HEADER_UP]) == [50]
        assert where(found[Flag.SPIKE]) == [80]

    def test_what_informs_hides_nothing(self, evidence, defaults):
        found = dict(apply_filters(evidence(with_flow(60, 12.0), cut_width=np.full(ROWS, 5.0)), defaults.clean))
        assert found[Flag.NARROW_CUT].all()
        assert where(found[Flag.SPIKE]) == [60]

    def test_ramps_are_no_spikes(self, evidence, defaults):
        second = np.arange(ROWS)
        found = dict(apply_filters(evidence(FLOW * np.clip((second + 1) / 8, 0, 1)), defaults.clean))
        assert found[Flag.ENTRY_RAMP][:7].all()
        assert not found[Flag.SPIKE].any()

    def test_every_filter_is_asked_once_in_order(self, evidence, defaults):
        assert [flag for flag, _ in apply_filters(evidence(), defaults.clean)] == [flag for flag, _ in FILTERS]


class TestCleanPoints:
    @staticmethod
    def clean(points, settings, seconds=5.0, source="estimated"):
        delays = tuple(Delay(name, seconds, None, None, source, "") for name in points["machine"].cat.categories)
        return clean_points(points, follow_machines(points, settings), delays, settings)

    def test_grain_ground_and_place_of_a_calm_pass(self, make_points, defaults):
        inner = self.clean(make_points(ROWS, mass_flow_kg_s=FLOW), defaults.clean).iloc[20:100]
        assert inner["usable"].all()
        assert inner["flags"].eq(0).all()
        assert inner["wet_mass_kg"].tolist() == FLOW[20:100].tolist()
        assert inner["area_m2"].tolist() == pytest.approx([12.0] * 80)
        assert inner["cut_width_m"].tolist() == [6.0] * 80
        # Middle of the stretch: half a record and five seconds back.
        assert (inner["northing_m"] - inner["cut_northing_m"]).tolist() == pytest.approx([11.0] * 80)
        assert inner.geometry.y.tolist() == inner["cut_northing_m"].tolist()
        assert inner["heading_deg"].tolist() == pytest.approx([0.0] * 80)

    def test_each_machine_has_its_own_delay(self, make_points, defaults):
        second = np.tile(np.arange(1.0, 61), 2)
        points = make_points(
            120,
            machine=np.repeat(["a", "b"], 60),
            time=second,
            northing_m=4.4e6 + 2 * second,
            easting_m=np.repeat([5e5, 5e5 + 30], 60),
        )
        delays = (Delay("a", 2.0, None, None, "declared", ""), Delay("b", 6.0, None, None, "declared", ""))
        cleaned = clean_points(points, follow_machines(points, defaults.clean), delays, defaults.clean)
        back = (cleaned["northing_m"] - cleaned["cut_northing_m"]).groupby(cleaned["machine"], observed=True).median()
        assert back.tolist() == pytest.approx([5.0, 13.0])

    def test_a_missing_flow_keeps_its_row_and_its_place(self, make_points, defaults):
        points = make_points(ROWS, mass_flow_kg_s=with_flow(60, np.nan))
        cleaned = self.clean(points, defaults.clean)
        assert cleaned["flags"][60] == Flag.MISSING
        assert not cleaned["usable"][60]
        assert cleaned["area_m2"][60] == pytest.approx(12.0)

    def test_a_record_without_a_place_keeps_its_row_alone(self, make_points, defaults):
        points = make_points(ROWS)
        points.loc[60, "easting_m"] = np.nan
        cleaned = self.clean(points, defaults.clean)
        assert len(cleaned) == ROWS
        assert cleaned["flags"][60] == Flag.MISSING
        assert cleaned.loc[60, ["cut_easting_m", "area_m2", "cut_width_m"]].isna().all()
        assert cleaned["pass_id"].drop(60).eq(1).sum() == ROWS - 6

    def test_a_duplicate_takes_no_ground(self, make_points, defaults):
        points = make_points(ROWS)
        twice = points.iloc[[*range(61), *range(60, ROWS)]].reset_index(drop=True)
        cleaned = self.clean(twice, defaults.clean)
        assert where(has_flag(cleaned["flags"], Flag.DUPLICATE)) == [61]
        assert np.isnan(cleaned["area_m2"][61])
        assert cleaned["area_m2"].sum() == pytest.approx(self.clean(points, defaults.clean)["area_m2"].sum())

    def test_usable_is_no_flag_that_excludes(self, make_points, defaults):
        cleaned = self.clean(make_points(ROWS, header_down=np.arange(ROWS) < 90), defaults.clean)
        assert (cleaned["usable"] == ~has_flag(cleaned["flags"], EXCLUDING)).all()
        assert has_flag(cleaned["flags"], Flag.HEADER_UP).sum() == 25

    @pytest.mark.parametrize("column", ["mass_flow_kg_s", "swath_m"])
    def test_a_column_that_is_empty_makes_all_missing(self, make_points, defaults, column):
        cleaned = self.clean(make_points(ROWS, **{column: np.nan}), defaults.clean)
        assert has_flag(cleaned["flags"], Flag.MISSING).all()
        assert not cleaned["usable"].any()

    def test_one_record(self, make_points, defaults):
        cleaned = self.clean(make_points(1), defaults.clean, seconds=0.0)
        assert len(cleaned) == 1
        assert not cleaned["usable"].any()

    def test_an_assumed_delay_trims_more(self, make_points, defaults):
        points = make_points(ROWS, mass_flow_kg_s=FLOW)
        sure, unsure = (self.clean(points, defaults.clean, source=name) for name in ("estimated", "assumed"))
        more_at_each_end = round(defaults.clean.ramp_unsure_s)
        assert sure["usable"].sum() - unsure["usable"].sum() == 2 * more_at_each_end
