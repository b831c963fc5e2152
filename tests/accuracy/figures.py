"""The scoreboard's arithmetic: how far off, how steep, how many found. Knows no frame and no file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Tally:
    """How a filter did on records whose faults are known.

    Attributes
    ----------
    flagged, right : int
        Records it flagged, and those of them that it may flag.
    planted, found, caught : int
        Records it should flag, those that it did, and those that it or any other excluding filter did.
    """

    flagged: int = 0
    right: int = 0
    planted: int = 0
    found: int = 0
    caught: int = 0

    def __add__(self, other: "Tally") -> "Tally":
        """Add up the records of two harvests."""
        return Tally(
            self.flagged + other.flagged,
            self.right + other.right,
            self.planted + other.planted,
            self.found + other.found,
            self.caught + other.caught,
        )

    @property
    def precision(self) -> float:
        """Share of what was flagged that may be flagged; NaN where nothing was."""
        return share(self.right, self.flagged)

    @property
    def recall(self) -> float:
        """Share of what should be flagged that was; NaN where nothing was planted."""
        return share(self.found, self.planted)


def tally(flag: Bools, may: Bools, must: Bools, excluded: Bools) -> Tally:
    """Count how a filter did.

    Parameters
    ----------
    flag, may, must, excluded : array of bool, shape (n,)
        Flagged; may be flagged; should be flagged; excluded by this or any other filter.

    Returns
    -------
    Tally
    """
    counts = (flag, flag & may, must, must & flag, must & (flag | excluded))
    return Tally(*(int(part.sum()) for part in counts))


def share(part: float, whole: float) -> float:
    """Give part / whole; NaN of nothing."""
    return part / whole if whole else float("nan")


def mean(values: Sequence[float]) -> float:
    """Give the mean of what is known; NaN of nothing."""
    known = _known(values)
    return float(known.mean()) if len(known) else float("nan")


def rms(values: Sequence[float]) -> float:
    """Give the root of the mean square of what is known; NaN of nothing."""
    known = _known(values)
    return float(np.sqrt((known**2).mean())) if len(known) else float("nan")


def _known(values: Iterable[float]) -> Floats:
    """Leave out NaN."""
    array = np.asarray(list(values), dtype=np.float64)
    return array[np.isfinite(array)]


def slope_within(group: Sequence[int], true: Sequence[float], found: Sequence[float]) -> float:
    """Fit how far the found value moves when the true one does, within groups.

    Harvests of one seed share soil, driving and noise, so what their difference leaves is what the way of working
    does to the effect: deviations from each group's mean are pooled, sum(true x found) / sum(true x true).

    Parameters
    ----------
    group : sequence of int
    true, found : sequence of float

    Returns
    -------
    float
        NaN where the true value never differs within a group.
    """
    use = np.isfinite(true) & np.isfinite(found)
    labels, place = np.unique(np.asarray(group)[use], return_inverse=True)
    if not len(labels):
        return float("nan")
    count = np.bincount(place)

    def deviation(values: Sequence[float]) -> Floats:
        known = np.asarray(values, dtype=np.float64)[use]
        away: Floats = known - (np.bincount(place, known) / count)[place]
        return away

    steps, answers = deviation(true), deviation(found)
    spread = float((steps**2).sum())
    return float((steps * answers).sum()) / spread if spread > 0 else float("nan")
