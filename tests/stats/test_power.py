"""Detectable differences and the pairs still needed."""

import numpy as np
import pytest
import scipy.special
from statsmodels.stats.power import TTestPower

from proofstrip.stats.power import detectable_difference, pairs_needed, power_of


def critical(df: float, alpha: float) -> float:
    return float(-scipy.special.stdtrit(df, alpha / 2))


FACTORS = {  # detectable difference over the scatter of the pair differences, 80 % power: computed (noncentral t)
    0.05: {3: 3.26, 4: 2.13, 5: 1.68, 6: 1.43, 7: 1.27, 8: 1.16, 10: 1.00, 12: 0.89, 16: 0.75, 20: 0.66},
    0.10: {3: 2.30, 4: 1.65, 5: 1.36, 6: 1.19, 8: 0.98, 10: 0.85, 12: 0.77},
}


@pytest.mark.parametrize(("alpha", "pairs"), [(alpha, pairs) for alpha in FACTORS for pairs in FACTORS[alpha]])
def test_detectable_difference_is_statsmodels(alpha: float, pairs: int) -> None:
    found = detectable_difference(1 / np.sqrt(pairs), pairs - 1.0, critical(pairs - 1.0, alpha), 0.80)
    reference = TTestPower().solve_power(nobs=pairs, alpha=alpha, power=0.80, alternative="two-sided")
    assert found == pytest.approx(reference, rel=5e-6)
    assert found == pytest.approx(FACTORS[alpha][pairs], abs=0.0051)


@pytest.mark.parametrize("effect", [0.5, 0.8, 1.2, 2.0])
def test_pairs_needed_are_statsmodels(effect: float) -> None:
    reference = TTestPower().solve_power(effect_size=effect, alpha=0.05, power=0.80, alternative="two-sided")
    assert pairs_needed(effect, 1.0, 0.95, 0.80) == int(np.ceil(reference - 1e-9))


def test_power_without_any_effect_is_the_error_rate() -> None:
    for df in (1.0, 2.5, 7.0, 40.0):
        assert power_of(0.0, df, critical(df, 0.10)) == pytest.approx(0.10, abs=1e-9)


def test_power_grows_without_a_break() -> None:
    for df in (1.0, 2.0, 3.0, 20.0, 199.0):
        powers = [power_of(shift, df, critical(df, 0.05)) for shift in np.linspace(0, 60, 200)]
        assert np.all(np.isfinite(powers))
        assert np.all(np.diff(powers) >= -1e-9)


def test_no_practical_number_of_pairs() -> None:
    assert pairs_needed(0.01, 1.0, 0.95, 0.80) is None
    assert pairs_needed(0.0, 1.0, 0.95, 0.80) is None


def test_more_treatments_need_more_blocks_each() -> None:
    assert pairs_needed(1.0, 1.0, 0.95, 0.80, treatments=6) > 0
    alone, several = (pairs_needed(0.6, 1.0, 0.95, 0.80, treatments=k) for k in (2, 6))
    assert several > alone
