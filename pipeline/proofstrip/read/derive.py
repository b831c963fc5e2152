"""What a log leaves out, worked out from what it has. Functions of arrays."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from proofstrip.read.table import Booleans, Floats, Integers

# A step of time longer than this many usual steps is a gap: what happened in it is not known.
GAP_STEPS = 5.0


@dataclass(frozen=True)
class Steps:
    """From each record to the one before it, within its machine and in the order of time.

    Attributes
    ----------
    order, machine : numpy.ndarray of int64
        Rows by machine and time; number of each row's machine.
    before, after : numpy.ndarray of int64
        Row of the neighbouring record; -1 where there is none.
    seconds : numpy.ndarray of float64
        Time since the record before [s]; NaN where there is none.
    gap : numpy.ndarray of bool
        No step to the record before that says anything about this record.
    """

    order: Integers
    machine: Integers
    before: Integers
    after: Integers
    seconds: Floats
    gap: Booleans


def find_steps(time: Floats, machine: Integers) -> Steps:
    """Link each record to its neighbours in time.

    Parameters
    ----------
    time : numpy.ndarray of float64
        [s]; where all are NaN the order of rows stands.
    machine : numpy.ndarray of int64
        Number of the machine.

    Returns
    -------
    Steps
    """
    order = np.lexsort((time, machine))
    before, after = np.full(len(time), -1), np.full(len(time), -1)
    same = machine[order[1:]] == machine[order[:-1]]
    before[order[1:][same]] = order[:-1][same]
    after[order[:-1][same]] = order[1:][same]
    seconds = np.where(before >= 0, time - time[before], np.nan)
    ahead = seconds[seconds > 0]
    usual = float(np.median(ahead)) if len(ahead) else np.nan
    gap = ~(seconds > 0) | (seconds > GAP_STEPS * usual) if len(ahead) else before < 0
    return Steps(order, machine, before, after, seconds, gap)


def derive_duration(steps: Steps) -> Floats:
    """Take the time steps as durations; the usual step for first records and after gaps.

    Parameters
    ----------
    steps : Steps

    Returns
    -------
    numpy.ndarray of float64
        [s]; NaN throughout when no two records differ in time.
    """
    inside = steps.seconds[~steps.gap]
    usual = float(np.median(inside)) if len(inside) else np.nan
    return np.where(steps.gap, usual, steps.seconds)


def derive_speed(easting: Floats, northing: Floats, steps: Steps) -> Floats:
    """Take the way from the record before over the time; the next record's speed for first records and after gaps.

    Parameters
    ----------
    easting, northing : numpy.ndarray of float64
        [m]
    steps : Steps

    Returns
    -------
    numpy.ndarray of float64
        [m/s]
    """
    speed = divide(way(easting, northing, steps), steps.seconds)
    return _borrow_next(np.where(steps.gap, np.nan, speed), steps)


def derive_heading(easting: Floats, northing: Floats, steps: Steps) -> Floats:
    """Take the direction from the record before; standing records keep the direction they came in.

    Parameters
    ----------
    easting, northing : numpy.ndarray of float64
        [m]
    steps : Steps

    Returns
    -------
    numpy.ndarray of float64
        Clockwise from grid north [deg], 0 to below 360.
    """
    east, north = easting - easting[steps.before], northing - northing[steps.before]
    moved = (steps.before >= 0) & ~steps.gap & ((east != 0) | (north != 0))
    heading = np.where(moved, np.degrees(np.arctan2(east, north)) % 360.0, np.nan)
    heading = _borrow_next(heading, steps, only=steps.gap)
    return _carry_on(heading, steps)


def divide(above: Floats, below: Floats) -> Floats:
    """Divide; NaN where there is no finite answer.

    Parameters
    ----------
    above, below : numpy.ndarray of float64

    Returns
    -------
    numpy.ndarray of float64
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = above / below
    return np.where(np.isfinite(share), share, np.nan)


def median(values: Floats) -> float:
    """Give the median of the finite values; NaN when there are none.

    Parameters
    ----------
    values : numpy.ndarray of float64

    Returns
    -------
    float
    """
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if len(finite) else np.nan


def add_up(duration: Floats, machine: Integers) -> Floats:
    """Add up the durations of each machine in the order of rows; a missing one counts as none.

    Parameters
    ----------
    duration : numpy.ndarray of float64
        [s]
    machine : numpy.ndarray of int64

    Returns
    -------
    numpy.ndarray of float64
        End of each record since the start [s].
    """
    return np.asarray(pd.Series(np.nan_to_num(duration)).groupby(machine).cumsum(), dtype=np.float64)


def apparent_speeds(easting: Floats, northing: Floats, time: Floats, steps: Steps) -> tuple[float, float]:
    """Give the median speed from record to record, and over two records [m/s]; NaN for fewer than ten.

    Parameters
    ----------
    easting, northing : numpy.ndarray of float64
        [m]
    time : numpy.ndarray of float64
        [s]
    steps : Steps

    Returns
    -------
    tuple of float
    """
    speeds = []
    second = np.where(steps.before >= 0, steps.before[steps.before], -1)
    for earlier in (steps.before, second):
        seconds = time - time[earlier]
        apart = np.hypot(easting - easting[earlier], northing - northing[earlier])
        speed = divide(apart, seconds)[(earlier >= 0) & ~steps.gap & (seconds > 0)]
        speed = speed[np.isfinite(speed)]
        speeds.append(float(np.median(speed)) if len(speed) >= 10 else np.nan)
    return speeds[0], speeds[1]


def way(easting: Floats, northing: Floats, steps: Steps) -> Floats:
    """Give the straight way from the record before [m]; NaN where there is none."""
    east, north = easting - easting[steps.before], northing - northing[steps.before]
    return np.where(steps.before >= 0, np.hypot(east, north), np.nan)


def _borrow_next(values: Floats, steps: Steps, only: Booleans | None = None) -> Floats:
    """Fill missing values with the next record's."""
    empty = np.isnan(values) & (steps.gap if only is None else only) & (steps.after >= 0)
    return np.where(empty, values[steps.after], values)


def _carry_on(values: Floats, steps: Steps) -> Floats:
    """Fill missing values with the last one before them in time, within the machine."""
    in_time = pd.Series(values[steps.order]).groupby(steps.machine[steps.order]).ffill()
    filled = values.copy()
    filled[steps.order] = in_time.to_numpy()
    return filled
