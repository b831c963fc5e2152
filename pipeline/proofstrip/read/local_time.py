"""Local clocks -> UTC: the hour that comes twice in autumn, the hour left out in spring, a clock that was set back."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from proofstrip.read.derive import GAP_STEPS, median
from proofstrip.read.table import Booleans, Floats, Integers

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
HOUR_S = 3600.0
# Records a little out of order are no clock that was set back.
LEAST_BACK_S = 60.0
# A clock set back by an hour steps back by less where the machine logged nothing for a while.
LEAST_SET_BACK_S = 3000.0


@dataclass(frozen=True)
class Converted:
    """Times by a local clock, as UTC.

    Attributes
    ----------
    seconds : numpy.ndarray of float64
        Since 1970.
    said : tuple of tuple of str and str
        Code and sentence of each notice.
    problem : str
        Why the clock cannot be of this zone.
    """

    seconds: Floats
    said: tuple[tuple[str, str], ...] = ()
    problem: str = ""


def find_offsets(wall: Floats, zone: str) -> tuple[Floats, Floats]:
    """Give how far a local clock is ahead of UTC, as it is read the first and the second time.

    Parameters
    ----------
    wall : numpy.ndarray of float64
        Seconds since 1970 as the local clock counts them; NaN gives 0.
    zone : str
        IANA name.

    Returns
    -------
    tuple of numpy.ndarray of float64
        [s]; the first is larger where the time comes twice, smaller where it is left out (PEP 495).

    Examples
    --------
    >>> [offset.tolist() for offset in find_offsets(np.array([1730597400.0]), "America/Chicago")]
    [[-18000.0], [-21600.0]]
    """
    minutes, at = np.unique(np.floor(np.nan_to_num(wall) / 60.0), return_inverse=True)
    tz = ZoneInfo(zone)
    clocks = [(EPOCH + timedelta(minutes=float(minute))).replace(tzinfo=tz) for minute in minutes]
    first, second = (
        np.array([(clock.replace(fold=fold).utcoffset() or timedelta()).total_seconds() for clock in clocks])[at]
        for fold in (0, 1)
    )
    return first, second


def ahead_of_utc(seconds: Floats, zone: str) -> Floats:
    """Give how far the clocks of a zone are ahead of UTC [s] at times in UTC; 0 where there is no time."""
    minutes, at = np.unique(np.floor(np.nan_to_num(seconds) / 60.0), return_inverse=True)
    moments = [(EPOCH + timedelta(minutes=float(minute))).astimezone(ZoneInfo(zone)) for minute in minutes]
    ahead = np.array([(moment.utcoffset() or timedelta()).total_seconds() for moment in moments])
    return np.asarray(np.where(np.isfinite(seconds), ahead[at], 0.0))


def to_utc(wall: Floats, machine: Integers, zone: str) -> Converted:
    """Read the times of a local clock as UTC; in the hour that comes twice the order of the records decides.

    Parameters
    ----------
    wall : numpy.ndarray of float64
        Seconds since 1970 as the local clock counts them, in the order of the file.
    machine : numpy.ndarray of int64
    zone : str
        IANA name.

    Returns
    -------
    Converted
        An hour that comes twice and cannot be told is read as the first; a time that is left out, as by a clock that
        was put forward late.
    """
    first, second = find_offsets(wall, zone)
    offset = first.copy()
    known = np.isfinite(wall)
    placed, open_runs = 0, []
    for rows, run in _runs((first > second) & known, machine, known):
        split, why = _find_split(wall, rows, run)
        if why:
            open_runs.append((run, why))
        else:
            placed += len(run)
            offset[run[split:]] = second[run[split:]]
    seconds, said = wall - offset, []
    if placed:
        said.append(
            ("hour_twice_placed", f"{placed:,} records of the hour that came twice are placed by the order of the file")
        )
    if open_runs:
        said.append(("hour_twice", _say_open(wall, open_runs, zone)))
    left_out = (first < second) & known
    problem = ""
    if left_out.any():
        when = f"{left_out.sum():,} records {_say_span(wall[left_out])} have times that {zone} left out"
        if _runs_on(seconds, left_out, machine, known):
            problem = (
                f"{when} when its clocks were put forward, and the records after them show that this clock was not; "
                f"the clock may be one that never changes, such as {_fixed_zone(first[left_out][0])}"
            )
        said.append(("time_left_out", f"{when}; they are read as by a clock that was put forward late"))
    return Converted(seconds, tuple(said), problem)


def find_set_back(wall: Floats, machine: Integers, easting: Floats, northing: Floats) -> tuple[Integers, Integers]:
    """Find where a clock of an unknown zone was set back by an hour.

    Parameters
    ----------
    wall : numpy.ndarray of float64
        [s], in the order of the file.
    machine : numpy.ndarray of int64
    easting, northing : numpy.ndarray of float64
        [m]; NaN where they are not known.

    Returns
    -------
    tuple of numpy.ndarray of int64
        First rows after the step: those where time and way go on unbroken when an hour is added, and those where they
        do not.
    """
    sure: list[int] = []
    unsure: list[int] = []
    for code in np.unique(machine):
        rows = np.flatnonzero((machine == code) & np.isfinite(wall))
        steps = np.diff(wall[rows])
        back = np.flatnonzero(steps < -LEAST_BACK_S)
        if len(back) != 1 or not LEAST_SET_BACK_S <= -steps[back[0]] <= HOUR_S:
            continue
        way = np.hypot(np.diff(easting[rows]), np.diff(northing[rows]))
        goes_on = HOUR_S + steps[back[0]] <= GAP_STEPS * median(steps[steps > 0]) and way[
            back[0]
        ] <= GAP_STEPS * median(way[way > 0])
        (sure if goes_on else unsure).append(int(rows[back[0] + 1]))
    return np.array(sure, dtype=np.int64), np.array(unsure, dtype=np.int64)


def _runs(wanted: Booleans, machine: Integers, known: Booleans) -> list[tuple[Integers, Integers]]:
    """List the runs of records that are wanted, each with all rows of its machine that have a time."""
    found = []
    for code in np.unique(machine[wanted]):
        rows = np.flatnonzero((machine == code) & known)
        inside = wanted[rows]
        starts = np.flatnonzero(inside & ~np.r_[False, inside[:-1]])
        ends = np.flatnonzero(inside & ~np.r_[inside[1:], False])
        found += [(rows, rows[start : end + 1]) for start, end in zip(starts, ends, strict=True)]
    return found


def _find_split(wall: Floats, rows: Integers, run: Integers) -> tuple[int, str]:
    """Give the place in a run where its second hour begins, or why it cannot be told."""
    steps = np.diff(wall[run])
    back = np.flatnonzero(steps < -LEAST_BACK_S)
    if len(back) == 1:
        return int(back[0]) + 1, ""
    if len(back):
        return 0, f"the clock steps back {len(back)} times in it"
    every = np.diff(wall[rows])
    near = GAP_STEPS * median(every[every > 0])
    at = int(np.searchsorted(rows, run[0]))
    joins_before = at > 0 and 0 <= every[at - 1] <= near
    joins_after = at + len(run) < len(rows) and 0 <= every[at + len(run) - 1] <= near
    if joins_before and joins_after:
        return 0, "the log goes through it once without a break, as a clock does that is not set back"
    if joins_before or joins_after:
        return (len(run) if joins_before else 0), ""
    return 0, "no record before or after joins it"


def _say_open(wall: Floats, runs: list[tuple[Integers, str]], zone: str) -> str:
    """Say which records may be of either hour."""
    count = sum(len(run) for run, _ in runs)
    run, why = runs[0]
    return (
        f"{count:,} records {_say_span(wall[run])} fall into the hour that came twice in {zone}, and {why}: they are "
        "read as the first of the two and may be an hour early; their order and durations hold"
    )


def _runs_on(seconds: Floats, left_out: Booleans, machine: Integers, known: Booleans) -> bool:
    """Tell whether the clock ran on through the hour that was left out: then the records after it come too early."""
    for rows, run in _runs(left_out, machine, known):
        after = int(np.searchsorted(rows, run[-1])) + 1
        if after < len(rows) and seconds[rows[after]] < seconds[run[-1]] - LEAST_BACK_S:
            return True
    return False


def _fixed_zone(offset: float) -> str:
    """Name the zone that is always this far ahead of UTC; the signs of these names are turned round."""
    hours = -offset / HOUR_S
    return f'"Etc/GMT{hours:+.0f}"' if hours == round(hours) and hours else "one without daylight saving"


def _say_span(wall: Floats) -> str:
    """Write the first and last of some times as the clock showed them."""
    start, end = (EPOCH + timedelta(seconds=float(edge)) for edge in (wall.min(), wall.max()))
    return f"from {start:%Y-%m-%d %H:%M:%S} to {end:%H:%M:%S}"
