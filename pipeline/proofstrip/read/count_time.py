"""Times of a log that names none: durations added up in the order of the file, with what the positions still tell."""

import re

import numpy as np
import pandas as pd

from proofstrip.read import derive
from proofstrip.read.records import Reading
from proofstrip.read.settle import machine_codes
from proofstrip.read.table import Booleans, Floats, Integers

# Durations had from distance over speed scatter with the rounding of both; where this share of them lies this close to
# their median, the display logs at a fixed step (measured: 98 % within 4 % on the invented samples).
# A column that is not recognised and may yet hold times.
CLOCK_WORDS = re.compile("time|date|clock|stamp|utc", re.IGNORECASE)
FIXED_SHARE = 0.9
FIXED_SPREAD = 0.1


def count_time(reading: Reading) -> None:
    """Add durations up to times, and say what that leaves uncertain.

    A record that repeats the one before it adds nothing. Where the position leaps and stays away, records were not
    logged: the way is taken to have been driven at the usual speed.

    Parameters
    ----------
    reading : Reading
        With durations [s] and, where there are any, positions; gets ``time``.
    """
    duration, machine = reading.values["duration"], machine_codes(reading)
    repeated = find_repeats(reading, derive.find_steps(np.full(reading.rows, np.nan), machine).before)
    counted, leaps = np.where(repeated, 0.0, duration), 0
    if "easting" in reading.values:
        once = np.flatnonzero(~repeated)
        easting, northing = reading.values["easting"][once], reading.values["northing"][once]
        steps = derive.find_steps(np.full(len(once), np.nan), machine[once])
        leap, apart = find_leaps(easting, northing, steps), derive.way(easting, northing, steps)
        usual_s, usual_m = derive.median(duration), derive.median(apart[apart > 0])
        counted[once] = np.where(leap, np.fmax(apart / usual_m * usual_s, counted[once]), counted[once])
        leaps = int(leap.sum())
    reading.values["time"] = derive.add_up(counted, machine)
    reading.time_counts = True
    likely = [repr(name) for name in reading.head.names if CLOCK_WORDS.search(name) and name not in _taken(reading)]
    hint = f" Column {' or '.join(likely)} may hold them: name it in [harvest.columns] time." if likely else ""
    reading.note(
        "time_derived",
        "no column for time; durations are added up in the order of the file. "
        f"{repeated.sum()} records that repeat the one before add nothing, and {leaps} leaps of the position are "
        "taken as driven at the usual speed. Lost records, pauses and a wrong order cannot be seen like this: delay, "
        "passes and the answer may differ from those with times. Export the file with its times." + hint,
    )


def _taken(reading: Reading) -> set[str]:
    """List the columns that are read."""
    return {choice.column for choice in reading.choices.values()}


def level_steps(duration: Floats) -> Floats:
    """Give every record the same duration where all but a few say so: a display that logs at a fixed step.

    Parameters
    ----------
    duration : numpy.ndarray of float64
        From distance over speed [s]; NaN where the machine stood.

    Returns
    -------
    numpy.ndarray of float64

    Examples
    --------
    >>> level_steps(np.array([1.9, 2.0, 2.1, np.nan])).tolist()
    [2.0, 2.0, 2.0, 2.0]
    """
    usual = derive.median(duration)
    finite = duration[np.isfinite(duration)]
    near = np.abs(finite / usual - 1.0) <= FIXED_SPREAD
    return np.full(len(duration), usual) if len(finite) and near.mean() >= FIXED_SHARE else duration


def find_repeats(reading: Reading, before: Integers) -> Booleans:
    """Tell which records repeat the one before in every column that was read, although the machine worked."""
    same = before >= 0
    for column in reading.loaded.columns.columns:
        codes = pd.factorize(column.to_pandas())[0]
        same &= codes == codes[before]
    if reading.loaded.xy is not None:
        same &= (reading.loaded.xy == reading.loaded.xy[before]).all(axis=1)
    # A machine that stands empty writes the same record again and again, and time goes on.
    shown = [name for name in ("distance", "speed", "mass_flow") if name in reading.choices]
    at_work = [reading.number(name).values > 0 for name in shown]
    return same & np.any(at_work, axis=0) if at_work else same


def find_leaps(easting: Floats, northing: Floats, steps: derive.Steps) -> Booleans:
    """Tell where the position leaps and stays away; a single wrong position leaps there and back.

    Parameters
    ----------
    easting, northing : numpy.ndarray of float64
        [m]
    steps : Steps

    Returns
    -------
    numpy.ndarray of bool
    """
    before, after = steps.before, steps.after
    apart = derive.way(easting, northing, steps)
    far = derive.GAP_STEPS * derive.median(apart[apart > 0])

    def distant(earlier: Integers, later: Integers) -> Booleans:
        """Tell which pairs of records lie far apart; pairs that do not exist do not."""
        away = np.hypot(easting[later] - easting[earlier], northing[later] - northing[earlier]) > far
        return away & (earlier >= 0) & (later >= 0)

    second = np.where(before >= 0, before[before], -1)
    return (apart > far) & distant(before, after) & distant(second, np.arange(len(before)))
