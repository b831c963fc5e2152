"""A drifting sensor: its rate where the order lets it be told, and an order that would make an effect of it."""

import numpy as np
import pandas as pd
import pytest

from proofstrip.drift import check_order, estimate_drift


def cells(order: list[float], treatments: str = "on", drift: float = 0.02, scatter: float = 0.002, seed: int = 1):
    """Give strips in blocks, cut at hours ``order``; the reading rises by ``drift`` an hour."""
    rng = np.random.default_rng(seed)
    n, k = len(order), len(treatments)
    kinds = (list(treatments) * n)[:n]
    log = 8.3 + 0.04 * (np.array(kinds) == "n") + 0.1 * rng.standard_normal(n // k).repeat(k)
    log = log + drift * np.array(order) + scatter * rng.standard_normal(n)
    block = [f"B{row // k}" for row in range(n)]
    frame = {"strip": [f"S{row}" for row in range(n)], "machine": "a", "day": "2024-10-07", "treatment": kinds}
    return pd.DataFrame({**frame, "block": block, "log_yield": log, "hour": order})


def test_a_drift_is_found_where_the_order_varies():
    (found,) = estimate_drift(cells([0, 1, 3, 2, 4, 5, 7, 6, 8, 9, 11, 10]), 0.9)
    assert found.pct_per_h == pytest.approx(2.0, abs=0.2)
    assert 0 < found.high_pct_per_h - found.low_pct_per_h < 1.0
    assert "the reading rose" in found.note


def test_each_day_has_its_own_drift():
    first, second = cells([0, 1, 3, 2, 4, 5, 7, 6]), cells([0, 1, 3, 2, 4, 5, 7, 6], drift=-0.02)
    second = second.assign(strip="T" + second["strip"], block="C" + second["block"], day="2024-10-08")
    second["hour"] += 24
    rates = {row.day: row.pct_per_h for row in estimate_drift(pd.concat([first, second], ignore_index=True), 0.9)}
    assert rates == pytest.approx({"2024-10-07": 2.0, "2024-10-08": -2.0}, abs=0.5)


def test_a_rate_known_to_worse_than_ten_per_cent_an_hour_is_not_given():
    # Strips some minutes apart that differ by 2 % tell nothing of 0.5 % an hour.
    order = [0, 0.1, 0.3, 0.2, 0.4, 0.5, 0.7, 0.6]
    (found,) = estimate_drift(cells(order, drift=0.005, scatter=0.02), 0.9)
    assert (found.pct_per_h, found.low_pct_per_h, found.high_pct_per_h) == (None, None, None)
    assert "too near in time to tell a drift: it would be known only to" in found.note
    (sure,) = estimate_drift(cells(order, drift=0.005, scatter=0.0005), 0.9)
    assert sure.high_pct_per_h - sure.low_pct_per_h < 10


@pytest.mark.parametrize("order", [[0, 1, 2, 3, 4, 5, 6, 7], [0, 0.01, 0.03, 0.02, 0.04, 0.05, 0.07, 0.06]])
def test_a_drift_that_cannot_be_told_is_not_given(order):
    # The control always first by the same time, or all within minutes.
    (found,) = estimate_drift(cells([float(hour) for hour in order]), 0.9)
    assert found.pct_per_h is None


def test_the_treatment_always_second_is_a_red_flag_with_what_a_drift_would_do():
    found = check_order(cells([0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5]), "o")
    assert (found.passed, found.forbids, found.value) == (False, False, 30.0)
    assert "n was always cut after the control, by 30 minutes" in found.note
    assert "0.5 % of yield" in found.note


def test_an_order_that_turns_round_passes():
    assert check_order(cells([0, 0.5, 1.5, 1, 2, 2.5, 3.5, 3]), "o").passed


def test_one_treatment_after_the_other_fails_even_in_few_blocks():
    assert check_order(cells([0, 5, 1, 6, 2, 7]), "o").passed is False


def test_without_blocks_the_order_is_looked_at_as_a_whole():
    frame = cells([0, 5, 1, 6, 2, 7]).assign(block="")
    assert check_order(frame, "o").passed is False
    assert check_order(frame.assign(hour=[0, 1, 5, 2, 3, 4]), "o").passed
