"""Overlap is believed as far as the flow along the passes confirms it."""

from dataclasses import replace

import numpy as np
import pytest
from tests.clean.truth import settings_of, to_points

from proofstrip.clean import confirm_widths, estimate_delays, follow_machines
from proofstrip.clean.confirm import Slopes, believe, confirm_overlap, fit_slope
from proofstrip.simulate import SCENARIOS, simulate_harvest

PASSES, ROWS, HEADER_M = 8, 200, 9.0


@pytest.fixture
def passes(make_track):
    """Build eight passes of 400 m at 2 m/s whose overlap comes and goes, and the flow that real overlap would give."""

    def build(real=1.0, seed=3):
        rng = np.random.default_rng(seed)
        count = PASSES * ROWS
        number, step = np.repeat(np.arange(1, PASSES + 1), ROWS), np.tile(np.arange(1, ROWS + 1), PASSES)
        phase = rng.uniform(0, 2 * np.pi, PASSES)[number - 1]
        shown = 0.6 + 0.5 * np.sin(2 * np.pi * step / 30 + phase)
        track = make_track(
            HEADER_M * number,
            2.0 * step,
            time=number * 300.0 + step,
            distance=np.full(count, 2.0),
            pass_id=number,
            swath=np.full(count, HEADER_M),
        )
        crop = np.exp(rng.normal(0, 0.05, count))
        return track, shown, 0.6 * 2.0 * (HEADER_M - real * shown) * crop

    return build


@pytest.mark.parametrize(("real", "slope"), [(1.0, 1.0), (0.0, 0.0)])
def test_flow_follows_real_overlap_and_not_noise(passes, real, slope):
    track, shown, flow = passes(real)
    told = confirm_overlap(track, shown, flow, np.zeros(len(track)))
    assert told.slope[0] == pytest.approx(slope, abs=3 * told.error[0])
    assert told.error[0] < 0.15


def test_the_slope_shrinks_as_the_reliability_of_a_regressor_with_error_does(passes):
    """Real changes of variance r beside noise of variance v: r / (r + v), as Fuller 1987 has it (from memory)."""
    track, shown, flow = passes()
    rng = np.random.default_rng(5)
    slow = np.concatenate([0.35 * np.sin(2 * np.pi * np.arange(ROWS) / 24 + a) for a in rng.uniform(0, 6, PASSES)])
    told = confirm_overlap(track, shown + slow, flow, np.zeros(len(track)))
    assert told.slope[0] == pytest.approx(0.5**2 / (0.5**2 + 0.35**2), abs=0.12)


def test_no_level_of_a_pass_reaches_the_slope(passes):
    """A treatment that gives a pass half as much again, or a pass that is narrow throughout, changes nothing."""
    track, shown, flow = passes()
    told = confirm_overlap(track, shown, flow, np.zeros(len(track)))
    more = np.where(track.pass_id % 2 == 0, 1.5, 1.0) * flow
    again = confirm_overlap(track, shown, more, np.zeros(len(track)))
    assert (again.slope[0], again.error[0]) == pytest.approx((told.slope[0], told.error[0]))


def test_what_cannot_be_compared_tells_nothing(passes):
    track, shown, flow = passes()
    zero = np.zeros(len(track))
    for overlap, own in ((zero, flow), (shown, np.full(len(track), np.nan)), (np.full(len(track), 8.0), flow)):
        assert np.isnan(confirm_overlap(track, overlap, own, zero).slope[0])
    assert np.isnan(fit_slope(np.ones(4), np.zeros(4))[0])
    share, raised = believe(np.array([0.3]), Slopes(np.array([np.nan]), np.array([np.nan])))
    assert (share[0], raised[0]) == (0.3, 0.0)


@pytest.mark.parametrize(
    ("slope", "error", "low", "high"), [(1.0, 0.1, 0.8, 1.0), (0.0, 0.1, 0.0, 0.2), (1.0, 5, 0.3, 0.5)]
)
def test_belief_follows_a_sure_slope_and_leaves_an_unsure_one(slope, error, low, high):
    share, _ = believe(np.array([0.3]), Slopes(np.array([slope]), np.array([error])))
    assert low <= share[0] <= high


@pytest.mark.parametrize(("name", "gain"), [("hand_steered", 0.7), ("poor_positions", 1.15)])
def test_widths_under_a_wandering_driver_are_found_and_a_wandering_receiver_is_not_believed(tmp_path, name, gain):
    """RMSE of the mean width of passes, confirmed over unconfirmed; measured first: 0.57 and 1.01."""
    errors = {False: [], True: []}
    for seed in (1, 2):
        harvest = simulate_harvest(SCENARIOS[name], seed)
        settings, points = settings_of(harvest, tmp_path).clean, to_points(harvest)
        track = follow_machines(points, settings)
        delays = estimate_delays(points, track, settings, None)
        true = harvest.records["true_width_m"].to_numpy()[track.row]
        for confirmed in errors:
            cut = confirm_widths(points, track, delays, settings).cut_width if confirmed else track.cut_width
            for number in np.unique(track.pass_id[track.pass_id > 0]):
                inner = (track.pass_id == number) & (true > 0)
                errors[confirmed].append(float((cut - true)[inner].mean()))
    rms = {confirmed: float(np.sqrt(np.mean(np.square(found)))) for confirmed, found in errors.items()}
    assert rms[True] < gain * rms[False]


def test_a_track_without_measured_overlap_stays_as_it_is(make_track):
    track = replace(make_track([0.0, 0.0], [2.0, 4.0]), overlap=None)
    assert confirm_widths(None, track, (), None) is track
