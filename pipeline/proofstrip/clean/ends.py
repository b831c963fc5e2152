"""When each pass met standing crop and left it: by the ground cut before where that tells, else by the pass's own ends.

A header goes down some way before the crop. Where the headland was cut first, the ground itself says where the crop
began: the header's width in standing crop rises from nearly nothing to more than half.
"""

from dataclasses import dataclass

import numpy as np

from proofstrip.clean.track import Bools, Floats, Track, first_of_run, last_of_run

# Shares of the header in standing crop: more than half is in it; on cut ground at most so much is left.
IN_CROP = 0.5
ON_CUT_GROUND = 0.2
LEAD_M = 30.0  # from the end of a pass; judgement: further in, a machine that meets cut ground is no longer empty


@dataclass(frozen=True)
class CropEnds:
    """When the pass of each record met the crop and left it; arrays over the track.

    Attributes
    ----------
    entry, exit : array of float, shape (n,)
        On the track's clock [s].
    entry_by_ground, exit_by_ground : array of bool, shape (n,)
        The ground tells; if not, the time is the pass's own end.
    """

    entry: Floats
    exit: Floats
    entry_by_ground: Bools
    exit_by_ground: Bools


def find_crop_ends(track: Track) -> CropEnds:
    """Find when each pass met standing crop and left it.

    Parameters
    ----------
    track : Track
        With passes and cut width.

    Returns
    -------
    CropEnds
        A pass without cut ground under its ends, or that never has half of its header in the crop, keeps its own ends.
    """
    first, last = first_of_run(track.pass_id), last_of_run(track.pass_id)
    share = np.divide(track.cut_width, track.swath, out=np.ones(len(track)), where=track.swath > 0)
    entry, leave = (track.time - track.duration)[first], track.time[last]
    by_ground = np.zeros((2, len(track)), dtype=bool)
    on_cut_ground = (track.pass_id > 0) & (share <= ON_CUT_GROUND)
    before, after = track.odometer - track.odometer[first], track.odometer[last] - track.odometer
    for way, when, told, lead in ((1, entry, by_ground[0], before), (-1, leave, by_ground[1], after)):
        for start in np.unique(first[on_cut_ground & (lead <= LEAD_M)]):
            run = slice(start, last[start] + 1)
            met = _meet_crop((track.time - track.duration / 2)[run][::way], share[run][::way], lead[run][::way])
            if met is not None:
                when[run], told[run] = met, True
    return CropEnds(entry, leave, by_ground[0], by_ground[1])


def _meet_crop(middle: Floats, share: Floats, lead: Floats) -> float | None:
    """Give when a machine that comes over cut ground has half of its header in the crop; none if it never has."""
    on = int(np.flatnonzero((share <= ON_CUT_GROUND) & (lead <= LEAD_M))[-1])
    inside = np.flatnonzero(share[on:] > IN_CROP)
    if not len(inside):
        return None
    k = on + int(inside[0])
    return float(np.interp(IN_CROP, share[k - 1 : k + 1], middle[k - 1 : k + 1]))
