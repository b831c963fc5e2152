"""One log in two files: the same times and places of one machine again, written more coarsely or with another clock."""

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from proofstrip.clean.track import Bools, Floats, Ints
from proofstrip.errors import Notice

# No second machine comes so near; positions written to 5 decimals are off by 0.6 m, another datum by 2 m.
SAME_PLACE_M = 3.0
LEAST_RECORDS = 10
# Of the records of a file in the time that both cover.
LEAST_SHARE = 0.5
FINER = 0.9


def find_repeated(points: gpd.GeoDataFrame, known: Bools) -> tuple[Bools, tuple[Notice, ...]]:
    """Find records that another file of the same machine holds too.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        machine, source_file, time [s], duration_s, easting_m, northing_m.
    known : array of bool, shape (n,)
        Records known to repeat another; they are not looked at.

    Returns
    -------
    tuple of array of bool, shape (n,), and tuple of Notice
        The file with more records in the shared time is kept, of equal ones the one with finer positions, else the
        first. A record repeats that file where it has one within half a record's length, and at that time runs within
        ``SAME_PLACE_M``.
    """
    repeated, notices = np.zeros(len(points), dtype=bool), []
    if "source_file" not in points or points["source_file"].nunique() < 2:
        return repeated, ()
    time, duration, east, north = (
        points[name].to_numpy(dtype=np.float64) for name in ("time", "duration_s", "easting_m", "northing_m")
    )
    use = np.isfinite(time) & np.isfinite(duration) & np.isfinite(east) & np.isfinite(north) & ~known
    machine, file = (pd.Categorical(points[name]).codes.astype(np.int64) for name in ("machine", "source_file"))
    rows = {}
    for key in np.unique(np.column_stack([machine, file])[use], axis=0):
        own = np.flatnonzero(use & (machine == key[0]) & (file == key[1]))
        rows[int(key[0]), int(key[1])] = own[np.argsort(time[own], kind="stable")]
    place = np.column_stack([east, north])
    for one, other in _list_overlapping(rows, time):
        own, theirs = (rows[key][~repeated[rows[key]]] for key in (one, other))
        low, high = (pick(time[own], time[theirs]) for pick in (_latest_begin, _earliest_end))
        own, theirs = (part[(time[part] >= low) & (time[part] <= high)] for part in (own, theirs))
        if min(len(own), len(theirs)) < LEAST_RECORDS:
            continue
        keep, drop = (own, theirs) if _prefer_first(place, own, theirs) else (theirs, own)
        same, apart = _match(time, duration, place, keep, drop)
        if same.sum() >= max(LEAST_RECORDS, LEAST_SHARE * len(drop)):
            repeated[drop[same]] = True
            notices.append(_say(points, keep, drop[same], apart[same]))
    return repeated, tuple(notices)


def _list_overlapping(rows: dict[tuple[int, int], Ints], time: Floats) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """List pairs of files of one machine whose times overlap."""
    spans = sorted((key[0], float(time[own[0]]), float(time[own[-1]]), key) for key, own in rows.items())
    pairs = []
    for number, (machine, _, end, key) in enumerate(spans):
        for other, begin, _, its in spans[number + 1 :]:
            if other != machine or begin > end:
                break
            pairs.append((min(key, its), max(key, its)))
    return sorted(pairs)


def _latest_begin(one: Floats, other: Floats) -> float:
    """Give when both have begun; half a minute of slack, because clocks may differ by less than a record."""
    return max(float(part.min(initial=np.inf)) for part in (one, other)) - 30.0


def _earliest_end(one: Floats, other: Floats) -> float:
    """Give when the first ends, with the same slack."""
    return min(float(part.max(initial=-np.inf)) for part in (one, other)) + 30.0


def _prefer_first(place: NDArray[np.float64], own: Ints, theirs: Ints) -> bool:
    """Tell which file to keep: more records, else steps that change less from one to the next, else the first."""
    if abs(len(own) - len(theirs)) > 0.1 * max(len(own), len(theirs)):
        return len(own) > len(theirs)
    rough = [float(np.median(np.abs(np.diff(place[part], n=2, axis=0)).sum(axis=1))) for part in (own, theirs)]
    return bool(rough[1] >= FINER * rough[0])


def _match(time: Floats, duration: Floats, place: NDArray[np.float64], keep: Ints, drop: Ints) -> tuple[Bools, Floats]:
    """Tell which records of one file lie on the way of another at their time, and how far they are off it [m]."""
    after = np.clip(np.searchsorted(time[keep], time[drop]), 1, len(keep) - 1)
    before = after - 1
    since, until = time[drop] - time[keep[before]], time[keep[after]] - time[drop]
    nearest = np.where(np.abs(since) < np.abs(until), keep[before], keep[after])
    near = np.minimum(np.abs(since), np.abs(until)) <= np.maximum(duration[nearest], duration[drop]) / 2 + 0.01
    where = [np.interp(time[drop], time[keep], place[keep, side]) for side in (0, 1)]
    apart = np.hypot(place[drop, 0] - where[0], place[drop, 1] - where[1])
    return near & (apart <= SAME_PLACE_M), apart


def _say(points: gpd.GeoDataFrame, keep: Ints, dropped: Ints, apart: Floats) -> Notice:
    """Say which file repeats which."""
    kept, left = (str(points["source_file"].iloc[part[0]]) for part in (keep, dropped))
    return Notice(
        "log_repeated",
        f"{len(dropped):,} records of {left} are in {kept} too (the same machine at the same times, within "
        f"{max(float(np.max(apart)), 0.01):.2f} m): the same log, exported twice. Those of {kept} are kept; name only "
        "one of the files in [harvest] files to be sure.",
    )
