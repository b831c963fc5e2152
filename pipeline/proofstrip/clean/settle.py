"""From measured overlap to cut width: how much of the overlap is real, and how much is position noise.

Satellite error wanders slowly, so even the mean of a pass is off by some centimetres. Each pass is therefore drawn to
what is usual among the machine's passes like it, by as much as the field's own passes show their overlap to be noise,
and as the flow along them, where that was asked (confirm.py), does not show it to be real.
"""

import numpy as np
import pandas as pd
from scipy import ndimage, special

from proofstrip.clean.confirm import SMOOTH_M, Slopes, believe
from proofstrip.clean.overlap import Overlap, Seen
from proofstrip.clean.track import Floats, Ints, Track, first_of_run, last_of_run
from proofstrip.clean.width import EDGE_PROBE_M
from proofstrip.config import CleanPart

STEADY_MAD_M = 0.3
RUNNING_M = 30.0
LEAST_RECORDS = 20
LEAST_ALIKE = 4
# How far steering itself makes overlaps differ; judgement. Passes of one field cannot tell that from much larger noise.
STEERED_SD_M = 0.07
PRIOR_TRUST = 0.5
LEAST_AND_MOST_TRUST = (0.01, 0.95)
WANDER_SD_M = 0.05
FAR = 3.0  # standard deviations of noise
MOST_NOISE = 0.2  # of the header: more is ground cut before, however poor the positions
MOST_SHIFT_M = 0.5
SURE = 3.0  # standard errors


def see_passes(track: Track, overlap: Overlap) -> Seen:
    """Smooth the overlap of records to that of places, and sum it up by pass.

    Parameters
    ----------
    track : Track
        With at least one record.
    overlap : Overlap

    Returns
    -------
    Seen
    """
    signed, step_m = sign_overlap(track, overlap), usual_step(track)
    running = max(3, int(RUNNING_M / step_m) | 1)
    measured, fine = _smooth_within(signed, track.pass_id, (running, max(1, round(SMOOTH_M / step_m))))
    # A headland cut before may be a header wide, and passed in a few records: no noise looks like that.
    sudden = ndimage.median_filter(signed, 3, mode="nearest")
    measured = np.where(np.abs(sudden - measured) > MOST_NOISE * track.swath, sudden, measured)
    passes = _sum_up_passes(track, overlap, signed, running)
    return Seen(signed, measured, fine, passes, _find_noise(track, overlap, measured, passes))


def settle_width(
    track: Track, overlap: Overlap, settings: CleanPart, seen: Seen | None = None, told: Slopes | None = None
) -> Floats:
    """Turn measured overlap into cut width, drawing it to the usual as far as it is noise.

    Parameters
    ----------
    track : Track
    overlap : Overlap
    settings : CleanPart
        Within ``full_width_share`` of the header's width, passes count as alike; beyond, overlap is what was measured.
    seen : Seen, optional
        Of the same overlap, where it is known already.
    told : Slopes, optional
        How far the flow confirms overlap; none: it was not asked.

    Returns
    -------
    array of float, shape (n,)
        Cut width, never above the header width [m].
    """
    if len(track) == 0:
        return np.zeros(0)
    seen = seen or see_passes(track, overlap)
    passes, noise = seen.passes, seen.noise
    prior = np.minimum(STEERED_SD_M**2 / (STEERED_SD_M**2 + noise**2), PRIOR_TRUST)
    real, raised = (prior, np.zeros(len(prior))) if told is None else believe(prior, told)
    # What the flow shows to be real is no noise, and is followed along the pass.
    left = np.minimum((1 - real) / (1 - prior), 1.0) ** 0.5
    noise, passes = left * noise, passes.assign(halves=passes["halves"] * left[passes["machine"].to_numpy()])
    measured = seen.measured + raised[track.machine] * (seen.fine - seen.measured)
    usual, trust, error = _learn_usual(track, passes, noise, real, settings.full_width_share)
    # A place is off with its whole pass, and once more within it.
    reach = _reach(2**0.5 * noise[track.machine], track.swath, settings.full_width_share)
    sides = np.maximum(overlap.edges, 1)
    away = measured / sides - usual
    likely = np.where(np.abs(away) <= reach, usual + trust * away, measured / sides)
    lost = sides * expected_overlap(likely, error)
    alone = np.where(measured > settings.full_width_share * track.swath, measured, 0.0)
    return np.clip(track.swath - np.where(overlap.edges > 0, lost, alone), 0.0, track.swath)


def usual_step(track: Track) -> float:
    """Give the usual way of a record [m]."""
    steps = track.distance[track.distance > 0]
    return max(float(np.median(steps)), 0.1) if len(steps) else 0.1


def sign_overlap(track: Track, overlap: Overlap) -> Floats:
    """Give the overlap of each record, below zero for a gap, free of an antenna that stands aside.

    Without gaps, chance overlaps would count and chance gaps would not.

    Parameters
    ----------
    track : Track
    overlap : Overlap

    Returns
    -------
    array of float, shape (n,)
        [m]
    """
    signed = overlap.taken * track.swath - overlap.gap
    return np.asarray(signed - overlap.side * find_antenna_shift(track, overlap, signed), dtype=np.float64)


def find_antenna_shift(track: Track, overlap: Overlap, signed: Floats) -> Floats:
    """Find how much more overlap shows on the right than a machine's passes have, because its antenna stands aside.

    Parameters
    ----------
    track : Track
    overlap : Overlap
    signed : array of float, shape (n,)
        Overlap, below zero for a gap [m].

    Returns
    -------
    array of float, shape (n,)
        Of the record's machine [m]; 0 where passes along cut ground on the left and on the right do not clearly differ.

    Notes
    -----
    Where neighbouring passes run in opposite directions, an antenna that stands aside shows overlap on one side and a
    gap on the other. The mean of both sides is what the header really met.
    """
    beside = (track.pass_id > 0) & (overlap.side != 0)
    records = pd.DataFrame({"machine": track.machine, "pass": track.pass_id, "side": overlap.side, "level": signed})
    by_pass = records[beside].groupby(["machine", "pass"])
    passes = by_pass[["side", "level"]].median().assign(records=by_pass.size()).reset_index()
    # A pass that met much less than a full header says nothing of the antenna.
    passes = passes[(passes["records"] >= LEAST_RECORDS) & (passes["level"].abs() <= 2 * MOST_SHIFT_M)]
    shift = {}
    for machine, mine in passes.groupby("machine"):
        left, right = (mine.loc[mine["side"] == side, "level"] for side in (-1, 1))
        if min(len(left), len(right)) >= LEAST_ALIKE:
            apart = float(right.median() - left.median())
            # A pass's own error makes one neighbour overlap and the other gap: it counts twice, not once.
            unsure = 2**0.5 * float(np.hypot(left.std(), right.std())) / min(len(left), len(right)) ** 0.5
            shift[machine] = apart / 2 if abs(apart) > SURE * unsure else 0.0
    return pd.Series(track.machine).map(shift).fillna(0.0).to_numpy(dtype=np.float64)


def expected_overlap(likely: Floats, error: Floats) -> Floats:
    """Give the mean overlap where the likely one may be off: a gap is no overlap, however wide.

    Parameters
    ----------
    likely : array of float, shape (n,)
        Below zero for a gap [m].
    error : array of float, shape (n,)
        Standard deviation of the likely one, normally distributed [m].

    Returns
    -------
    array of float, shape (n,)
        Mean of what lies above zero [m].

    Examples
    --------
    >>> expected_overlap(np.array([-0.5, 0.0, 0.5]), np.full(3, 0.1)).round(3).tolist()
    [0.0, 0.04, 0.5]
    """
    error = np.maximum(error, 1e-6)
    score = likely / error
    density = np.exp(-(score**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(np.maximum(error * (score * special.ndtr(score) + density), 0.0), dtype=np.float64)


def _smooth_within(values: Floats, pass_id: Ints, lengths: tuple[int, int]) -> tuple[Floats, Floats]:
    """Take the running median within each pass, or its own median where it is steady; and a short running mean."""
    smooth, fine, (records, short) = np.zeros_like(values), np.zeros_like(values), lengths
    first = first_of_run(pass_id)
    for start in np.flatnonzero((first == np.arange(len(values))) & (pass_id > 0)):
        stop = start + int(np.searchsorted(first[start:], start, side="right"))
        part = values[start:stop]
        middle = float(np.median(ndimage.uniform_filter1d(part, min(records, len(part)), mode="nearest")))
        steady = float(np.median(np.abs(part - middle))) * 1.4826 < STEADY_MAD_M
        fine[start:stop] = ndimage.uniform_filter1d(part, min(short, len(part)), mode="nearest")
        smooth[start:stop] = ndimage.median_filter(part, min(records, len(part)), mode="nearest")
        if steady:
            calm = np.abs(smooth[start:stop] - middle) < 2 * STEADY_MAD_M
            smooth[start:stop][calm] = middle
    return smooth, fine


def _reach(noise: Floats, header: Floats, share: float) -> Floats:
    """Give how far overlaps may lie from the usual and count as alike: a share of the header, or what noise is."""
    return np.asarray(np.maximum(share * header, np.minimum(FAR * noise, MOST_NOISE * header)), dtype=np.float64)


def _find_noise(track: Track, overlap: Overlap, measured: Floats, passes: pd.DataFrame) -> Floats:
    """Give, for each machine, by how much overlap differs between the halves of a pass or from its own middle."""
    passes = passes[passes["level"].abs() <= MOST_NOISE * passes["header"]]
    halves = passes["halves"].abs().groupby(passes["machine"]).median() / 2**0.5
    level = pd.Series(track.pass_id).map(passes["level"]).to_numpy()
    beside = (overlap.edges > 0) & np.isfinite(level)
    within = (
        pd.Series(np.abs(measured / np.maximum(overlap.edges, 1) - level)[beside])
        .groupby(track.pass_id[beside])
        .median()
    )
    within = within.groupby(passes["machine"].reindex(within.index)).median()
    machines = np.arange(int(track.machine.max()) + 1)
    noise = np.fmax(halves.reindex(machines).to_numpy(), within.reindex(machines).to_numpy())
    return np.asarray(1.4826 * np.nan_to_num(noise), dtype=np.float64)


def _learn_usual(
    track: Track, passes: pd.DataFrame, noise: Floats, real: Floats, share: float
) -> tuple[Floats, Floats, Floats]:
    """Give each record its pass's usual overlap, how far its own is to be trusted, and how far both may be off."""
    passes = passes.assign(usual=passes["level"], telling=False)
    passes["reach"] = _reach(noise[passes["machine"].to_numpy()], passes["header"].to_numpy(), share)
    for _, alike in passes.groupby("machine"):
        reach = float(alike["reach"].median())
        level, near = usual_level(alike["level"].to_numpy(), reach)
        passes.loc[alike.index, "usual"] = level
        passes.loc[alike.index, "telling"] = (near >= LEAST_ALIKE) & (alike["halves"].abs() <= reach).to_numpy()
    off = (passes["level"] - passes["usual"]) ** 2
    squares = pd.DataFrame({"machine": passes["machine"], "off": off, "noise": passes["halves"] ** 2 / 2})
    by_machine = squares[passes["telling"]].groupby("machine")
    mean, count = by_machine.mean(), by_machine.size()
    # Slow errors shift a pass by about as much as its halves differ over root two; the rest of the scatter is real.
    prior = pd.Series(real[mean.index], mean.index).clip(*LEAST_AND_MOST_TRUST)
    own = (1 - mean["noise"] / mean["off"].where(mean["off"] > 0)).clip(0, 1).fillna(prior)
    # The prior weighs as many passes as would be needed to know trust as well: the less it expects, the surer it is.
    trust = (count * own + 1 / prior) / (count + 1 / prior**2)
    machine = pd.Series(track.machine)
    return (
        pd.Series(track.pass_id).map(passes["usual"]).fillna(0.0).to_numpy(),
        machine.map(trust).fillna(pd.Series(real)[machine].set_axis(machine.index)).to_numpy(),
        machine.map((trust * mean["noise"] + WANDER_SD_M**2) ** 0.5).fillna(WANDER_SD_M).to_numpy(),
    )


def _sum_up_passes(track: Track, overlap: Overlap, signed: Floats, running: int) -> pd.DataFrame:
    """Give, for each pass beside cut ground, its median overlap and how far the means of its halves differ."""
    first, last = first_of_run(track.pass_id), last_of_run(track.pass_id)
    beside, inside = overlap.edges > 0, (track.pass_id > 0) & (track.swath > 0)
    # A place where the cut ground is out of reach has a wide gap, if most of its pass runs along cut ground.
    along = np.cumsum(beside)
    mostly = along[last] - along[first] + beside[first] > (last - first + 1) / 3
    wide = ~beside & mostly & (overlap.taken == 0)
    use = np.flatnonzero(inside & (beside | wide))
    number, late = track.pass_id[use], use > ((first + last) / 2)[use]
    records = pd.DataFrame(
        {
            "machine": track.machine[use],
            "edges": np.where(wide, np.nan, overlap.edges)[use],
            "header": track.swath[use],
            "level": np.where(wide, -EDGE_PROBE_M, signed)[use],
        }
    )
    # Cells make one record's overlap jump in steps of some centimetres: the median is taken of running means.
    records["level"] /= records.groupby(number)["edges"].transform("median").round()
    calm = records["level"].groupby(number).rolling(running, center=True, min_periods=1).mean()
    by_pass = records.assign(level=calm.droplevel(0)).groupby(number)
    passes = by_pass.median()
    first_half, second_half = (records["level"][mask].groupby(number[mask]).mean() for mask in (~late, late))
    passes["halves"] = (first_half - second_half).reindex(passes.index)
    passes = passes[by_pass["edges"].count() >= LEAST_RECORDS]
    return passes.astype({"machine": int}).assign(edges=passes["edges"].round())


def usual_level(level: Floats, reach: float) -> tuple[Floats, Ints]:
    """Move each level to the middle of the levels near it.

    Parameters
    ----------
    level : array of float, shape (n,)
        One a pass.
    reach : float
        How near levels count.

    Returns
    -------
    tuple of array of float, shape (n,), and array of int, shape (n,)
        The mean of the levels within reach, and their number. A level with no other near it stays as it is.

    Notes
    -----
    Medians find the middle, so that no stray level moves it; the answer is a mean. Each pass stands on the right of one
    overlap and on the left of the next, so that its own error cancels in the mean of all and does not in their median.

    Examples
    --------
    >>> usual_level(np.array([0.2, 0.3, 0.4, 4.0]), 0.5)[0].tolist()
    [0.3, 0.3, 0.3, 4.0]
    """
    ordered, centre = np.sort(level), level
    for _ in range(5):
        low = np.searchsorted(ordered, centre - reach, side="left")
        high = np.searchsorted(ordered, centre + reach, side="right")
        centre = (ordered[(low + high - 1) // 2] + ordered[(low + high) // 2]) / 2
    low = np.searchsorted(ordered, centre - reach, side="left")
    high = np.searchsorted(ordered, centre + reach, side="right")
    total = np.cumsum(np.r_[0.0, ordered])
    return (total[high] - total[low]) / (high - low), high - low
