"""The header switch: whether the logged header state can be believed, and what stands in for it.

A header that cuts runs straight and grain flows; one that is up turns, or no grain flows. A switch that says the
opposite, or never changes, or follows the header late is told by these facts, and every departure from the log is said.
"""

import numpy as np

from proofstrip.clean.track import Bools, Floats, Ints, Track, drop_short_runs, position_at
from proofstrip.config import CleanPart
from proofstrip.errors import Notice

# Grain flows where there is more than this share of what nine tenths of straight travel stay below; half of a harvest
# may be empty driving.
FLOWING_SHARE = 0.5
USUAL_PERCENTILE = 90
MOVING_SHARE = 0.3
LEAST_S = 20.0
# No combine feeds its sensor for so long after the header went up.
STILL_FLOWING_S = 45.0
# A habit of lifting later after the crop than lowering before it, by some 8 m, looks like 2 s.
LEAST_LATE_S = 2.5
LEAST_ENDS = 6
# Shorter silences are lost values. A header that stays down through so many turns, but not through others, is stuck.
LEAST_SILENT_S = 60.0
LEAST_TURNS = 3
MOSTLY_UP = 0.8
FOUND = "passes were found"
INSIDE_M = (15.0, 45.0)
BESIDE_SHARE = (0.3, 1.7)
END_REACH_M = 60.0


def settle_header(track: Track, state: Floats, flow: Floats, settings: CleanPart) -> tuple[Bools, tuple[Notice, ...]]:
    """Tell where the header was up, machine by machine, from the switch as far as it can be believed.

    Parameters
    ----------
    track : Track
        With headings and turns.
    state : array of float, shape (n,)
        As logged: 1 = up, 0 = down, NaN = not logged.
    flow : array of float, shape (n,)
        [kg/s]
    settings : CleanPart

    Returns
    -------
    tuple of array of bool, shape (n,), and tuple of Notice
        Never up where the switch tells nothing: passes are then told by turns and silences.
    """
    up, notices = state == 1, []
    for code in np.unique(track.machine):
        mine = track.machine == code
        if not np.isfinite(state[mine]).any():
            if np.isfinite(state).any():
                notices.append(
                    _tell(track, code, ("header_silent", f"is not in the log; {FOUND} from turns and silences."))
                )
            continue
        own, told = _judge(track, state, mine, _tell_cutting(track, flow, mine))
        if told is None:
            late_s = measure_lateness(track, own, mine)
            if late_s is not None and late_s >= LEAST_LATE_S:
                own = _earlier(track, own, late_s)
                told = ("header_late", f"is late by about {late_s:.0f} s; it was moved to its time.")
        up[mine] = own[mine]
        if told is not None:
            notices.append(_tell(track, code, told))
        if own.any():
            known = mine & np.isfinite(state)
            if told is not None and told[0] == "header_stuck_in_parts":
                known &= own | (state == 0)
            parts = (_say_silent(track, state, mine), _say_stuck_down(track, own, known))
            notices.extend(_tell(track, code, part) for part in parts if part is not None)
    return drop_short_runs(up, track.log, track.duration, settings.header_up_s), tuple(notices)


def _tell(track: Track, code: int, told: tuple[str, str]) -> Notice:
    """Say something of a machine's switch."""
    return Notice(told[0], f"The header switch of {name_machine(track, int(code))} {told[1]}")


def name_machine(track: Track, code: int) -> str:
    """Name a machine for people."""
    name = track.names[code]
    return name if "combine" in name.lower() else f"combine {name}"


def _tell_cutting(track: Track, flow: Floats, mine: Bools) -> Bools:
    """Tell where a machine surely cut: straight on, with grain flowing. A log without flow tells by the path alone."""
    straight = mine & ~track.turn & (track.speed > MOVING_SHARE * np.median(track.speed[mine]))
    known = straight & np.isfinite(flow)
    if not known.any():
        return straight
    return straight & (flow > FLOWING_SHARE * np.percentile(flow[known], USUAL_PERCENTILE))


def _judge(track: Track, state: Floats, mine: Bools, cutting: Bools) -> tuple[Bools, tuple[str, str] | None]:
    """Believe one machine's switch, turn it over, or leave it aside; say so where it is not believed."""
    up, known, nothing = mine & (state == 1), mine & np.isfinite(state), np.zeros(len(track), dtype=bool)
    while_cutting, in_turns = (_share_up(up, which & known, track.duration) for which in (cutting, track.turn))
    if while_cutting is None:
        return up, None
    if while_cutting > 0.5:
        said = "says up while grain flows along straight passes"
        if in_turns is not None and in_turns < 0.5:
            told = f"reads the wrong way round: it {said} and down in the turns; it was turned over."
            return mine & (state == 0), ("header_inverted", told)
        told = f"cannot be right: it {said}; it was not used, and passes were found from turns and silences."
        return nothing, ("header_stuck_up", told)
    stuck = _stuck_runs(track, up, cutting)
    if stuck.any():
        minutes = track.duration[stuck].sum() / 60
        told = f"got stuck: for {minutes:.0f} min it says up while grain flows; there passes were found without it."
        return up & ~stuck, ("header_stuck_in_parts", told)
    # Where nothing but passes was logged, a header that is always down is no fault.
    if not up.any() and in_turns is not None:
        told = "never changes: it says down in the turns too; passes were found from turns and silences."
        return nothing, ("header_stuck_down", told)
    return up, None


def _share_up(up: Bools, which: Bools, seconds: Floats) -> float | None:
    """Give the share of time with the header up; none where there is too little to tell."""
    total = float(seconds[which].sum())
    return float(seconds[which & up].sum()) / total if total >= LEAST_S else None


def _stuck_runs(track: Track, up: Bools, cutting: Bools) -> Bools:
    """Find runs of the header up during which grain flows for longer than any combine takes to empty."""
    if not up.any():
        return up
    change = (up[1:] != up[:-1]) | (track.log[1:] != track.log[:-1])
    run = np.cumsum(np.r_[True, change]) - 1
    flowing_s = np.bincount(run, weights=np.where(up & cutting, track.duration, 0.0))
    return np.asarray(up & (flowing_s[run] > STILL_FLOWING_S), dtype=np.bool_)


def _say_silent(track: Track, state: Floats, mine: Bools) -> tuple[str, str] | None:
    """Tell for how long a switch that is logged elsewhere is not in the log."""
    seconds = float(track.duration[mine & ~np.isfinite(state)].sum())
    if seconds < LEAST_SILENT_S:
        return None
    return "header_silent", f"is not in the log for {seconds / 60:.0f} min; there {FOUND} from turns and silences."


def _say_stuck_down(track: Track, up: Bools, known: Bools) -> tuple[str, str] | None:
    """Tell for how long the switch says down through turns, where it says up in the turns of the rest."""
    change = (up[1:] != up[:-1]) | (known[1:] != known[:-1]) | (track.machine[1:] != track.machine[:-1])
    run = np.cumsum(np.r_[True, change]) - 1
    begins = np.r_[track.turn[:1], track.turn[1:] & ~track.turn[:-1]]
    turns = np.bincount(run, weights=begins & known & ~up)
    through = (turns[run] >= LEAST_TURNS) & known & ~up
    others = track.turn & known & ~through
    if not through.any() or (begins & others).sum() < LEAST_TURNS:
        return None
    if track.duration[others & up].sum() < MOSTLY_UP * track.duration[others].sum():
        return None
    minutes, number = track.duration[through].sum() / 60, int((begins & through).sum())
    told = f"got stuck: for {minutes:.0f} min it says down through {number} turns, in which it else says up; there "
    return "header_stuck_down_in_parts", f"{told}{FOUND} from turns and silences."


def _earlier(track: Track, up: Bools, seconds: float) -> Bools:
    """Take the state that the log gives so much later; none is taken from another log."""
    step = float(track.time.max() - track.time.min() + 1000.0)
    clock = track.time + track.machine * step
    place = np.minimum(np.searchsorted(clock, clock + seconds), len(track) - 1)
    return np.where(track.log[place] == track.log, up[place], up)


def measure_lateness(track: Track, up: Bools, mine: Bools) -> float | None:
    """Measure how late the switch follows the header, from where neighbouring opposite passes begin and end.

    Both passes meet the same edge of the crop. A late switch lets the one begin inside it and the other end beyond it,
    so that beginnings lie further inside than ends by twice the lateness times the speed.

    Parameters
    ----------
    track : Track
    up : array of bool, shape (n,)
    mine : array of bool, shape (n,)
        The records of one machine.

    Returns
    -------
    float or None
        [s]; none where fewer than six ends can tell, or where they disagree. Neighbours on both sides count alike,
        so a slanting edge cancels.
    """
    same = (np.diff(track.log) == 0) & mine[1:]
    lower, lift = (np.flatnonzero(same & (up[1:] == to) & (up[:-1] != to)) + 1 for to in (False, True))
    if len(lower) == 0 or len(lift) == 0:
        return None
    begin_heading, begin = _look_inside(track, lower, 1)
    end_heading, end = _look_inside(track, lift, -1)
    begin_speed, end_speed = track.speed[lower], track.speed[lift]
    found = []
    for k, heading in enumerate(begin_heading):
        sin, cos = np.sin(heading), np.cos(heading)
        east, north = end[0] - begin[0][k], end[1] - begin[1][k]
        along, across = east * sin + north * cos, (east * cos - north * sin) / max(track.swath[lower[k]], 1.0)
        opposite = (np.cos(end_heading - heading) < -0.95) & (np.abs(along) < END_REACH_M)
        for side in (-across, across):
            beside = np.flatnonzero(opposite & (side > BESIDE_SHARE[0]) & (side < BESIDE_SHARE[1]))
            if len(beside):
                other = beside[np.argmin(side[beside])]
                found.append(-along[other] / max(begin_speed[k] + end_speed[other], 0.2))
    if len(found) < LEAST_ENDS or np.percentile(found, 20) <= 0:
        return None
    # The state is known at the ends of records only: on average the header moved half a record before.
    return float(np.median(found) - np.median(track.duration[mine]) / 2)


def _look_inside(track: Track, place: Ints, way: int) -> tuple[Floats, tuple[Floats, Floats]]:
    """Give a pass's heading, and a place on it, a little way inside from where it begins (+1) or ends (-1)."""
    near, far = (position_at(track, track.odometer[place] + way * reach, place) for reach in INSIDE_M)
    return np.arctan2(way * (far[0] - near[0]), way * (far[1] - near[1])), near
