"""The difference with spatially correlated errors: another model of the same harvest, beside the headline.

Every strip is cut into cells. Cells that lie near each other resemble each other, and all cells of one strip share
what its pass did to the sensor; the model estimates how much of each there is.
"""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import scipy.linalg
import scipy.optimize
import scipy.stats
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from threadpoolctl import threadpool_limits

from proofstrip.along import field_axis
from proofstrip.strips import NO_BLOCK
from proofstrip.units import log_ratio_pct

Floats = NDArray[np.float64]

MOST_CELLS = 160  # the work grows with their cube
SHORTEST_CELL_M = 20.0
LEAST_CELL_SHARE = 0.5


@dataclass(frozen=True)
class SpatialFit:
    """One treatment against the control under spatially correlated errors.

    Attributes
    ----------
    treatment : str
    difference_pct, low_pct, high_pct : float
        From the log ratio [%].
    range_m : float
        Distance at which the correlation of neighbouring ground has fallen to 0.05 [m].
    pass_share : float
        Share of the variance that all cells of a strip have in common.
    df : int
        Strips less what was estimated from them: cells are no replicates.
    """

    treatment: str
    difference_pct: float
    low_pct: float
    high_pct: float
    range_m: float
    pass_share: float
    df: int


def fit_spatial(
    points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, control: str, confidence: float
) -> tuple[SpatialFit, ...]:
    """Fit log yields of cells: treatments, blocks, a random effect of the strip, exponential correlation, noise.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        With strip, usable, standard_mass_kg, area_m2, cut_easting_m and cut_northing_m.
    strips : geopandas.GeoDataFrame
        strip, treatment, block and polygons, in the CRS of the points.
    control : str
    confidence : float

    Returns
    -------
    tuple of SpatialFit
        Empty where strips leave fewer than two degrees of freedom.

    Notes
    -----
    Cov = s2 (a J_strip + b exp(-d / r) + (1 - a - b) I), by REML; t intervals with the degrees of freedom of strips.

    References
    ----------
    Cressie, N. (1993). Statistics for Spatial Data, section 2.6 (REML); Brownie, C. and Gumpertz, M. L. (1997). JABES
    2(2):180-208 (correlated errors in field trials).
    """
    cells = make_cells(points, strips)
    names = [control, *(str(name) for name in pd.unique(strips["treatment"]) if name != control)]
    treatment = pd.Categorical(cells["treatment"], categories=names).codes
    block = pd.factorize(cells["block"])[0]
    strip = pd.factorize(cells["strip"])[0]
    design = np.column_stack([np.eye(len(names))[treatment][:, 1:], np.eye(block.max(initial=0) + 1)[block]])
    by_strip = np.unique(np.column_stack([strip, design]), axis=0)
    df = len(np.unique(strip)) - int(np.linalg.matrix_rank(design)) if len(cells) else 0
    if df < 2 or np.linalg.matrix_rank(design) < design.shape[1] or len(by_strip) != len(np.unique(strip)):
        return ()
    apart = cdist(cells[["easting_m", "northing_m"]], cells[["easting_m", "northing_m"]])
    model = _Model(np.log(cells["yield"].to_numpy(dtype=np.float64)), design, strip[:, None] == strip[None, :], apart)
    # Matrices this small lose far more by waiting for a second core than they gain.
    with threadpool_limits(limits=1):
        best = model.fit()
        effect, covariance = model.solve(best)
    reach = scipy.stats.t.ppf((1 + confidence) / 2, df)
    pass_share, range_m = model.describe(best)
    return tuple(
        SpatialFit(
            name,
            *_percents(float(effect[k]), float(reach * np.sqrt(covariance[k, k]))),
            range_m,
            pass_share,
            df,
        )
        for k, name in enumerate(names[1:])
    )


def _percents(effect: float, reach: float) -> tuple[float, float, float]:
    """Turn a log ratio and its reach into per cent: middle, low, high."""
    return log_ratio_pct(effect), log_ratio_pct(effect - reach), log_ratio_pct(effect + reach)


def make_cells(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> pd.DataFrame:
    """Cut the strips into cells of equal length, some 160 in all at most.

    Parameters
    ----------
    points, strips : geopandas.GeoDataFrame
        As for ``fit_spatial``.

    Returns
    -------
    pandas.DataFrame
        strip, treatment, block, yield [kg/m2], easting_m, northing_m: a row a cell.
    """
    axis = field_axis(strips)
    used = points[points["usable"] & points["strip"].notna() & (points["area_m2"] > 0)]
    along = used["cut_easting_m"] * axis[0] + used["cut_northing_m"] * axis[1]
    total = float((along.groupby(used["strip"]).max() - along.groupby(used["strip"]).min()).sum())
    cell_m = max(SHORTEST_CELL_M, total / MOST_CELLS)
    parts = pd.DataFrame(
        {
            "strip": used["strip"],
            "cell": (along - along.min()) // cell_m,
            "mass": used["standard_mass_kg"],
            "area": used["area_m2"],
            "east": used["cut_easting_m"] * used["area_m2"],
            "north": used["cut_northing_m"] * used["area_m2"],
        }
    )
    sums = parts.groupby(["strip", "cell"], sort=True)[["mass", "area", "east", "north"]].sum().reset_index()
    sums = sums[(sums["area"] > LEAST_CELL_SHARE * sums["area"].median()) & (sums["mass"] > 0)]
    label = strips.set_index("strip")
    return pd.DataFrame(
        {
            "strip": sums["strip"],
            "treatment": sums["strip"].map(label["treatment"]),
            "block": sums["strip"].map(label["block"]).fillna(NO_BLOCK),
            "yield": sums["mass"] / sums["area"],
            "easting_m": sums["east"] / sums["area"],
            "northing_m": sums["north"] / sums["area"],
        }
    )


class _Model:
    """REML of a linear model whose covariance has three parts: strip, neighbourhood, noise."""

    def __init__(self, values: Floats, design: Floats, same_strip: NDArray[np.bool_], apart: Floats) -> None:
        self.values, self.design, self.same, self.apart = values, design, same_strip.astype(np.float64), apart

    def _shares(self, at: Floats) -> tuple[float, float, float, float]:
        """Turn three free numbers into shares of strip, neighbourhood and noise, and the range's scale [m]."""
        weight = np.exp(np.clip([at[0], at[1], 0.0], -12, 12))
        strip, near, noise = weight / weight.sum()
        return float(strip), float(near), float(noise), float(np.exp(np.clip(at[2], 0.7, 7.0)))

    def _whiten(self, at: Floats) -> tuple[Floats, Floats, float]:
        """Decorrelate values and design; and the log determinant of the correlation."""
        strip, near, noise, scale = self._shares(at)
        correlation = strip * self.same + near * np.exp(-self.apart / scale)
        correlation[np.diag_indices_from(correlation)] += noise + 1e-9
        root = np.linalg.cholesky(correlation)
        both = scipy.linalg.solve_triangular(root, np.column_stack([self.values, self.design]), lower=True)
        return both[:, 0], both[:, 1:], 2 * float(np.log(np.diag(root)).sum())

    def _deviance(self, at: Floats) -> float:
        """Minus twice the restricted log likelihood, the scale profiled out."""
        values, design, log_det = self._whiten(at)
        orthogonal, upper = np.linalg.qr(design)
        rest = values - orthogonal @ (orthogonal.T @ values)
        free = len(values) - design.shape[1]
        return float(log_det + 2 * np.log(np.abs(np.diag(upper))).sum() + free * np.log(rest @ rest / free))

    def fit(self) -> Floats:
        """Find the best shares and range."""
        start = np.array([-1.0, 1.0, 3.0])
        found = scipy.optimize.minimize(
            self._deviance, start, method="Nelder-Mead", options={"maxiter": 200, "xatol": 0.02, "fatol": 0.005}
        )
        return np.asarray(found.x, dtype=np.float64)

    def solve(self, at: Floats) -> tuple[Floats, Floats]:
        """Give the estimates and their covariance."""
        values, design, _ = self._whiten(at)
        inverse = np.linalg.inv(design.T @ design)
        estimate = inverse @ design.T @ values
        rest = values - design @ estimate
        return estimate, inverse * float(rest @ rest) / (len(values) - design.shape[1])

    def describe(self, at: Floats) -> tuple[float, float]:
        """Give the share of the strip and the distance at which correlation is 0.05 [m]."""
        strip, _, _, scale = self._shares(at)
        return strip, scale * float(np.log(20))
