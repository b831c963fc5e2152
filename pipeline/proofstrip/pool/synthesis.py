"""Formulas of pooling: random effects over sites, with what few sites need; arrays in, numbers out.

Notation: y, the sites' effects; v, their squared standard errors; tau2, the variance of true effects between sites;
w = 1 / (v + tau2).
"""

from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from proofstrip.pool.variance import (
    Floats,
    fit_weighted,
    tau2_interval,
    tau2_paule_mandel,
    tau2_reml,
    typical_variance,
)

FEWEST_SITES = 3  # below, sites stand side by side: one or two say nothing about the spread between sites
FEWEST_FOR_SLOPE = 4


@dataclass(frozen=True)
class Pooled:
    """One effect over all sites, in the unit of the effects.

    Attributes
    ----------
    estimate, se, low, high : float
        ``se`` by Hartung and Knapp, its factor never below one.
    df : int
        k - 1.
    factor : float
        q before it was held at one: below one, the sites agree better than their standard errors let expect.
    p_value : float
        Two-sided, of no effect.
    tau2, tau2_paule_mandel : float
        By REML (the one used), and by Paule and Mandel as a check on it.
    tau2_low, tau2_high : float
        Q-profile interval.
    q, q_p : float
        Cochran's Q and its p, df k - 1.
    i2_pct, i2_low_pct, i2_high_pct : float
        Share of the spread between effects that is not their standard errors [%], from tau2 and its interval.
    prediction_low, prediction_high : float
        Where the true effect at a site not seen lies.
    prediction_se : float
        sqrt(tau2 + se^2).
    prediction_df : int
        k - 2.
    weights : tuple of float
        Share of each site.
    """

    estimate: float
    se: float
    df: int
    low: float
    high: float
    factor: float
    p_value: float
    tau2: float
    tau2_paule_mandel: float
    tau2_low: float
    tau2_high: float
    q: float
    q_p: float
    i2_pct: float
    i2_low_pct: float
    i2_high_pct: float
    prediction_low: float
    prediction_high: float
    prediction_se: float
    prediction_df: int
    weights: tuple[float, ...]

    def chance_above(self, value: float) -> float:
        """Chance that the true effect at a site not seen exceeds a value: Student's t with k - 2 degrees of freedom."""
        return float(special.stdtr(self.prediction_df, (self.estimate - value) / self.prediction_se))


@dataclass(frozen=True)
class Slope:
    """How the effect moves with a covariate of the sites.

    Attributes
    ----------
    slope, se, low, high : float
        Effect for one unit of the covariate; Knapp and Hartung, the factor never below one.
    df : int
        k - 2.
    p_value : float
    intercept, intercept_se : float
        At a covariate of zero.
    tau2 : float
        Left between sites.
    """

    slope: float
    se: float
    low: float
    high: float
    df: int
    p_value: float
    intercept: float
    intercept_se: float
    tau2: float


def pool_effects(y: Floats, v: Floats, confidence: float) -> Pooled:
    """Pool effects of at least three sites.

    Parameters
    ----------
    y, v : ndarray, shape (k,)
        Effects and their squared standard errors.
    confidence : float
        Of every interval.

    Returns
    -------
    Pooled

    Raises
    ------
    ValueError
        With fewer than three sites.

    Notes
    -----
    se^2 = max(1, q) / sum(w), q = sum(w (y - mu)^2) / (k - 1), with t of k - 1 degrees of freedom; prediction
    mu +- t(k - 2) sqrt(tau2 + se^2).

    References
    ----------
    Hartung, J. and Knapp, G. (2001). Statistics in Medicine 20:1771-1782. Rover, C., Knapp, G. and Friede, T. (2015).
    BMC Medical Research Methodology 15:99 (factor never below one). Higgins, J. P. T., Thompson, S. G. and
    Spiegelhalter, D. J. (2009). Journal of the Royal Statistical Society A 172:137-159 (prediction).

    Examples
    --------
    >>> found = pool_effects(np.array([0.02, 0.05, 0.03]), np.array([1e-4, 1e-4, 1e-4]), 0.90)
    >>> round(found.estimate, 4), found.df
    (0.0333, 2)
    """
    k = len(y)
    if k < FEWEST_SITES:
        raise ValueError(f"{k} sites; pooling needs {FEWEST_SITES}")
    one = np.ones((k, 1))
    tau2 = tau2_reml(y, v, one)
    low2, high2 = tau2_interval(y, v, one, confidence)
    fit = fit_weighted(y, v, one, tau2)
    estimate, factor = float(fit.estimate[0]), fit.residual_square / (k - 1)
    se = float(np.sqrt(max(1.0, factor) * fit.covariance[0, 0]))
    reach = float(stats.t.ppf((1 + confidence) / 2, k - 1)) * se
    spread = float(np.sqrt(tau2 + se**2))
    far = float(stats.t.ppf((1 + confidence) / 2, k - 2)) * spread
    q = fit_weighted(y, v, one, 0.0).residual_square
    i2, i2_low, i2_high = (100 * part / (part + typical_variance(v)) for part in (tau2, low2, high2))
    weight = 1 / (v + tau2)
    return Pooled(
        estimate=estimate,
        se=se,
        df=k - 1,
        low=estimate - reach,
        high=estimate + reach,
        factor=factor,
        p_value=float(2 * special.stdtr(k - 1, -abs(estimate) / se)),
        tau2=tau2,
        tau2_paule_mandel=tau2_paule_mandel(y, v, one),
        tau2_low=low2,
        tau2_high=high2,
        q=q,
        q_p=float(special.chdtrc(k - 1, q)),
        i2_pct=i2,
        i2_low_pct=i2_low,
        i2_high_pct=i2_high,
        prediction_low=estimate - far,
        prediction_high=estimate + far,
        prediction_se=spread,
        prediction_df=k - 2,
        weights=tuple((weight / weight.sum()).tolist()),
    )


def fit_slope(y: Floats, v: Floats, covariate: Floats, confidence: float) -> Slope:
    """Regress effects on one covariate of the sites.

    Parameters
    ----------
    y, v, covariate : ndarray, shape (k,)
        At least four sites, and a covariate that is not the same at all of them.
    confidence : float

    Returns
    -------
    Slope

    References
    ----------
    Knapp, G. and Hartung, J. (2003). Statistics in Medicine 22:2693-2710.
    """
    df = len(y) - 2
    design = np.column_stack([np.ones(len(y)), covariate])
    tau2 = tau2_reml(y, v, design)
    fit = fit_weighted(y, v, design, tau2)
    errors = np.sqrt(max(1.0, fit.residual_square / df) * np.diag(fit.covariance))
    slope, se = float(fit.estimate[1]), float(errors[1])
    reach = float(stats.t.ppf((1 + confidence) / 2, df)) * se
    p = float(2 * special.stdtr(df, -abs(slope) / se))
    return Slope(slope, se, slope - reach, slope + reach, df, p, float(fit.estimate[0]), float(errors[0]), tau2)
