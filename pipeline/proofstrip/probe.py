"""The moisture probe reads late: how late, on top of the travel of the grain, and which reading belongs to which grain.

A probe fills a chamber, mixes old grain with new and repeats its reading for seconds. The travel delay of the flow is
found from neighbouring opposite passes; the same is done here with the moisture, and refused where it hardly varies.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from proofstrip.clean import Delay, Track
from proofstrip.clean.delay import delay_by_record, judge
from proofstrip.clean.opposite import correlate, pair_key, pair_opposite_passes
from proofstrip.clean.track import Bools, Floats
from proofstrip.config import CleanPart

# Below this within-pass SD a late reading costs little, and noise and rounding are most of what varies.
LEAST_SD_PT = 0.3
# From what a display that moved its records too far leaves, to a lazy probe in a slow machine.
LOW_S, HIGH_S, STEP_S = -15.0, 70.0, 1.0
# A lag that is 5 s wrong moves the moisture by a tenth of what the whole lag does: looser than the travel delay.
WITHIN_S = 5.0
MAX_RANGE_S = 10.0


@dataclass(frozen=True)
class ProbeLag:
    """How late one combine's probe reads.

    Attributes
    ----------
    machine : str
    seconds, low, high : float or None
        From the cutterbar to the reading, travel of the grain included [s]; None where the data cannot tell.
    reason : str
        For people.
    """

    machine: str
    seconds: float | None
    low: float | None
    high: float | None
    reason: str


def estimate_lags(moisture_pct: Floats, track: Track, settings: CleanPart) -> tuple[ProbeLag, ...]:
    """Find how late each combine's moisture probe reads, or say why the data cannot tell.

    Parameters
    ----------
    moisture_pct : array of float, shape (n,)
        Readings that can be believed, in the order of the frame; NaN elsewhere [%].
    track : Track
        Of the same frame, with passes and cut width.
    settings : CleanPart
        Rules of the travel delay.

    Returns
    -------
    tuple of ProbeLag
        One a machine. No treatment is seen: medians and slow trends of passes are taken out.
    """
    reading = moisture_pct[track.row]
    return tuple(
        replace(_estimate(reading, track, track.machine == code, settings), machine=name)
        for code, name in enumerate(track.names)
        if (track.machine == code).any()
    )


def _estimate(reading: Floats, track: Track, mine: Bools, settings: CleanPart) -> ProbeLag:
    """Estimate one machine's lag."""
    spread = _spread_within(reading, track, mine)
    if not spread > LEAST_SD_PT:
        said = f"within passes the moisture varies by {spread:.2f} points (SD; above {LEAST_SD_PT:g} is needed)"
        return ProbeLag("", None, None, None, said if np.isfinite(spread) else "there are no readings within passes")
    samples = pair_opposite_passes(track, mine & np.isfinite(reading))
    pairs = len(np.unique(pair_key(samples)))
    if pairs < settings.delay_min_pairs:
        said = f"{pairs} pairs of neighbouring passes in opposite directions, {settings.delay_min_pairs} are needed"
        return ProbeLag("", None, None, None, said)
    # Moisture is no amount: unlike the flow it is not divided by the ground.
    samples = replace(samples, spread=np.ones_like(samples.spread))
    lags = np.arange(LOW_S, HIGH_S + STEP_S / 2, STEP_S)
    sums, pair = correlate(track, reading, mine, samples, lags)
    rules = settings.model_copy(update={"delay_max_split_s": WITHIN_S, "delay_max_range_s": MAX_RANGE_S})
    found = judge(sums, pair, lags, rules, within_s=WITHIN_S)
    if isinstance(found, str):
        return ProbeLag("", None, None, None, found)
    return ProbeLag("", found.seconds, found.low, found.high, found.reason)


def _spread_within(reading: Floats, track: Track, mine: Bools) -> float:
    """Give the median SD of the moisture within passes [points]."""
    use = mine & (track.pass_id > 0) & np.isfinite(reading)
    return float(pd.Series(reading[use]).groupby(track.pass_id[use]).std().median())


def move_readings(moisture_pct: Floats, track: Track, delays: tuple[Delay, ...], lags: tuple[ProbeLag, ...]) -> Floats:
    """Give each record the reading that its own grain got later, where the lag is known.

    Parameters
    ----------
    moisture_pct : array of float, shape (n,)
        In the order of the frame [%].
    track : Track
    delays : tuple of Delay
        When the grain of a record was cut.
    lags : tuple of ProbeLag

    Returns
    -------
    array of float, shape (n,)
        [%]; readings stay inside their stretch of unbroken logging.
    """
    moved = moisture_pct.copy()
    travel = delay_by_record(track, delays)
    reading = moisture_pct[track.row]
    for lag in lags:
        if lag.seconds is None:
            continue
        mine = np.flatnonzero(track.machine == track.names.index(lag.machine))
        later = track.time[mine] + lag.seconds - travel[mine]
        at = mine[np.clip(np.searchsorted(track.time[mine], later), 0, len(mine) - 1)]
        same = track.log[at] == track.log[mine]
        moved[track.row[mine[same]]] = reading[at[same]]
    return moved
