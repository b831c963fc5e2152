"""The track: order, stamps, logs, odometer, headings, turns, passes."""

import numpy as np
import pytest

from proofstrip.clean import follow_machines
from proofstrip.clean.track import (
    angle_between,
    drop_short_runs,
    find_headings,
    find_logs,
    find_spans,
    find_turns,
    first_of_run,
    last_of_run,
    move_to_end,
    number_passes,
    order_records,
    position_at,
    spread_ties,
    stand_for_start,
    sum_within,
)
from proofstrip.errors import DataError

NONE = np.zeros(0)
NO_INT = np.zeros(0, dtype=np.int64)


def same(rows):
    """One machine, or one log, for all rows."""
    return np.zeros(rows, dtype=np.int64)


class TestOrder:
    def test_machine_by_machine_and_by_time(self, make_points):
        points = make_points(6, machine=list("bababa"), time=[3.0, 2, 1, 1, 2, 3])
        assert order_records(points, np.ones(6, dtype=bool)).tolist() == [3, 1, 5, 2, 4, 0]

    def test_equal_times_stay_in_reading_order(self, make_points):
        points = make_points(5, time=[2.0, 1, 2, 1, 2])
        assert order_records(points, np.ones(5, dtype=bool)).tolist() == [1, 3, 0, 2, 4]

    def test_only_what_is_kept(self, make_points):
        assert order_records(make_points(3), np.array([True, False, True])).tolist() == [0, 2]


class TestTies:
    def test_different_stamps_stay(self):
        time = np.array([1.0, 2, 4])
        assert spread_ties(time, same(3), np.ones(3)).tolist() == [1, 2, 4]

    def test_five_a_second_under_whole_seconds(self):
        time = np.repeat([10.0, 11.0], 5)
        spread = spread_ties(time, same(10), np.full(10, 0.2))
        assert spread == pytest.approx(np.arange(9.2, 11.1, 0.2))

    def test_ties_fill_no_more_than_their_own_length(self):
        # A second of silence before: the two records last 0.2 s each and are not spread over all of it.
        assert spread_ties(np.array([1.0, 5, 5]), same(3), np.full(3, 0.2)) == pytest.approx([1, 4.8, 5])

    def test_equal_stamps_of_two_machines_are_no_ties(self):
        time = np.array([1.0, 2, 2, 3])
        assert spread_ties(time, np.array([0, 0, 1, 1]), np.ones(4)).tolist() == [1, 2, 2, 3]

    def test_all_stamps_equal(self):
        assert spread_ties(np.full(4, 7.0), same(4), np.ones(4)).tolist() == [4, 5, 6, 7]

    def test_times_rise_strictly(self):
        rng = np.random.default_rng(3)
        time = np.sort(rng.integers(0, 40, 200)).astype(float)
        assert (np.diff(spread_ties(time, same(200), np.full(200, 0.2))) > 0).all()

    def test_nothing(self):
        assert len(spread_ties(NONE, NO_INT, NONE)) == 0


class TestStamps:
    LENGTH = np.array([1.0, 2, 1, 2, 1, 3, 1, 2])

    def test_a_stamp_at_the_end(self):
        assert not stand_for_start(np.diff(np.cumsum(self.LENGTH)), self.LENGTH, same(8))

    def test_a_stamp_at_the_start(self):
        assert stand_for_start(np.diff(np.cumsum(self.LENGTH) - self.LENGTH), self.LENGTH, same(8))

    def test_records_of_one_length_cannot_tell(self):
        assert not stand_for_start(np.ones(7), np.ones(8), same(8))

    def test_a_silence_says_nothing(self):
        # Only the steps across long gaps would speak for the start.
        apart = np.diff(np.cumsum(self.LENGTH))
        apart[[1, 3]] = 50.0
        assert not stand_for_start(apart, self.LENGTH, same(8))

    def test_two_machines_are_not_compared(self):
        length = np.array([1.0, 2, 1, 2])
        assert not stand_for_start(length[:-1], length, np.array([0, 1, 0, 1]))

    def test_one_record(self):
        assert not stand_for_start(NONE, np.ones(1), same(1))

    def test_positions_move_to_the_end_of_each_log(self):
        east = np.array([0.0, 2, 4, 100, 103])
        moved = move_to_end(east, np.zeros(5), np.array([2.0, 2, 2, 3, 3]), np.array([0, 0, 0, 1, 1]))
        assert moved[0].tolist() == [2, 4, 6, 103, 106]
        assert moved[1].tolist() == [0] * 5

    def test_a_single_record_has_no_direction_to_move_in(self):
        assert move_to_end(np.array([5.0]), np.array([7.0]), np.array([2.0]), same(1)) == (
            pytest.approx([5.0]),
            pytest.approx([7.0]),
        )

    def test_whole_tracks_from_start_stamps_are_those_from_end_stamps(self, make_points, defaults):
        length = np.tile([1.0, 2.0], 30)
        end, way = np.cumsum(length), np.cumsum(2 * length)
        late = make_points(60, time=end, duration_s=length, distance_m=2 * length, northing_m=4.4e6 + way)
        early = make_points(
            60, time=end - length, duration_s=length, distance_m=2 * length, northing_m=4.4e6 + way - 2 * length
        )
        one, other = (follow_machines(points, defaults.clean) for points in (late, early))
        assert one.time == pytest.approx(other.time)
        assert one.northing == pytest.approx(other.northing)


class TestLogs:
    def test_a_gap_below_the_limit_is_lost_records(self):
        time = np.array([1.0, 2, 11, 12])
        log = find_logs(time, same(4), np.ones(4), 10.0)
        assert log.tolist() == [0, 0, 0, 0]
        assert find_spans(time, np.ones(4), log).tolist() == [1, 1, 9, 1]

    def test_a_gap_above_it_breaks_the_log(self):
        time = np.array([1.0, 2, 14, 15])
        log = find_logs(time, same(4), np.ones(4), 10.0)
        assert log.tolist() == [0, 0, 1, 1]
        assert find_spans(time, np.ones(4), log).tolist() == [1, 1, 1, 1]

    def test_the_silence_begins_where_the_record_begins(self):
        # 15 s from stamp to stamp, 10 of them the record's own.
        assert find_logs(np.array([1.0, 16]), same(2), np.array([1.0, 10]), 10.0).tolist() == [0, 0]

    def test_another_machine_is_another_log(self):
        assert find_logs(np.array([1.0, 2, 1, 2]), np.array([0, 0, 1, 1]), np.ones(4), 10.0).tolist() == [0, 0, 1, 1]

    def test_jitter_of_the_clock_is_no_loss(self):
        time = np.array([1.0, 2.4, 3.0, 4.3])
        assert find_spans(time, np.ones(4), same(4)).tolist() == [1, 1, 1, 1]

    def test_nothing(self):
        assert len(find_logs(NONE, NO_INT, NONE, 10.0)) == 0
        assert len(find_spans(NONE, NONE, NO_INT)) == 0


class TestRuns:
    GROUP = np.array([4, 4, 0, 0, 0, 4])

    def test_first_and_last(self):
        assert first_of_run(self.GROUP).tolist() == [0, 0, 2, 2, 2, 5]
        assert last_of_run(self.GROUP).tolist() == [1, 1, 4, 4, 4, 5]

    def test_sums_start_anew_with_each_run(self):
        assert sum_within(np.array([1.0, 2, 3, 4, 5, 6]), self.GROUP).tolist() == [1, 3, 3, 7, 12, 6]

    def test_nothing(self):
        assert len(first_of_run(NO_INT)) == len(last_of_run(NO_INT)) == 0
        assert len(sum_within(NONE, NO_INT)) == 0
        assert len(drop_short_runs(np.zeros(0, dtype=bool), NO_INT, NONE, 3.0)) == 0

    def test_short_runs_are_dropped_in_seconds_not_in_records(self):
        up = np.array([False, True, True, False, True, True])
        seconds = np.array([1.0, 1, 1, 1, 2, 2])
        assert drop_short_runs(up, same(6), seconds, 3.0).tolist() == [False, False, False, False, True, True]

    def test_a_run_ends_with_its_log(self):
        up = np.ones(4, dtype=bool)
        assert not drop_short_runs(up, np.array([0, 0, 1, 1]), np.ones(4), 3.0).any()


class TestPositions:
    def test_between_two_records(self, make_track):
        track = make_track(0.0, [2.0, 4.0, 6.0])
        assert position_at(track, np.array([3.0]), np.array([0]))[1] == pytest.approx([3.0])

    def test_held_at_the_ends_of_the_log(self, make_track):
        track = make_track(0.0, [2.0, 4.0, 6.0])
        assert position_at(track, np.array([-5.0, 99.0]), np.array([0, 0]))[1] == pytest.approx([2.0, 6.0])

    def test_of_the_log_that_is_meant(self, make_track):
        track = make_track([0.0, 0, 50, 50], [2.0, 4, 2, 4], log=[0, 0, 1, 1], distance=[2.0, 2, 2, 2])
        assert position_at(track, np.array([3.0, 3.0]), np.array([1, 2]))[0] == pytest.approx([0.0, 50.0])

    @pytest.mark.parametrize(
        ("east", "north", "degrees"), [(0, 1, 0), (1, 0, 90), (0, -1, 180), (-1, 0, 270), (1, 1, 45), (-1, 1, 315)]
    )
    def test_heading_is_clockwise_from_north(self, make_track, east, north, degrees):
        way = 2.0 * np.arange(12)
        heading = find_headings(make_track(east * way, north * way), 6.0)
        assert np.degrees(heading) % 360 == pytest.approx(np.full(12, degrees))

    def test_heading_is_of_movement_not_of_jitter(self, make_track):
        jitter = 0.1 * (-1.0) ** np.arange(20)
        heading = find_headings(make_track(jitter, 2.0 * np.arange(20)), 6.0)
        assert np.abs(np.degrees(heading)).max() < 3

    def test_angle_between_goes_the_short_way(self):
        one, other = np.radians([10.0, 350.0, 90.0]), np.radians([350.0, 10.0, 80.0])
        assert np.degrees(angle_between(one, other)) == pytest.approx([20.0, -20.0, 10.0])


class TestTurns:
    @staticmethod
    def arc(make_track, radius, rows=60, **arrays):
        angle = 2.0 * np.arange(rows) / radius
        return make_track(radius * (1 - np.cos(angle)), radius * np.sin(angle), **arrays)

    def test_a_headland_turn(self, make_track, defaults):
        # Half a circle of 7 m between two straight passes.
        bend = np.linspace(0, np.pi, 12)
        east = np.r_[np.zeros(30), 7 - 7 * np.cos(bend), np.full(30, 14.0)]
        north = np.r_[np.arange(-60.0, 0, 2), 7 * np.sin(bend), np.arange(-2.0, -62, -2)]
        turn = find_turns(make_track(east, north), defaults.clean)
        assert turn[32:40].all()
        assert not turn[:25].any()
        assert not turn[-25:].any()

    @pytest.mark.parametrize("radius", [60.0, 200.0])
    def test_a_contour_pass_is_not_a_turn(self, make_track, defaults, radius):
        assert not find_turns(self.arc(make_track, radius), defaults.clean).any()

    def test_passes_are_what_lies_between_turns_header_lifts_and_gaps(self, make_track):
        track = make_track(
            0.0,
            2.0 * np.arange(10),
            turn=np.ones(10) == [0, 0, 1, 0, 0, 0, 0, 0, 0, 0],
            header_up=np.ones(10) == [0, 0, 0, 0, 1, 0, 0, 0, 0, 0],
            log=[0] * 8 + [1, 1],
        )
        assert number_passes(track).pass_id.tolist() == [1, 1, 0, 2, 0, 3, 3, 3, 4, 4]

    def test_no_pass_where_the_header_is_always_up(self, make_track):
        track = make_track(0.0, 2.0 * np.arange(3), header_up=np.ones(3, dtype=bool))
        assert number_passes(track).pass_id.tolist() == [0, 0, 0]


class TestFollow:
    def test_machines_have_passes_of_their_own(self, make_points, defaults):
        second = np.tile(np.arange(1.0, 41), 2)
        points = make_points(
            80,
            machine=["b"] * 40 + ["a"] * 40,
            time=second,
            northing_m=4.4e6 + 2 * second,
            easting_m=[0.0] * 40 + [6.0] * 40,
        )
        track = follow_machines(points, defaults.clean)
        assert track.row.tolist() == [*range(40, 80), *range(40)]
        assert track.machine.tolist() == [0] * 40 + [1] * 40
        assert track.pass_id.tolist() == [1] * 40 + [2] * 40

    def test_a_long_gap_makes_two_passes_and_a_short_one_does_not(self, make_points, defaults):
        points = make_points(60)
        lost, silent = points.drop(index=range(20, 27)), points.drop(index=range(20, 35))
        assert follow_machines(lost, defaults.clean).pass_id.max() == 1
        assert follow_machines(silent, defaults.clean).pass_id.max() == 2

    def test_the_odometer_counts_the_way_of_lost_records(self, make_points, defaults):
        track = follow_machines(make_points(60).drop(index=range(20, 27)), defaults.clean)
        assert track.distance[20] == pytest.approx(16.0)
        assert track.odometer[-1] == pytest.approx(120.0)
        assert track.speed == pytest.approx(np.full(53, 2.0))

    def test_records_without_time_or_place_are_not_on_the_track(self, make_points, defaults):
        points = make_points(6)
        points.loc[1, "time"], points.loc[3, "easting_m"] = np.nan, np.nan
        assert follow_machines(points, defaults.clean).row.tolist() == [0, 2, 4, 5]

    def test_a_short_header_lift_stays_in_the_pass(self, make_points, defaults):
        up = np.ones(60, dtype=bool)
        up[20:22] = False
        assert follow_machines(make_points(60, header_down=up), defaults.clean).pass_id.tolist() == [1] * 60
        up[20:24] = False
        track = follow_machines(make_points(60, header_down=up), defaults.clean)
        assert track.pass_id.tolist() == [1] * 20 + [0] * 4 + [2] * 36
        assert track.cut_width[track.pass_id == 0].tolist() == [0.0] * 4

    def test_a_header_that_is_not_logged_is_down(self, make_points, defaults):
        assert follow_machines(make_points(6), defaults.clean).pass_id.tolist() == [1] * 6

    def test_one_record(self, make_points, defaults):
        track = follow_machines(make_points(1), defaults.clean)
        assert (len(track), track.pass_id.tolist()) == (1, [1])

    def test_a_machine_that_stands_still_all_the_time(self, make_points, defaults):
        points = make_points(8, northing_m=4.4e6, distance_m=0.0, speed_m_s=0.0)
        assert follow_machines(points, defaults.clean).speed.tolist() == [0.0] * 8

    @pytest.mark.parametrize("column", ["time", "easting_m", "duration_s", "distance_m"])
    def test_a_column_that_is_empty_is_refused(self, make_points, defaults, column):
        with pytest.raises(DataError, match="clean: none of the 5 records has a time, a position, a duration and"):
            follow_machines(make_points(5, **{column: np.nan}), defaults.clean)

    def test_no_records_are_refused(self, make_points, defaults):
        with pytest.raises(DataError, match="none of the 0 records"):
            follow_machines(make_points(0), defaults.clean)

    def test_points_stay_as_they_were(self, make_points, defaults):
        points = make_points(40)
        before = points.copy(deep=True)
        follow_machines(points, defaults.clean)
        assert points.equals(before)
