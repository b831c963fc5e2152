"""From records to one row a strip: sum of grain over sum of ground, in a window that all strips of a block share."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from proofstrip.columns import STRIP_COLUMNS
from proofstrip.config import Settings, StripsPart
from proofstrip.errors import DataError
from proofstrip.flags import EXCLUDING, FLAGS, Flag, add_flag, has_flag
from proofstrip.moisture import mean_moisture
from proofstrip.units import M2_PER_HA

COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
NO_BLOCK = ""


def mark_windows(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, settings: StripsPart) -> gpd.GeoDataFrame:
    """Flag the records outside the stretch along the strips that all strips of their block share.

    The ground at the ends of a strip was cut while machines filled and emptied, not alike in every strip. Judging all
    strips of a block on the same stretch keeps that, and the field's ends, out of the difference. In a design without
    blocks all strips are one block.

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
    flags, along = points["flags"], project_along(points, strips)
    row, blocks = _row_of(points, strips), _block_of(strips)
    block = np.array([*blocks, None], dtype=object)[row]
    good = ~has_flag(flags, EXCLUDING) & along.notna()
    members = pd.DataFrame({"block": block, "strip": points["strip"], "pass_id": points["pass_id"], "along": along})
    windows = common_windows(members[good], settings.min_covered_share)
    limits = np.vstack([windows[["low", "high"]].reindex(blocks).to_numpy(dtype=np.float64), [np.nan, np.nan]])[row]
    inside = along.between(limits[:, 0] + settings.end_trim_m, limits[:, 1] - settings.end_trim_m)
    flags = add_flag(flags, pd.Series(row >= 0, index=points.index) & ~inside, Flag.STRIP_END)
    return points.assign(flags=flags, usable=~has_flag(flags, EXCLUDING))


def _row_of(points: pd.DataFrame, strips: gpd.GeoDataFrame) -> "np.ndarray[tuple[int], np.dtype[np.intp]]":
    """Give the row of each record's strip in the map; -1 outside, so that a value after the last stands for it."""
    return np.asarray(pd.Index(strips["strip"]).get_indexer(pd.Index(points["strip"])))


def _block_of(strips: gpd.GeoDataFrame) -> "pd.Series[str]":
    """Give the block of each strip; one name for all where the design has none."""
    return pd.Series(strips["block"].fillna(NO_BLOCK).to_numpy(), index=strips["strip"])


def project_along(points: pd.DataFrame, strips: gpd.GeoDataFrame) -> "pd.Series[float]":
    """Give each record's place along its block: metres in the direction of the block's longest strip.

    Parameters
    ----------
    points : pandas.DataFrame
        cut_easting_m, cut_northing_m, strip.
    strips : geopandas.GeoDataFrame
        In the CRS of the points.

    Returns
    -------
    pandas.Series of float
        [m]; NaN outside the strips.
    """
    block = _block_of(strips)
    largest = pd.Series(strips.area.to_numpy()).groupby(block.to_numpy()).idxmax()
    axes = {name: long_axis(strips.geometry.iloc[place]) for name, place in largest.items()}
    axis = np.array([*(axes[name] for name in block), (np.nan, np.nan)])[_row_of(points, strips)]
    along: pd.Series[float] = points["cut_easting_m"] * axis[:, 0] + points["cut_northing_m"] * axis[:, 1]
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


def place_across(strips: gpd.GeoDataFrame) -> "np.ndarray[tuple[int], np.dtype[np.int64]]":
    """Give each strip its number across the field: by their middles, along the normal of the longest strip.

    Parameters
    ----------
    strips : geopandas.GeoDataFrame
        In a projection that measures metres.

    Returns
    -------
    ndarray of int
        From 1.

    Examples
    --------
    >>> place_across(gpd.GeoDataFrame(geometry=[shapely.box(5, 0, 10, 99), shapely.box(0, 0, 5, 90)])).tolist()
    [2, 1]
    """
    shapes = strips.geometry.to_numpy()
    east, north = long_axis(shapes[int(np.argmax(shapely.area(shapes)))])
    normal = (north, -east) if north > 0 or (north == 0 and east < 0) else (-north, east)
    across = shapely.get_coordinates(shapely.centroid(shapes)) @ np.array(normal)
    return np.argsort(np.argsort(across.round(3), kind="stable"), kind="stable") + 1


def common_windows(members: pd.DataFrame, min_covered_share: float) -> pd.DataFrame:
    """Find, for each block, the stretch that every strip of it covers.

    Parameters
    ----------
    members : pandas.DataFrame
        block, strip, pass_id and along [m] of the records without a flag that excludes.
    min_covered_share : float
        A pass that covers less than this share of the block's longest does not shape the window.

    Returns
    -------
    pandas.DataFrame
        low and high [m] by block. The passes of a strip are judged on what they share; where they share nothing, such
        as the two halves of an interrupted pass, on what they cover together.

    Examples
    --------
    >>> passes = {"block": "B", "strip": list("aabb"), "pass_id": [1, 1, 2, 2], "along": [0.0, 90, 5, 99]}
    >>> common_windows(pd.DataFrame(passes), 0.5).loc["B"].tolist()
    [5.0, 90.0]
    """
    passes = members.groupby(["block", "strip", "pass_id"])["along"].agg(low="min", high="max").reset_index()
    length = passes["high"] - passes["low"]
    passes = passes[length >= min_covered_share * length.groupby(passes["block"]).transform("max")]
    by_strip = passes.groupby(["block", "strip"])
    shared = by_strip.agg(low=("low", "max"), high=("high", "min"))
    together = by_strip.agg(low=("low", "min"), high=("high", "max"))
    return (
        shared.where(shared["low"] < shared["high"], together)
        .groupby("block")
        .agg(low=("low", "max"), high=("high", "min"))
    )


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
        Columns of ``STRIP_COLUMNS``, then further columns of the map; yield = sum of standard mass / sum of area.

    Raises
    ------
    DataError
        When no strip has a usable record.
    """
    inside = points[points["strip"].notna()]
    used = inside[inside["usable"]]
    if used.empty:
        raise DataError(
            f"strips: of {len(inside):,} records in strips none is usable. The most frequent faults there: "
            f"{_frequent_faults(inside['flags'])}. Look at the map of faults before changing a threshold in [clean]."
        )
    used = used.assign(along=project_along(used, strips))
    table = pd.DataFrame({name: strips[name].to_numpy() for name in ("strip", "treatment", "block")}).set_index("strip")
    table["order"] = place_across(strips)
    table = table.join(_sum_up(used)).join(_count(inside))
    area = table["area_m2"].where(table["area_m2"] > 0)
    bushel = settings.trial.crop.kg_ha_per_bu_ac
    table = table.assign(
        source="combine",
        yield_kg_ha=table["standard_mass_kg"] / area * M2_PER_HA,
        moisture_pct=mean_moisture(table["wet_mass_kg"], table["standard_mass_kg"], settings.standard_moisture_pct),
        share_removed=1 - table["records_used"].fillna(0) / table["within"].where(table["within"] > 0),
    )
    table["yield_bu_ac"] = table["yield_kg_ha"] / bushel if bushel else np.nan
    nothing = {"area_m2": 0.0, "standard_mass_kg": 0.0, "length_m": 0.0, "records": 0, "records_used": 0}
    words = {"pass_ids": "", "machines": "", "direction": ""}
    table = table.fillna(nothing | words).reset_index()[[column.name for column in STRIP_COLUMNS]]
    table = table.astype({column.name: column.dtype for column in STRIP_COLUMNS})
    beside = [name for name in strips.columns if name not in (*table.columns, strips.geometry.name)]
    return table.assign(**{name: strips[name].to_numpy() for name in beside})


def _sum_up(used: pd.DataFrame) -> pd.DataFrame:
    """Add up the records counted, by strip."""
    by_strip = used.groupby("strip")
    table = by_strip[["area_m2", "standard_mass_kg", "wet_mass_kg"]].sum()
    table["length_m"] = by_strip["along"].max() - by_strip["along"].min()
    table["records_used"] = by_strip.size()
    table["speed_m_s"] = by_strip["speed_m_s"].median()
    table["pass_ids"] = _list_distinct(used, "pass_id")
    table["machines"] = _list_distinct(used, "machine")
    table["direction"] = _list_directions(used)
    return table


def _count(inside: pd.DataFrame) -> pd.DataFrame:
    """Count the records of each strip, and those within the window: ends that nobody is judged on are no loss."""
    ends = has_flag(inside["flags"], Flag.STRIP_END | Flag.ENTRY_RAMP | Flag.EXIT_RAMP)
    return pd.DataFrame(
        {"records": inside.groupby("strip").size(), "within": inside[~ends].groupby("strip").size()},
    )


def _list_distinct(used: pd.DataFrame, column: str) -> "pd.Series[str]":
    """List the values of a column that occur in each strip, in order, separated by spaces."""
    pairs = used[["strip", column]].drop_duplicates().sort_values(["strip", column])
    return pairs.astype({column: "str"}).groupby("strip")[column].agg(" ".join)


def _list_directions(used: pd.DataFrame) -> "pd.Series[str]":
    """Name the directions in which the passes of each strip were driven."""
    radians = np.radians(used["heading_deg"])
    parts = pd.DataFrame(
        {"strip": used["strip"], "pass_id": used["pass_id"], "east": np.sin(radians), "north": np.cos(radians)}
    )
    mean = parts.groupby(["strip", "pass_id"])[["east", "north"]].mean().reset_index()
    bearing = np.degrees(np.arctan2(mean["east"], mean["north"])) % 360
    mean["point"] = (bearing / 45).round().astype(int) % 8
    mean = mean[["strip", "point"]].drop_duplicates().sort_values(["strip", "point"])
    return mean.assign(point=[COMPASS[point] for point in mean["point"]]).groupby("strip")["point"].agg(" ".join)


def _frequent_faults(flags: "pd.Series[int]") -> str:
    """Name the three most frequent faults."""
    counts = sorted(((int(has_flag(flags, m.flag).sum()), m.phrase) for m in FLAGS if m.excludes), reverse=True)
    return "; ".join(f"{phrase} ({count:,})" for count, phrase in counts[:3] if count)
