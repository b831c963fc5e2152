"""What a person excluded: flagged, counted, and looked at for how it falls on the treatments.

The cleaning itself does not know of it: passes, delays and ramps are found as if nothing had been excluded. So an
exclusion takes out its own records and changes nothing else, but for the window that its block shares.
"""

import difflib
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from proofstrip.errors import DataError, Notice
from proofstrip.flags import EXCLUDING, Flag, add_flag, has_flag
from proofstrip.read.exclusions import Exclusion, Exclusions


@dataclass(frozen=True)
class ExclusionCount:
    """What one exclusion took.

    Attributes
    ----------
    reason, author, date : str
    records : int
        All records it names.
    otherwise_used : int
        Those that lie in a strip and no other flag removes.
    by_treatment : dict of str to int
        All records it names in strips, by their treatment.
    """

    reason: str
    author: str
    date: str
    records: int
    otherwise_used: int
    by_treatment: dict[str, int]


def exclude_by_hand(points: gpd.GeoDataFrame, exclusions: Exclusions | None) -> gpd.GeoDataFrame:
    """Flag the records that a person excluded.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        source_file, source_row, cut_easting_m, cut_northing_m, flags; a polygon takes every record whose grain was cut
        in it.
    exclusions : Exclusions or None

    Returns
    -------
    geopandas.GeoDataFrame
        With excluded_by_hand flagged and usable set anew.

    Raises
    ------
    DataError
        When record numbers could mean several raw files, or name a file that was not read.
    """
    if exclusions is None:
        return points
    out = pd.Series(False, index=points.index)
    for item in exclusions.items:
        out |= find_records(points, item, exclusions.file)
    flags = add_flag(points["flags"], out, Flag.EXCLUDED_BY_HAND)
    return points.assign(flags=flags, usable=~has_flag(flags, EXCLUDING))


def find_records(points: gpd.GeoDataFrame, item: Exclusion, file: str) -> "pd.Series[bool]":
    """Tell which records one exclusion means.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        source_file, source_row, cut_easting_m, cut_northing_m.
    item : Exclusion
    file : str
        Of the exclusions, for messages.

    Returns
    -------
    pandas.Series of bool
    """
    names = [str(name) for name in points["source_file"].unique()]
    if item.source_file is not None and item.source_file not in names:
        near = difflib.get_close_matches(item.source_file, names, n=1)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise DataError(
            f"{file}, feature {item.number}: the trial has no raw file {item.source_file!r}.{hint} "
            f"Its files are {', '.join(map(repr, names[:12]))}{' ...' if len(names) > 12 else ''}."
        )
    if item.rows and item.source_file is None and len(names) > 1:
        raise DataError(
            f"{file}, feature {item.number}: the trial has {len(names)} raw files, and records are counted in each of "
            f'them; add "source_file", one of {", ".join(map(repr, names[:12]))}{" ..." if len(names) > 12 else ""}.'
        )
    mine = points["source_file"].astype(str) == item.source_file if item.source_file else True
    if item.ground is None:
        row = points["source_row"].to_numpy()
        inside = np.zeros(len(points), dtype=bool)
        for first, last in item.rows:
            inside |= (row >= first) & (row <= last)
    else:
        shapely.prepare(item.ground)
        inside = shapely.contains_xy(item.ground, points["cut_easting_m"], points["cut_northing_m"])
    return pd.Series(inside, index=points.index) & mine


def count_exclusions(
    points: gpd.GeoDataFrame, exclusions: Exclusions | None
) -> tuple[tuple[ExclusionCount, ...], tuple[Notice, ...]]:
    """Count what each exclusion took, and name those that took nothing, or less than they name.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        With treatment and all flags.
    exclusions : Exclusions or None

    Returns
    -------
    tuple of tuple of ExclusionCount and tuple of Notice
    """
    if exclusions is None:
        return (), ()
    counts, notices = [], []
    others = has_flag(points["flags"], EXCLUDING & ~Flag.EXCLUDED_BY_HAND)
    for item in exclusions.items:
        mask = find_records(points, item, exclusions.file)
        by_treatment = points.loc[mask, "treatment"].dropna().astype(str).value_counts().sort_index()
        counts.append(
            ExclusionCount(
                item.reason,
                item.author,
                item.date,
                int(mask.sum()),
                int((mask & ~others & points["strip"].notna()).sum()),
                {str(name): int(count) for name, count in by_treatment.items()},
            )
        )
        notices += _note_lost(points, item, mask, exclusions.file)
    return tuple(counts), tuple(notices)


def _note_lost(points: gpd.GeoDataFrame, item: Exclusion, mask: "pd.Series[bool]", file: str) -> list[Notice]:
    """Say that an exclusion took nothing, or that it names records beyond the end of the file."""
    what = f"{file}, feature {item.number} ({item.reason})"
    if not mask.any():
        place = "no record was cut in its polygon" if item.ground is not None else "there is no record of its numbers"
        return [Notice("exclusion_empty", f"{what} excludes nothing: {place}.")]
    last = int(points.loc[points["source_file"] == points.loc[mask, "source_file"].iloc[0], "source_row"].max())
    named = max((run[1] for run in item.rows), default=0)
    if named > last:
        return [Notice("exclusion_too_long", f"{what} goes up to record {named:,}; the file ends with {last:,}.")]
    return []


def share_excluded(points: gpd.GeoDataFrame) -> "pd.Series[float]":
    """Give the share of each strip's records in its window that only a person removed.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        strip, flags.

    Returns
    -------
    pandas.Series of float
        By strip.
    """
    inside = points[points["strip"].notna() & ~has_flag(points["flags"], EXCLUDING & ~Flag.EXCLUDED_BY_HAND)]
    return has_flag(inside["flags"], Flag.EXCLUDED_BY_HAND).groupby(inside["strip"]).mean()
