"""Whose ground each record harvested: strip, treatment and block from the trial map.

The swath is laid on the map, not its centre: a map that is shifted by half a header still puts each centre in its
own strip, and nothing would look wrong.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from proofstrip.config import StripsPart
from proofstrip.errors import DataError
from proofstrip.flags import Flag, add_flag

# Places across the cut width at which the map is asked; odd, so that one is the middle.
ACROSS = 9


def assign_strips(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, settings: StripsPart) -> gpd.GeoDataFrame:
    """Give each record the strip that most of its cut lies on.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        cut_easting_m, cut_northing_m, heading_deg, swath_m, flags; a projected CRS.
    strips : geopandas.GeoDataFrame
        strip, treatment, block and polygons, in any CRS.
    settings : StripsPart
        ``max_other_share``.

    Returns
    -------
    geopandas.GeoDataFrame
        With strip, treatment and block added; outside_strip and straddle flagged.

    Raises
    ------
    DataError
        When map and records do not overlap; prints both extents.
    """
    strips = strips.to_crs(points.crs)
    _check_overlap(points, strips)
    inside = _lay_swaths(points, strips)
    share = np.stack([(inside == k).mean(axis=1) for k in range(len(strips))], axis=1)
    own = share.argmax(axis=1)
    middle = inside[:, ACROSS // 2]
    outside = (share.max(axis=1) == 0) | (middle < 0)
    treatment = strips["treatment"].to_numpy()
    other = np.zeros(len(points))
    for k in range(len(strips)):
        other += np.where(treatment[k] != treatment[own], share[:, k], 0.0)
    place = pd.Series(np.where(outside, -1, own), index=points.index)
    straddle = pd.Series(~outside & (other > settings.max_other_share), index=points.index)
    flags = add_flag(points["flags"], place < 0, Flag.OUTSIDE_STRIP)
    labels = {
        name: pd.Series(np.array([*strips[name], None], dtype=object)[place.to_numpy()], index=points.index)
        for name in ("strip", "treatment", "block")
    }
    return points.assign(**labels, flags=add_flag(flags, straddle, Flag.STRADDLE))


def _lay_swaths(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> np.ndarray:
    """Ask the map at several places across each record's cut; number of the strip, or -1."""
    easting, northing = points["cut_easting_m"].to_numpy(), points["cut_northing_m"].to_numpy()
    heading = np.radians(points["heading_deg"].to_numpy())
    inside = np.full((len(points), ACROSS), -1, dtype=np.int32)
    west, south, east, north = strips.total_bounds
    width = points["swath_m"].fillna(0.0).to_numpy()
    reach = width.max(initial=0.0)
    near = np.flatnonzero(
        (easting > west - reach) & (easting < east + reach) & (northing > south - reach) & (northing < north + reach)
    )
    if len(near) == 0:
        return inside
    offset = ((np.arange(ACROSS) + 0.5) / ACROSS - 0.5)[None, :] * width[near][:, None]
    x = easting[near][:, None] + offset * np.cos(heading[near])[:, None]
    y = northing[near][:, None] - offset * np.sin(heading[near])[:, None]
    x, y, flat = x.ravel(), y.ravel(), np.full(x.size, -1, dtype=np.int32)
    for k, polygon in enumerate(strips.geometry):
        left, bottom, right, top = polygon.bounds
        boxed = np.flatnonzero((x >= left) & (x <= right) & (y >= bottom) & (y <= top))
        shapely.prepare(polygon)
        flat[boxed[shapely.contains_xy(polygon, x[boxed], y[boxed])]] = k
    inside[near] = flat.reshape(-1, ACROSS)
    return inside


def _check_overlap(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> None:
    """Refuse a map that lies elsewhere."""
    west, south, east, north = strips.total_bounds
    x, y = points["cut_easting_m"], points["cut_northing_m"]
    if (x.between(west, east) & y.between(south, north)).any():
        return
    away = np.hypot((x.mean() - (west + east) / 2), (y.mean() - (south + north) / 2)) / 1000
    raise DataError(
        f"assign: no record lies on the trial map. In {points.crs.name} the map reaches from {west:,.0f} to {east:,.0f} "
        f"m east and {south:,.0f} to {north:,.0f} m north, the records from {x.min():,.0f} to {x.max():,.0f} m east and "
        f"{y.min():,.0f} to {y.max():,.0f} m north; their centres are {away:,.1f} km apart. Check that both belong to the "
        "same field, and the coordinate system of each ([harvest] crs)."
    )
