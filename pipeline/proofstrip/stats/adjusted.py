"""Blocks, combines and treatments in one least-squares model.

What one combine reads high or low against another is taken out of the strips' yields together with the blocks, and
costs the degrees of freedom and the certainty that it must.
"""

from typing import Literal

import numpy as np
from scipy import linalg

from proofstrip.stats.design import Plots
from proofstrip.stats.linear import Fit, Floats, f_tail
from proofstrip.stats.results import AnovaRow

# Less than this of one strip, cut by another combine, is a strip's end: too little to tell an offset by, or to matter.
SMALLEST_SHARE = 0.2
Mix = Literal["one", "balanced", "estimable", "confounded"]


def judge_mix(plots: Plots) -> Mix:
    """Tell what several combines do to a comparison of treatments.

    Parameters
    ----------
    plots : Plots
        With ``machines``, or without where one combine cut everything.

    Returns
    -------
    str
        ``one`` combine; ``balanced``: all strips of a block were cut by the same combines in the same shares, so that
        their readings cancel, or they cancel over few blocks; ``estimable``: they do not cancel, and can be told apart
        from blocks and treatments; ``confounded``: they cannot, or nothing would be left to judge a difference by.
    """
    if plots.machines is None:
        return "one"
    blocks, treatments = _columns(plots)
    own = beyond(plots.machines, blocks)
    if own.shape[1] == 0:
        return "balanced"
    left = beyond(treatments, np.hstack([blocks, own]))
    df = len(plots.values) - blocks.shape[1] - own.shape[1] - treatments.shape[1]
    if left.shape[1] == treatments.shape[1] and df > 0:
        return "estimable"
    within = treatments - blocks @ linalg.lstsq(blocks, treatments)[0]
    return "balanced" if np.abs(own.T @ within).max() < SMALLEST_SHARE else "confounded"


def _columns(plots: Plots) -> tuple[Floats, Floats]:
    """Give a column for each block (one for all without blocks) and for each treatment but the control."""
    blocks = np.eye(max(len(plots.blocks), 1))[plots.block]
    return blocks, np.eye(len(plots.treatments))[plots.treatment][:, 1:]


def beyond(columns: Floats, base: Floats, least: float = SMALLEST_SHARE) -> Floats:
    """Give what columns hold beyond a base, as columns at right angles to it and to each other.

    Parameters
    ----------
    columns : ndarray, shape (n, a)
    base : ndarray, shape (n, b)
    least : float
        A direction in which less than this is left, as the root of a sum of squares, counts as nothing.

    Returns
    -------
    ndarray, shape (n, at most a)
        Of length one each.

    Examples
    --------
    >>> ones, half = np.ones((4, 1)), np.array([[0.0], [0], [1], [1]])
    >>> beyond(half, ones).shape, beyond(ones, ones).shape
    ((4, 1), (4, 0))
    """
    rest = columns - base @ linalg.lstsq(base, columns)[0]
    vectors, sizes, _ = linalg.svd(rest, full_matrices=False)
    kept: Floats = vectors[:, sizes > least]
    return kept


def fit_adjusted(plots: Plots) -> Fit:
    """Fit blocks, combines and treatments, all fixed.

    Parameters
    ----------
    plots : Plots
        With ``machines`` that ``judge_mix`` calls estimable, or balanced (then they cancel).

    Returns
    -------
    Fit
        Means are of all blocks alike, at each block's mean mix of combines. The table of variance takes the sources in
        the order block, combine, treatment, each after the ones before it.

    Notes
    -----
    y = block + sum of shares x combine + treatment + error, by ordinary least squares.
    """
    blocks, treatments = _columns(plots)
    machines = np.zeros((len(blocks), 0)) if plots.machines is None else beyond(plots.machines, blocks)
    origin = float(plots.values[0])
    y = plots.values - origin
    matrix = np.hstack([blocks, machines, treatments])
    inverse = linalg.pinv(matrix.T @ matrix)
    coefficients = inverse @ matrix.T @ y
    residuals = y - matrix @ coefficients
    df = float(len(y) - matrix.shape[1])
    variance = float(residuals @ residuals) / df
    k, n_blocks = len(plots.treatments), blocks.shape[1]
    pick = np.zeros((k, matrix.shape[1]))
    pick[:, :n_blocks] = 1 / n_blocks
    pick[1:, -(k - 1) :] = np.eye(k - 1)
    parts = (("block", blocks), ("combine", machines), ("treatment", treatments))
    return Fit(
        means=pick @ coefficients + origin,
        covariance=variance * pick @ inverse @ pick.T,
        df=np.full((k, k), df),
        df_residual=df,
        variance=variance,
        residuals=residuals,
        fitted=plots.values - residuals,
        anova=_anova(y, parts, float(residuals @ residuals), df),
    )


def _anova(y: Floats, parts: tuple[tuple[str, Floats], ...], ss_residual: float, df: float) -> tuple[AnovaRow, ...]:
    """Give what each source explains after the ones before it."""
    base = np.ones((len(y), 1))
    left = total = float(((y - y.mean()) ** 2).sum())
    rows = []
    for source, columns in parts:
        base = np.hstack([base, columns])
        rest = y - base @ linalg.lstsq(base, y)[0]
        ss, left = left - float(rest @ rest), float(rest @ rest)
        own = float(columns.shape[1] - (source == "block"))
        if own > 0:
            f = ss / own / (ss_residual / df) if ss_residual > 0 else None
            rows.append(AnovaRow(source, own, ss, ss / own, f, None if f is None else f_tail(f, own, df)))
    rows.append(AnovaRow("residual", df, ss_residual, ss_residual / df, None, None))
    return (*rows, AnovaRow("total", float(len(y) - 1), total, None, None, None))


def take_out(plots: Plots) -> Plots:
    """Give the plots as they would be if all combines read alike, each block keeping its mean.

    Parameters
    ----------
    plots : Plots

    Returns
    -------
    Plots
        Without ``machines``.
    """
    if plots.machines is None:
        return plots
    blocks, treatments = _columns(plots)
    own = beyond(plots.machines, blocks)
    matrix = np.hstack([blocks, own, treatments])
    part = linalg.lstsq(matrix, plots.values)[0][blocks.shape[1] : blocks.shape[1] + own.shape[1]]
    return plots.with_values(plots.values - own @ part)
