"""Two machines under one name: their records alternate, and each lies on the path of the last but one."""

import numpy as np
import pandas as pd

from proofstrip.clean.track import Bools, Ints, Track
from proofstrip.days import DATED_S
from proofstrip.errors import DataError

WINDOW_S = 60.0
# Beyond any combine, and further than positions jitter.
IMPOSSIBLE_M_S, IMPOSSIBLE_M = 10.0, 6.0
# How far back the other machine's own last record may lie: one may log several times while the other logs once.
BACK_RECORDS, BACK_S = 12, 15.0
REACH_M, REACH_M_S = 3.0, 5.0
# Where a position jumps and returns, half of the impossible steps go on along an earlier path; of two machines' all do.
LEAST_STEPS, LEAST_SHARE, GOING_ON = 8, 0.2, 0.8
# A clock set back by some seconds interleaves a log with itself; filters cope with less than this.
LEAST_S = 40.0


def refuse_interleaved(track: Track, files: pd.Series | None) -> None:
    """Refuse a log in which two machines alternate for about a minute or more.

    Parameters
    ----------
    track : Track
        Positions as logged.
    files : pandas.Series of str, optional
        The file of each record of the frame.

    Raises
    ------
    DataError
        With the time from which to which records alternate.
    """
    if len(track) < LEAST_STEPS:
        return
    bad, going_on = find_alternation(track)
    for code in np.unique(track.machine[bad]):
        spans = _find_spans(track, bad & (track.machine == code), going_on, track.machine == code)
        if spans:
            _refuse(track, int(code), spans, files)


def find_alternation(track: Track) -> tuple[Bools, Bools]:
    """Find impossible steps, and those of them that go on from an earlier record.

    Parameters
    ----------
    track : Track

    Returns
    -------
    tuple of array of bool, shape (n,)
        The step to the record is one that no machine can make; and a record some places back, other than the one
        before, lies where the machine can have come from, nearer by half.
    """
    east, north, time = track.easting, track.northing, track.time
    step = np.r_[0.0, np.hypot(np.diff(east), np.diff(north))]
    since = np.r_[np.inf, np.diff(time)]
    same = np.r_[False, np.diff(track.log) == 0]
    bad = same & (step > np.maximum(IMPOSSIBLE_M, IMPOSSIBLE_M_S * since))
    going_on, here = np.zeros(len(track), dtype=bool), np.flatnonzero(bad)
    for back in range(2, BACK_RECORDS + 1):
        place, earlier = here[here >= back], here[here >= back] - back
        apart = np.hypot(east[place] - east[earlier], north[place] - north[earlier])
        waited = time[place] - time[earlier]
        going_on[place] |= (
            (track.log[place] == track.log[earlier])
            & (waited <= BACK_S)
            & (apart <= REACH_M + REACH_M_S * waited)
            & (apart < step[place] / 2)
        )
    return bad, going_on


def _find_spans(track: Track, bad: Bools, going_on: Bools, mine: Bools) -> list[tuple[float, float, Ints]]:
    """Find the stretches of time in which one machine's records alternate, from windows that overlap by half."""
    at = np.flatnonzero(bad)
    begin = float(track.time[mine].min())
    inside = np.zeros(len(at), dtype=bool)
    for offset in (0.0, WINDOW_S / 2):
        window = np.floor((track.time - begin + offset) / WINDOW_S).astype(np.int64)
        own, records = window[at], np.bincount(window[mine])
        steps = np.bincount(own, minlength=len(records))
        on = np.bincount(own, weights=going_on[at], minlength=len(records))
        times = pd.Series(track.time[at]).groupby(own)
        lasting = (times.max() - times.min()).reindex(range(len(records))).fillna(0.0).to_numpy()
        enough = (steps >= LEAST_STEPS) & (steps >= LEAST_SHARE * records) & (lasting >= LEAST_S)
        inside |= (enough & (on >= GOING_ON * steps))[own]
    at = at[inside]
    if not len(at):
        return []
    parts = np.split(at, np.flatnonzero(np.diff(track.time[at]) > WINDOW_S) + 1)
    return [(float(track.time[part[0]]), float(track.time[part[-1]]), part) for part in parts]


def _refuse(track: Track, code: int, spans: list[tuple[float, float, Ints]], files: pd.Series | None) -> None:
    """Say when the records alternate, and what to do."""
    first, last, at = max(spans, key=lambda span: span[1] - span[0])
    step = np.hypot(track.easting[at] - track.easting[at - 1], track.northing[at] - track.northing[at - 1])
    names = [] if files is None else sorted(set(files.iloc[track.row[np.r_[at, at - 1]]].astype(str)))
    where = f" ({', '.join(names)})" if names else ""
    others = "" if len(spans) == 1 else f" and {len(spans) - 1} more times"
    raise DataError(
        f"clean: from {_tell(first)} to {_tell(last)}{others} the records of machine {track.names[code]!r}{where} "
        f"alternate between two places {np.median(step):,.0f} m apart, and each goes on from the "
        "last but one. Most likely two machines stand in one log, or a clock was set back. Name the column that tells "
        'the machines apart in [harvest.columns], machine = { column = "..." }, or give each machine its own name or '
        "its own file without one; of a clock set back, mend the times."
    )


def _tell(time: float) -> str:
    """Write a time; times that only count are told in seconds."""
    if time < DATED_S:
        return f"second {time:,.0f}"
    return str(pd.Timestamp(round(time), unit="s").strftime("%Y-%m-%d %H:%M:%S"))
