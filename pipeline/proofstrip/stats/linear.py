"""One linear model a design: means, differences from the control and their standard errors, and the table of variance.

Blocks and treatments are factors throughout; no label is ever used as a number.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from proofstrip.stats.design import Plots
from proofstrip.stats.results import AnovaRow

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """What a model says about the treatments, the control being the first.

    Attributes
    ----------
    means : ndarray, shape (k,)
    covariance : ndarray, shape (k, k)
        Of the means, up to a constant that all share (it cancels in differences).
    df : ndarray, shape (k, k)
        Degrees of freedom of each difference.
    variance : float
        Of the residual.
    residuals, fitted : ndarray, shape (n,)
        In the order of the plots.
    anova : tuple of AnovaRow
    block_variance : float or None
        Where blocks are random.
    """

    means: Floats
    covariance: Floats
    df: Floats
    df_residual: float
    variance: float
    residuals: Floats
    fitted: Floats
    anova: tuple[AnovaRow, ...]
    block_variance: float | None = None

    def standard_errors(self) -> Floats:
        """Give the standard error of every difference of two means, shape (k, k)."""
        own = np.diag(self.covariance)
        return np.sqrt(np.maximum(own[:, None] + own[None, :] - 2 * self.covariance, 0.0))

    def pooled_errors(self, plots: Plots) -> Floats:
        """Give the standard error of every difference by the common residual variance, for the LSD."""
        if plots.blocks:
            return self.standard_errors()
        inverse = 1 / np.bincount(plots.treatment, minlength=len(self.means))
        return np.asarray(np.sqrt(self.variance * (inverse[:, None] + inverse[None, :])))

    def control_correlation(self) -> Floats:
        """Give the correlation of the differences from the control, shape (k - 1, k - 1)."""
        contrast = np.hstack([-np.ones((len(self.means) - 1, 1)), np.eye(len(self.means) - 1)])
        covariance = contrast @ self.covariance @ contrast.T
        scale = np.sqrt(np.diag(covariance))
        correlation: Floats = covariance / np.outer(scale, scale)
        return correlation


def f_tail(f: float, df1: float, df2: float) -> float:
    """Give the upper tail of Fisher's F."""
    return float(special.fdtrc(df1, df2, f))


def fit_blocks(plots: Plots) -> Fit:
    """Fit randomised complete blocks, exactly; with two treatments this is the paired t test.

    Parameters
    ----------
    plots : Plots
        Every treatment once in every block.

    Returns
    -------
    Fit

    Notes
    -----
    y_ij = mean + block_i + treatment_j + error; residual df (n - 1)(k - 1). The grand mean is taken off first, so that
    sums of squares keep their digits when yields are large.

    References
    ----------
    Gomez, K. A. and Gomez, A. A. (1984). Statistical Procedures for Agricultural Research, 2nd ed., section 2.2.
    """
    cells = plots.cells()
    n, k = cells.shape
    origin = float(cells[0, 0])
    shifted = cells - origin
    grand = shifted.mean()
    centred = shifted - grand
    block_effects, treatment_effects = centred.mean(axis=1), centred.mean(axis=0)
    residuals = centred - block_effects[:, None] - treatment_effects[None, :]
    ss_block, ss_treatment = k * float(block_effects @ block_effects), n * float(treatment_effects @ treatment_effects)
    ss_residual = float((residuals**2).sum())
    df = float((n - 1) * (k - 1))
    variance = ss_residual / df
    rows = (
        _factor_row("block", n - 1, ss_block, variance, df),
        _factor_row("treatment", k - 1, ss_treatment, variance, df),
        AnovaRow("residual", df, ss_residual, variance, None, None),
        AnovaRow("total", float(n * k - 1), float((centred**2).sum()), None, None, None),
    )
    fitted = cells - residuals
    return Fit(
        means=treatment_effects + grand + origin,
        covariance=np.eye(k) * variance / n,
        df=np.full((k, k), df),
        df_residual=df,
        variance=variance,
        residuals=residuals[plots.block, plots.treatment],
        fitted=fitted[plots.block, plots.treatment],
        anova=rows,
    )


def fit_unblocked(plots: Plots) -> Fit:
    """Fit strips without blocks: pooled variance, or Welch's test where there are two treatments.

    Parameters
    ----------
    plots : Plots

    Returns
    -------
    Fit

    Notes
    -----
    With two treatments the standard error and its degrees of freedom are Welch's (1947): where variances or strip
    numbers differ the pooled test is wrong, and where they do not Welch's loses next to nothing. The table of variance
    keeps the pooled F. With three and more the pooled variance is used: single treatments have too few strips for a
    variance of their own.
    """
    counts = np.bincount(plots.treatment, minlength=len(plots.treatments)).astype(float)
    k, n = len(counts), len(plots.values)
    origin = float(plots.values[0])
    shifted = plots.values - origin
    grand = shifted.mean()
    centred = shifted - grand
    effects = np.bincount(plots.treatment, centred, minlength=k) / counts
    effects = effects + np.bincount(plots.treatment, centred - effects[plots.treatment], minlength=k) / counts
    residuals = centred - effects[plots.treatment]
    ss_residual, ss_treatment = float(residuals @ residuals), float(counts @ effects**2)
    df_pooled = float(n - k)
    pooled = ss_residual / df_pooled
    rows = (
        _factor_row("treatment", k - 1, ss_treatment, pooled, df_pooled),
        AnovaRow("residual", df_pooled, ss_residual, pooled, None, None),
        AnovaRow("total", float(n - 1), float(centred @ centred), None, None, None),
    )
    variances = np.full(k, pooled) / counts
    df = df_pooled
    if k == 2 and counts.min() > 1:
        variances = np.bincount(plots.treatment, residuals**2, minlength=k) / (counts - 1) / counts
        if variances.sum() > 0:
            df = float(variances.sum() ** 2 / (variances**2 / (counts - 1)).sum())
    return Fit(
        means=effects + grand + origin,
        covariance=np.diag(variances),
        df=np.full((k, k), df),
        df_residual=df_pooled,
        variance=pooled,
        residuals=residuals,
        fitted=plots.values - residuals,
        anova=rows,
    )


def _factor_row(source: str, df: float, ss: float, residual_variance: float, residual_df: float) -> AnovaRow:
    """Give a factor's row with its F test; none where nothing is left to compare with."""
    ms = ss / df
    if residual_variance <= 0:
        return AnovaRow(source, float(df), ss, ms, None, None)
    f = ms / residual_variance
    return AnovaRow(source, float(df), ss, ms, f, f_tail(f, df, residual_df))
