"""The header width that the display was set to, beside the machine's full header and the ground that passes cover.

A display narrows its width where sections are switched off over ground cut before. Overlap measured with that width
would be taken off twice, so it is measured with the full header, and the display's width is then one witness of two.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import KDTree

from proofstrip.clean.header import name_machine
from proofstrip.clean.track import Floats, Ints, Track, sum_within
from proofstrip.errors import Notice

# Widths are the full header when a machine holds at least so much for this share of a day; judgement.
HELD_SHARE = 0.1
# Narrower by less than this is a display's rounding.
ROUNDING_M = 0.1
# The largest section that a display counts in, of the header; judgement.
MOST_SECTION = 0.25
NODE_M, PROBE_M = 4.0, 24.0
APART_M = 0.75
WIDE_APART = 1.3
LEAST_PROBES = 10
MOST_PROBES = 0.7
TOLD_SHARE = 0.01


def find_full_header(swath: Floats, machine: Ints, day: Ints) -> Floats:
    """Give each record its machine's full header of the day: the largest width held for a good share of it.

    Parameters
    ----------
    swath : array of float, shape (n,)
        As logged; 0 where none is [m].
    machine, day : array of int, shape (n,)

    Returns
    -------
    array of float, shape (n,)
        [m]; never narrower than what the record logs. A day without a width takes the machine's, else the field's.

    Examples
    --------
    >>> swath = np.r_[np.full(6, 4.5), np.full(4, 9.0)]
    >>> find_full_header(swath, np.zeros(10, dtype=int), np.zeros(10, dtype=int))[[0, -1]].tolist()
    [9.0, 9.0]
    """
    known = pd.Series(swath).where(swath > 0)
    if not known.notna().any():
        return np.zeros(len(swath))
    key = _key(machine, day)
    levels = known.groupby(key).quantile(1 - HELD_SHARE, interpolation="lower")
    full = pd.Series(key).map(levels)
    usual = known.groupby(machine).median().reindex(machine).to_numpy()
    full = full.fillna(pd.Series(usual)).fillna(known.median())
    return np.fmax(full.to_numpy(dtype=np.float64), np.nan_to_num(swath))


def _key(machine: Ints, day: Ints) -> Ints:
    """Give each machine's days their own numbers; where days are not told apart, each machine."""
    return machine * (int(day.max()) + 1) + day if len(day) else machine


def judge_set_width(track: Track) -> Track:
    """Hold the display's widths against how far apart passes lie, and leave aside a width that cannot be.

    Parameters
    ----------
    track : Track
        With passes, ``swath`` the full header and ``set_width`` as logged.

    Returns
    -------
    Track
        ``set_width`` is the full header where passes on both sides lie that far away: a narrower one would have left
        crop standing between all of them. With a notice for what was left aside, and for what could not be decided.
    """
    if len(track.set_width) == 0 or not (track.pass_id > 0).any():
        return track
    # A header that another day of the same machine shows is a candidate too.
    widest = pd.Series(track.swath).groupby(track.machine).transform("max").to_numpy()
    probe, left, right = measure_spacing(track)
    nearest = np.minimum(left, right)
    both, day = np.isfinite(left) & np.isfinite(right), _key(track.machine, track.day)
    swath, told, notices = track.swath.copy(), track.set_width.copy(), []
    narrow = track.set_width < widest - APART_M
    kinds = pd.DataFrame({"day": day, "width": np.round(track.set_width, 1)})
    kind = kinds.groupby(["day", "width"]).ngroup().to_numpy()
    for code in np.unique(kind[(track.pass_id > 0) & narrow]):
        mine = (kind == code) & (track.pass_id > 0)
        seen = both & mine[probe]
        apart = nearest[seen] > widest[probe][seen] - APART_M
        if len(apart) >= LEAST_PROBES and apart.mean() > MOST_PROBES:
            swath[mine], told[mine] = widest[mine], widest[mine]
            notices.append(
                _say_ruled_out(track, mine, float(np.median(track.set_width[mine])), float(np.median(nearest[seen])))
            )
    track = replace(track, swath=swath, set_width=told, notices=(*track.notices, *notices))
    return replace(track, notices=(*track.notices, *_say_wide_apart(track, probe, np.where(both, nearest, np.nan))))


def measure_spacing(track: Track) -> tuple[Ints, Floats, Floats]:
    """Measure at places along the passes how far away the nearest parallel passes lie.

    Parameters
    ----------
    track : Track
        With passes.

    Returns
    -------
    tuple of array of int, shape (m,), and two arrays of float, shape (m,)
        Records probed, and the way to the nearest pass on the left and on the right [m]; infinite where none lies
        within two and a half headers.
    """
    way = sum_within(track.distance, track.pass_id)
    node = np.flatnonzero((track.pass_id > 0) & _every(way, track.distance, NODE_M))
    probe = np.flatnonzero((track.pass_id > 0) & _every(way, track.distance, PROBE_M))
    left, right = np.full(len(probe), np.inf), np.full(len(probe), np.inf)
    if not len(probe) or not len(node):
        return probe, left, right
    place = np.column_stack([track.easting, track.northing])
    reach = 2.5 * float(track.swath.max())
    pairs = KDTree(place[probe]).sparse_distance_matrix(KDTree(place[node]), reach, output_type="ndarray")
    one, other = probe[pairs["i"]], node[pairs["j"]]
    east, north = (place[other] - place[one]).T
    sin, cos = np.sin(track.heading[one]), np.cos(track.heading[one])
    step = NODE_M + float(np.median(track.distance[node]))
    beside = (np.abs(east * sin + north * cos) <= step) & (track.pass_id[one] != track.pass_id[other])
    beside &= np.abs(np.cos(track.heading[other] - track.heading[one])) > 0.95
    across = east * cos - north * sin
    # Along nearly its own line lies the same pass, broken off and taken up again.
    for nearest, side in ((left, -across), (right, across)):
        use = beside & (side > APART_M)
        np.minimum.at(nearest, pairs["i"][use], side[use])
    return probe, left, right


def _every(way: Floats, distance: Floats, step_m: float) -> NDArray[np.bool_]:
    """Choose a record every so many metres."""
    return np.asarray(np.floor(way / step_m) != np.floor((way - distance) / step_m), dtype=np.bool_)


def join_widths(track: Track, ground: Floats) -> Floats:
    """Join what the ground shows with what the display was set to: the narrower, never both taken off.

    Parameters
    ----------
    track : Track
    ground : array of float, shape (n,)
        Cut width by overlap of the full header [m].

    Returns
    -------
    array of float, shape (n,)
        [m]. Along cut ground, where both agree to a section, the ground's is the finer measure and is taken: a display
        may switch a section off for a hand's breadth of overlap.
    """
    if len(track.set_width) == 0:
        return ground
    shown = track.set_width
    section = find_sections(track)
    along = ground < track.swath - ROUNDING_M
    if track.overlap is not None:
        along = along | (track.overlap.edges > 0)
    agree = along & (ground - shown <= section) | (shown > track.swath - ROUNDING_M)
    return np.where(agree, ground, np.minimum(ground, shown))


def find_sections(track: Track) -> Floats:
    """Give the smallest step between widths that each machine's display held, as far as it can be a section [m]."""
    step = np.zeros(len(track.names) or 1)
    for code in np.unique(track.machine):
        mine = (track.machine == code) & (track.pass_id > 0)
        levels = np.unique(np.round(track.set_width[mine], 1))
        if len(levels) > 1:
            step[code] = float(np.diff(levels).clip(ROUNDING_M).min()) + ROUNDING_M
    return np.minimum(step[track.machine], MOST_SECTION * track.swath)


def say_unsupported(track: Track, ground: Floats) -> tuple[Notice, ...]:
    """Say where the display's narrower width was used although the ground shows nothing cut before.

    Parameters
    ----------
    track : Track
    ground : array of float, shape (n,)
        Cut width by overlap of the full header [m].

    Returns
    -------
    tuple of Notice
        One a machine with more than a hundredth of its passes so.
    """
    notices = []
    if len(track.set_width) == 0:
        return ()
    alone = (join_widths(track, ground) < ground - ROUNDING_M) & (track.pass_id > 0)
    for code in np.unique(track.machine):
        mine = (track.machine == code) & (track.pass_id > 0)
        own = mine & alone
        if own.sum() <= TOLD_SHARE * mine.sum():
            continue
        who, shown, uncut = name_machine(track, int(code)), np.median(track.set_width[own]), np.median(ground[own])
        said = (
            f"The display of {who} was set narrower than the ground shows in {own.sum():,} of {mine.sum():,} records "
            f"in passes (about {shown:.1f} m where {uncut:.1f} m were still uncut). Nothing else tells what was cut "
            "there; "
            'the display\'s width was used. If it was set wrongly, name the true one: [harvest] swath = "... m".'
        )
        notices.append(Notice("header_width_narrow", said))
    return tuple(notices)


def _say_ruled_out(track: Track, mine: NDArray[np.bool_], width: float, apart: float) -> Notice:
    """Say which width cannot be."""
    who = name_machine(track, int(track.machine[np.argmax(mine)]))
    used = float(np.median(track.swath[mine]))
    return Notice(
        "header_width_wrong",
        f"The display of {who} says a header of {width:.1f} m in {mine.sum():,} records, yet passes beside each other "
        f"lie {apart:.1f} m apart there: crop would have been left standing between all of them. The machine's full "
        f"header of {used:.1f} m was used. If crop was left, or another machine cut it, name the true width: "
        '[harvest] swath = "... m".',
    )


def _say_wide_apart(track: Track, probe: Ints, nearest: Floats) -> list[Notice]:
    """Say where a machine's passes lie much further apart than its header is wide."""
    notices = []
    for code in np.unique(track.machine):
        mine = (track.machine[probe] == code) & np.isfinite(nearest)
        header = track.swath[probe][mine]
        if mine.sum() < LEAST_PROBES or (nearest[mine] > WIDE_APART * header).mean() <= MOST_PROBES:
            continue
        said = (
            f"Passes of {name_machine(track, int(code))} lie {np.median(nearest[mine]):.1f} m apart under a header of "
            f"{np.median(header):.1f} m by the display. Either crop between them was left or cut by a machine that is "
            "not in the log, or the header is wider: then all yields are too high by that share. The display's width "
            'was used; name the true one if it is wrong: [harvest] swath = "... m".'
        )
        notices.append(Notice("passes_wide_apart", said))
    return notices
