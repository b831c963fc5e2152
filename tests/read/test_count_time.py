"""Times counted from durations: repeated records, leaps of the position, and a display with a fixed step."""

import numpy as np
import pandas as pd
import pytest

from proofstrip.read.count_time import find_leaps, level_steps
from proofstrip.read.derive import find_steps


def steps_of(rows: int):
    return find_steps(np.full(rows, np.nan), np.zeros(rows, dtype="int64"))


@pytest.fixture
def untimed(make_log):
    """Build a log whose speed varies a little, so that no two records are alike, without its times."""

    def build(rows: int = 30, start: int = 0, east: float = 0.0) -> pd.DataFrame:
        log = make_log(rows, start, east).drop(columns="Time")
        return log.assign(**{"Flow(lb/s)": 20.0 + np.arange(rows) % 7})

    return build


def test_a_repeated_record_adds_no_time(read, untimed):
    log = untimed()
    once = read(log).points["time"]
    twice = read(pd.concat([log.head(11), log.iloc[10:]], ignore_index=True))
    assert twice.points["time"].tolist() == [*once[:11], once[10], *once[11:]]
    assert "1 records that repeat the one before add nothing" in twice.notices[-1].message


def test_a_machine_that_stands_empty_takes_its_time(read, untimed):
    log = untimed()
    still = log.iloc[[10] * 5].assign(**{"Distance(ft)": 0.0, "Speed(mph)": 0.0, "Flow(lb/s)": 0.0})
    points = read(pd.concat([log.head(11), still, log.iloc[11:]], ignore_index=True)).points
    assert points["time"].tolist() == (1.0 + np.arange(35)).tolist()


def test_records_that_were_not_logged_leave_their_time(read, untimed):
    # 100 s at 2 m/s are left out: the way says so.
    log = pd.concat([untimed(), untimed(start=130)], ignore_index=True)
    harvest = read(log)
    assert np.diff(harvest.points["time"])[29] == pytest.approx(101.0, rel=1e-3)
    assert "1 leaps of the position" in harvest.notices[-1].message


def test_a_single_wrong_position_is_no_leap_and_neither_are_ends():
    north = 2.0 * np.arange(20)
    north[[0, 9, 19]] += 500.0
    assert not find_leaps(np.zeros(20), north, steps_of(20))[[9, 10, 1]].any()
    north = 2.0 * np.arange(20) + np.where(np.arange(20) >= 8, 500.0, 0.0)
    assert np.flatnonzero(find_leaps(np.zeros(20), north, steps_of(20))).tolist() == [8]


def test_a_display_that_logs_by_distance_keeps_its_own_durations():
    by_way = np.array([1.0, 2.0, 3.0, 1.5, np.nan])
    assert np.array_equal(level_steps(by_way), by_way, equal_nan=True)
    assert level_steps(np.full(3, np.nan)).tolist() == pytest.approx([np.nan] * 3, nan_ok=True)
