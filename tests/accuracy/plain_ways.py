"""Two plain ways from records to strip yields, for the comparison: as mapped, and cleaned as textbooks teach.

Both know what a person at the desk knows: the header state, the header width as set, the trial map, and whether the
display had shifted the records. Neither is tuned on the invented harvests. Records may carry ``calm_flow_kg_s`` beside
their flow, what the sensor would have said without noise: it is moved along and never looked at.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.spatial import KDTree

from proofstrip.strips import project_along
from proofstrip.units import M2_PER_HA

DELAY_S = 12.0  # a usual fixed delay: 10 to 14 s (common practice); shifts of 8 to 14 s in Beal and Tian 2001
CRAWL_M_S = 0.5
END_M = 20.0  # taken off each end of a strip: a machine fills over some 20 to 30 m (common practice)
FIELD_SD = 3.0
NEIGHBOUR_M = 20.0
NEIGHBOUR_SD = 2.0
LEAST_NEIGHBOURS = 5


def map_yield(points: pd.DataFrame, standard_pct: float) -> "pd.Series[float]":
    """Give the yield of each record as a yield map shows it.

    Parameters
    ----------
    points : pandas.DataFrame
        mass_flow_kg_s, duration_s, moisture_pct, distance_m, swath_m.
    standard_pct : float
        Standard moisture [%].

    Returns
    -------
    pandas.Series of float
        [kg/ha]; NaN where the record has no ground.
    """
    wet = points["mass_flow_kg_s"] * points["duration_s"]
    ground = (points["distance_m"] * points["swath_m"]).where(lambda area: area > 0)
    return wet * (100 - points["moisture_pct"]) / (100 - standard_pct) / ground * M2_PER_HA


def average_points(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, standard_pct: float) -> gpd.GeoDataFrame:
    """Take the records as they are: header down, point in polygon.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        As read.
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the points.
    standard_pct : float
        [%]

    Returns
    -------
    geopandas.GeoDataFrame
        The records used, with strip and yield_kg_ha; a strip's yield is their mean.
    """
    used = points[_cutting(points)]
    used = used.assign(yield_kg_ha=map_yield(used, standard_pct))
    return _in_strips(used[used["yield_kg_ha"].notna()], strips)


def clean_by_textbook(
    points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, standard_pct: float, shifted_s: float
) -> gpd.GeoDataFrame:
    """Clean the records in the usual steps.

    Repeated stamps go; flow and moisture are moved by a fixed 12 s, less what the display has shifted; records with the
    header up, without flow, or at a crawl go; the ends of the strips go; then values more than 3 standard deviations
    from the field's mean; then values more than 2 standard deviations from the mean of their neighbours within 20 m.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        As read.
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the points.
    standard_pct : float
        [%]
    shifted_s : float
        What the display has shifted, as its owner knows [s].

    Returns
    -------
    geopandas.GeoDataFrame
        The records used, with strip and yield_kg_ha; a strip's yield is their mean.

    References
    ----------
    The order follows Simbahan, Dobermann and Ping 2004, Agron. J. 96:1091, and Vega et al. 2019, Precis. Agric.
    20:1030 (abstracts; the limits of 3 and 2 standard deviations are common practice).
    """
    points = points.drop_duplicates(["machine", "time"])
    delay_s = 0.0 if shifted_s else DELAY_S
    moved = pd.concat([_shift(part, delay_s) for _, part in points.groupby("machine", observed=True)])
    moved = moved[_cutting(moved) & (moved["mass_flow_kg_s"] > 0) & (moved["speed_m_s"] > CRAWL_M_S)]
    inside = _in_strips(moved.assign(yield_kg_ha=map_yield(moved, standard_pct)), strips)
    inside = _without_ends(inside[inside["yield_kg_ha"].notna()], strips)
    level, spread = inside["yield_kg_ha"].mean(), inside["yield_kg_ha"].std()
    inside = inside[(inside["yield_kg_ha"] - level).abs() <= FIELD_SD * spread]
    return inside[agrees_with_neighbours(inside)]


def _cutting(points: pd.DataFrame) -> "pd.Series[bool]":
    """Tell which records a display maps: those whose header is not up."""
    return ~(points["header_down"] == False).fillna(False).astype(bool)  # noqa: E712 - three-valued


def _shift(log: gpd.GeoDataFrame, seconds: float) -> gpd.GeoDataFrame:
    """Give each place of one machine the flow and moisture of ``seconds`` later."""
    log = log.sort_values("time", kind="stable")
    time, later = log["time"].to_numpy(), log["time"].to_numpy() + seconds
    names = [name for name in ("mass_flow_kg_s", "moisture_pct", "calm_flow_kg_s") if name in log]
    return log.assign(**{name: np.interp(later, time, log[name], right=np.nan) for name in names})


def _in_strips(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Keep the points in a strip, each once."""
    joined = gpd.sjoin(points, strips[["strip", "geometry"]], predicate="within")
    return joined[~joined.index.duplicated()]


def _without_ends(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Take both ends off the points of each strip."""
    along = project_along(points.assign(cut_easting_m=points.geometry.x, cut_northing_m=points.geometry.y), strips)
    corners = strips[["strip"]].join(strips.geometry.get_coordinates(), how="right")
    corners = corners.rename(columns={"x": "cut_easting_m", "y": "cut_northing_m"})
    ends = project_along(corners, strips).groupby(corners["strip"]).agg(["min", "max"])
    low, high = (points["strip"].map(ends[side]) for side in ("min", "max"))
    return points[along.between(low + END_M, high - END_M)]


def agrees_with_neighbours(points: gpd.GeoDataFrame) -> np.ndarray:
    """Tell which points lie within 2 standard deviations of the mean of all points within 20 m.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        yield_kg_ha.

    Returns
    -------
    array of bool, shape (n,)
        A point with fewer than 5 neighbours passes.
    """
    value = points["yield_kg_ha"].to_numpy()
    place = np.column_stack([points.geometry.x, points.geometry.y])
    pairs = KDTree(place).query_pairs(NEIGHBOUR_M, output_type="ndarray")
    centre, other = np.concatenate([pairs, pairs[:, ::-1]]).T
    count = np.bincount(centre, minlength=len(value))
    # Sums of deviations from the field's mean: the squares of yields themselves would lose digits.
    away = value - value.mean()
    first = np.bincount(centre, away[other], len(value)) / np.maximum(count, 1)
    second = np.bincount(centre, away[other] ** 2, len(value)) / np.maximum(count, 1)
    spread = np.sqrt(np.maximum(second - first**2, 0) * count / np.maximum(count - 1, 1))
    return (count < LEAST_NEIGHBOURS) | (np.abs(away - first) <= NEIGHBOUR_SD * spread)
