"""Whose ground each record harvested: strip, treatment and block from the trial map.

The whole swath is laid on the map, not its centre alone: a map that is shifted by half a header still puts each
centre in its own strip, and nothing would look wrong.
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
    """Give each record the strip that the middle of its cut lies on.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        cut_easting_m, cut_northing_m, heading_deg, swath_m, flags; geometry where the grain was cut; a projected CRS.
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
    own = inside[:, ACROSS // 2]
    treatment = np.append(pd.factorize(strips["treatment"])[0], -1)
    crossed = treatment[inside]
    other = ((crossed >= 0) & (crossed != treatment[own][:, None])).mean(axis=1)
    place = pd.Series(own, index=points.index)
    straddle = pd.Series((own >= 0) & (other > settings.max_other_share), index=points.index)
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
    width = points["swath_m"].fillna(0.0).to_numpy()
    polygons = strips.geometry.to_numpy()
    shapely.prepare(polygons)
    own = _find_points(strips, points.geometry.to_numpy())
    inside = np.full((len(points), ACROSS), -1, dtype=np.int64)
    convex = shapely.area(shapely.convex_hull(polygons)) <= shapely.area(polygons) * (1 + 1e-12)

    def ask(place: int, near: np.ndarray) -> None:
        """Find the strip at one of the places."""
        offset = ((place + 0.5) / ACROSS - 0.5) * width[near]
        x, y = easting[near] + offset * np.cos(heading[near]), northing[near] - offset * np.sin(heading[near])
        found = np.where(shapely.contains_xy(polygons[own[near]], x, y), own[near], -1)
        elsewhere = np.flatnonzero(found < 0)
        found[elsewhere] = find_strip(strips, x[elsewhere], y[elsewhere])
        inside[near, place] = found

    near, ends = np.flatnonzero(own >= 0), (0, ACROSS - 1)
    for place in ends:
        ask(place, near)
    # Both ends in the same convex polygon: so is all between them.
    whole = convex[own[near]] & (inside[near][:, ends] == own[near][:, None]).all(axis=1)
    inside[near[whole]] = own[near[whole], None]
    for place in range(1, ACROSS - 1):
        ask(place, near[~whole])
    return inside


def find_strip(strips: gpd.GeoDataFrame, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Give the strip that each place lies in.

    Parameters
    ----------
    strips : geopandas.GeoDataFrame
        Polygons, in the CRS of the places.
    easting, northing : array of float, shape (n,)
        [m]; NaN lies nowhere.

    Returns
    -------
    array of int, shape (n,)
        Row of the strip; -1 outside.
    """
    return _find_points(strips, np.asarray(shapely.points(easting, northing)))


def _find_points(strips: gpd.GeoDataFrame, places: np.ndarray) -> np.ndarray:
    """Give the row of the strip that each point lies in; -1 outside."""
    number = np.full(len(places), -1, dtype=np.int64)
    place, polygon = strips.sindex.query(places, predicate="within")
    number[place] = polygon
    return number


def _check_overlap(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> None:
    """Refuse a map that lies elsewhere."""
    west, south, east, north = strips.total_bounds
    x, y = points["cut_easting_m"], points["cut_northing_m"]
    if (x.between(west, east) & y.between(south, north)).any():
        return
    away = np.hypot((x.mean() - (west + east) / 2), (y.mean() - (south + north) / 2)) / 1000
    raise DataError(
        f"assign: no record lies on the trial map. In {points.crs.name} the map reaches from {west:,.0f} to "
        f"{east:,.0f} m east and {south:,.0f} to {north:,.0f} m north, the records from {x.min():,.0f} to "
        f"{x.max():,.0f} m east and {y.min():,.0f} to {y.max():,.0f} m north; their centres are {away:,.1f} km apart. "
        "Check that both belong to the same field, and the coordinate system of each ([harvest] crs)."
    )
