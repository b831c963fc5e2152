"""Incomplete blocks: treatments fixed, blocks random, fitted by REML with Kenward-Roger standard errors and df.

References
----------
Patterson, H. D. and Thompson, R. (1971). Recovery of inter-block information when block sizes are unequal.
Biometrika 58, 545-554 (REML).
Kenward, M. G. and Roger, J. H. (1997). Small sample inference for fixed effects from restricted maximum likelihood.
Biometrics 53, 983-997.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from proofstrip.stats.design import Plots
from proofstrip.stats.linear import Fit, f_tail
from proofstrip.stats.results import AnovaRow

Floats = NDArray[np.float64]

LARGEST_RATIO = 1e8  # block variance over residual variance; beyond, blocks are as good as fixed


@dataclass(frozen=True)
class _Blocks:
    """Design and data as small matrices: V = residual variance x (I + ratio Z Z')."""

    y: Floats
    X: Floats
    Z: Floats

    @property
    def sizes(self) -> Floats:
        """Give the number of plots in each block."""
        return np.asarray(self.Z.sum(axis=0))

    def has_scatter(self, size: float) -> bool:
        """Tell whether blocks and treatments leave more than the rounding of numbers of this size."""
        design = np.hstack([self.X, self.Z])
        rest = self.y - design @ np.linalg.lstsq(design, self.y, rcond=None)[0]
        return bool(np.abs(rest).max() > 64 * float(np.finfo(float).eps) * size)

    def solve(self, ratio: float, right: Floats) -> Floats:
        """Give (I + ratio Z Z')^-1 times ``right``; the inverse is known block by block."""
        weights = ratio / (1 + ratio * self.sizes)
        per_block = self.Z.T @ right
        scaled = weights * per_block if right.ndim == 1 else weights[:, None] * per_block
        return np.asarray(right - self.Z @ scaled)

    def estimate(self, ratio: float) -> tuple[Floats, Floats, Floats]:
        """Give the treatment means, (X' V^-1 X)^-1 and V^-1 (y - X b) for a residual variance of 1."""
        weighted = self.solve(ratio, self.X)
        inverse = np.linalg.inv(self.X.T @ weighted)
        beta = inverse @ (weighted.T @ self.y)
        return beta, np.asarray(inverse), self.solve(ratio, self.y - self.X @ beta)

    def score(self, ratio: float) -> float:
        """Slope of minus twice the profile REML log-likelihood in the variance ratio."""
        _, inverse, scaled = self.estimate(ratio)
        weighted = self.Z.T @ self.solve(ratio, self.X)
        trace = float(
            (self.sizes / (1 + ratio * self.sizes)).sum() - np.einsum("ij,jk,ik->", weighted, inverse, weighted)
        )
        block_sums = self.Z.T @ scaled
        df = len(self.y) - self.X.shape[1]
        return float(trace - df * (block_sums @ block_sums) / (self.y @ scaled))


def fit_mixed(plots: Plots) -> Fit:
    """Fit y = treatment + random block + error by REML.

    Parameters
    ----------
    plots : Plots
        With blocks, in which not every treatment need occur.

    Returns
    -------
    Fit
        Means as if every treatment stood in every block; covariance and df after Kenward and Roger.
    """
    origin = float(plots.values.mean())
    design = _Blocks(
        plots.values - origin,
        np.eye(len(plots.treatments))[plots.treatment],
        np.eye(len(plots.blocks))[plots.block],
    )
    if not design.has_scatter(float(np.abs(plots.values).max())):
        return _without_scatter(design, origin)
    ratio = estimate_ratio(design)
    beta, _, scaled = design.estimate(ratio)
    df_fixed = len(design.y) - design.X.shape[1]
    variance = float(design.y @ scaled) / df_fixed
    small = _KenwardRoger.of(design, ratio, variance)
    k = len(beta)
    df = np.full((k, k), np.nan)
    for i in range(k):
        for j in range(i):
            contrast = np.zeros(k)
            contrast[i], contrast[j] = 1.0, -1.0
            df[i, j] = df[j, i] = small.df(contrast)
    f, df1, df2 = map(float, small.f_test(beta, np.hstack([-np.ones((k - 1, 1)), np.eye(k - 1)]).T))
    rows = (
        AnovaRow("treatment", df1, None, None, f, f_tail(f, df1, df2)),
        AnovaRow("block (random)", float(len(plots.blocks) - 1), None, None, None, None),
        AnovaRow("residual", df2, None, variance, None, None),
    )
    block_effects = ratio * (design.Z.T @ scaled)
    fitted = design.X @ beta + design.Z @ block_effects
    return Fit(
        means=beta + origin,
        covariance=small.covariance,
        df=df,
        df_residual=df2,
        variance=variance,
        residuals=design.y - fitted,
        fitted=fitted + origin,
        anova=rows,
        block_variance=ratio * variance,
    )


def _without_scatter(design: _Blocks, origin: float) -> Fit:
    """Give the means alone where blocks and treatments explain every digit: there is nothing to judge by."""
    beta, _, _ = design.estimate(LARGEST_RATIO)
    k, n = len(beta), len(design.y)
    none = np.full((k, k), np.nan)
    return Fit(beta + origin, np.zeros((k, k)), none, np.nan, 0.0, np.zeros(n), design.y + origin, (), 0.0)


def estimate_ratio(design: _Blocks) -> float:
    """Find block variance over residual variance where the REML slope is zero; 0 when blocks add nothing."""
    if design.score(0.0) >= 0:
        return 0.0
    high = 1.0
    while design.score(high) < 0:
        high *= 4
        if high > LARGEST_RATIO:
            return LARGEST_RATIO
    return float(optimize.brentq(design.score, 0.0, high, xtol=1e-14, rtol=1e-13))


@dataclass(frozen=True)
class _KenwardRoger:
    """Small-sample covariance of the means, and what the degrees of freedom need."""

    plain: Floats
    covariance: Floats
    P: tuple[Floats, Floats]
    W: Floats

    @classmethod
    def of(cls, design: _Blocks, ratio: float, variance: float) -> "_KenwardRoger":
        """Work out equations (4) to (6) of Kenward and Roger for the two variances: block and residual."""
        X, Z, sizes = design.X, design.Z, design.sizes
        H = design.solve(ratio, X) / variance  # V^-1 X
        by_block = Z.T @ H
        plain = np.asarray(np.linalg.inv(X.T @ H), dtype=np.float64)
        inside = 1 / (1 + ratio * sizes)  # eigenvalue of the block mean, residual variance 1
        VZ = design.solve(ratio, Z @ by_block) / variance
        VH = design.solve(ratio, H) / variance
        P = (-by_block.T @ by_block, -H.T @ H)
        Q = ((by_block.T @ (Z.T @ VZ), VZ.T @ H), (H.T @ VZ, H.T @ VH))
        traces = (
            np.array(
                [
                    [((sizes * inside) ** 2).sum(), (sizes * inside**2).sum()],
                    [(sizes * inside**2).sum(), (sizes - 1 + inside**2).sum()],
                ]
            )
            / variance**2
        )
        information = np.empty((2, 2))
        for i in range(2):
            for j in range(2):
                information[i, j] = (
                    traces[i, j] - 2 * np.trace(plain @ Q[i][j]) + np.trace(plain @ P[i] @ plain @ P[j])
                ) / 2
        W = np.asarray(np.linalg.inv(information), dtype=np.float64)
        bias = sum(W[i, j] * (Q[i][j] - P[i] @ plain @ P[j]) for i in range(2) for j in range(2))
        return cls(plain, plain + 2 * plain @ bias @ plain, P, W)

    def df(self, contrast: Floats) -> float:
        """Give the degrees of freedom of one contrast."""
        variance = float(contrast @ self.plain @ contrast)
        half = self.plain @ contrast
        slope = np.array([half @ P @ half for P in self.P])
        return float(2 * variance**2 / (slope @ self.W @ slope))

    def f_test(self, beta: Floats, L: Floats) -> tuple[float, int, float]:
        """Give the scaled F of several contrasts, its numerator and its denominator degrees of freedom."""
        q = L.shape[1]
        contrast = L.T @ beta
        f = float(contrast @ np.linalg.solve(L.T @ self.covariance @ L, contrast)) / q
        if q == 1:
            return f, 1, self.df(L[:, 0])
        theta = L @ np.linalg.solve(L.T @ self.plain @ L, L.T)
        M = [theta @ self.plain @ P @ self.plain for P in self.P]
        a1 = sum(self.W[i, j] * np.trace(M[i]) * np.trace(M[j]) for i in range(2) for j in range(2))
        a2 = sum(self.W[i, j] * np.trace(M[i] @ M[j]) for i in range(2) for j in range(2))
        b = (a1 + 6 * a2) / (2 * q)
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        c1, c2, c3 = (np.array([g, q - g, q + 2 - g]) / (3 * q + 2 * (1 - g))).tolist()
        # E* = 1 / (1 - A2/q) and V* are mean and variance of the scaled F; rho = V* / (2 E*^2).
        below = (1 - c2 * b) ** 2 * (1 - c3 * b)
        rho = (1 - a2 / q) ** 2 * (1 + c1 * b) / (q * below) if below != 0 else np.inf
        df2 = 4 + (q + 2) / (q * rho - 1) if q * rho != 1 else 0.0
        if df2 <= 2:  # so few strips that F has no mean to match: fall back on the contrasts' own df
            return f, q, min(self.df(L[:, column]) for column in range(q))
        scale = df2 * (1 - a2 / q) / (df2 - 2)
        return f * scale, q, float(df2)
