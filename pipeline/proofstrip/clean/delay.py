"""The travel delay: how long grain takes from the cutterbar to the flow sensor, on top of what the display applied.

Neighbouring passes in opposite directions cut nearly the same crop. With the right delay their flows agree place by
place; with a wrong one each is shifted along its own direction of travel, and they disagree. Pass medians are removed
first, so neither treatments nor machine offsets can be seen here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy import ndimage

from proofstrip.clean.halves import find_half_times
from proofstrip.clean.opposite import correlate, pair_key, pair_opposite_passes
from proofstrip.clean.track import Bools, Floats, Ints, Track
from proofstrip.config import CleanPart

STEP_S = 0.5
SMOOTH_S = 4.0
# Mixing and tailings have a long tail that agreement hardly feels, so the best fit falls short of the mean.
# docs/clean.md has what is left on simulated harvests.
TAIL_S = 0.4
BOOTSTRAPS = 200
AGREE_S = 2.0
FAR_STEPS = 2.5
# The header goes down before the crop, so the entry by the header alone may say more.
ENTRY_AGREE_S = 6.0
GROUND_AGREE_S = 4.0
# How far the ends of passes may be off the travel delay, one standard deviation; docs/clean.md has what they were.
ENDS_SD_S = 0.7
RANGE_SD = 3.29  # standard deviations in a range of 90 %
SHIFTED_ENTRY_S = 4.0


@dataclass(frozen=True)
class Delay:
    """Travel delay of one machine.

    Attributes
    ----------
    machine : str
    seconds : float
        What is applied: grain logged at time t was cut at t - seconds [s].
    low, high : float or None
        Bootstrap 5 to 95 % range of the estimate [s].
    source : str
        ``estimated``, ``declared`` or ``assumed``.
    reason : str
        For people: how it was had, or why it could not be estimated.
    day : str or None
        On which it holds; none: on all days of the machine.
    """

    machine: str
    seconds: float
    low: float | None
    high: float | None
    source: Literal["estimated", "declared", "assumed"]
    reason: str
    day: str | None = None

    @property
    def whose(self) -> str:
        """The machine, and the day where it holds on one only."""
        return self.machine if self.day is None else f"{self.machine} on {self.day}"

    def holds(self, track: Track) -> Bools:
        """Tell for which records of a track it holds."""
        mine = track.machine == track.names.index(self.machine)
        if self.day is not None:
            mine = mine & (track.day == track.day_names.index(self.day))
        return np.asarray(mine, dtype=np.bool_)


def estimate_delays(
    points: gpd.GeoDataFrame, track: Track, settings: CleanPart, applied_s: float | None
) -> tuple[Delay, ...]:
    """Find the travel delay of each machine, or say why the data cannot tell it.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        machine, mass_flow_kg_s [kg/s].
    track : Track
        With passes and cut width.
    settings : CleanPart
    applied_s : float or None
        What the display has already applied, where the user declared it [s].

    Returns
    -------
    tuple of Delay
        One a machine, in the order of their names; one a day where the days of a machine clearly differ.
    """
    flow = points["mass_flow_kg_s"].to_numpy(dtype=np.float64)[track.row]
    halves = find_half_times(track, flow)
    first = pd.Series(np.arange(len(track))).groupby(track.pass_id).first()
    record_of_pass = first.reindex(halves.pass_id).to_numpy(dtype=np.int64)
    moved = any(notice.code == "header_late" for notice in track.notices)

    def settle(name: str, mine: Bools, day: str | None = None) -> tuple[Delay, float | None]:
        own, code = halves.keep(mine[record_of_pass]), track.names.index(name)
        ends = Ends(own.entry_of(code), own.knows_ground(code), own.delay_of(code), moved)
        delay = _settle(name, _estimate(track, flow, mine, settings), ends, settings, applied_s)
        return replace(delay, day=day), delay.seconds if delay.source == "estimated" else ends.delay_s

    found: list[Delay] = []
    for code, name in enumerate(track.names):
        mine = track.machine == code
        if not mine.any():
            continue
        days = list_days(track, mine)
        apart = [settle(name, mine & (track.day == day), track.day_names[day]) for day in days if len(days) > 1]
        told = [seconds for _, seconds in apart if seconds is not None]
        differ = len(told) > 1 and max(told) - min(told) > settings.delay_max_split_s
        # Days that agree tell more together.
        found += [delay for delay, _ in apart] if differ and settings.delay_s is None else [settle(name, mine)[0]]
    return tuple(found)


@dataclass(frozen=True)
class Ends:
    """What the ends of a machine's passes say [s]; None where the log does not show it.

    Attributes
    ----------
    entry_s : float or None
        After entry the flow takes so long to reach half its level.
    by_ground : bool
        The ground cut before tells when the machine entered; if not, the header or the log does.
    delay_s : float or None
        Travel delay by entries and exits together.
    moved : bool
        The header's states were late and were moved, so that its ends are a guess themselves.
    """

    entry_s: float | None
    by_ground: bool
    delay_s: float | None
    moved: bool = False

    def contradict(self, seconds: float) -> bool:
        """Tell whether entries speak against a delay."""
        if self.entry_s is None:
            return False
        away = self.entry_s - seconds
        return abs(away) > GROUND_AGREE_S if self.by_ground else away > ENTRY_AGREE_S


def list_days(track: Track, mine: Bools) -> list[int]:
    """Give the codes of the days with passes among some records; none where days are not told apart."""
    return [int(code) for code in np.unique(track.day[mine & (track.pass_id > 0)])] if len(track.day) else []


def _settle(machine: str, found: "Delay | str", ends: Ends, settings: CleanPart, applied_s: float | None) -> Delay:
    """Take the declared delay, the estimate, or, refused, what stands in for it."""
    entry_s = ends.entry_s
    if isinstance(found, Delay) and ends.contradict(found.seconds):
        known = ", known by the ground already cut," if ends.by_ground else ""
        found = (
            f"neighbouring passes say {found.seconds:.1f} s, but after entry{known} the flow takes {entry_s:.1f} s "
            "to reach half its level"
        )
    if settings.delay_s is not None:
        beside = f"the data say {found.seconds:.1f} s" if isinstance(found, Delay) else f"the data cannot tell: {found}"
        return Delay(machine, settings.delay_s, None, None, "declared", f"set in [clean] delay; {beside}")
    if isinstance(found, Delay):
        if ends.delay_s is not None and (ends.by_ground or not ends.moved):
            found = weigh(found, ends.delay_s)
        return replace(found, machine=machine)
    if applied_s is not None:
        reason = (
            f"the display had applied {applied_s:g} s, as declared in [harvest], and the data cannot tell more: {found}"
        )
        return Delay(machine, 0.0, None, None, "declared", reason)
    if ends.delay_s is not None:
        shifted = ": the display must have shifted the records" if ends.delay_s < SHIFTED_ENTRY_S else ""
        reason = f"the data cannot tell: {found}. Entries and exits of its passes look like so much{shifted}"
        return Delay(machine, round(ends.delay_s, 1), None, None, "assumed", reason)
    if entry_s is not None and entry_s < SHIFTED_ENTRY_S:
        reason = (
            f"the flow stands at half its level {entry_s:.1f} s after entry, so the display has already shifted the "
            f"records; what remains cannot be told: {found}"
        )
        return Delay(machine, 0.0, None, None, "assumed", reason)
    return Delay(machine, settings.assumed_delay_s, None, None, "assumed", f"the data cannot tell: {found}")


def weigh(found: Delay, ends_s: float) -> Delay:
    """Weigh what opposite passes say and what the ends of passes say, each by its variance.

    Parameters
    ----------
    found : Delay
        By opposite passes, with its range.
    ends_s : float
        By the ends of passes [s].

    Returns
    -------
    Delay
        By opposite passes alone where the two differ by over three standard deviations: some drivers cross the headland
        with the header down.

    Examples
    --------
    >>> pairs = Delay("", 10.0, 8.8, 11.2, "estimated", "pairs agree")
    >>> both = weigh(pairs, 12.0)
    >>> both.seconds, both.low, both.high
    (11.04, 10.21, 11.87)
    >>> weigh(pairs, 14.0).seconds
    10.0
    """
    if found.low is None or found.high is None:
        return found
    own = ((found.high - found.low) / RANGE_SD) ** 2
    if abs(ends_s - found.seconds) > 3 * (own + ENDS_SD_S**2) ** 0.5:
        return replace(found, reason=f"{found.reason}; the ends of its passes look like {ends_s:.1f} s")
    share = ENDS_SD_S**2 / (ENDS_SD_S**2 + own)
    seconds, narrower = share * found.seconds + (1 - share) * ends_s, share**0.5
    low, high = (seconds + narrower * (end - found.seconds) for end in (found.low, found.high))
    reason = f"{found.reason}, weighed with {ends_s:.1f} s by the ends of its passes"
    return replace(found, seconds=round(seconds, 2), low=round(low, 2), high=round(high, 2), reason=reason)


def _estimate(track: Track, flow: Floats, mine: Bools, settings: CleanPart) -> "Delay | str":
    """Estimate one machine's delay; a sentence where it must be refused."""
    samples = pair_opposite_passes(track, mine & np.isfinite(flow))
    pairs = pd.unique(pair_key(samples))
    if len(pairs) < settings.delay_min_pairs:
        return (
            f"{len(pairs)} pair{'' if len(pairs) == 1 else 's'} of neighbouring passes in opposite directions, "
            f"at least {settings.delay_min_pairs} are needed"
        )
    lags = np.arange(settings.delay_low_s, settings.delay_high_s + STEP_S / 2, STEP_S)
    products, blocks = correlate(track, flow, mine, samples, lags)
    return judge(products, blocks, lags, settings)


def judge(sums: Floats, pair: Ints, lags: Floats, settings: CleanPart, within_s: float = AGREE_S) -> "Delay | str":
    """Take the delay with the best agreement, or say why it cannot be trusted.

    Parameters
    ----------
    sums : array of float, shape (3, blocks, k)
    pair : array of int, shape (blocks,)
    lags : array of float, shape (k,)
        [s]
    settings : CleanPart
    within_s : float
        Resampled stretches agree where they differ by no more [s].

    Returns
    -------
    Delay or str
        The estimate without a machine's name, or the reason for the refusal.
    """
    if len(pair) < 2 * settings.delay_min_pairs:
        return f"{len(pair)} stretches of opposite passes side by side are too few to compare"
    step = float(lags[1] - lags[0])
    curve = _curve(sums.sum(axis=1), step)
    best = _peak(curve, lags) + TAIL_S
    rng = np.random.default_rng(20)
    drawn = rng.multinomial(len(pair), np.full(len(pair), 1 / len(pair)), size=BOOTSTRAPS)
    curves = _curve(np.einsum("db,sbk->sdk", drawn, sums, optimize=True), step)
    peaks = np.array([_peak(one, lags) for one in curves]) + TAIL_S
    order = pd.factorize(pair)[0]
    halves = [_peak(_curve(sums[:, order % 2 == side].sum(axis=1), step), lags) for side in (0, 1)]
    confidence = float(np.mean(np.abs(peaks - best) <= within_s))
    prominence = float(np.nanmax(curve) - np.nanmax(np.where(np.abs(lags - best) > FAR_STEPS * within_s, curve, -1.0)))
    low, high = np.quantile(peaks, [0.05, 0.95])
    spread = (abs(halves[0] - halves[1]), float(high - low), within_s)
    refusal = _refusal((best, confidence, prominence), spread, lags, settings)
    if refusal:
        return refusal
    pairs = len(np.unique(pair))
    agreement = f"correlation {np.nanmax(curve):.2f}"
    reason = f"{pairs} pairs of neighbouring passes in opposite directions agree best there ({agreement})"
    return Delay("", round(best, 2), round(float(low), 2), round(float(high), 2), "estimated", reason)


def _refusal(
    found: tuple[float, float, float], spread: tuple[float, float, float], lags: Floats, settings: CleanPart
) -> str:
    """Say which rule forbids the estimate; empty when none does.

    Found: the best delay, the share of draws that agree, prominence. Spread: of the halves, of the draws, and what
    counts as agreement.
    """
    best, confidence, prominence = found
    split, reach, within_s = spread
    rules: Sequence[tuple[bool, str]] = (
        (
            best <= lags[0] + 1 or best >= lags[-1] - 1,
            f"the best fit lies at the edge of the search range ({best:.1f} s)",
        ),
        (
            confidence < settings.delay_min_confidence,
            f"resampled stretches agree within {within_s:g} s in only {confidence:.0%} of cases "
            f"(at least {settings.delay_min_confidence:.0%})",
        ),
        (
            split > settings.delay_max_split_s,
            f"the two halves of the field differ by {split:.1f} s (at most {settings.delay_max_split_s:g} s)",
        ),
        (
            reach > settings.delay_max_range_s,
            f"resampled stretches leave a range of {reach:.1f} s (at most {settings.delay_max_range_s:g} s)",
        ),
        (
            prominence < settings.delay_min_prominence,
            f"the best fit hardly stands out ({prominence:.3f}, at least {settings.delay_min_prominence:g}): "
            "the crop varies too little, or the sensor too much",
        ),
    )
    return next((said for broken, said in rules if broken), "")


def _curve(sums: Floats, step_s: float) -> Floats:
    """Pooled correlation at each delay, smoothed: its sharp peak follows the mode of the mixing, its body the mean."""
    curve = sums[0] / np.maximum(np.sqrt(sums[1] * sums[2]), 1e-12)
    return np.asarray(ndimage.gaussian_filter1d(curve, SMOOTH_S / step_s, mode="nearest"), dtype=np.float64)


def _peak(curve: Floats, lags: Floats) -> float:
    """Give the delay of the best agreement, refined by the parabola through its neighbours."""
    k = int(np.nanargmax(curve))
    if 0 < k < len(lags) - 1:
        left, middle, right = curve[k - 1 : k + 2]
        bend = left - 2 * middle + right
        if bend < 0:
            return float(lags[k] + 0.5 * (left - right) / bend * (lags[1] - lags[0]))
    return float(lags[k])


def delay_by_record(track: Track, delays: tuple[Delay, ...]) -> Floats:
    """Give the delay of each record on the track: its machine's, or its machine's on its day.

    Parameters
    ----------
    track : Track
    delays : tuple of Delay

    Returns
    -------
    array of float, shape (n,)
        [s]; 0 where no delay holds.
    """
    seconds = np.zeros(len(track))
    for delay in delays:
        seconds[delay.holds(track)] = delay.seconds
    return seconds
