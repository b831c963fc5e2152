"""When the flow passes half of its level as a machine enters the crop and leaves it: a second look at its travel delay.

Grain that is cut at once arrives spread out in time; half of a step has arrived after the travel delay, nearly. The
header goes down some way before the crop and up some way after it, so entries show the delay too long and exits too
short by the same habit; their mean is free of it. Where the ground cut before says when the machine met the crop, that
is taken instead. It needs no pattern in the crop and no opposite neighbour.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy import ndimage

from proofstrip.clean.ends import find_crop_ends
from proofstrip.clean.track import Bools, Floats, Ints, Track, first_of_run, last_of_run

# Where the settled flow is read, and where its half is looked for: seconds inside the pass from either end.
SETTLED_S = (35.0, 80.0)
ENTRY_REACH_S = (-15.0, 45.0)
EXIT_REACH_S = (-35.0, 20.0)
OUTSIDE_S = min(ENTRY_REACH_S[0], EXIT_REACH_S[0])
HALF = 0.5
SOON_S = 5.0
STAYS_S = 4.0
# Half of the grain arrives sooner than the mean of it: by 0.3 to 0.8 s where two stages mix it for 2 to 5 s; what is
# threshed again, 5 to 10 % for 8 s, draws the mean on as much. Judged from the kernel, not measured on real machines.
MEDIAN_TO_MEAN_S = 0.8
LEAST_PASSES = 4
MOST_SPREAD_S = 3.0  # between the quarters of the passes; judgement: some 0.5 s is usual


@dataclass(frozen=True)
class HalfTimes:
    """When the flow passed half of its level, pass by pass.

    Attributes
    ----------
    pass_id, machine : array of int, shape (k,)
    entry_s, exit_s : array of float, shape (k,)
        Since the pass met the crop, and since it left it [s]; NaN where the log does not show it.
    entry_by_ground, exit_by_ground : array of bool, shape (k,)
        The ground cut before tells when that was; if not, the header or the log does.
    """

    pass_id: Ints
    machine: Ints
    entry_s: Floats
    exit_s: Floats
    entry_by_ground: Bools
    exit_by_ground: Bools

    def keep(self, passes: Bools) -> "HalfTimes":
        """Keep some passes."""
        return HalfTimes(*(getattr(self, part.name)[passes] for part in fields(self)))

    @property
    def middle_s(self) -> Floats:
        """Travel delay by entry and exit together [s]; NaN where one is not known, or only one by the ground."""
        alike = self.entry_by_ground == self.exit_by_ground
        return np.where(alike, (self.entry_s + self.exit_s) / 2 + MEDIAN_TO_MEAN_S, np.nan)

    @property
    def alike_entry_s(self) -> Floats:
        """Entries of each machine that are known in one way: by the ground, where that tells of four passes [s]."""
        entry = self.entry_s.copy()
        for code in np.unique(self.machine):
            entry[(self.machine == code) & (self.entry_by_ground != self.knows_ground(int(code)))] = np.nan
        return entry

    def knows_ground(self, code: int) -> bool:
        """Tell whether the ground says of four passes of one machine where the crop began."""
        return len(self._known(np.where(self.entry_by_ground, self.entry_s, np.nan), code)) >= LEAST_PASSES

    def entry_of(self, code: int) -> float | None:
        """Give the median entry of one machine; none of fewer than four passes."""
        known = self._known(self.alike_entry_s, code)
        return float(np.median(known)) if len(known) >= LEAST_PASSES else None

    def delay_of(self, code: int) -> float | None:
        """Give one machine's median delay; none of fewer than four passes, or where they differ.

        By entry and exit together, or by the entry alone where the ground tells of it.
        """
        known = self._known(self.middle_s, code)
        if len(known) < LEAST_PASSES and self.knows_ground(code):
            # Crop is thin at the ends of a field: flow reaches half of the level inside later, as the mean does.
            known = self._known(self.alike_entry_s, code)
        if len(known) < LEAST_PASSES or np.subtract(*np.percentile(known, [75, 25])) > MOST_SPREAD_S:
            return None
        return float(np.median(known))

    def _known(self, seconds: Floats, code: int) -> Floats:
        """Give what is known of one machine's passes."""
        mine: Floats = seconds[(self.machine == code) & np.isfinite(seconds)]
        return mine


def find_half_times(track: Track, flow: Floats) -> HalfTimes:
    """Find when the flow passes half of its level at both ends of each pass.

    A pass that began on cut ground met the crop where that ground ended. Others count where they begin and end with the
    log, or with the header going down and up: a turn does not say where the crop began.

    Parameters
    ----------
    track : Track
    flow : array of float, shape (n,)
        [kg/s]

    Returns
    -------
    HalfTimes
    """
    calm = ndimage.median_filter(np.nan_to_num(flow), size=3, mode="nearest") if len(flow) else flow
    middle, ends = track.time - track.duration / 2, find_crop_ends(track)
    firsts = np.flatnonzero((track.pass_id > 0) & (first_of_run(track.pass_id) == np.arange(len(track))))
    lasts, opens, closes = last_of_run(track.pass_id)[firsts], first_of_run(track.log), last_of_run(track.log)
    by_ground = ends.entry_by_ground[firsts], ends.exit_by_ground[firsts]
    # The state is known at the ends of records only: on average the header moved half a record later.
    begins = np.where(by_ground[0], ends.entry[firsts], track.time[firsts] - track.duration[firsts] / 2)
    stops = np.where(by_ground[1], ends.exit[firsts], track.time[lasts] + track.duration[lasts] / 2)
    entry, leave = np.full(len(firsts), np.nan), np.full(len(firsts), np.nan)
    for k, (first, last, begin, end) in enumerate(zip(firsts, lasts, begins, stops, strict=True)):
        if end - begin < SETTLED_S[1]:
            continue
        if by_ground[0][k] or first == opens[first] or track.header_up[first - 1]:
            inside = middle[opens[first] : last + 1] - begin
            entry[k] = cross_half(*_near_end(inside, calm[opens[first] : last + 1]), ENTRY_REACH_S)
        if by_ground[1][k] or (last < closes[last] and track.header_up[last + 1]):
            inside = (end - middle[first : closes[last] + 1])[::-1]
            leave[k] = -cross_half(*_near_end(inside, calm[first : closes[last] + 1][::-1]), EXIT_REACH_S)
    return HalfTimes(track.pass_id[firsts], track.machine[firsts], entry, leave, *by_ground)


def _near_end(inside: Floats, flow: Floats) -> tuple[Floats, Floats]:
    """Leave out what lies beyond any reach: a log that is not broken at turns lasts for hours."""
    near = slice(max(0, int(np.searchsorted(inside, OUTSIDE_S)) - 1), int(np.searchsorted(inside, SETTLED_S[1])) + 1)
    return inside[near], flow[near]


def cross_half(inside: Floats, flow: Floats, reach: tuple[float, float]) -> float:
    """Walk from the settled flow inside a pass out over one of its ends, down to half of the flow.

    Parameters
    ----------
    inside : array of float, shape (n,)
        How far inside the pass each reading lies, rising; negative outside [s].
    flow : array of float, shape (n,)
        [kg/s]
    reach : tuple of float
        Where the half is looked for [s].

    Returns
    -------
    float
        [s] inside; 0 where the log begins with the pass and the flow stands there at once; NaN where it is not seen.

    Examples
    --------
    >>> cross_half(np.arange(-5.0, 90), np.r_[np.zeros(15), np.full(80, 6.0)], (-15, 45))
    9.5
    """
    settled = (inside > SETTLED_S[0]) & (inside < SETTLED_S[1])
    near = (inside >= reach[0]) & (inside <= reach[1])
    if not settled.any() or not near.any():
        return float("nan")
    level = float(np.median(flow[settled]))
    share = flow[near] / level if level > 0 else np.zeros(0)
    # A slow stretch dips for a moment; beyond the end of the crop the flow stays low.
    run = max(1, int(np.ceil(STAYS_S / np.median(np.diff(inside))))) if len(inside) > 1 else 1
    below = np.flatnonzero(ndimage.minimum_filter1d((share < HALF).astype(np.int8), run, origin=(run - 1) // 2))
    if len(below) == 0:
        return 0.0 if len(share) and inside[0] >= -SOON_S else float("nan")
    last = int(below[-1])
    if last == len(share) - 1:
        return float("nan")
    return float(np.interp(HALF, share[last : last + 2], inside[near][last : last + 2]))
