"""Where the grain was cut: ground counted once whatever the delay, and what lies outside the log."""

import numpy as np
import pytest

from proofstrip.clean.shift import find_cut

ROWS = 12


@pytest.fixture
def track(make_track):
    """Two metres a second to the north, 6 m wide; record k ends at k + 1 s and 2 (k + 1) m."""
    return make_track(0.0, 2.0 * np.arange(1, ROWS + 1))


def shift(track, seconds):
    return find_cut(track, np.full(len(track), float(seconds)))


def test_without_delay_each_record_has_its_own_ground(track):
    cut = shift(track, 0)
    assert cut.area == pytest.approx(np.full(ROWS, 12.0))
    assert cut.place.tolist() == list(range(ROWS))
    # The first has no position before it and is held at its own.
    assert cut.northing == pytest.approx(np.r_[2.0, 2.0 * np.arange(1, ROWS) + 1])
    assert not cut.unlogged.any()


def test_a_delay_puts_the_grain_back_along_the_track(track):
    cut = shift(track, 3)
    assert cut.place[3:].tolist() == list(range(ROWS - 3))
    assert cut.northing[4:] == pytest.approx(2.0 * np.arange(1, ROWS - 3) + 1)
    assert cut.area[3:] == pytest.approx(np.full(ROWS - 3, 12.0))


def test_what_was_cut_before_the_log_began_has_no_ground(track):
    cut = shift(track, 3)
    assert cut.unlogged.tolist() == [True] * 3 + [False] * (ROWS - 3)
    assert cut.area[:3].tolist() == [0.0] * 3
    assert cut.pass_id[:3].tolist() == [0] * 3


def test_a_negative_delay_puts_it_forward(track):
    cut = shift(track, -4)
    assert cut.place[:-4].tolist() == list(range(4, ROWS))
    assert cut.unlogged[-4:].all()
    assert cut.area[-4:].tolist() == [0.0] * 4


def test_a_delay_between_records_takes_from_both(make_track):
    width = np.where(np.arange(ROWS) < 6, 6.0, 3.0)
    track = make_track(0.0, 2.0 * np.arange(1, ROWS + 1), cut_width=width)
    cut = shift(track, 0.5)
    assert cut.area[6] == pytest.approx(0.5 * 12 + 0.5 * 6)
    assert cut.area.sum() == pytest.approx(6 * 12 + 5.5 * 6)


@pytest.mark.parametrize("seconds", [0.0, 2.0, 4.7])
def test_ground_is_counted_once_however_the_speed_changed(make_track, seconds):
    way = np.array([2.0, 2, 1, 0, 0, 1, 3, 3, 2, 2, 2, 2])
    track = make_track(0.0, np.cumsum(way), distance=way)
    logged_on = 12.0 - seconds
    ground = np.interp(logged_on, np.arange(13.0), np.r_[0, np.cumsum(way)]) * 6
    assert shift(track, seconds).area.sum() == pytest.approx(ground)


def test_lost_records_leave_their_ground_to_nobody(make_track):
    kept = np.r_[0:5, 9:14]
    track = make_track(0.0, 2.0 * (kept + 1), time=kept + 1.0)
    cut = shift(track, 0)
    assert cut.area == pytest.approx(np.full(10, 12.0))
    assert track.distance[5] == pytest.approx(10.0)


def test_grain_cut_while_records_were_lost_lies_on_the_way_between(make_track):
    kept = np.r_[0:5, 9:14]
    track = make_track(0.0, 2.0 * (kept + 1), time=kept + 1.0)
    cut = shift(track, 3)
    # Record 5 ends at 10 s; its grain was cut from 6 to 7 s, of which no record is kept.
    assert cut.northing[5] == pytest.approx(13.0)
    assert not cut.unlogged[5]


def test_over_a_long_gap_nothing_is_added(make_track):
    time = np.r_[1.0:7, 61.0:67]
    north = np.r_[2.0:14:2, 202.0:214:2]
    distance = np.full(12, 2.0)
    track = make_track(0.0, north, time=time, distance=distance)
    cut = shift(track, 3)
    assert cut.unlogged.tolist() == ([True] * 3 + [False] * 3) * 2
    assert cut.area.tolist() == pytest.approx(([0.0] * 3 + [12.0] * 3) * 2)


def test_machines_do_not_share_a_clock(make_track):
    second = np.r_[1.0:7, 1.0:7]
    machine = np.repeat([0, 1], 6)
    track = make_track(
        np.repeat([0.0, 50.0], 6),
        2 * second,
        time=second,
        machine=machine,
        distance=np.full(12, 2.0),
        pass_id=machine + 1,
    )
    cut = find_cut(track, np.where(machine == 0, 1.0, 2.0))
    assert cut.unlogged.tolist() == [True] + [False] * 5 + [True] * 2 + [False] * 4
    assert cut.easting[6:][2:].tolist() == [50.0] * 4
    assert cut.pass_id.tolist() == [0, 1, 1, 1, 1, 1, 0, 0, 2, 2, 2, 2]


def test_faults_are_asked_where_the_grain_was_cut(make_track):
    up = np.arange(ROWS) == 4
    track = make_track(0.0, 2.0 * np.arange(1, ROWS + 1), header_up=up, turn=np.arange(ROWS) == 6)
    cut = shift(track, 2)
    assert np.flatnonzero(cut.header_up).tolist() == [6]
    assert np.flatnonzero(cut.turn).tolist() == [8]


def test_time_within_the_pass(make_track):
    track = make_track(0.0, 2.0 * np.arange(1, 9), pass_id=[1, 1, 1, 0, 2, 2, 2, 2])
    cut = shift(track, 0)
    assert cut.since_entry[[0, 2, 4, 7]].tolist() == [0.5, 2.5, 0.5, 3.5]
    assert cut.until_exit[[0, 2, 4, 7]].tolist() == [2.5, 0.5, 3.5, 0.5]


def test_one_record(make_track):
    assert shift(make_track([0.0], [2.0], distance=[2.0]), 0).area.tolist() == [12.0]
    assert shift(make_track([0.0], [2.0], distance=[2.0]), 5).unlogged.tolist() == [True]
