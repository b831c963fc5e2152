"""Many comparisons at once: Dunnett's test against a control and Tukey's test of all pairs.

Both are integrals over the residual standard deviation, done here by Gauss-Legendre quadrature over a whole vector of
statistics: the same figures as ``scipy.stats`` to ten digits, and fast enough for thousands of tables.
"""

from collections.abc import Callable
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import interpolate, optimize, special

Floats = NDArray[np.float64]

NODES = 96
NORMAL_REACH = 8.5  # a standard normal value lies outside with a chance below 2e-17
FACTOR_STEPS = 200
MANY_LOADINGS = 8
MANY_VALUES = 400


@cache
def _unit_nodes(count: int) -> tuple[Floats, Floats]:
    """Give Gauss-Legendre nodes and weights on -1 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return np.asarray(nodes), np.asarray(weights)


def legendre_nodes(low: float, high: float, count: int = NODES) -> tuple[Floats, Floats]:
    """Give nodes and weights that integrate from ``low`` to ``high``."""
    nodes, weights = _unit_nodes(count)
    return low + (high - low) * (nodes + 1) / 2, (high - low) / 2 * weights


def normal_nodes() -> tuple[Floats, Floats]:
    """Give nodes and weights that integrate over a standard normal value."""
    z, weights = legendre_nodes(-NORMAL_REACH, NORMAL_REACH)
    return z, weights * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)


@lru_cache(maxsize=4096)
def scale_nodes(df: float) -> tuple[Floats, Floats]:
    """Give nodes and weights that integrate over s / sigma with ``df`` degrees of freedom."""
    low = np.sqrt(2 * special.gammaincinv(df / 2, 1e-16) / df)
    high = np.sqrt(2 * special.gammainccinv(df / 2, 1e-16) / df)
    s, weights = legendre_nodes(float(low), float(high), NODES if df < 20 else NODES // 3)  # the density narrows
    half = df / 2
    log_density = np.log(2.0) + half * np.log(half) - special.gammaln(half) + (df - 1) * np.log(s) - half * s * s
    return s, weights * np.exp(log_density)


def t_tail(t: Floats, df: float | Floats) -> Floats:
    """Give the two-sided p of Student's t."""
    return np.asarray(2 * special.stdtr(df, -np.abs(t)))


def dunnett_tail(t: Floats, df: float, correlation: Floats) -> Floats:
    """Chance that the largest of several |t| against one control exceeds each value.

    Parameters
    ----------
    t : ndarray, shape (m,)
        Statistics.
    df : float
        Degrees of freedom of the shared standard error.
    correlation : ndarray, shape (c, c)
        Of the c contrasts; 0.5 everywhere in complete blocks.

    Returns
    -------
    ndarray, shape (m,)

    Notes
    -----
    Exact where one factor explains the correlations: complete blocks, and any numbers of strips without blocks. In
    incomplete blocks the nearest such correlations are taken (Hsu 1992).

    References
    ----------
    Dunnett, C. W. (1955). A multiple comparison procedure for comparing several treatments with a control.
    Journal of the American Statistical Association 50, 1096-1121.
    Hsu, J. C. (1992). The factor analytic approach to simultaneous inference in the general linear model.
    Journal of Computational and Graphical Statistics 1, 151-168.

    Examples
    --------
    >>> r = np.full((2, 2), 0.5) + 0.5 * np.eye(2)
    >>> dunnett_tail(np.array([2.38]), 20.0, r).round(3)  # Dunnett's table: 2.38 at 5 %
    array([0.05])
    """
    t = np.abs(np.asarray(t, dtype=float))
    if len(correlation) == 1:
        return t_tail(t, df)
    z, z_weights = legendre_nodes(0.0, NORMAL_REACH, NODES // 2)  # the integrand is the same at -z
    z_weights = 2 * z_weights * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    s, s_weights = scale_nodes(df)
    inside = np.ones((len(t), len(s), len(z)))
    bound = t[:, None, None] * s[None, :, None]
    for loading, count in zip(*_group(factor_loadings(correlation)), strict=True):
        rest = np.sqrt(1 - loading**2)
        shift = loading * z[None, None, :]
        inside *= (special.ndtr((shift + bound) / rest) - special.ndtr((shift - bound) / rest)) ** count
    return np.asarray(np.clip(1 - np.einsum("msz,s,z->m", inside, s_weights, z_weights), 0, 1))


def factor_loadings(correlation: Floats) -> Floats:
    """Give l with correlation_ij nearest to l_i l_j off the diagonal: principal-factor iteration."""
    if len(correlation) == 2:
        return np.full(2, np.sqrt(abs(float(correlation[0, 1]))))
    reduced = correlation.copy()
    squares = np.full(len(correlation), 0.5)
    for _ in range(FACTOR_STEPS):
        np.fill_diagonal(reduced, squares)
        values, vectors = np.linalg.eigh(reduced)
        loadings = np.sqrt(max(values[-1], 0.0)) * np.abs(vectors[:, -1])
        moved = np.abs(loadings**2 - squares).max()
        squares = np.minimum(loadings**2, 1 - 1e-6)
        if moved < 1e-12:
            break
    return np.asarray(np.sqrt(squares))


def _group(loadings: Floats) -> tuple[Floats, Floats]:
    """Count equal loadings; of many different ones, those that agree to three decimals are taken as equal."""
    unique, counts = np.unique(loadings.round(12), return_counts=True)
    if len(unique) > MANY_LOADINGS:
        unique, counts = np.unique(loadings.round(3), return_counts=True)
    return unique, counts.astype(float)


def tukey_tail(q: Floats, treatments: int, df: float) -> Floats:
    """Chance that the studentized range of several means exceeds each value.

    Parameters
    ----------
    q : ndarray, shape (m,)
        Difference over the standard error of one mean: sqrt(2) times t.
    treatments : int
        Number of means.
    df : float
        Degrees of freedom.

    Returns
    -------
    ndarray, shape (m,)

    References
    ----------
    Tukey, J. W. (1953), The problem of multiple comparisons; Copenhaver, M. D. and Holland, B. (1988).
    Journal of Statistical Computation and Simulation 30, 1-15 (the integral).
    """
    q = np.abs(np.asarray(q, dtype=float))
    if treatments == 2:
        return t_tail(q / np.sqrt(2), df)
    if len(q) > MANY_VALUES:  # the tail is smooth: a cubic through a fine grid is right to 1e-7
        grid = np.linspace(0.0, float(q.max()), MANY_VALUES)
        return np.clip(interpolate.CubicSpline(grid, tukey_tail(grid, treatments, df))(q), 0, 1)
    z, z_weights = normal_nodes()
    s, s_weights = scale_nodes(df)
    tails = np.empty(len(q))
    for start in range(0, len(q), 64):  # bounds the memory at 200 treatments
        part = q[start : start + 64]
        width = part[:, None, None] * s[None, :, None]
        inside = (special.ndtr(z) - special.ndtr(z[None, None, :] - width)) ** (treatments - 1)
        tails[start : start + 64] = 1 - treatments * np.einsum("msz,s,z->m", inside, s_weights, z_weights)
    return np.clip(tails, 0, 1)


def dunnett_critical(confidence: float, df: float, correlation: Floats) -> float:
    """Value that the largest of several |t| stays below with the chosen confidence."""
    return _dunnett_critical(confidence, df, len(correlation), correlation.round(10).tobytes())


def dunnett_criticals(confidence: float, df: Floats, correlation: Floats) -> Floats:
    """Give the critical value for each of several degrees of freedom.

    Many different ones are interpolated: the value is a smooth function of 1 / df.
    """
    unique = np.unique(df)
    if len(unique) <= 4:
        return np.array([dunnett_critical(confidence, value, correlation) for value in df.tolist()])
    low, high = 1 / unique[-1], 1 / unique[0]
    nodes = (low + high) / 2 + (high - low) / 2 * np.cos(np.pi * np.array([0.5, 1.5, 2.5, 3.5]) / 4)
    values = [dunnett_critical(confidence, 1 / node, correlation) for node in nodes.tolist()]
    return np.asarray(interpolate.BarycentricInterpolator(nodes, values)(1 / df))


@lru_cache(maxsize=4096)
def _dunnett_critical(confidence: float, df: float, contrasts: int, correlation: bytes) -> float:
    """Find it once for each design: many tables, and all tables with one block left out, share theirs."""
    alpha = 1 - confidence
    alone = float(-special.stdtrit(df, alpha / 2))
    if contrasts == 1:
        return alone
    matrix = np.frombuffer(correlation).reshape(contrasts, contrasts)
    bonferroni = float(-special.stdtrit(df, alpha / (2 * contrasts)))
    return _root(lambda t: float(dunnett_tail(np.array([t]), df, matrix)[0]) - alpha, alone, bonferroni)


def _root(excess: Callable[[float], float], low: float, high: float) -> float:
    """Find where a falling tail crosses its level, between the bounds of one comparison and of Bonferroni."""
    low, high = low * 0.999, high * 1.001
    return float(optimize.brentq(excess, low, high, xtol=1e-9, rtol=1e-12))
