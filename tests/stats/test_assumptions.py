"""What is looked at before the answer is believed."""

import numpy as np
import pandas as pd
import pytest
from tests.stats.tables import block_table, pair_table, settings

from proofstrip.stats import Check, Comparison, compare_treatments


def check_of(comparison: Comparison, name: str) -> Check:
    return next(check for check in comparison.checks if check.name == name)


def pairs_with(differences: list[float], order: list[float] | None = None) -> Comparison:
    old = np.array([60.0, 62.0, 58.5, 61.0, 59.5, 63.0, 60.5, 62.5])[: len(differences)]
    table = pair_table((old + differences).tolist(), old.tolist())
    if order is not None:
        table["order"] = order
    return compare_treatments(table, "old", settings(), "yield")


def test_one_strange_pair_is_named() -> None:
    check = check_of(pairs_with([2.1, 1.9, 2.2, 1.8, 2.0, 9.0]), "outlying_pair")
    assert check.passed is False
    assert check.note.startswith("Block 6")


def test_an_ordinary_set_of_pairs_passes() -> None:
    check = check_of(pairs_with([2.1, 1.2, 2.8, 1.8, 0.9, 3.0]), "outlying_pair")
    assert check.passed is True


def test_three_pairs_are_not_judged() -> None:
    assert check_of(pairs_with([2.1, 1.2, 2.8]), "outlying_pair").passed is None


def test_few_alarms_on_ordinary_data() -> None:
    rng = np.random.default_rng(4)
    alarms = 0
    for _ in range(300):
        comparison = pairs_with(rng.normal(2, 1, size=8).tolist())
        alarms += check_of(comparison, "outlying_pair").passed is False
    assert alarms <= 30  # 5 % of 300 is 15; 30 lies 3.9 standard deviations above


def test_drift_along_the_order_is_seen() -> None:
    positions = [float(place) for place in range(16)]
    drifting = pairs_with([0.1, 0.9, 2.1, 2.8, 4.2, 5.0, 5.9, 7.1], positions)
    assert check_of(drifting, "drift").passed is False
    steady = pairs_with([2.1, 1.2, 2.8, 1.8, 0.9, 3.0, 1.5, 2.2], positions)
    assert check_of(steady, "drift").passed is True
    assert not [check for check in pairs_with([1.0, 2.0, 3.0]).checks if check.name == "drift"]


def test_a_treatment_always_on_one_side_is_seen() -> None:
    gains = [2.1, 1.2, 2.8, 1.8, 0.9, 3.0]
    assert check_of(pairs_with(gains, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]), "sides").passed is False
    assert check_of(pairs_with(gains, [0, 1, 3, 2, 4, 5, 7, 6, 8, 9, 11, 10]), "sides").passed is True
    assert check_of(pairs_with(gains[:3], [0, 1, 2, 3, 4, 5]), "sides").passed is None


def test_unequal_scatter_is_seen() -> None:
    rng = np.random.default_rng(5)
    rows = rng.normal(60, 0.3, size=(10, 3))
    rows[:, 2] += rng.normal(0, 8, size=10)
    comparison = compare_treatments(block_table(["a", "b", "wild"], rows.tolist()), "a", settings(), "yield")
    check = check_of(comparison, "equal_scatter")
    assert check.passed is False
    assert check.note.startswith("wild")


def test_a_strange_strip_is_named() -> None:
    rng = np.random.default_rng(6)
    rows = rng.normal(60, 0.5, size=(6, 3))
    rows[2, 1] += 9
    comparison = compare_treatments(block_table(["a", "b", "c"], rows.tolist()), "a", settings(), "yield")
    check = check_of(comparison, "outlying_strip")
    assert check.passed is False
    assert "b in block 3" in check.note


def test_difference_that_grows_with_yield_is_seen() -> None:
    old = np.array([40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0])
    noise = np.array([0.1, -0.1, 0.05, -0.05, 0.1, -0.1, 0.0])
    table = pair_table((old * 1.1 + noise).tolist(), old.tolist())
    check = check_of(compare_treatments(table, "old", settings(), "yield"), "even_difference")
    assert check.passed is False


@pytest.mark.parametrize("order", [None, "text"])
def test_an_unreadable_order_is_left_alone(order: str | None) -> None:
    old = [60.0, 62.0, 58.5]
    table: pd.DataFrame = pair_table([61.0, 63.5, 60.0], old).assign(order=order)
    assert compare_treatments(table, "old", settings(), "yield").design == "paired"
