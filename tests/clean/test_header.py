"""The header switch: what it says against what straight travel and flowing grain say."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.clean.truth import to_points

from proofstrip import clean
from proofstrip.clean import clean_points, estimate_delays, follow_machines, position
from proofstrip.clean.header import measure_lateness, settle_header
from proofstrip.config import load_defaults
from proofstrip.simulate import SCENARIOS, simulate_harvest

SETTINGS = load_defaults().clean
PASSES, PASS_S, TURN_S = 6, 100, 20


@pytest.fixture
def harvest(make_track):
    """Build six passes up and down with turns between; gives the track, the true state and the flow."""

    def build(late_s=0, slant_m=0.0):
        side = 1 - 2 * (np.arange(PASSES) % 2)
        east = np.repeat(6.0 * np.arange(PASSES), PASS_S + TURN_S)
        along = np.tile(2.0 * np.arange(PASS_S + TURN_S), PASSES) - (PASS_S + TURN_S - 1)
        north = along * np.repeat(side, PASS_S + TURN_S)
        second = np.tile(np.arange(PASS_S + TURN_S), PASSES)
        # The crop's edge runs on a slant at both ends, so that each pass is as long as the next.
        shift = np.round(slant_m / 2 * np.repeat(np.arange(PASSES) * side, PASS_S + TURN_S))
        begin, end = TURN_S // 2 + shift, TURN_S // 2 + PASS_S + shift
        down = (second >= begin) & (second < end)
        turn = (second < 3) | (second >= PASS_S + TURN_S - 3)
        heading = np.where(np.repeat(side, PASS_S + TURN_S) > 0, 0.0, np.pi)
        log = np.zeros(len(east), dtype=np.int64)
        track = make_track(east, north, heading=heading, turn=turn, log=log, distance=np.full(len(east), 2.0))
        track = type(track)(**(track.__dict__ | {"names": ("combine 1",)}))
        flow = np.where(np.roll(down, 8), 4.0 + 0.1 * np.sin(np.arange(len(east))), 0.0)
        return track, np.roll(~down, late_s).astype(float), flow

    return build


def codes(notices):
    return [notice.code for notice in notices]


class TestWhatIsBelieved:
    def test_a_switch_that_is_right_is_taken_as_logged(self, harvest):
        track, state, flow = harvest()
        up, notices = settle_header(track, state, flow, SETTINGS)
        assert up.tolist() == (state == 1).tolist()
        assert notices == ()

    def test_a_switch_the_wrong_way_round_is_turned_over(self, harvest):
        track, state, flow = harvest()
        up, notices = settle_header(track, 1 - state, flow, SETTINGS)
        assert up.tolist() == (state == 1).tolist()
        assert [notice.message for notice in notices] == [
            "The header switch of combine 1 reads the wrong way round: it says up while grain flows along straight "
            "passes and down in the turns; it was turned over."
        ]

    @pytest.mark.parametrize(("value", "code"), [(1.0, "header_stuck_up"), (0.0, "header_stuck_down")])
    def test_a_switch_that_never_changes_is_left_aside(self, harvest, value, code):
        track, state, flow = harvest()
        up, notices = settle_header(track, np.full_like(state, value), flow, SETTINGS)
        assert not up.any()
        assert codes(notices) == [code]
        assert "turns and silences" in notices[0].message

    def test_where_no_turn_was_logged_a_header_always_down_is_no_fault(self, harvest):
        track, state, flow = harvest()
        track = type(track)(**(track.__dict__ | {"turn": np.zeros(len(track), dtype=bool)}))
        assert settle_header(track, np.zeros_like(state), flow, SETTINGS)[1] == ()

    def test_a_switch_that_is_stuck_for_a_pass_is_left_aside_there(self, harvest):
        track, state, flow = harvest()
        stuck = state.copy()
        stuck[PASS_S + TURN_S : 2 * (PASS_S + TURN_S)] = 1.0
        up, notices = settle_header(track, stuck, flow, SETTINGS)
        assert codes(notices) == ["header_stuck_in_parts"]
        assert not up[130:220].any()
        assert up[300:].tolist() == (state[300:] == 1).tolist()

    def test_a_switch_that_gets_stuck_down_is_told(self, harvest):
        track, state, flow = harvest()
        stuck = np.where(np.arange(len(state)) >= 240, 0.0, state)
        up, notices = settle_header(track, stuck, flow, SETTINGS)
        assert up.tolist() == (stuck == 1).tolist()
        assert [(notice.code, notice.message) for notice in notices] == [
            (
                "header_stuck_down_in_parts",
                "The header switch of combine 1 got stuck: for 8 min it says down through 4 turns, in which it else "
                "says up; there passes were found from turns and silences.",
            )
        ]

    def test_a_header_that_stays_down_through_two_turns_is_no_fault(self, harvest):
        track, state, flow = harvest()
        down = np.where((np.arange(len(state)) >= 240) & (np.arange(len(state)) < 480), 0.0, state)
        assert settle_header(track, down, flow, SETTINGS)[1] == ()

    def test_a_switch_that_falls_silent_is_told(self, harvest):
        track, state, flow = harvest()
        silent = np.where(np.arange(len(state)) >= 240, np.nan, state)
        up, notices = settle_header(track, silent, flow, SETTINGS)
        assert up.tolist() == (silent == 1).tolist()
        assert [(notice.code, notice.message) for notice in notices] == [
            (
                "header_silent",
                "The header switch of combine 1 is not in the log for 8 min; there passes were found from turns and "
                "silences.",
            )
        ]

    def test_single_values_that_were_lost_are_not_told(self, harvest):
        track, state, flow = harvest()
        state[::20] = np.nan
        assert settle_header(track, state, flow, SETTINGS)[1] == ()

    def test_a_switch_stuck_up_in_parts_is_not_called_stuck_down(self, harvest):
        track, state, flow = harvest()
        stuck = np.where(np.arange(len(state)) >= 480, 1.0, state)
        assert codes(settle_header(track, stuck, flow, SETTINGS)[1]) == ["header_stuck_in_parts"]

    def test_grain_that_arrives_after_the_header_went_up_is_no_stuck_switch(self, harvest):
        track, state, flow = harvest()
        assert settle_header(track, state, np.full_like(flow, 4.0), SETTINGS)[1] == ()

    def test_what_was_not_logged_says_nothing(self, harvest):
        track, state, flow = harvest()
        up, notices = settle_header(track, np.full_like(state, np.nan), flow, SETTINGS)
        assert not up.any()
        assert notices == ()

    def test_a_log_without_flow_is_told_by_its_path(self, harvest):
        track, state, flow = harvest()
        up, notices = settle_header(track, 1 - state, np.full_like(flow, np.nan), SETTINGS)
        assert codes(notices) == ["header_inverted"]
        assert up.tolist() == (state == 1).tolist()


class TestLateness:
    @pytest.mark.parametrize("late_s", [0, 2, 4, 6])
    def test_it_is_measured_from_where_neighbours_begin_and_end(self, harvest, late_s):
        track, state, _ = harvest(late_s)
        found = measure_lateness(track, state == 1, np.ones(len(track), dtype=bool))
        # Half a record is not known.
        assert found == pytest.approx(late_s, abs=0.6)

    def test_a_slanting_edge_is_no_lateness(self, harvest):
        track, state, _ = harvest(0, slant_m=4.0)
        found = measure_lateness(track, state == 1, np.ones(len(track), dtype=bool))
        assert found is None or abs(found) < 0.6

    def test_a_late_switch_is_moved_and_told(self, harvest):
        track, state, flow = harvest(4)
        up, notices = settle_header(track, state, flow, SETTINGS)
        assert [notice.message for notice in notices] == [
            "The header switch of combine 1 is late by about 4 s; it was moved to its time."
        ]
        assert np.count_nonzero(up != (np.roll(state, -4) == 1)) <= 4 * PASSES // 2

    def test_passes_in_one_direction_cannot_tell(self, harvest):
        track, state, _ = harvest(4)
        mine = np.ones(len(track), dtype=bool)
        one_way = type(track)(**(track.__dict__ | {"northing": np.abs(track.northing) * 0 + track.odometer % 240}))
        assert measure_lateness(one_way, state == 1, mine) is None


def cleaned(points):
    track = follow_machines(points, SETTINGS)
    delays = estimate_delays(points, track, SETTINGS, None)
    return clean_points(points, track, delays, SETTINGS), track


@pytest.fixture(scope="module")
def ordinary():
    points = to_points(simulate_harvest(SCENARIOS["ordinary"], 3))
    return points, cleaned(points)[0]


class TestHarvests:
    def test_inverted_gives_the_same_records_as_a_good_switch(self, ordinary):
        after, track = cleaned(to_points(simulate_harvest(SCENARIOS["header_inverted"], 3)))
        assert codes(track.notices) == ["header_inverted"]
        pd.testing.assert_series_equal(after["flags"], ordinary[1]["flags"])

    @pytest.mark.parametrize(("down", "code"), [(False, "header_stuck_up"), (True, "header_stuck_down")])
    def test_a_stuck_switch_costs_no_record(self, ordinary, down, code):
        points, good = ordinary
        stuck = points.assign(header_down=pd.array([down] * len(points), dtype="boolean"))
        after, track = cleaned(stuck)
        assert codes(track.notices) == [code]
        assert (good["usable"] & ~after["usable"]).sum() <= 0.01 * good["usable"].sum()

    @pytest.mark.parametrize(
        ("down", "code"),
        [(True, "header_stuck_down_in_parts"), (pd.NA, "header_silent"), (False, "header_stuck_up")],
    )
    def test_a_switch_lost_at_mid_log_is_told_and_costs_few_records(self, ordinary, down, code):
        points, good = ordinary
        header = points["header_down"].copy()
        header[np.arange(len(points)) >= len(points) // 2] = down
        after, track = cleaned(points.assign(header_down=header))
        assert codes(track.notices) == [code]
        assert (good["usable"] & ~after["usable"]).sum() <= 0.02 * good["usable"].sum()

    def test_a_late_switch_is_told_to_the_second(self):
        harvest = simulate_harvest(SCENARIOS["header_late"], 3)
        points = to_points(harvest)
        track = follow_machines(points, SETTINGS)
        assert codes(track.notices) == ["header_late"]
        assert "about 4 s" in track.notices[0].message
        true_up = harvest.records["true_header_up"].to_numpy()[track.row]
        logged_up = ~points["header_down"].to_numpy(dtype=bool)[track.row]
        assert np.count_nonzero(track.header_up != true_up) < 0.3 * np.count_nonzero(logged_up != true_up)

    @pytest.mark.parametrize("name", ["ordinary", "contour", "point_rows", "racetrack", "one_way", "log_5_s"])
    def test_a_good_switch_is_never_doubted(self, name):
        points = to_points(simulate_harvest(SCENARIOS[name], 5))
        assert follow_machines(points, SETTINGS).notices == ()


def test_the_masks_kept_on_the_track_are_those_of_the_positions_as_logged():
    points = to_points(simulate_harvest(SCENARIOS["hard"], 3))
    track = follow_machines(points, SETTINGS)
    logged = clean._lay_track(points, track.row, SETTINGS)
    np.testing.assert_array_equal(track.jumped, position.position_jump(logged, SETTINGS))
    np.testing.assert_array_equal(track.frozen, position.position_frozen(logged) | logged.frozen)
    # The line of a pass is drawn through mended positions: through a jump it would leave good records beside it.
    np.testing.assert_array_equal(track.beside, position.off_pass(track, SETTINGS))
    np.testing.assert_array_equal(track.repeated, np.flatnonzero(position.duplicate(points)))
    assert min(mask.sum() for mask in (track.jumped, track.frozen)) > 0
    assert len(track.repeated) > 0


def test_cleaning_again_with_other_delays_and_back_gives_the_same_flags(ordinary):
    points, good = ordinary
    track = follow_machines(points, SETTINGS)
    delays = estimate_delays(points, track, SETTINGS, None)
    clean_points(points, track, tuple(replace(delay, seconds=delay.seconds + 4) for delay in delays), SETTINGS)
    pd.testing.assert_series_equal(clean_points(points, track, delays, SETTINGS)["flags"], good["flags"])
