"""Strips in one fixed order (A B A B ...): a straight trend along the order is taken out of the comparison.

Where the order was not drawn by lot, a slope of the ground or a drift of the machine looks just like an effect: the
treatment lies, say, always one strip further along. The trend is estimated and taken out, and the p-value rests on
that model instead of on lots.
"""

from dataclasses import replace

import numpy as np
from scipy import special

from proofstrip.stats.design import Plots
from proofstrip.stats.further import Trend
from proofstrip.stats.linear import Fit, Floats, fit_blocks, fit_unblocked
from proofstrip.stats.results import Design

FEWEST_ROUNDS = 6  # with fewer the trend costs more than it gives


def is_systematic(plots: Plots, design: Design) -> bool:
    """Tell whether the treatments follow each other in one fixed order, in ``FEWEST_ROUNDS`` rounds or more.

    Parameters
    ----------
    plots : Plots
    design : str

    Returns
    -------
    bool
        True where every block (without blocks: every round along the field) holds the treatments in the same order.
        Six pairs drawn by lot look like this once in 32 trials. An order turned round in every other block is not
        meant: there a straight trend cancels.
    """
    k = len(plots.treatments)
    if plots.order is None or design not in ("paired", "complete_blocks", "unblocked"):
        return False
    if len(plots.values) % k or len(plots.values) // k < FEWEST_ROUNDS:
        return False
    rounds = plots.treatment[np.argsort(plots.order, kind="stable")].reshape(-1, k)
    if plots.blocks:
        order = replace(plots, values=plots.order).cells()
        rounds = np.argsort(order[np.argsort(order.mean(axis=1))], axis=1)
    return bool((rounds == rounds[0]).all()) and len(set(rounds[0].tolist())) == k


def fit_trend(plots: Plots) -> Fit:
    """Fit treatments and a straight trend along the order.

    Parameters
    ----------
    plots : Plots
        With an order: complete blocks, or no blocks.

    Returns
    -------
    Fit
        Means as they would be at one place.

    Notes
    -----
    In blocks the slope b comes from the block means on their places (it is independent of what differs within blocks)
    and is taken off by the distance of the treatments: d - b (x_t - x_c), with variance s2 (2/n) + (x_t - x_c)^2 var(b)
    and Satterthwaite's df. Without blocks: least squares of treatment and order.

    References
    ----------
    Satterthwaite, F. E. (1946). An approximate distribution of estimates of variance components. Biometrics 2, 110-114.
    """
    if not plots.blocks:
        return _fit_unblocked(plots)
    fit, (slope, variance, df_slope) = fit_blocks(plots), _block_slope(plots)
    away = _mean_places(plots)
    covariance = fit.covariance + variance * np.outer(away, away)
    gap = away[:, None] - away[None, :]
    within, along = fit.standard_errors() ** 2, variance * gap**2
    with np.errstate(invalid="ignore", divide="ignore"):
        df = (within + along) ** 2 / (within**2 / fit.df_residual + along**2 / df_slope)
    np.fill_diagonal(df, fit.df_residual)
    return replace(fit, means=fit.means - slope * away, covariance=covariance, df=df)


def describe_trend(plots: Plots) -> Trend:
    """Say how steep the trend is that was taken out, and what the differences were with it.

    Parameters
    ----------
    plots : Plots
        Systematic ones.

    Returns
    -------
    Trend
    """
    if plots.blocks:
        slope, variance, df = _block_slope(plots)
        means = fit_blocks(plots).means
    else:
        b, spread, variance_left, df = _ancova(plots)
        slope, variance = float(b[-1]), float(variance_left * spread[-1, -1])
        means = fit_unblocked(plots).means
    se = float(np.sqrt(variance))
    p = float(2 * special.stdtr(df, -abs(slope) / se)) if se > 0 else 1.0
    return Trend(slope, se, df, p, dict(zip(plots.treatments[1:], (means[1:] - means[0]).tolist(), strict=True)))


def _mean_places(plots: Plots) -> Floats:
    """Give how far each treatment lies along the order, on average, from the mean place."""
    assert plots.order is not None
    counts = np.bincount(plots.treatment)
    return np.asarray(np.bincount(plots.treatment, plots.order) / counts - plots.order.mean())


def _block_slope(plots: Plots) -> tuple[float, float, float]:
    """Give the slope of block means along the order, its variance and degrees of freedom."""
    assert plots.order is not None
    places = replace(plots, values=plots.order).cells().mean(axis=1)
    means = plots.cells().mean(axis=1)
    x, y = places - places.mean(), means - means.mean()
    slope = float(x @ y) / float(x @ x)
    rest = y - slope * x
    df = float(len(x) - 2)
    return slope, float(rest @ rest) / df / float(x @ x), df


def _ancova(plots: Plots) -> tuple[Floats, Floats, float, float]:
    """Give coefficients of treatments and order, (X'X)^-1, the residual variance and its degrees of freedom."""
    assert plots.order is not None
    k = len(plots.treatments)
    design = np.column_stack([np.eye(k)[plots.treatment], plots.order - plots.order.mean()])
    spread = np.linalg.inv(design.T @ design)
    b = spread @ (design.T @ plots.values)
    rest = plots.values - design @ b
    df = float(len(rest) - k - 1)
    return b, np.asarray(spread), float(rest @ rest) / df, df


def _fit_unblocked(plots: Plots) -> Fit:
    """Fit strips without blocks along their order."""
    assert plots.order is not None
    b, spread, variance, df = _ancova(plots)
    k = len(plots.treatments)
    fitted = b[:k][plots.treatment] + b[k] * (plots.order - plots.order.mean())
    plain = fit_unblocked(plots)
    return replace(
        plain,
        means=b[:k],
        covariance=variance * spread[:k, :k],
        df=np.full((k, k), df),
        df_residual=df,
        variance=variance,
        residuals=plots.values - fitted,
        fitted=fitted,
    )
