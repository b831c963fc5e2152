"""The way of the odometer held against the way of the positions: ground is what was driven over, not what was counted.

A wheel or radar that counts too much, or drops out, makes ground of its own. Positions have no scale error and do not
drop out unseen, so over some 20 s of straight driving they are the better witness; record by record they are not.
"""

from dataclasses import replace

import numpy as np
import pandas as pd

from proofstrip.clean.track import Bools, Floats, Ints, Track, first_of_run, last_of_run, sum_within
from proofstrip.errors import Notice

WINDOW_S = 20.0
# A stretch differs by more than receivers of half a metre and any steady error of a wheel make it.
APART_SHARE, APART_M = 0.06, 2.5
# A wheel sensor is set to within some per cent (common practice, no source).
STEADY_SHARE = 0.03
LEAST_WINDOWS = 100
STILL_M, STILL_SHARE, CAUGHT_UP = 0.3, 0.1, 1.8


def spread_frozen(
    easting: Floats, northing: Floats, distance: Floats, time: Floats, log: Ints
) -> tuple[Floats, Floats, Floats, Bools]:
    """Spread the way of a position that stood still and caught up later, where distances were derived from positions.

    Parameters
    ----------
    easting, northing, distance, time : array of float, shape (n,)
        [m], [s]
    log : array of int, shape (n,)

    Returns
    -------
    tuple of three arrays of float and one of bool, shape (n,)
        Positions and distances, even over the spell; and which positions stood still. A machine that stops does not
        catch up, and stays as it is.
    """
    step = np.r_[0.0, np.hypot(np.diff(easting), np.diff(northing))]
    stood = (step < STILL_M) & (distance < STILL_M)
    if not stood[1:].any():
        return easting, northing, distance, np.zeros(len(easting), dtype=bool)
    usual = pd.Series(distance).rolling(61, center=True, min_periods=1).median().to_numpy()
    same = np.r_[False, np.diff(log) == 0]
    still = same & stood & (step < STILL_SHARE * usual) & (distance < STILL_SHARE * usual)
    start = np.flatnonzero(still & ~np.r_[False, still[:-1]])
    stop = np.flatnonzero(still & ~np.r_[still[1:], False])
    places, frozen = [easting.copy(), northing.copy(), distance.copy()], np.zeros(len(easting), dtype=bool)
    for begin, end in zip(start, stop + 1, strict=True):
        if end >= len(easting) or not same[end] or step[end] < CAUGHT_UP * usual[end]:
            continue
        spell, between = slice(begin, end + 1), (begin - 1, end)
        share = (time[spell] - time[between[0]]) / (time[end] - time[between[0]])
        for part, whole in zip(places[:2], (easting, northing), strict=True):
            part[spell] = whole[between[0]] + share * (whole[end] - whole[between[0]])
        places[2][spell] = step[end] * np.diff(share, prepend=0.0)
        frozen[begin:end] = True
    return places[0], places[1], places[2], frozen


def check_way(track: Track) -> Track:
    """Hold distances against positions, and take the way of the positions where they clearly differ.

    Parameters
    ----------
    track : Track
        With mended positions, headings and turns.

    Returns
    -------
    Track
        Distances and odometer mended, each departure from the log among its notices.
    """
    if len(track) < 3:
        return track
    distance, notices = track.distance.copy(), []
    logged, shown, straight = _ways(track, distance)
    for code in np.unique(track.machine):
        mine = straight & (track.machine == code)
        if mine.sum() >= LEAST_WINDOWS:
            ratio = float(np.median(logged[mine] / shown[mine]))
            if abs(ratio - 1) > STEADY_SHARE and ratio > 0:
                distance[track.machine == code] /= ratio
                notices.append(_say_steady(_name(track, int(code)), ratio))
    logged, shown, straight = _ways(track, distance)
    apart = straight & (np.abs(logged - shown) > np.maximum(APART_SHARE * shown, APART_M))
    if apart.any():
        # Along the heading noise does not add up as it does along a path.
        east, north = (np.r_[0.0, np.diff(part)] for part in (track.easting, track.northing))
        along = np.maximum(east * np.sin(track.heading) + north * np.cos(track.heading), 0.0)
        apart &= first_of_run(track.log) != np.arange(len(track))
        distance = np.where(apart, along, distance)
        for code in np.unique(track.machine[apart]):
            seconds = float(track.duration[apart & (track.machine == code)].sum())
            notices.append(_say_apart(_name(track, int(code)), seconds))
    odometer = sum_within(distance, track.log)
    return replace(track, distance=distance, odometer=odometer, notices=(*track.notices, *notices))


def _ways(track: Track, distance: Floats) -> tuple[Floats, Floats, Bools]:
    """Give the way around each record by distance and by positions [m], and where both can be told."""
    half = max(2, round(WINDOW_S / 2 / max(float(np.median(track.duration)), 0.05)))
    here = np.arange(len(track))
    before, after = here - half, here + half
    inside = (before >= first_of_run(track.log)) & (after <= last_of_run(track.log))
    low, high = np.maximum(before, 0), np.minimum(after, len(track) - 1)
    counted = np.cumsum(distance)
    # Two chords, so that a curve is hardly cut short.
    shown = np.hypot(track.easting - track.easting[low], track.northing - track.northing[low]) + np.hypot(
        track.easting[high] - track.easting, track.northing[high] - track.northing
    )
    doubtful = np.cumsum(track.turn | track.jumped | track.frozen)
    straight = inside & (doubtful[high] == doubtful[low]) & ~(track.turn | track.jumped | track.frozen)[low]
    usual = float(np.median(shown[straight])) if straight.any() else 0.0
    return counted[high] - counted[low], shown, straight & (shown > usual / 4)


def _name(track: Track, code: int) -> str:
    """Name a machine for people."""
    name = track.names[code] if code < len(track.names) else "the machine"
    return name if "combine" in name.lower() or name == "the machine" else f"combine {name}"


def _say_steady(name: str, ratio: float) -> Notice:
    """Say that distances are too long or too short throughout."""
    way = "longer" if ratio > 1 else "shorter"
    return Notice(
        "distance_scaled",
        f"The logged distances of {name} are {abs(ratio - 1):.0%} {way} than the way between its positions throughout. "
        "Ground was taken from the positions. Let the speed sensor be set anew.",
    )


def _say_apart(name: str, seconds: float) -> Notice:
    """Say that distances differ for a while."""
    return Notice(
        "distance_apart",
        f"For {seconds / 60:.1f} min the logged distances of {name} do not agree with its positions; there ground was "
        "taken from the positions.",
    )
