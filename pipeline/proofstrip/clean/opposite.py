"""Neighbouring passes in opposite directions, and how well their flows agree at each travel delay."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import ndimage
from scipy.spatial import KDTree

from proofstrip.clean.track import Bools, Floats, Ints, Track, angle_between, first_of_run, last_of_run

SPACING_M = 3.0
END_M = 40.0
TREND_M = 160.0
CLIP_MAD = 4.0
BLOCK_M = 100.0
LEAST_PAIR_M = 60.0
MAX_SAMPLES = 30_000


@dataclass(frozen=True)
class Samples:
    """Places every few metres along the passes, and which places lie beside each other in opposite passes.

    Attributes
    ----------
    time : array of float, shape (n,)
        When the header was there [s].
    pass_id : array of int, shape (n,)
    spread : array of float, shape (n,)
        Speed times width there, what flow is divided by [m2/s].
    log_start, log_end : array of float, shape (n,)
        When the unbroken log around it starts and ends [s].
    one, other : array of int, shape (m,)
        Pairs of samples side by side.
    """

    time: Floats
    pass_id: Ints
    spread: Floats
    log_start: Floats
    log_end: Floats
    one: Ints
    other: Ints


def pair_opposite_passes(track: Track, mine: Bools) -> Samples:
    """Put samples along the passes, and find for each the nearest place of a neighbouring opposite pass.

    Parameters
    ----------
    track : Track
    mine : array of bool, shape (n,)
        Records to use: one machine's.

    Returns
    -------
    Samples
    """
    inside = _away_from_ends(track) & mine & (track.cut_width > 0.5 * track.swath)
    bucket = np.floor(track.odometer / SPACING_M)
    fresh = np.r_[True, (np.diff(bucket) != 0) | (np.diff(track.pass_id) != 0)][: len(track)]
    at = np.flatnonzero(inside & fresh)
    if len(at) > MAX_SAMPLES:
        at = _keep_some_stretches(track, at)
    if len(at) < 10:
        nothing = np.zeros(0, dtype=np.int64)
        return Samples(np.zeros(0), nothing, np.zeros(0), np.zeros(0), np.zeros(0), nothing, nothing)
    place = np.column_stack([track.easting[at], track.northing[at]])
    swath = float(np.median(track.swath[at]))
    near = KDTree(place).query_pairs(1.4 * swath, output_type="ndarray")
    i, j = near[:, 0], near[:, 1]
    opposite = np.abs(angle_between(track.heading[at[i]], track.heading[at[j]])) > np.radians(150)
    along = (place[j, 0] - place[i, 0]) * np.sin(track.heading[at[i]]) + (place[j, 1] - place[i, 1]) * np.cos(
        track.heading[at[i]]
    )
    distance = np.hypot(*(place[j] - place[i]).T)
    beside = opposite & (np.abs(along) < 0.6 * SPACING_M) & (distance > 0.4 * swath)
    one, other = i[beside], j[beside]
    first, last = first_of_run(track.log)[at], last_of_run(track.log)[at]
    # Speeds are means over records; at the sample's own moment lies the mean of the two around it.
    middle = track.time - track.span / 2
    spread = np.interp(track.time[at], middle[mine], (track.speed * track.cut_width)[mine])
    samples = Samples(
        time=track.time[at],
        pass_id=track.pass_id[at],
        spread=np.maximum(spread, 1e-6),
        log_start=track.time[first] - track.duration[first],
        log_end=track.time[last],
        one=one,
        other=other,
    )
    return _drop_short_pairs(samples)


def _away_from_ends(track: Track) -> Bools:
    """Tell which records lie well inside their pass."""
    first, last = first_of_run(track.pass_id), last_of_run(track.pass_id)
    before, after = track.odometer - track.odometer[first], track.odometer[last] - track.odometer
    return (track.pass_id > 0) & (before > END_M) & (after > END_M)


def _keep_some_stretches(track: Track, at: Ints) -> Ints:
    """Keep evenly spaced groups of whole passes, so that a very large field costs no more than a large one."""
    groups = track.pass_id[at] // 12
    numbers = np.unique(groups)
    wanted = max(1, int(len(numbers) * MAX_SAMPLES / len(at)))
    chosen = numbers[np.linspace(0, len(numbers) - 1, wanted).round().astype(int)]
    return at[np.isin(groups, chosen)]


def pair_key(samples: Samples) -> Ints:
    """Give each pair of samples the number of its pair of passes.

    Parameters
    ----------
    samples : Samples
        With m pairs.

    Returns
    -------
    array of int, shape (m,)
    """
    one, other = samples.pass_id[samples.one], samples.pass_id[samples.other]
    return np.asarray(
        np.minimum(one, other) * (samples.pass_id.max(initial=0) + 1) + np.maximum(one, other), dtype=np.int64
    )


def _drop_short_pairs(samples: Samples) -> Samples:
    """Forget pairs of passes that run side by side for too short a way to compare."""
    key = pair_key(samples)
    length = pd.Series(key).map(pd.Series(key).value_counts()).to_numpy(dtype=np.float64, na_value=0.0) * SPACING_M
    keep = length >= LEAST_PAIR_M
    return Samples(
        samples.time,
        samples.pass_id,
        samples.spread,
        samples.log_start,
        samples.log_end,
        samples.one[keep],
        samples.other[keep],
    )


def correlate(track: Track, flow: Floats, mine: Bools, samples: Samples, lags: Floats) -> tuple[Floats, Ints]:
    """Compare the flows of neighbouring passes at every candidate delay.

    Parameters
    ----------
    track : Track
    flow : array of float, shape (n,)
        [kg/s]
    mine : array of bool, shape (n,)
    samples : Samples
        With m pairs.
    lags : array of float, shape (k,)
        Candidate delays [s].

    Returns
    -------
    tuple of array of float, shape (3, blocks, k), and array of int, shape (blocks,)
        Sums of y_i y_j, y_i^2 and y_j^2 by block of pairs (some 100 m of one pair of passes), and each block's pair.
    """
    use = mine & np.isfinite(flow)
    time, value = track.time[use] - track.duration[use] / 2, flow[use]
    level = _level(samples, time, value, lags)
    y, z = level[samples.one], level[samples.other]
    good = np.isfinite(y).all(axis=1) & np.isfinite(z).all(axis=1)
    key = pair_key(samples)[good]
    stretch = (samples.time[samples.one][good] // (BLOCK_M / 1.6)).astype(np.int64)
    order = np.lexsort((stretch, key))
    key, stretch, y, z = key[order], stretch[order], y[good][order], z[good][order]
    start = np.flatnonzero(np.r_[True, (np.diff(key) != 0) | (np.diff(stretch) != 0)][: len(key)])
    if not len(start):
        return np.zeros((3, 0, len(lags))), key
    return np.stack([np.add.reduceat(product, start, axis=0) for product in (y * z, y**2, z**2)]), key[start]


def _level(samples: Samples, time: Floats, value: Floats, lags: Floats) -> Floats:
    """Log flow over ground at each sample (rows) and delay (columns): pass median and slow trend removed, clipped."""
    level = np.full((len(samples.time), len(lags)), np.nan)
    for k, lag in enumerate(lags):
        when = samples.time + lag
        flow = np.interp(when, time, value)
        logged = (when > samples.log_start) & (when < samples.log_end) & (flow > 0)
        level[logged, k] = np.log(flow[logged] / samples.spread[logged])
    start = np.flatnonzero(np.r_[True, np.diff(samples.pass_id) != 0])
    for first, stop in zip(start, np.r_[start[1:], len(level)], strict=True):
        level[first:stop] = _flatten(level[first:stop])
    return level


def _flatten(level: Floats) -> Floats:
    """Remove median and slow trend of one pass and clip what stands out, delay by delay."""
    known = np.isfinite(level)
    rest = level - _middle(level)
    spread = 1.4826 * _middle(np.abs(rest)) + 1e-9
    rest = np.clip(rest, -CLIP_MAD * spread, CLIP_MAD * spread)
    size = int(TREND_M / SPACING_M)
    weight = ndimage.uniform_filter1d(known.astype(np.float64), size, axis=0, mode="nearest")
    trend = ndimage.uniform_filter1d(np.where(known, rest, 0.0), size, axis=0, mode="nearest")
    long_enough = known.sum(axis=0) >= LEAST_PAIR_M / SPACING_M
    return np.asarray(np.where(long_enough, rest - trend / np.maximum(weight, 1e-9), np.nan), dtype=np.float64)


def _middle(table: Floats) -> Floats:
    """Median of the known values of each column; NaN where there are none."""
    ordered, known = np.sort(table, axis=0), np.isfinite(table).sum(axis=0)
    column = np.arange(table.shape[1])
    # NaN is sorted last, so a column without a known value gives NaN.
    low, high = np.maximum(known - 1, 0) // 2, known // 2
    return np.asarray((ordered[low, column] + ordered[high, column]) / 2, dtype=np.float64)
