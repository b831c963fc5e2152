"""Dunnett's and Tukey's tests, against printed tables and against scipy in the same run."""

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from tests.stats.tables import block_table, loose_table, settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.multiple import dunnett_critical, dunnett_tail, tukey_tail
from proofstrip.stats.power import power_of


def equal(contrasts: int) -> np.ndarray:
    """Correlation of differences from one control, all equally replicated."""
    return np.full((contrasts, contrasts), 0.5) + 0.5 * np.eye(contrasts)


# Dunnett (1964), Biometrics 20, 482-491, table II, two-sided 5 %: treatments beside the control 1 to 5 (from memory).
TWO_SIDED = {
    5: (2.57, 3.03, 3.29, 3.48, 3.62),
    10: (2.23, 2.57, 2.76, 2.89, 2.99),
    20: (2.09, 2.38, 2.54, 2.65, 2.73),
    60: (2.00, 2.27, 2.41, 2.51, 2.58),
}


@pytest.mark.parametrize("df", TWO_SIDED)
def test_dunnett_table(df: int) -> None:
    found = [dunnett_critical(0.95, float(df), equal(contrasts)) for contrasts in range(1, 6)]
    assert found == pytest.approx(TWO_SIDED[df], abs=0.0051)


def test_dunnett_blood_counts() -> None:
    # Dunnett (1955), JASA 50, table 1: blood counts, control and two drugs, unequal numbers. scipy's own
    # documentation prints the p-values 0.62004941 and 0.0059035 (by quasi-random integration).
    groups = {
        "old": [7.40, 8.50, 7.20, 8.24, 9.84, 8.32],
        "A": [9.76, 8.80, 7.68, 9.36],
        "B": [12.80, 9.68, 12.16, 9.20, 10.55],
    }
    rows = compare_treatments(loose_table(**groups), "old", settings(), "yield").differences
    assert [row.p_value for row in rows] == pytest.approx([0.62004941, 0.0059035], abs=2e-4)
    reference = scipy.stats.dunnett(groups["A"], groups["B"], control=groups["old"], rng=np.random.default_rng(1))
    assert [row.p_value for row in rows] == pytest.approx(reference.pvalue, abs=2e-4)
    interval = reference.confidence_interval(0.95)
    assert [row.low for row in rows] == pytest.approx(interval.low, abs=5e-3)
    assert [row.high for row in rows] == pytest.approx(interval.high, abs=5e-3)


@pytest.mark.parametrize("df", [2, 5, 18.5, 60])
@pytest.mark.parametrize("contrasts", [2, 5])
def test_dunnett_tail_is_the_multivariate_t(df: float, contrasts: int) -> None:
    for t in (1.0, 2.0, 3.5):
        bound = np.full(contrasts, t)
        inside = scipy.stats.multivariate_t.cdf(
            bound, shape=equal(contrasts), df=df, lower_limit=-bound, maxpts=200_000, random_state=1
        )
        assert dunnett_tail(np.array([t]), df, equal(contrasts))[0] == pytest.approx(1 - inside, abs=5e-6)


def test_uneven_correlation_is_near_the_multivariate_t() -> None:
    # Incomplete blocks: the nearest one-factor correlations stand in (Hsu 1992).
    uneven = np.array([[1.0, 0.62, 0.40], [0.62, 1.0, 0.45], [0.40, 0.45, 1.0]])
    for t in (1.5, 2.5):
        bound = np.full(3, t)
        inside = scipy.stats.multivariate_t.cdf(
            bound, shape=uneven, df=12, lower_limit=-bound, maxpts=200_000, random_state=1
        )
        assert dunnett_tail(np.array([t]), 12.0, uneven)[0] == pytest.approx(1 - inside, abs=1e-3)


# Studentized range, upper 5 %: 2 to 6 means (Pearson and Hartley, Biometrika Tables; from memory).
RANGE = {
    5: (3.64, 4.60, 5.22, 5.67, 6.03),
    10: (3.15, 3.88, 4.33, 4.65, 4.91),
    20: (2.95, 3.58, 3.96, 4.23, 4.45),
    60: (2.83, 3.40, 3.74, 3.98, 4.16),
}


@pytest.mark.parametrize("df", RANGE)
def test_studentized_range_table(df: int) -> None:
    found = [
        scipy.optimize.brentq(lambda q, means=means: tukey_tail(np.array([q]), means, float(df))[0] - 0.05, 2, 9)
        for means in range(2, 7)
    ]
    assert found == pytest.approx(RANGE[df], abs=0.0051)


@pytest.mark.parametrize("df", [1, 3, 18, 200])
@pytest.mark.parametrize("means", [3, 7, 20])
def test_tukey_tail_is_scipys(df: int, means: int) -> None:
    q = np.array([1.0, 2.5, 4.0, 8.0])
    assert tukey_tail(q, means, float(df)) == pytest.approx(scipy.stats.studentized_range.sf(q, means, df), abs=1e-8)


def test_many_tukey_tails_are_the_same() -> None:
    q = np.linspace(0.01, 14, 900)
    one_by_one = np.concatenate([tukey_tail(part, 40, 78.0) for part in np.split(q, 9)])
    assert tukey_tail(q, 40, 78.0) == pytest.approx(one_by_one, abs=1e-7)


def test_tukey_of_a_block_trial_is_scipys() -> None:
    rng = np.random.default_rng(8)
    rows = (rng.normal(50, 3, size=(5, 1)) + rng.normal(0, 1, size=(5, 4)) + np.array([0, 1.0, 2.5, 0.5])).tolist()
    comparison = compare_treatments(block_table(list("abcd"), rows), "a", settings(), "yield")
    for row in comparison.pairwise:
        q = abs(row.difference) / np.sqrt(comparison.residual_variance / 5)
        assert row.p_tukey == pytest.approx(scipy.stats.studentized_range.sf(q, 4, 12), abs=1e-8)


@pytest.mark.parametrize(
    ("df", "shift", "critical"), [(1, 3.0, 12.7), (2.4, 5.0, 3.6), (5, 2.0, 2.57), (30, 3.1, 2.04)]
)
def test_power_is_the_noncentral_t(df: float, shift: float, critical: float) -> None:
    reference = scipy.stats.nct.sf(critical, df, shift) + scipy.stats.nct.cdf(-critical, df, shift)
    assert power_of(shift, df, critical) == pytest.approx(reference, abs=1e-8)
