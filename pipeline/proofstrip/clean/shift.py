"""Put each record's grain back on the ground it was cut from."""

from dataclasses import dataclass

import numpy as np

from proofstrip.clean.ends import find_crop_ends
from proofstrip.clean.track import Bools, Floats, Ints, Track, first_of_run


@dataclass(frozen=True)
class Cut:
    """Where, when and how the grain of each record on the track was cut.

    Attributes
    ----------
    easting, northing : array of float, shape (n,)
        Middle of the stretch [m].
    area : array of float, shape (n,)
        Ground: travel times cut width over the stretch [m2].
    width, speed : array of float, shape (n,)
        [m], [m/s]
    place : array of int, shape (n,)
        Record of the track in which the middle of the stretch was cut.
    pass_id : array of int, shape (n,)
    header_up, turn, unlogged : array of bool, shape (n,)
        Then; ``unlogged`` where the log has no record of that moment.
    since_entry, until_exit : array of float, shape (n,)
        Time since the pass met the crop, and until it left it [s].
    """

    easting: Floats
    northing: Floats
    area: Floats
    width: Floats
    speed: Floats
    place: Ints
    pass_id: Ints
    header_up: Bools
    turn: Bools
    unlogged: Bools
    since_entry: Floats
    until_exit: Floats


def find_cut(track: Track, seconds: Floats) -> Cut:
    """Find the stretch of track on which each record's grain was cut.

    The area is the difference of the cut ground summed up to the two ends of the stretch, so that all stretches
    together cover each metre of track once, whatever the delay and however the speed changed meanwhile.

    Parameters
    ----------
    track : Track
        With passes and cut width.
    seconds : array of float, shape (n,)
        Travel delay of each record [s].

    Returns
    -------
    Cut
    """
    # One clock over all machines, so that one interpolation serves them all.
    step = float(track.time.max() - track.time.min() + 1000.0) if len(track) else 0.0
    clock = track.time + track.machine * step
    first = first_of_run(track.log)
    end = clock - seconds
    middle, start = end - track.duration / 2, end - track.duration
    place = np.minimum(np.searchsorted(clock, middle), max(len(track) - 1, 0))
    unlogged = (
        (middle < clock[place] - track.span[place] - 1e-6)
        | (middle > clock[place])
        | (track.machine[place] != track.machine)
    )
    stretch = track.distance * track.cut_width
    known = np.cumsum(stretch)
    # The ground ends where a log ends: over a longer silence nothing is added.
    begins = first == np.arange(len(track))
    opening = (clock - track.duration)[begins]
    knots = np.unique(np.r_[clock, opening])
    ground = np.interp(knots, clock, known)
    ground[np.searchsorted(knots, opening)] = (known - stretch)[begins]
    area = np.interp(end, knots, ground) - np.interp(start, knots, ground)
    share = np.clip((clock[place] - middle) / np.maximum(track.span[place], 1e-9), 0.0, 1.0)
    before = np.maximum(place - 1, first[place])
    pass_id = np.where(unlogged, 0, track.pass_id[place])
    ends = find_crop_ends(track)
    return Cut(
        easting=track.easting[place] + share * (track.easting[before] - track.easting[place]),
        northing=track.northing[place] + share * (track.northing[before] - track.northing[place]),
        area=np.maximum(area, 0.0),
        width=track.cut_width[place],
        speed=track.speed[place],
        place=place.astype(np.int64),
        pass_id=pass_id,
        header_up=track.header_up[place],
        turn=track.turn[place],
        unlogged=unlogged,
        since_entry=middle - track.machine * step - ends.entry[place],
        until_exit=ends.exit[place] - (middle - track.machine * step),
    )
