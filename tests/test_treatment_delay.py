"""The travel delay by treatment: planted, not there, and not to be told."""

from dataclasses import replace

import pytest

from proofstrip.simulate import SCENARIOS, simulate_harvest
from proofstrip.treatment_delay import compare_delays, is_clear, note_delays
from tests.accuracy.harvests import plant, walk
from tests.accuracy.measure_harm import delay_tried


def compare(harvest):
    work = walk(harvest)
    return compare_delays(work.points, work.followed, work.sensed, "control", work.settings.stats)


@pytest.fixture(scope="module")
def harvest():
    return simulate_harvest(plant(SCENARIOS["ordinary"], 0.0), 1)


def test_a_delay_that_a_treatment_changes_is_found_and_warned_about(harvest):
    """2 s planted; over 40 harvests the error had an SD of 0.5 s (tests/accuracy/measure_harm.py plants the same)."""
    by_name = {row.treatment: row for row in compare(delay_tried(harvest, 2.0))}
    tried = by_name["tried"]
    assert tried.difference_s == pytest.approx(2.0, abs=1.0)
    assert tried.difference_low_s < tried.difference_s < tried.difference_high_s
    assert by_name["control"].difference_s is None
    (notice,) = note_delays(tuple(by_name.values()), "control")
    assert notice.message.startswith("Grain of tried reached the sensor of combine 1 ")
    assert "s later than that of control (margin of error: +" in notice.message


def test_without_a_difference_each_treatment_has_the_true_delay_and_nothing_is_said(harvest):
    found = compare(harvest)
    for row in found:
        assert row.strips == 6
        assert row.low < row.seconds < row.high
        assert row.seconds == pytest.approx(11.0, abs=0.8)
    assert note_delays(found, "control") == ()


def test_a_log_without_a_header_switch_cannot_tell():
    found = compare(simulate_harvest(SCENARIOS["no_header_switch"], 1))
    assert all(row.seconds is None and row.difference_s is None for row in found)
    assert "at least 2 are needed" in found[0].reason


def test_small_or_uncertain_differences_are_not_clear(harvest):
    row = replace(compare(harvest)[0], difference_s=1.5, difference_low_s=1.0, difference_high_s=2.0, seldom=True)
    assert is_clear(row)
    for change in (
        {"difference_s": 0.9},
        {"difference_low_s": -0.1},
        {"seldom": False},
        {"seldom": None},
        {"difference_s": None},
    ):
        assert not is_clear(replace(row, **change))
