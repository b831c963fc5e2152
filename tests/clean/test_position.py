"""Faults of time and position: what is flagged, and what curves, slow displays and short logs are not flagged for."""

import numpy as np
import pandas as pd
import pytest

from proofstrip.clean.position import (
    NEEDED,
    duplicate,
    expect_distance,
    mend_positions,
    missing,
    off_pass,
    position_frozen,
    position_jump,
)
from proofstrip.errors import DataError


def where(mask):
    return np.flatnonzero(mask).tolist()


@pytest.fixture
def straight(make_track):
    """Build a straight track with positions moved: {record: (east, north)}; the odometer knows the true way."""

    def build(rows=40, moved=None, **arrays):
        east, north = np.zeros(rows), 2.0 * np.arange(rows)
        for record, (sideways, ahead) in (moved or {}).items():
            east[record] += sideways
            north[record] += ahead
        return make_track(east, north, distance=np.full(rows, 2.0), **arrays)

    return build


class TestMissing:
    @pytest.mark.parametrize("column", NEEDED)
    def test_a_value_that_yield_needs(self, make_points, column):
        points = make_points(4)
        points.loc[2, column] = np.nan
        assert missing(points).tolist() == [False, False, True, False]

    @pytest.mark.parametrize("column", ["moisture_pct", "header_down", "heading_deg", "speed_m_s", "elevation_m"])
    def test_a_value_that_something_stands_in_for(self, make_points, column):
        points = make_points(4)
        points[column] = pd.NA if column == "header_down" else np.nan
        assert not missing(points).any()

    def test_nothing(self, make_points):
        assert len(missing(make_points(0))) == len(duplicate(make_points(0))) == 0


class TestDuplicate:
    def test_the_first_is_kept(self, make_points):
        points = make_points(4, time=[1.0, 2, 2, 2], northing_m=[1.0, 2, 2, 2])
        assert duplicate(points).tolist() == [False, False, True, True]

    def test_the_same_moment_elsewhere_is_a_fast_log(self, make_points):
        assert not duplicate(make_points(3, time=5.0, northing_m=[1.0, 2, 3])).any()

    def test_the_same_place_later_is_a_stop(self, make_points):
        assert not duplicate(make_points(3, time=[1.0, 2, 3], northing_m=1.0)).any()

    def test_another_machine_is_another_record(self, make_points):
        points = make_points(2, time=1.0, northing_m=1.0, machine=["a", "b"])
        assert not duplicate(points).any()

    def test_a_record_without_time_or_place_repeats_nothing(self, make_points):
        assert not duplicate(make_points(3, time=np.nan)).any()
        assert not duplicate(make_points(3, time=1.0, easting_m=np.nan)).any()

    def test_a_repetition_far_away_in_the_file(self, make_points):
        points = make_points(5, time=[1.0, 2, 3, 4, 1], northing_m=[1.0, 2, 3, 4, 1])
        assert duplicate(points).tolist() == [False] * 4 + [True]


class TestExpectedDistance:
    def test_what_is_logged_counts(self):
        distance = np.array([2.0, 2.1, 1.9, 2.0, 1.2, 2.0])
        assert expect_distance(distance, np.ones(6), np.zeros(6, dtype=int)).tolist() == distance.tolist()

    def test_a_distance_that_a_jump_made_is_replaced_by_the_usual_speed(self):
        distance = np.full(12, 2.0)
        distance[5] = 80.0
        assert expect_distance(distance, np.ones(12), np.zeros(12, dtype=int)).tolist() == [2.0] * 12

    def test_long_records_have_long_ways(self):
        distance, duration = np.array([2.0, 2, 10, 2, 2]), np.array([1.0, 1, 5, 1, 1])
        assert expect_distance(distance, duration, np.zeros(5, dtype=int)).tolist() == distance.tolist()


class TestJump:
    @pytest.mark.parametrize("moved", [(20.0, 0.0), (3.0, 0.0), (0.0, 15.0), (0.0, -9.0)])
    def test_a_single_position(self, straight, defaults, moved):
        assert where(position_jump(straight(moved={20: moved}), defaults.clean)) == [20]

    @pytest.mark.parametrize("length", [2, 5, 12])
    def test_a_spell_of_positions(self, straight, defaults, length):
        track = straight(80, {k: (25.0, 5.0) for k in range(40, 40 + length)})
        assert where(position_jump(track, defaults.clean)) == list(range(40, 40 + length))

    def test_small_scatter_is_none(self, straight, defaults):
        scatter = np.random.default_rng(1).normal(0, 0.2, (40, 2))
        assert not position_jump(straight(moved=dict(enumerate(scatter))), defaults.clean).any()

    def test_a_gap_is_no_jump(self, make_track, defaults):
        # The machine drove on while the display was silent for a minute.
        north = np.r_[np.arange(0, 40, 2.0), 150 + np.arange(0, 40, 2.0)]
        time = np.r_[np.arange(20), 80 + np.arange(20)] + 1.0
        assert not position_jump(make_track(0.0, north, time=time), defaults.clean).any()

    def test_lost_records_are_no_jump(self, make_track, defaults):
        kept = np.r_[0:20, 26:40]
        track = make_track(0.0, 2.0 * kept, time=kept + 1.0)
        assert not position_jump(track, defaults.clean).any()

    def test_a_headland_turn_is_no_jump(self, make_track, defaults):
        bend = np.linspace(0, np.pi, 12)
        east = np.r_[np.zeros(30), 7 - 7 * np.cos(bend), np.full(30, 14.0)]
        north = np.r_[np.arange(-60.0, 0, 2), 7 * np.sin(bend), np.arange(-2.0, -62, -2)]
        assert not position_jump(make_track(east, north), defaults.clean).any()

    def test_two_machines_in_one_log_are_refused(self, straight, defaults):
        other = straight(moved={k: (300.0, 0.0) for k in range(0, 40, 2)})
        with pytest.raises(DataError, match=r"39 of 40 steps .*\(the median of them is 300 m in one record\).*machine"):
            position_jump(other, defaults.clean)

    @pytest.mark.parametrize("rows", [0, 1, 2])
    def test_too_few_to_tell(self, straight, defaults, rows):
        assert position_jump(straight(rows), defaults.clean).tolist() == [False] * rows


class TestFrozen:
    def test_positions_that_repeat_while_the_machine_moves(self, straight):
        assert where(position_frozen(straight(moved={k: (0.0, -2.0 * (k - 19)) for k in range(20, 24)}))) == [
            20,
            21,
            22,
            23,
        ]

    def test_a_stop_is_no_frozen_position(self, make_track):
        way = np.r_[np.full(15, 2.0), np.zeros(6), np.full(15, 2.0)]
        assert not position_frozen(make_track(0.0, np.cumsum(way), distance=way)).any()

    def test_a_display_that_updates_every_second_record_is_slow_not_faulty(self, make_track):
        north = 4.0 * (np.arange(40) // 2)
        assert not position_frozen(make_track(0.0, north, distance=np.full(40, 2.0))).any()

    @pytest.mark.parametrize("rows", [0, 1, 2])
    def test_too_few_to_tell(self, straight, rows):
        assert position_frozen(straight(rows)).tolist() == [False] * rows


class TestMend:
    def test_a_jump_is_put_where_the_odometer_says(self, straight):
        track = straight(10, {4: (30.0, 7.0), 5: (30.0, 7.0)})
        faulty = np.isin(np.arange(10), [4, 5])
        easting, northing = mend_positions(track, faulty)
        assert easting == pytest.approx(np.zeros(10))
        assert northing == pytest.approx(2.0 * np.arange(10))

    def test_slow_positions_are_filled_in_between(self, make_track):
        track = make_track(0.0, 4.0 * (np.arange(9) // 2), distance=np.full(9, 2.0))
        assert mend_positions(track, np.zeros(9, dtype=bool))[1] == pytest.approx(2.0 * np.arange(9))

    def test_nothing_is_mended_across_logs(self, make_track):
        track = make_track([0.0, 0, 0, 90, 90, 90], [0.0, 2, 4, 0, 2, 4], log=[0, 0, 0, 1, 1, 1], distance=[2.0] * 6)
        easting, northing = mend_positions(track, np.isin(np.arange(6), [2, 3]))
        assert easting.tolist() == [0, 0, 0, 90, 90, 90]
        assert northing.tolist() == [0, 2, 2, 2, 2, 4]

    def test_a_log_without_a_good_position_stays(self, make_track):
        track = make_track([0.0, 0, 50, 90, 90], [0.0, 2, 7, 0, 2], log=[0, 0, 1, 2, 2], distance=[2.0] * 5)
        easting, northing = mend_positions(track, np.arange(5) == 2)
        assert easting.tolist() == [0, 0, 50, 90, 90]
        assert northing.tolist() == [0, 2, 7, 0, 2]

    def test_sound_positions_stay(self, straight):
        track = straight(6)
        easting, northing = mend_positions(track, np.zeros(6, dtype=bool))
        assert easting is track.easting
        assert northing is track.northing

    def test_where_no_position_is_good_all_stay(self, straight):
        track = straight(3)
        assert mend_positions(track, np.ones(3, dtype=bool))[1].tolist() == track.northing.tolist()


class TestOffPass:
    def test_a_record_beside_the_line_of_its_pass(self, straight, defaults):
        assert where(off_pass(straight(60, {30: (1.5, 0.0)}), defaults.clean)) == [30]

    def test_a_slow_wander_of_the_steering_is_none(self, make_track, defaults):
        north = 2.0 * np.arange(120)
        assert not off_pass(make_track(0.5 * np.sin(north / 25), north), defaults.clean).any()

    def test_noise_sets_its_own_limit(self, straight, defaults):
        noise = np.random.default_rng(2).normal(0, 0.5, 120)
        noise[60] = 1.5
        track = straight(120, {k: (value, 0.0) for k, value in enumerate(noise)})
        assert 60 not in where(off_pass(track, defaults.clean))

    @pytest.mark.parametrize("radius", [60.0, 350.0])
    def test_a_curve_is_followed(self, make_track, defaults, radius):
        angle = 2.0 * np.arange(60) / radius
        track = make_track(radius * (1 - np.cos(angle)), radius * np.sin(angle))
        assert not off_pass(track, defaults.clean).any()

    def test_outside_passes_nothing_is_asked(self, straight, defaults):
        track = straight(60, {30: (1.5, 0.0)}, pass_id=np.zeros(60, dtype=int))
        assert not off_pass(track, defaults.clean).any()

    def test_nothing(self, straight, defaults):
        assert len(off_pass(straight(0), defaults.clean)) == 0
