"""Faults of speed and of the flow sensor, each judged within the record's own pass."""

import numpy as np
import pandas as pd
from scipy import ndimage

from proofstrip.clean.track import Bools, Floats, Ints, first_of_run
from proofstrip.config import CleanPart

SPIKE_WINDOW_S = 30.0
LEAST_SPIKE = 0.2  # as a share: less than this no display would call wild
LEAST_DENSITY = 1e-6  # kg/m2: as good as nothing, and still with a logarithm
# A sensor that cuts out falls from more than half of the usual flow to nothing from one record to the next; grain,
# mixed over 2 to 5 s, cannot. In longer records it could.
FULL_SHARE = 0.5
LONGEST_RECORD_S = 2.0


def speed_range(speed: Floats, pass_id: Ints, settings: CleanPart) -> Bools:
    """Flag speeds far from the median of their pass.

    Parameters
    ----------
    speed : array of float, shape (n,)
        [m/s]
    pass_id : array of int, shape (n,)
        0 = in no pass, never flagged.
    settings : CleanPart

    Returns
    -------
    array of bool, shape (n,)

    Examples
    --------
    >>> from proofstrip.config import load_defaults
    >>> speed_range(np.array([2.0, 2.0, 0.5]), np.ones(3, dtype=int), load_defaults().clean).tolist()
    [False, False, True]
    """
    usual = median_by_pass(speed, pass_id)
    return (pass_id > 0) & ((speed < settings.slow_share * usual) | (speed > settings.fast_share * usual))


def speed_change(speed: Floats, pass_id: Ints, settings: CleanPart) -> Bools:
    """Flag sharp changes of speed over two records.

    Parameters
    ----------
    speed : array of float, shape (n,)
        [m/s]
    pass_id : array of int, shape (n,)
    settings : CleanPart

    Returns
    -------
    array of bool, shape (n,)
    """
    if len(speed) < 3:
        return np.zeros(len(speed), dtype=bool)
    level = np.log(np.maximum(speed, 0.05))
    change = np.r_[0.0, 0.0, np.abs(level[2:] - level[:-2])]
    same = np.r_[False, False, pass_id[2:] == pass_id[:-2]]
    return np.asarray((pass_id > 0) & same & (change > settings.speed_change_log), dtype=np.bool_)


def flow_range(flow: Floats, density: Floats, usable: Bools, settings: CleanPart) -> Bools:
    """Flag flows below zero, or far above anything else in the field.

    Parameters
    ----------
    flow : array of float, shape (n,)
        [kg/s]
    density : array of float, shape (n,)
        Flow over speed and width, the wet yield [kg/m2].
    usable : array of bool, shape (n,)
        Records that set the field's 99th percentile.
    settings : CleanPart

    Returns
    -------
    array of bool, shape (n,)
        A flow of zero is not flagged: bare ground is part of a strip.
    """
    known = density[usable & np.isfinite(density)]
    ceiling = settings.max_flow_ratio * float(np.quantile(known, 0.99)) if len(known) else np.inf
    with np.errstate(invalid="ignore"):
        return (flow < 0) | (usable & (density > ceiling))


def stuck_sensor(flow: Floats, duration: Floats, group: Ints, settings: CleanPart) -> Bools:
    """Flag flows that repeat one value for longer than any crop does, or that fall to nothing and come back at once.

    Parameters
    ----------
    flow, duration : array of float, shape (n,)
        [kg/s], [s]; in order of time.
    group : array of int, shape (n,)
        Stretch of unbroken logging.
    settings : CleanPart

    Returns
    -------
    array of bool, shape (n,)
        Runs of at least five records above zero; runs of zero of any length between two records of full flow. On bare
        ground the flow runs dry over seconds, because grain is mixed on its way: that is no fault.
    """
    if len(flow) < 2:
        return np.zeros(len(flow), dtype=bool)
    run = np.cumsum(np.r_[True, (flow[1:] != flow[:-1]) | (group[1:] != group[:-1])]) - 1
    lasting, records = np.bincount(run, weights=duration)[run], np.bincount(run)[run]
    repeated = (flow > 0) & (lasting >= settings.stuck_s) & (records >= 5)
    return np.asarray(repeated | _cut_out(flow, duration, group), dtype=np.bool_)


def _cut_out(flow: Floats, duration: Floats, group: Ints) -> Bools:
    """Tell where the flow is nothing between two records of full flow."""
    usual = np.full(int(group.max()) + 1, np.inf)
    some = flow > 0
    medians = pd.Series(flow[some]).groupby(group[some]).median()
    usual[medians.index.to_numpy()] = medians.to_numpy()
    full = flow >= FULL_SHARE * usual[group]
    zero = (flow == 0) & (duration <= LONGEST_RECORD_S)
    start = np.flatnonzero(zero & np.r_[True, ~zero[:-1]])
    stop = np.flatnonzero(zero & np.r_[~zero[1:], True])
    out = np.zeros(len(flow), dtype=bool)
    inner = (start > 0) & (stop < len(flow) - 1)
    for begin, end in zip(start[inner], stop[inner], strict=True):
        alike = group[begin - 1] == group[end + 1]
        out[begin : end + 1] = alike and full[begin - 1] and full[end + 1]
    return out


def spike(level: Floats, flow: Floats, pass_id: Ints, record_s: float, settings: CleanPart) -> Bools:
    """Flag short jumps of the flow, far outside the scatter of their own pass.

    Parameters
    ----------
    level : array of float, shape (n,)
        Log of flow over ground; NaN where the record is not to be looked at.
    flow : array of float, shape (n,)
        As logged, every record in order of time [kg/s].
    pass_id : array of int, shape (n,)
    record_s : float
        Usual length of a record [s].
    settings : CleanPart

    Returns
    -------
    array of bool, shape (n,)
        A jump that lasts longer than ``spike_s`` is the crop, not the sensor.

    Notes
    -----
    Two must jump, the flow and the flow over ground. Grain is mixed over seconds on its way and ground is not, so where
    the speed changes flow over ground jumps while the flow does not; where the crop changes both move, but the flow no
    faster than its mixing lets it: it stays near the records around. docs/clean.md has figures of what lower limits do
    to damage that is real.
    """
    longest = max(1, round(settings.spike_s / max(record_s, 0.1)))
    window = max(9, round(SPIKE_WINDOW_S / max(record_s, 0.1))) | 1
    flagged = np.zeros(len(level), dtype=bool)
    # From one log to the next this looks across a turn; the ramps there are not judged.
    around = ndimage.median_filter(np.nan_to_num(flow), max(5, 2 * longest + 1), mode="nearest")
    off = flow - around
    known = np.flatnonzero(np.isfinite(level) & (pass_id > 0))
    order = known[np.argsort(pass_id[known], kind="stable")]
    first = np.flatnonzero(first_of_run(pass_id[order]) == np.arange(len(order)))
    for start, stop in zip(first, np.r_[first[1:], len(order)][: len(first)], strict=True):
        own = order[start:stop]
        if len(own) >= 9:
            rest = level[own] - ndimage.median_filter(level[own], min(window, len(own)), mode="mirror")
            far = _beyond_scatter(rest, settings.spike_mad, LEAST_SPIKE)
            far &= _beyond_scatter(off[own], settings.spike_mad, LEAST_SPIKE * around[own])
            flagged[own] = short_runs(far & (rest * off[own] > 0), longest)
    return flagged


def _beyond_scatter(rest: Floats, deviations: float, least: Floats | float) -> Bools:
    """Tell what lies further from zero than so many robust deviations, and than the least that counts."""
    scatter = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
    return np.asarray(np.abs(rest) > np.maximum(deviations * scatter, least), dtype=np.bool_)


def short_runs(mask: Bools, longest: int) -> Bools:
    """Keep the runs of true that are no longer than ``longest``.

    Examples
    --------
    >>> short_runs(np.array([True, False, True, True]), 1).tolist()
    [True, False, False, False]
    """
    run = np.cumsum(np.r_[True, mask[1:] != mask[:-1]]) - 1
    return np.asarray(mask & (np.bincount(run)[run] <= longest), dtype=np.bool_)


def median_by_pass(values: Floats, pass_id: Ints) -> Floats:
    """Give each record the median of its pass; NaN outside passes."""
    medians = pd.Series(values).groupby(pass_id).transform("median").to_numpy(dtype=np.float64, copy=True)
    medians[pass_id == 0] = np.nan
    return medians
