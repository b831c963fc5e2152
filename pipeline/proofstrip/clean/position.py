"""Faults of time and position: missing values, duplicates, jumps, frozen and off-pass positions."""

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import ndimage

from proofstrip.clean.track import Bools, Floats, Ints, Track, find_headings, first_of_run, last_of_run, position_at
from proofstrip.config import CleanPart
from proofstrip.errors import DataError

NEEDED = ("time", "easting_m", "northing_m", "mass_flow_kg_s", "duration_s", "distance_m", "swath_m")
PLACED = ("time", "easting_m", "northing_m", "duration_s", "distance_m")
MAX_SPELL = 20
GUESSES = 3
SPELL_SLACK_M = 1.0
SPELL_SLACK_SHARE = 0.05
MAX_JUMPING_SHARE = 0.2


def missing(points: gpd.GeoDataFrame) -> pd.Series:
    """Flag records without a value that yield needs.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Columns of ``NEEDED``.

    Returns
    -------
    pandas.Series of bool
    """
    lacking: pd.Series = points[list(NEEDED)].isna().any(axis=1)
    return lacking


def duplicate(points: gpd.GeoDataFrame) -> pd.Series:
    """Flag records that repeat the machine, the moment and the place of an earlier one.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        machine, time [s], easting_m, northing_m.

    Returns
    -------
    pandas.Series of bool
        The first of them is kept; records without a time or a place are not compared.
    """
    key = pd.DataFrame(
        {
            "machine": pd.Categorical(points["machine"]).codes,
            "time": points["time"].to_numpy(),
            "easting": np.round(points["easting_m"].to_numpy(), 2),
            "northing": np.round(points["northing_m"].to_numpy(), 2),
        },
        index=points.index,
    )
    return key.duplicated() & key.notna().all(axis=1)


def expect_distance(distance: Floats, duration: Floats, log: Ints) -> Floats:
    """Give the distance that a record must have covered: the logged one, unless it stands out from its neighbours.

    Parameters
    ----------
    distance, duration : array of float, shape (n,)
        [m], [s]
    log : array of int, shape (n,)

    Returns
    -------
    array of float, shape (n,)
        Where distances were derived from positions, a jump shows in the distance too; the running median does not.
    """
    speed = distance / np.maximum(duration, 1e-3)
    usual = pd.Series(speed).rolling(11, center=True, min_periods=1).median().to_numpy()
    odd = np.abs(speed - usual) > np.maximum(1.5, usual)
    return np.asarray(np.where(odd, usual * duration, distance), dtype=np.float64)


def position_jump(track: Track, settings: CleanPart) -> Bools:
    """Flag positions that the machine could neither have reached nor left.

    A single position is judged against where the records on both sides of it put the machine; a spell of positions
    lies between two impossible steps, and the way without it must be possible.

    Parameters
    ----------
    track : Track
        Positions as logged.
    settings : CleanPart
        A step is impossible when its speed differs from the expected by more than ``jump_m_s`` and ``jump_share``.

    Returns
    -------
    array of bool, shape (n,)

    Raises
    ------
    DataError
        When impossible steps are common: two machines in one log, most likely.
    """
    if len(track) < 3:
        return np.zeros(len(track), dtype=bool)
    step = np.hypot(np.diff(track.easting), np.diff(track.northing))
    same = np.diff(track.log) == 0
    slack = np.maximum(settings.jump_m_s * track.span[1:], settings.jump_share * track.distance[1:])
    bad = np.flatnonzero(same & (step - track.distance[1:] > slack)) + 1
    if len(bad) > MAX_JUMPING_SHARE * max(same.sum(), 1):
        _refuse_jumping(track, bad, step)
    spells = _spells(track, bad)
    # Beside a spell, or positions that stood still, the guesses for a single position are wrong themselves.
    misleading = spells | np.r_[False, step == 0]
    return spells | (_single_jumps(track, settings) & ~ndimage.binary_dilation(misleading, iterations=GUESSES))


def _single_jumps(track: Track, settings: CleanPart) -> Bools:
    """Compare each position with the median of where the 1st, 2nd and 3rd records around it put the machine."""
    here = np.arange(len(track))
    first, last = first_of_run(track.log), last_of_run(track.log)
    guesses = []
    for reach in range(1, GUESSES + 1):
        before, after = np.maximum(here - reach, first), np.minimum(here + reach, last)
        span = track.odometer[after] - track.odometer[before]
        share = np.divide(track.odometer - track.odometer[before], span, out=np.full(len(here), 0.5), where=span > 0)
        guesses.append(
            [part[before] + share * (part[after] - part[before]) for part in (track.easting, track.northing)]
        )
    guess = np.array(guesses)
    middle = np.median(guess, axis=0)
    away = np.hypot(track.easting - middle[0], track.northing - middle[1])
    # In a turn the guesses cut the corner, each by its own length, and so differ from each other.
    doubt = np.median(np.hypot(guess[:, 0] - middle[0], guess[:, 1] - middle[1]), axis=0)
    inside = (here - first >= GUESSES) & (last - here >= GUESSES)
    return np.asarray(inside & (away > np.maximum(settings.jump_m_s, 4 * doubt)), dtype=np.bool_)


def _spells(track: Track, bad: Ints) -> Bools:
    """Pair impossible steps into short spells, so that the way without the spell is possible."""
    flagged = np.zeros(len(track), dtype=bool)
    travelled = np.cumsum(track.distance)
    k = 0
    while k < len(bad) - 1:
        start = bad[k]
        for m in range(k + 1, min(k + 4, len(bad))):
            end = bad[m]
            if end - start > MAX_SPELL or track.log[end] != track.log[start]:
                break
            east = track.easting[end] - track.easting[start - 1]
            north = track.northing[end] - track.northing[start - 1]
            way = travelled[end] - travelled[start - 1]
            if abs(np.hypot(east, north) - way) < SPELL_SLACK_M + SPELL_SLACK_SHARE * way:
                flagged[start:end] = True
                k = m
                break
        k += 1
    return flagged


def _refuse_jumping(track: Track, bad: Ints, step: Floats) -> None:
    """Say that the log cannot be one machine's."""
    raise DataError(
        f"clean: {len(bad):,} of {len(track):,} steps from one position to the next are impossible for one machine "
        f"(the median of them is {np.median(step[bad - 1]):,.0f} m in one record). Most likely two machines stand in "
        "one log, or the times are wrong. Name the column that tells the machines apart in [harvest.columns], "
        'machine = { column = "..." }, or give each machine its own file.'
    )


def position_frozen(track: Track) -> Bools:
    """Flag positions that repeat the one before although the machine moved on.

    Parameters
    ----------
    track : Track
        Positions as logged.

    Returns
    -------
    array of bool, shape (n,)
        A display that updates its position more rarely than it logs would be flagged throughout; there the positions
        are interpolated and not flagged.
    """
    if len(track) < 3:
        return np.zeros(len(track), dtype=bool)
    step = np.r_[np.inf, np.hypot(np.diff(track.easting), np.diff(track.northing))]
    same = np.r_[False, np.diff(track.log) == 0]
    expected = track.distance
    usual = pd.Series(expected).rolling(31, center=True, min_periods=1).median().to_numpy()
    # Distances that are far too long for a while would make every position beside them look as if it stood.
    usual = np.minimum(usual, 2 * np.median(expected[expected > 0])) if (expected > 0).any() else usual
    moved = np.where(expected > 0.3 * usual, expected, 0.0)
    caught_up = np.r_[step[1:] > 1.8 * np.maximum(usual[1:], 0.1), False]
    still = same & (step < 0.1 * usual)
    frozen = still & ((moved > 0.3 * usual) | caught_up)
    return frozen if frozen.mean() < 0.3 else np.zeros(len(track), dtype=bool)


def mend_positions(track: Track, faulty: Bools) -> tuple[Floats, Floats]:
    """Replace faulty positions by interpolation along the odometer between good ones of the same log.

    Parameters
    ----------
    track : Track
    faulty : array of bool, shape (n,)

    Returns
    -------
    tuple of two arrays of float, shape (n,)
    """
    repeated = np.r_[False, (np.diff(track.easting) == 0) & (np.diff(track.northing) == 0) & (track.distance[1:] > 0)]
    doubtful = faulty | repeated
    good = np.flatnonzero(~doubtful)
    if not doubtful.any() or len(good) < 2:
        return track.easting, track.northing
    along = track.odometer + track.log * (track.odometer.max() + 1.0)
    first, after = (np.searchsorted(track.log[good], track.log, side=side) for side in ("left", "right"))
    # Held at the last good position of the log; a log without one stays as it is.
    own = first < after
    place = np.clip(along, along[good[np.minimum(first, len(good) - 1)]], along[good[np.maximum(after - 1, 0)]])
    return (
        np.where(own, np.interp(place, along[good], track.easting[good]), track.easting),
        np.where(own, np.interp(place, along[good], track.northing[good]), track.northing),
    )


def off_pass(track: Track, settings: CleanPart) -> Bools:
    """Flag positions beside the line that their own pass runs along.

    Parameters
    ----------
    track : Track
        With passes.
    settings : CleanPart

    Returns
    -------
    array of bool, shape (n,)
        Distance across the pass from a running median over some 20 records; curved passes are followed.
    """
    if len(track) == 0:
        return np.zeros(0, dtype=bool)
    here, reach = np.arange(len(track)), settings.turn_length_m * 0.75
    ahead = position_at(track, track.odometer + reach, here)
    behind = position_at(track, track.odometer - reach, here)
    heading = find_headings(track, reach)
    across = (track.easting - (ahead[0] + behind[0]) / 2) * np.cos(heading) - (
        track.northing - (ahead[1] + behind[1]) / 2
    ) * np.sin(heading)
    side: NDArray[np.float64] = np.abs(across - _running_median(across, 21))
    first, last = first_of_run(track.pass_id), last_of_run(track.pass_id)
    inner = np.minimum(track.odometer - track.odometer[first], track.odometer[last] - track.odometer) > reach
    limit = np.maximum(settings.off_pass_m, settings.off_pass_mad * _median_by(side, track.pass_id)[track.pass_id])
    return np.asarray((track.pass_id > 0) & inner & (side > limit))


def _running_median(values: Floats, records: int) -> Floats:
    """Median over a window of records around each."""
    return np.asarray(pd.Series(values).rolling(records, center=True, min_periods=1).median(), dtype=np.float64)


def _median_by(values: Floats, pass_id: Ints) -> Floats:
    """Give the median by pass, indexed by the pass's number."""
    medians = pd.Series(values).groupby(pass_id).median()
    return np.asarray(medians.reindex(range(pass_id.max() + 1)).fillna(0.0), dtype=np.float64)
