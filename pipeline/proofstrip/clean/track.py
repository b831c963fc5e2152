"""The way each machine went: records in order of time, an odometer, headings, and which log belongs together.

Everything here is a numpy array in the order of ``Track.row``: machine by machine, by time. Cleaning works on
these arrays and writes its answers back to the frame once.
"""

from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from proofstrip.clean.overlap import Overlap, Seen
from proofstrip.config import CleanPart
from proofstrip.errors import Notice

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Track:
    """Where each machine was, record by record.

    Attributes
    ----------
    row : array of int
        Place of the record in the frame.
    machine : array of int
        Code of the machine.
    log : array of int
        Stretch of unbroken logging, from 0; a new one starts after a gap or with another machine.
    time, duration, span : array of float
        End and length of the record, and time since the record before: longer where records are lost [s]. Times rise
        strictly within a machine.
    easting, northing : array of float
        Position at the end of the record, faulty positions replaced by interpolation [m].
    distance, odometer : array of float
        Way since the record before, lost records included, and its sum so far within the log [m].
    swath : array of float
        Full width of the header [m].
    heading : array of float
        Direction of movement, radians clockwise from north.
    header_up, turn : array of bool
    pass_id : array of int
        From 1; 0 = in no pass.
    cut_width : array of float
        Standing crop that the header met [m].
    jumped, frozen, beside : array of bool
        Positions as logged that no machine can have reached, that stood still, or that lie beside their pass; found
        once here, because cleaning is asked for again with other delays.
    repeated : array of int
        Places in the frame of records that repeat another and are not on the track.
    names : tuple of str
        Of the machines, by code.
    notices : tuple of Notice
        What was not taken as logged.
    overlap, seen : Overlap and Seen, or None
        What the header met, by positions, and what the passes show of it; none before it was measured.
    day : array of int
        Code of the day; of length 0 where days are not told apart.
    day_names : tuple of str
        Of the days, by code.
    set_width : array of float
        Header width that the display was set to, where passes do not rule it out [m]; empty: the full width.
    """

    row: Ints
    machine: Ints
    log: Ints
    time: Floats
    duration: Floats
    span: Floats
    easting: Floats
    northing: Floats
    distance: Floats
    odometer: Floats
    swath: Floats
    heading: Floats
    header_up: Bools
    turn: Bools
    pass_id: Ints
    cut_width: Floats
    jumped: Bools = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    frozen: Bools = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    beside: Bools = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    repeated: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    names: tuple[str, ...] = ()
    notices: tuple[Notice, ...] = ()
    overlap: Overlap | None = None
    seen: Seen | None = None
    day: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    day_names: tuple[str, ...] = ()
    set_width: Floats = field(default_factory=lambda: np.zeros(0))

    def __len__(self) -> int:
        """Give the number of records on the track."""
        return len(self.row)

    @property
    def speed(self) -> Floats:
        """Ground speed over each record [m/s]."""
        return self.distance / np.maximum(self.span, 1e-3)


def order_records(points: gpd.GeoDataFrame, keep: Bools) -> Ints:
    """Give the rows to keep, machine by machine and by time; equal times stay in reading order."""
    machine = pd.Categorical(points["machine"]).codes
    order = np.lexsort((points["time"].to_numpy(), machine))
    return order[keep[order]].astype(np.int64)


def spread_ties(time: Floats, machine: Ints, duration: Floats) -> Floats:
    """Spread records that carry the same stamp evenly back over the interval that the stamp ends.

    A display that logs five times a second may write whole seconds; without this such records have no order.

    Parameters
    ----------
    time : array of float, shape (n,)
        Sorted within each machine [s].
    machine : array of int, shape (n,)
    duration : array of float, shape (n,)
        Length of each record [s].

    Returns
    -------
    array of float, shape (n,)
        Strictly rising within each machine.

    Examples
    --------
    >>> one = np.zeros(3, dtype=int)
    >>> spread_ties(np.array([1.0, 2.0, 2.0]), one, np.full(3, 1.0)).tolist()
    [1.0, 1.5, 2.0]
    """
    if len(time) == 0:
        return time
    new = np.r_[True, (time[1:] != time[:-1]) | (machine[1:] != machine[:-1])]
    group = np.cumsum(new) - 1
    size = np.bincount(group)
    if size.max() == 1:
        return time
    first = np.flatnonzero(new)
    before = np.where(first > 0, time[first - 1], np.nan)
    before[machine[first] != machine[np.maximum(first - 1, 0)]] = np.nan
    own = np.maximum(duration[first], 1e-3) * size
    span = np.fmin(time[first] - before, own)
    span = np.where(np.isfinite(span) & (span > 0), span, own)
    left = size[group] - 1 - (np.arange(len(time)) - first[group])
    return np.asarray(time - left * (span / size)[group], dtype=np.float64)


def stand_for_start(apart: Floats, length: Floats, machine: Ints) -> bool:
    """Tell whether stamps stand for the start of their records' intervals; most displays write the end.

    A record's length then fits the way to the next stamp, not the way from the one before. Times and positions are
    asked separately: there are displays that write the time of the end with the position of the start.

    Parameters
    ----------
    apart : array of float, shape (n - 1,)
        Way from each stamp to the next, in seconds or metres.
    length : array of float, shape (n,)
        Length of each record in the same unit.
    machine : array of int, shape (n,)

    Returns
    -------
    bool
        False where nothing varies enough to tell.

    Examples
    --------
    >>> length = np.array([1.0, 2.0, 1.0, 2.0, 1.0])
    >>> start = np.r_[0.0, np.cumsum(length)[:-1]]
    >>> stand_for_start(np.diff(start), length, np.zeros(5, dtype=int))
    True
    """
    longer = np.maximum(length[1:], length[:-1])
    near = (np.diff(machine) == 0) & (apart < 3 * longer)
    telling = near & (np.abs(np.diff(length)) > 0.1 * longer)
    if telling.sum() < max(3, 0.02 * near.sum()):
        return False
    as_end = np.median(np.abs(apart - length[1:])[telling])
    as_start = np.median(np.abs(apart - length[:-1])[telling])
    return bool(as_start < 0.7 * as_end)


def move_to_end(easting: Floats, northing: Floats, distance: Floats, log: Ints) -> tuple[Floats, Floats]:
    """Move positions from the start of their records to the end: to the next position, or straight on at a log's end.

    Parameters
    ----------
    easting, northing, distance : array of float, shape (n,)
        [m]
    log : array of int, shape (n,)

    Returns
    -------
    tuple of two arrays of float, shape (n,)

    Examples
    --------
    >>> move_to_end(np.array([0.0, 2.0]), np.zeros(2), np.array([2.0, 3.0]), np.zeros(2, dtype=int))[0].tolist()
    [2.0, 5.0]
    """
    here = np.arange(len(log))
    following = np.minimum(here + 1, len(log) - 1)
    before = np.maximum(here - 1, 0)
    go_on = log[following] == log
    go_on[-1:] = False
    east, north = easting - easting[before], northing - northing[before]
    length = np.hypot(east, north)
    share = np.divide(distance, length, out=np.zeros(len(log)), where=(length > 0) & (log[before] == log))
    return (
        np.where(go_on, easting[following], easting + east * share),
        np.where(go_on, northing[following], northing + north * share),
    )


def find_logs(time: Floats, machine: Ints, duration: Floats, max_gap_s: float) -> Ints:
    """Count off the stretches of unbroken logging.

    Parameters
    ----------
    time, machine, duration : array, shape (n,)
    max_gap_s : float
        A silence longer than this (beyond the record's own length) breaks the log [s].

    Returns
    -------
    array of int, shape (n,)

    Examples
    --------
    >>> find_logs(np.array([1.0, 2.0, 30.0]), np.zeros(3, dtype=int), np.ones(3), 10.0).tolist()
    [0, 0, 1]
    """
    silence = np.diff(time) - duration[1:]
    broken = (silence > max_gap_s) | (np.diff(machine) != 0)
    return np.asarray(np.r_[0, np.cumsum(broken)][: len(time)], dtype=np.int64)


def find_spans(time: Floats, duration: Floats, log: Ints) -> Floats:
    """Give the time that each record stands for: its length, or the time since the one before where some are lost.

    Examples
    --------
    >>> find_spans(np.array([1.0, 2.0, 6.0]), np.ones(3), np.zeros(3, dtype=int)).tolist()
    [1.0, 1.0, 4.0]
    """
    since = np.r_[0.0, np.where(np.diff(log) == 0, np.diff(time), 0.0)][: len(time)]
    return np.where(since > 1.5 * duration, since, duration)


def sum_within(values: Floats, group: Ints) -> Floats:
    """Sum up within runs of equal ``group``; the first value of each run counts.

    Examples
    --------
    >>> sum_within(np.array([1.0, 2.0, 5.0]), np.array([0, 0, 1])).tolist()
    [1.0, 3.0, 5.0]
    """
    total = np.cumsum(values)
    first = first_of_run(group)
    return np.asarray(total - (total[first] - values[first]), dtype=np.float64)


def first_of_run(group: Ints) -> Ints:
    """Give, for each place, where its run of equal ``group`` starts."""
    if len(group) == 0:
        return np.zeros(0, dtype=np.int64)
    start = np.flatnonzero(np.r_[True, group[1:] != group[:-1]])
    return np.repeat(start, np.diff(np.r_[start, len(group)]))


def last_of_run(group: Ints) -> Ints:
    """Give, for each place, where its run of equal ``group`` ends."""
    if len(group) == 0:
        return np.zeros(0, dtype=np.int64)
    start = np.flatnonzero(np.r_[True, group[1:] != group[:-1]])
    end = np.r_[start[1:], len(group)]
    return np.repeat(end - 1, end - start)


def position_at(track: Track, odometer: Floats, of: Ints) -> tuple[Floats, Floats]:
    """Give the position at an odometer reading within the log of the records ``of``, held at the log's ends.

    Parameters
    ----------
    track : Track
    odometer : array of float, shape (m,)
        Reading within the record's own log [m].
    of : array of int, shape (m,)
        Places on the track that say which log is meant.

    Returns
    -------
    tuple of two arrays of float, shape (m,)
        Easting and northing [m].
    """
    first, last = first_of_run(track.log)[of], last_of_run(track.log)[of]
    base = _log_base(track)
    reading = np.clip(odometer, track.odometer[first], track.odometer[last]) + base[of]
    along = track.odometer + base
    return np.interp(reading, along, track.easting), np.interp(reading, along, track.northing)


def _log_base(track: Track) -> Floats:
    """Give what makes the odometer rise over all logs, so that one interpolation serves them all."""
    last = np.flatnonzero(np.r_[track.log[1:] != track.log[:-1], True])
    offset = np.r_[0.0, np.cumsum(track.odometer[last] + 1.0)[:-1]]
    return np.asarray(offset[track.log], dtype=np.float64)


def find_headings(track: Track, reach_m: float) -> Floats:
    """Give the direction of movement, from where the machine was ``reach_m`` before to ``reach_m`` after.

    Parameters
    ----------
    track : Track
    reach_m : float
        Half the length that a heading is taken over [m].

    Returns
    -------
    array of float, shape (n,)
        Radians clockwise from north; the logged heading is not used, because a wrong one is common.
    """
    here = np.arange(len(track))
    ahead = position_at(track, track.odometer + reach_m, here)
    behind = position_at(track, track.odometer - reach_m, here)
    return np.arctan2(ahead[0] - behind[0], ahead[1] - behind[1])


def find_turns(track: Track, settings: CleanPart) -> Bools:
    """Flag where the heading changes by more than the limit over the turn length."""
    here, reach = np.arange(len(track)), settings.turn_length_m / 2
    ahead = position_at(track, track.odometer + reach, here)
    behind = position_at(track, track.odometer - reach, here)
    after = np.arctan2(ahead[0] - track.easting, ahead[1] - track.northing)
    before = np.arctan2(track.easting - behind[0], track.northing - behind[1])
    first, last = first_of_run(track.log), last_of_run(track.log)
    inside = (track.odometer - track.odometer[first] > reach / 2) & (track.odometer[last] - track.odometer > reach / 2)
    return np.asarray(
        inside & (np.abs(angle_between(after, before)) > np.radians(settings.max_turn_deg)), dtype=np.bool_
    )


def angle_between(one: Floats, other: Floats) -> Floats:
    """Give the signed angle from ``other`` to ``one``, within half a turn [rad]."""
    return np.asarray((one - other + np.pi) % (2 * np.pi) - np.pi, dtype=np.float64)


def drop_short_runs(mask: Bools, group: Ints, seconds: Floats, least_s: float) -> Bools:
    """Clear runs of true that last less than ``least_s`` within a group.

    Examples
    --------
    >>> up = np.array([True, False, True, True])
    >>> drop_short_runs(up, np.zeros(4, dtype=int), np.ones(4), 2.0).tolist()
    [False, False, True, True]
    """
    if len(mask) == 0:
        return mask
    run = np.cumsum(np.r_[True, (mask[1:] != mask[:-1]) | (group[1:] != group[:-1])]) - 1
    lasting = np.bincount(run, weights=seconds)
    return np.asarray(mask & (lasting[run] >= least_s), dtype=np.bool_)


def number_passes(track: Track) -> Track:
    """Count off the runs of unbroken logging with the header down and no turn."""
    cutting = ~(track.header_up | track.turn)
    new = np.r_[True, (cutting[1:] != cutting[:-1]) | (track.log[1:] != track.log[:-1])][: len(track)]
    pass_id = np.where(cutting, np.cumsum(new & cutting), 0)
    return replace(track, pass_id=pass_id.astype(np.int64))
