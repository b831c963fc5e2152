"""What is worked out from neighbouring records."""

import numpy as np
import pytest

from proofstrip.read.derive import (
    add_up,
    apparent_speeds,
    derive_duration,
    derive_heading,
    derive_speed,
    find_steps,
    way,
)

ONE = np.zeros(5, dtype="int64")


def test_duration_is_the_step_and_the_usual_step_after_a_gap() -> None:
    steps = find_steps(np.array([0.0, 2.0, 4.0, 60.0, 62.0]), ONE)
    assert derive_duration(steps).tolist() == [2.0, 2.0, 2.0, 2.0, 2.0]


def test_duration_follows_time_not_the_order_of_rows() -> None:
    steps = find_steps(np.array([4.0, 0.0, 1.0, 2.0, 3.0]), ONE)
    assert derive_duration(steps).tolist() == [1.0] * 5


def test_machines_do_not_mix() -> None:
    time, machine = np.array([0.0, 0.5, 1.0, 1.5, 2.0]), np.array([0, 1, 0, 1, 0])
    steps = find_steps(time, machine)
    assert steps.before.tolist() == [-1, -1, 0, 1, 2]
    assert derive_duration(steps).tolist() == [1.0] * 5


def test_speed_of_a_first_record_is_that_of_the_next() -> None:
    steps = find_steps(np.arange(5.0), ONE)
    north = np.array([0.0, 2.0, 4.0, 6.0, 8.0])
    assert derive_speed(np.zeros(5), north, steps).tolist() == [2.0] * 5


def test_speed_after_a_gap_is_not_the_jump() -> None:
    steps = find_steps(np.array([0.0, 1.0, 2.0, 100.0, 101.0]), ONE)
    north = np.array([0.0, 2.0, 4.0, 500.0, 502.0])
    assert derive_speed(np.zeros(5), north, steps).tolist() == [2.0] * 5


@pytest.mark.parametrize(("east", "north", "heading"), [(0, 1, 0), (1, 0, 90), (0, -1, 180), (-1, 0, 270), (1, 1, 45)])
def test_heading_is_clockwise_from_north(east: float, north: float, heading: float) -> None:
    steps = find_steps(np.arange(5.0), ONE)
    moved = derive_heading(east * np.arange(5.0), north * np.arange(5.0), steps)
    np.testing.assert_allclose(moved, heading)


def test_standing_keeps_the_heading() -> None:
    steps = find_steps(np.arange(5.0), ONE)
    assert derive_heading(np.array([0.0, 1, 1, 1, 1]), np.array([0.0, 0, 0, 0, -1]), steps).tolist() == [90] * 4 + [180]


def test_way_is_the_straight_line() -> None:
    steps = find_steps(np.arange(5.0), ONE)
    np.testing.assert_allclose(way(3 * np.arange(5.0), 4 * np.arange(5.0), steps), [np.nan, 5, 5, 5, 5])


def test_durations_add_up_by_machine() -> None:
    assert add_up(np.array([1.0, 1, np.nan, 2, 1]), np.array([0, 1, 0, 1, 0])).tolist() == [1, 1, 1, 3, 2]


def test_one_machine_is_as_fast_over_two_records() -> None:
    time = np.arange(40.0)
    steps = find_steps(time, np.zeros(40, dtype="int64"))
    single, double = apparent_speeds(np.zeros(40), 2 * time, time, steps)
    assert (single, double) == (2.0, 2.0)
