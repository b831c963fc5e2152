"""Trials whose truth is known: how often the intervals hold (the long version: tests/accuracy/measure_pool.py)."""

import numpy as np
import pytest

from proofstrip.pool.synthesis import fit_slope, pool_effects


def test_false_effects_and_coverage_over_sets_of_trials() -> None:
    # Five trials of five pairs, scatter 2.7 %, tau 2 %, nominal 10 %: measured over 2,000 sets 8.8 % false effects and
    # 86.5 % of other fields covered; 250 sets have a standard error of 2 points.
    rng = np.random.default_rng(3)
    false = covered = 0
    for _ in range(250):
        true = rng.normal(0, 0.02, size=6)
        pairs = rng.normal(true[:5, None], 0.027, size=(5, 5))
        found = pool_effects(pairs.mean(axis=1), pairs.var(axis=1, ddof=1) / 5, 0.90)
        false += found.low > 0 or found.high < 0
        covered += found.prediction_low <= true[5] <= found.prediction_high
    assert 3 <= 100 * false / 250 <= 15
    assert 81 <= 100 * covered / 250 <= 95


def test_mean_and_spread_are_recovered_from_many_trials() -> None:
    rng = np.random.default_rng(1)
    v = rng.uniform(0.5e-4, 2e-4, size=200)
    y = rng.normal(0.04, np.sqrt(v + 0.02**2))
    found = pool_effects(y, v, 0.95)
    assert found.estimate == pytest.approx(0.04, abs=0.004)
    assert np.sqrt(found.tau2) == pytest.approx(0.02, abs=0.003)
    slope = fit_slope(y, v, np.linspace(0, 1, 200), 0.95)
    assert slope.low < 0 < slope.high


def test_equal_errors_give_the_plain_mean_and_its_t_interval() -> None:
    # With equal standard errors and spread beyond them, random effects are the t interval of the effects themselves.
    y = np.array([0.01, 0.06, 0.03, 0.08])
    found = pool_effects(y, np.full(4, 1e-5), 0.90)
    assert found.estimate == pytest.approx(y.mean())
    assert found.se == pytest.approx(y.std(ddof=1) / 2)
    assert found.tau2 == pytest.approx(y.var(ddof=1) - 1e-5)
    assert found.factor == pytest.approx(1.0)


def test_order_and_scale_do_not_matter() -> None:
    y, v = np.array([0.01, 0.06, 0.03, 0.08, 0.02]), np.array([1.0, 2.0, 0.5, 3.0, 1.5]) * 1e-4
    one, turned, scaled = (pool_effects(a, b, 0.9) for a, b in ((y, v), (y[::-1], v[::-1]), (1000 * y, 1e6 * v)))
    assert turned.estimate == pytest.approx(one.estimate)
    assert (scaled.estimate, scaled.tau2) == (pytest.approx(1000 * one.estimate), pytest.approx(1e6 * one.tau2))
    assert scaled.p_value == pytest.approx(one.p_value)


def test_fewer_than_three_are_not_pooled() -> None:
    with pytest.raises(ValueError, match="2 sites"):
        pool_effects(np.array([0.01, 0.02]), np.array([1e-4, 1e-4]), 0.9)


def test_chance_is_half_at_the_estimate() -> None:
    found = pool_effects(np.array([0.01, 0.06, 0.03]), np.full(3, 1e-4), 0.9)
    assert found.chance_above(found.estimate) == pytest.approx(0.5)
    assert found.chance_above(found.prediction_low) == pytest.approx(0.95)
