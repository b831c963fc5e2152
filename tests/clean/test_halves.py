"""When the flow passes half of its level at both ends of a pass."""

import numpy as np
import pytest
from tests.clean.truth import settings_of, to_points

from proofstrip.clean import follow_machines
from proofstrip.clean.halves import find_half_times
from proofstrip.simulate import SCENARIOS, simulate_harvest

ROWS = 200


@pytest.fixture
def field(make_track):
    """Build passes of 400 m side by side, up and down at 2 m/s; the log ends with each, or runs on with header up."""

    def build(passes=6, after=0):
        rows = ROWS + after
        number = np.repeat(np.arange(passes), rows)
        step = np.tile(np.arange(1, rows + 1), passes)
        down = number % 2 == 1
        north = np.where(down, 400 - 2.0 * step, 2.0 * step)
        time = number * (rows + (0.0 if after else 30.0)) + step
        up = step > ROWS
        own = np.where(up, 0, number + 1)
        track = make_track(
            6.0 * number, north, time=time.astype(float), distance=np.full(len(step), 2.0), pass_id=own, header_up=up
        )
        return track, step

    return build


@pytest.mark.parametrize("delay_s", [4.0, 9.0, 14.0])
def test_half_the_level_is_reached_at_the_delay(field, delay_s):
    track, step = field()
    flow = np.where(step - 0.5 >= delay_s, 4.0, 0.0)
    found = find_half_times(track, flow)
    assert found.entry_of(0) == pytest.approx(delay_s, abs=1.0)
    assert np.isnan(found.middle_s).all()


@pytest.mark.parametrize("habit_s", [0.0, 3.0])
def test_entry_and_exit_together_are_free_of_how_early_the_header_goes_down_and_how_late_up(field, habit_s):
    track, step = field(after=40)
    flow = np.where((step > habit_s + 11) & (step <= ROWS - habit_s + 11), 4.0, 0.0)
    found = find_half_times(track, flow)
    assert found.entry_of(0) == pytest.approx(11 + habit_s, abs=0.6)
    # Half arrives sooner than the mean where grain is mixed: 0.8 s are added. The header's state is known at the ends
    # of records only, so half a record is taken off.
    assert found.middle_s == pytest.approx(np.full(6, 11 + 0.8 - 0.5), abs=0.1)


def test_a_slow_stretch_near_the_end_is_no_end(field):
    track, step = field(after=40)
    flow = np.where((step > 11) & (step <= ROWS + 11), 4.0, 0.0)
    flow[(step >= 190) & (step < 193)] = 1.0
    assert find_half_times(track, flow).middle_s == pytest.approx(np.full(6, 11.3), abs=0.1)


def test_a_log_that_was_shifted_has_its_level_at_once(field):
    track, _ = field()
    assert find_half_times(track, np.full(len(track), 4.0)).entry_of(0) == 0.0


@pytest.mark.parametrize(("passes", "flow"), [(3, 4.0), (6, 0.0)])
def test_too_few_passes_or_a_flow_of_nothing_cannot_tell(field, passes, flow):
    track, _ = field(passes=passes)
    assert find_half_times(track, np.full(len(track), flow)).entry_of(0) is None


def test_passes_that_turns_part_do_not_say_where_the_crop_began(field):
    track, step = field(after=40)
    silent = track.__class__(**(track.__dict__ | {"header_up": np.zeros(len(track), dtype=bool)}))
    assert np.isfinite(find_half_times(silent, np.where(step > 11, 4.0, 0.0)).entry_s).sum() == 1


@pytest.mark.parametrize("name", ["ordinary", "flat", "one_way"])
def test_the_true_delay_is_found_without_pattern_or_opposite_neighbours(tmp_path, name):
    """Against the simulator's truth, weighed by flow: within 0.1 s on these seeds, measured first."""
    harvest = simulate_harvest(SCENARIOS[name], 1)
    settings, points = settings_of(harvest, tmp_path), to_points(harvest)
    track = follow_machines(points, settings.clean)
    middle = np.median(find_half_times(track, points["mass_flow_kg_s"].to_numpy()[track.row]).middle_s)
    known = harvest.records.dropna(subset="true_delay_s")
    known = known[~known["true_spike"]]
    truth = np.average(known["true_delay_s"], weights=known["mass_flow_kg_s"])
    assert middle == pytest.approx(truth, abs=0.6)
