"""From records to one row a strip: sum of grain over sum of ground, in a window that all strips of a block share."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from proofstrip.columns import STRIP_COLUMNS
from proofstrip.config import Settings, StripsPart
from proofstrip.errors import DataError
from proofstrip.flags import EXCLUDING, Flag, add_flag, has_flag
from proofstrip.moisture import settle_moisture
from proofstrip.units import M2_PER_HA

COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
# Flags that say that a record lies at an end of its pass or of its strip, not that something is wrong with it.
NO_BLOCK = ""


def mark_windows(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, settings: StripsPart) -> gpd.GeoDataFrame:
    """Flag the records outside the stretch along the strips that all strips of their block share.

    The ground at the ends of a strip was cut while machines filled and emptied, not alike in every strip. Judging all
    strips of a block on the same stretch keeps that, and the field's ends, out of the difference.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        cut_easting_m, cut_northing_m, pass_id, strip, block, flags.
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the points.
    settings : StripsPart

    Returns
    -------
    geopandas.GeoDataFrame
        With strip_end flagged and usable set anew.
    """
    flags = points["flags"]
    along = project_along(points, strips)
    good = ~has_flag(flags, EXCLUDING)
    ends = pd.Series(False, index=points.index)
    for _, rows in points.groupby(
        points["block"].fillna(NO_BLOCK).where(points["strip"].notna()), sort=True
    ).groups.items():
        low, high = common_window(along[rows], points.loc[rows, ["strip", "pass_id"]], good[rows], settings)
        ends[rows] = ~along[rows].between(low + settings.end_trim_m, high - settings.end_trim_m)
    flags = add_flag(flags, ends, Flag.STRIP_END)
    return points.assign(flags=flags, usable=~has_flag(flags, EXCLUDING))


def project_along(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame) -> pd.Series:
    """Give each record's place along its block: metres in the direction of the block's longest strip.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        cut_easting_m, cut_northing_m, strip, block.
    strips : geopandas.GeoDataFrame
        In the CRS of the points.

    Returns
    -------
    pandas.Series of float
        [m]; NaN outside the strips.
    """
    along = pd.Series(np.nan, index=points.index)
    block = strips["block"].fillna(NO_BLOCK)
    for name, members in strips.groupby(block):
        longest = members.geometry.iloc[int(members.area.to_numpy().argmax())]
        east, north = long_axis(longest)
        rows = points.index[points["strip"].isin(members["strip"]) & (points["block"].fillna(NO_BLOCK) == name)]
        along[rows] = points.loc[rows, "cut_easting_m"] * east + points.loc[rows, "cut_northing_m"] * north
    return along


def long_axis(polygon: shapely.Polygon) -> tuple[float, float]:
    """Give the direction of the long side of a polygon's tightest rectangle, as a unit vector east and north.

    Examples
    --------
    >>> east, north = long_axis(shapely.box(0, 0, 2, 100))
    >>> round(abs(east), 3), round(abs(north), 3)
    (0.0, 1.0)
    """
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    sides = np.diff(corners[:3], axis=0)
    side = sides[np.hypot(sides[:, 0], sides[:, 1]).argmax()]
    east, north = side / np.hypot(*side)
    return float(east), float(north)


def common_window(
    along: pd.Series, members: pd.DataFrame, good: pd.Series, settings: StripsPart
) -> tuple[float, float]:
    """Find the stretch that every strip of one block covers.

    Parameters
    ----------
    along : pandas.Series of float
        Place along the block [m].
    members : pandas.DataFrame
        strip, pass_id.
    good : pandas.Series of bool
        Records without a flag that excludes.
    settings : StripsPart
        ``min_covered_share``: a pass, and then a strip, that covers less than this share of the block's longest does
        not shape the window.

    Returns
    -------
    tuple of float
        Start and end [m]; both NaN where no record is good.
    """
    frame = members[good].assign(along=along[good])
    if frame.empty:
        return np.nan, np.nan
    passes = frame.groupby(["strip", "pass_id"])["along"].agg(["min", "max"])
    length = passes["max"] - passes["min"]
    passes = passes[length >= settings.min_covered_share * length.max()]
    strips = passes.groupby("strip").agg({"min": "max", "max": "min"})
    broken = strips["min"] >= strips["max"]
    whole = passes.groupby("strip").agg({"min": "min", "max": "max"})
    strips = strips.where(~broken, whole)
    return float(strips["min"].max()), float(strips["max"].min())


@dataclass(frozen=True)
class Window:
    """What one strip's records tell."""

    area_m2: float
    standard_mass_kg: float
    length_m: float


def make_strips(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, settings: Settings) -> pd.DataFrame:
    """Make the strip table.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        With strip, treatment, block, usable, standard_mass_kg, wet_mass_kg, area_m2, flags and the rest.
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the points: a strip without a record keeps its row, with an empty yield.
    settings : Settings

    Returns
    -------
    pandas.DataFrame
        Columns of ``STRIP_COLUMNS``; yield = sum of standard mass / sum of area.

    Raises
    ------
    DataError
        When no strip has a usable record.
    """
    used = points[points["usable"] & points["strip"].notna()]
    if used.empty:
        raise DataError(
            f"strips: of {points['strip'].notna().sum():,} records in strips none is usable. "
            "The most frequent faults there: "
            + _frequent_faults(points)
            + ". Look at the map of faults before changing "
            "a threshold in [clean]."
        )
    used = used.assign(
        water_kg=used["wet_mass_kg"] * settle_moisture(points, settings)[points.index.get_indexer(used.index)] / 100,
        along=project_along(used, strips),
    )
    rows = [_one_strip(strip, points, used, settings) for strip in strips.itertuples()]
    table = pd.DataFrame(rows, columns=[column.name for column in STRIP_COLUMNS])
    return table.astype({column.name: column.dtype for column in STRIP_COLUMNS})


def _one_strip(
    strip: object, points: gpd.GeoDataFrame, used: gpd.GeoDataFrame, settings: Settings
) -> dict[str, object]:
    """Sum up one strip."""
    name = strip.strip  # type: ignore[attr-defined]
    mine, counted = points[points["strip"] == name], used[used["strip"] == name]
    area, mass, wet = (float(counted[column].sum()) for column in ("area_m2", "standard_mass_kg", "wet_mass_kg"))
    rate = mass / area * M2_PER_HA if area > 0 else np.nan
    bushel = settings.trial.crop.kg_ha_per_bu_ac
    # Ends are ground that no strip of the block is judged on; leaving them out is not a loss of records.
    inside = mine[~has_flag(mine["flags"], Flag.STRIP_END | Flag.ENTRY_RAMP | Flag.EXIT_RAMP)]
    return {
        "strip": name,
        "treatment": strip.treatment,  # type: ignore[attr-defined]
        "block": strip.block,  # type: ignore[attr-defined]
        "source": "combine",
        "yield_kg_ha": rate,
        "yield_bu_ac": rate / bushel if bushel else np.nan,
        "moisture_pct": 100 * float(counted["water_kg"].sum()) / wet if wet > 0 else np.nan,
        "area_m2": area,
        "standard_mass_kg": mass,
        "length_m": float(counted["along"].max() - counted["along"].min()) if len(counted) else 0.0,
        "records": len(mine),
        "records_used": len(counted),
        "share_removed": 1 - len(counted) / len(inside) if len(inside) else np.nan,
        "speed_m_s": float(counted["speed_m_s"].median()) if len(counted) else np.nan,
        "pass_ids": " ".join(str(number) for number in sorted(counted["pass_id"].unique())),
        "machines": " ".join(sorted(str(machine) for machine in counted["machine"].unique())),
        "direction": " ".join(_compass_points(counted["heading_deg"].to_numpy(), counted["pass_id"].to_numpy())),
    }


def _compass_points(heading_deg: np.ndarray, pass_id: np.ndarray) -> list[str]:
    """Name the directions in which the passes of a strip were driven."""
    radians = np.radians(heading_deg)
    mean = pd.DataFrame({"east": np.sin(radians), "north": np.cos(radians)}).groupby(pass_id).mean()
    bearing = np.degrees(np.arctan2(mean["east"], mean["north"])) % 360
    return sorted({COMPASS[round(value / 45) % 8] for value in bearing}, key=COMPASS.index)


def _frequent_faults(points: gpd.GeoDataFrame) -> str:
    """Name the three most frequent faults of the records in strips."""
    from proofstrip.flags import FLAGS

    flags = points.loc[points["strip"].notna(), "flags"]
    counts = sorted(((int(has_flag(flags, m.flag).sum()), m.phrase) for m in FLAGS if m.excludes), reverse=True)
    return "; ".join(f"{phrase} ({count:,})" for count, phrase in counts[:3])
