"""Whether the flow confirms the overlap that positions show: a tenth of the header empty is a tenth less grain.

Positions alone cannot tell a driver who wanders from a receiver that does. The grain can: along a pass, where overlap
is real, the log of flow over speed falls as the log of the width in standing crop does, with a slope of 1; where it is
noise of the positions, with a slope of 0. Only changes along one pass are looked at, over some tens of metres, and all
passes of a machine give one number. So no pass's level, and with it no treatment, can reach a width.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from proofstrip.clean.track import Bools, Floats, Track, first_of_run, last_of_run

# Mixing smears grain over some 10 to 20 m; beyond 75 m the crop itself changes more than any overlap.
SMOOTH_M, LOCAL_M = 16.0, 75.0
# Within a pass, after the machine has filled and before it empties [s].
FILLED_S, EMPTIES_S = 30.0, 10.0
LATEST_S = 60.0  # after a pass no grain of it comes
LEAST_RECORDS = 20
LEAST_PASSES = 4
LEAST_SHARE = 0.3  # of the header in standing crop
LEAST_SPEED_M_S = 0.3
FAR = 4.0  # robust standard deviations
# What is thought before the flow is asked (judgement): overlap all noise, real as far as expected, all real. Mixing and
# a delay that is a little off take a tenth of the slope of real overlap, more or less.
LIKELY = (0.2, 0.5, 0.3)
FULL_SLOPE, SLOPE_SD = 0.9, 0.15


@dataclass(frozen=True)
class Slopes:
    """How flow follows the width that positions show, by machine; NaN where too little can be compared.

    Attributes
    ----------
    slope : array of float, shape (machines,)
        1 where the overlap is real, 0 where it is noise.
    error : array of float, shape (machines,)
        Its standard error, from pass to pass.
    """

    slope: Floats
    error: Floats


def confirm_overlap(track: Track, signed: Floats, flow: Floats, seconds: Floats) -> Slopes:
    """Find how the flow of each machine follows the width that its positions show.

    Parameters
    ----------
    track : Track
        With passes.
    signed : array of float, shape (n,)
        Overlap, below zero for a gap [m].
    flow : array of float, shape (n,)
        [kg/s]
    seconds : array of float, shape (n,)
        Travel delay of each record [s].

    Returns
    -------
    Slopes

    Notes
    -----
    The slope is that of a regression with an error in the regressor: noise of variance v beside real changes of
    variance r gives r / (r + v), which is just the share by which a measured change is to be believed (Fuller 1987,
    Measurement Error Models, section 1.1: the reliability ratio; from memory).
    """
    machines = int(track.machine.max()) + 1 if len(track) else 0
    sums: list[list[tuple[float, float]]] = [[] for _ in range(machines)]
    steps = track.distance[track.distance > 0]
    step_m = max(float(np.median(steps)), 0.1) if len(steps) else 0.1
    smooth, local = (max(1, round(length / step_m)) for length in (SMOOTH_M, LOCAL_M))
    first, last, speed = first_of_run(track.pass_id), last_of_run(track.pass_id), track.speed
    closes = last_of_run(track.machine)
    for start in np.flatnonzero((track.pass_id > 0) & (first == np.arange(len(track)))):
        run = slice(int(start), int(last[start]) + 1)
        if run.stop - run.start >= LEAST_RECORDS:
            passing = _Passing(
                track.time[run],
                track.swath[run],
                signed[run],
                speed[run],
                _flow_of(track, flow, seconds, run, int(closes[start])),
            )
            told = _compare_pass(passing, smooth, local)
            if told is not None:
                sums[track.machine[start]].append(told)
    found = np.full((2, machines), np.nan)
    for code, own in enumerate(sums):
        if len(own) >= LEAST_PASSES:
            found[:, code] = fit_slope(*np.array(own).T)
    return Slopes(found[0], found[1])


def _flow_of(track: Track, flow: Floats, seconds: Floats, run: slice, closes: int) -> Floats:
    """Give the flow of what was cut at each record of a pass; NaN where the log had ended when it came by."""
    until = np.searchsorted(track.time[run.start : closes + 1], track.time[run.stop - 1] + LATEST_S)
    same = slice(run.start, run.start + int(until))
    later = track.time[run] + seconds[run]
    known = np.isfinite(flow[same])
    if not known.any():
        return np.full(run.stop - run.start, np.nan)
    return np.interp(later, track.time[same][known], flow[same][known], right=np.nan)


@dataclass(frozen=True)
class _Passing:
    """One pass, record by record: time [s], header [m], overlap [m], speed [m/s], flow of what was cut there [kg/s]."""

    time: Floats
    header: Floats
    signed: Floats
    speed: Floats
    flow: Floats


def _compare_pass(passing: _Passing, smooth: int, local: int) -> tuple[float, float] | None:
    """Give one pass's sums of products and of squares of the local changes of log width and log flow over speed."""
    time, header = passing.time, passing.header
    inside = (time > time[0] + FILLED_S) & (time < time[-1] - EMPTIES_S) & np.isfinite(passing.flow)
    over, speed, mass = (
        ndimage.uniform_filter1d(part, smooth, mode="nearest")
        for part in (passing.signed, passing.speed, np.nan_to_num(passing.flow))
    )
    met = header - np.maximum(over, 0)
    use = inside & (passing.signed != 0) & (met > LEAST_SHARE * header) & (mass > 0) & (speed > LEAST_SPEED_M_S)
    if use.sum() < LEAST_RECORDS:
        return None
    width, level = (_local_change(np.log(part), local) for part in (met[use], mass[use] / speed[use]))
    near = _near(level)
    return float((width * level)[near].sum()), float((width**2)[near].sum())


def _local_change(values: Floats, local: int) -> Floats:
    """Take off the running mean."""
    return np.asarray(values - ndimage.uniform_filter1d(values, local, mode="nearest"), dtype=np.float64)


def _near(values: Floats) -> Bools:
    """Leave out what is far from the rest."""
    scatter = 1.4826 * float(np.median(np.abs(values)))
    return np.asarray(np.abs(values) <= FAR * scatter, dtype=np.bool_)


def fit_slope(products: Floats, squares: Floats) -> tuple[float, float]:
    """Fit one slope through the origin to all passes, and its standard error from pass to pass.

    Parameters
    ----------
    products, squares : array of float, shape (passes,)
        Sums over each pass of x y and of x x.

    Returns
    -------
    tuple of float
        Slope and standard error; NaN where x never changes.

    Examples
    --------
    >>> slope, error = fit_slope(np.array([1.0, 1.2, 0.8, 1.0]), np.ones(4))
    >>> round(slope, 6), round(error, 6)
    (1.0, 0.08165)
    """
    total = float(squares.sum())
    if not total > 0:
        return float("nan"), float("nan")
    slope = float(products.sum()) / total
    away, count = products - slope * squares, len(squares)
    return slope, float(np.sqrt((away**2).sum() * count / (count - 1)) / total)


def believe(prior: Floats, told: Slopes) -> tuple[Floats, Floats]:
    """Weigh what may be so of a machine's overlap by how well it goes with the slope that was found.

    Three things may be so: overlap is all noise, it is real as far as was expected, or it is all real.

    Parameters
    ----------
    prior : array of float, shape (machines,)
        Share of measured changes expected to be real.
    told : Slopes

    Returns
    -------
    tuple of array of float, shape (machines,)
        The share believed, from 0 to 1; and how far the flow raised it, from 0 (as expected, or less) to 1.

    Examples
    --------
    >>> found = Slopes(np.array([0.8, 0.1, np.nan]), np.array([0.2, 0.2, np.nan]))
    >>> share, raised = believe(np.full(3, 0.2), found)
    >>> share.round(2).tolist(), raised.round(2).tolist()
    ([0.93, 0.15, 0.2], [0.92, 0.0, 0.0])
    """
    known = np.isfinite(told.slope) & np.isfinite(told.error)
    shares = np.stack([np.zeros(len(prior)), prior, np.ones(len(prior))])
    spread = np.hypot(np.where(known, told.error, 1.0), SLOPE_SD)
    away = (np.where(known, told.slope, 0.0) - FULL_SLOPE * shares) / spread
    weight = np.array(LIKELY)[:, None] * np.exp(-(away**2 - (away**2).min(axis=0)) / 2)
    share = np.where(known, (weight * shares).sum(axis=0) / weight.sum(axis=0), prior)
    return share, np.clip((share - prior) / np.maximum(1 - prior, 1e-9), 0.0, 1.0)
