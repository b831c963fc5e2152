"""Formulas of the variance between sites, and of the variance of each site; arrays in, numbers out.

Notation: y, the sites' effects; v, their squared standard errors; tau2, the variance of true effects between sites.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Weighted:
    """Weighted least squares at a given variance between sites.

    Attributes
    ----------
    estimate : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        From the weights alone, before the factor.
    residual_square : float
        Weighted sum of squared residuals: Q where tau2 is zero.
    """

    estimate: Floats
    covariance: Floats
    residual_square: float


def fit_weighted(y: Floats, v: Floats, design: Floats, tau2: float) -> Weighted:
    """Fit by weights 1 / (v + tau2).

    Parameters
    ----------
    y, v : ndarray, shape (k,)
    design : ndarray, shape (k, p)
    tau2 : float

    Returns
    -------
    Weighted
    """
    weight = 1 / (v + tau2)
    covariance = np.asarray(np.linalg.inv(design.T @ (design * weight[:, None])), dtype=np.float64)
    estimate = covariance @ (design.T @ (weight * y))
    return Weighted(estimate, covariance, float(weight @ (y - design @ estimate) ** 2))


def tau2_paule_mandel(y: Floats, v: Floats, design: Floats) -> float:
    """Variance between sites at which the weighted squares equal their degrees of freedom.

    Parameters
    ----------
    y, v : ndarray, shape (k,)
    design : ndarray, shape (k, p)

    Returns
    -------
    float

    References
    ----------
    Paule, R. C. and Mandel, J. (1982). Consensus values and weighting factors. J. Res. NBS 87:377-385.
    """
    return _where_q_is(float(len(y) - design.shape[1]), y, v, design)


def tau2_interval(y: Floats, v: Floats, design: Floats, confidence: float) -> tuple[float, float]:
    """Q-profile interval of the variance between sites.

    Parameters
    ----------
    y, v : ndarray, shape (k,)
    design : ndarray, shape (k, p)
    confidence : float

    Returns
    -------
    tuple of float
        An end is zero where even no variance is too much.

    References
    ----------
    Viechtbauer, W. (2007). Confidence intervals for the amount of heterogeneity. Statistics in Medicine 26:37-52.
    """
    df = len(y) - design.shape[1]
    tails = special.chdtri(df, np.array([(1 - confidence) / 2, (1 + confidence) / 2]))
    low, high = (_where_q_is(float(target), y, v, design) for target in tails)
    return low, high


def _where_q_is(target: float, y: Floats, v: Floats, design: Floats) -> float:
    """Find the tau2 at which the weighted squares, which fall with it, reach a value; zero where they start below."""

    def excess(tau2: float) -> float:
        return fit_weighted(y, v, design, tau2).residual_square - target

    if excess(0.0) <= 0:
        return 0.0
    top = float(np.var(y) + v.max())
    while excess(top) > 0:
        top *= 4
    return _root(excess, 0.0, top)


def tau2_reml(y: Floats, v: Floats, design: Floats) -> float:
    """Variance between sites by restricted maximum likelihood.

    Parameters
    ----------
    y, v : ndarray, shape (k,)
    design : ndarray, shape (k, p)

    Returns
    -------
    float

    Notes
    -----
    The likelihood may have several peaks: where its slope turns from up to down on a grid, the root of the slope is
    found, and the highest peak counts, zero among them.

    References
    ----------
    Viechtbauer, W. (2005). Bias and efficiency of meta-analytic variance estimators in the random-effects model.
    Journal of Educational and Behavioral Statistics 30:261-293.
    """

    def slope(tau2: float) -> float:
        return _reml(y, v, design, tau2)[1]

    reach = float(np.var(y, ddof=1) + v.max())
    grid = np.r_[0.0, reach * np.logspace(-6, 2, 49)]
    slopes = [slope(float(tau2)) for tau2 in grid]
    peaks = [0.0] if slopes[0] <= 0 else []
    for left, right, up, down in zip(grid, grid[1:], slopes, slopes[1:], strict=False):
        if up > 0 >= down:
            peaks.append(_root(slope, float(left), float(right)))
    return max(peaks, key=lambda tau2: _reml(y, v, design, tau2)[0])


def _reml(y: Floats, v: Floats, design: Floats, tau2: float) -> tuple[float, float]:
    """Restricted log-likelihood without its constant, and its slope in tau2."""
    weight = 1 / (v + tau2)
    fit = fit_weighted(y, v, design, tau2)
    residual = weight * (y - design @ fit.estimate)
    _, log_det = np.linalg.slogdet(fit.covariance)
    height = 0.5 * (np.log(weight).sum() + log_det - fit.residual_square)
    trace = weight.sum() - np.trace(fit.covariance @ (design.T @ (design * (weight**2)[:, None])))
    return float(height), float(0.5 * (residual @ residual - trace))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Find a zero between two ends of different sign."""
    return float(optimize.brentq(function, low, high, xtol=1e-16 + 1e-13 * high, rtol=1e-13))


def typical_variance(v: Floats) -> float:
    """Give the squared standard error that sites typically have.

    Parameters
    ----------
    v : ndarray, shape (k,)

    Returns
    -------
    float

    References
    ----------
    Higgins, J. P. T. and Thompson, S. G. (2002). Statistics in Medicine 21:1539-1558, equation 9.

    Examples
    --------
    >>> typical_variance(np.array([4.0, 4.0, 4.0]))
    4.0
    """
    w = 1 / v
    return float((len(v) - 1) * w.sum() / (w.sum() ** 2 - (w**2).sum()))


def share_variance(v: Floats, df: Floats, pairs: Floats) -> tuple[Floats, float]:
    """Give every site the scatter of all sites together, for standard errors that stand on few pairs.

    Parameters
    ----------
    v, df : ndarray, shape (k,)
        Squared standard errors and their degrees of freedom.
    pairs : ndarray, shape (k,)
        By which the scatter of a pair is divided in v.

    Returns
    -------
    tuple of ndarray and float
        The new v, and Bartlett's p of equal scatter: small where sharing is not fair.

    References
    ----------
    Snedecor, G. W. and Cochran, W. G. (1989). Statistical Methods, 8th ed., section 13.10 (Bartlett's test).
    """
    scatter = v * pairs
    total = float(df.sum())
    shared = float(df @ scatter) / total
    k = len(v)
    chi2 = total * np.log(shared) - float(df @ np.log(scatter))
    correction = 1 + (float((1 / df).sum()) - 1 / total) / (3 * (k - 1))
    return shared / pairs, float(special.chdtrc(k - 1, max(chi2 / correction, 0.0)))
