"""Every rule that flags a record, in order: causes first, then values.

A filter takes the evidence and the settings and gives a mask over the track, True = fault. Faults of position, header
and pass are asked where the grain was cut; faults of the flow sensor at the moment of the record. Values are judged
only on records that no cause excludes. To add a filter: its flag in flags.py, its formula in the module of its family,
its line here (DEVELOPERS.md).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from proofstrip.clean import ramps, sensor
from proofstrip.clean.shift import Cut
from proofstrip.clean.track import Bools, Floats, Track, first_of_run, last_of_run
from proofstrip.config import CleanPart
from proofstrip.flags import EXCLUDING, Flag


@dataclass(frozen=True)
class Evidence:
    """What the filters look at; arrays over the track.

    Attributes
    ----------
    track : Track
    cut : Cut
    flow : array of float, shape (n,)
        As logged [kg/s].
    density : array of float, shape (n,)
        Wet grain over ground; NaN where there is no ground [kg/m2].
    sound : array of bool, shape (n,)
        In a pass, with a density, and excluded by no filter so far.
    sure : array of bool, shape (n,)
        The record's machine has an estimated or declared delay.
    """

    track: Track
    cut: Cut
    flow: Floats
    density: Floats
    sound: Bools
    sure: Bools


Filter = Callable[[Evidence, CleanPart], Bools]


def position_jump(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag ground that was placed by a position the machine could not have reached."""
    return evidence.track.jumped[evidence.cut.place]


def position_frozen(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag ground that was placed by a position that stood still."""
    return evidence.track.frozen[evidence.cut.place]


def off_pass(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag ground that was placed beside its own pass."""
    return evidence.track.beside[evidence.cut.place]


def header_up(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag ground that was passed with the header up."""
    return evidence.cut.header_up & ~evidence.cut.unlogged


def turn(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag ground that was passed in a turn."""
    return evidence.cut.turn & ~evidence.cut.unlogged


def short_pass(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag passes that are too short to fill the machine."""
    track, place = evidence.track, evidence.cut.place
    first, last = first_of_run(track.pass_id), last_of_run(track.pass_id)
    length = track.odometer[last] - track.odometer[first] + track.distance[first]
    return (evidence.cut.pass_id > 0) & (length < settings.min_pass_length_m)[place]


def narrow_cut(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag ground on which part of the header met nothing."""
    cut = evidence.cut
    return (cut.pass_id > 0) & (cut.width < settings.narrow_share * evidence.track.swath)


def recut(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag ground that was nearly all cut before."""
    cut = evidence.cut
    return (cut.pass_id > 0) & (cut.width < settings.recut_share * evidence.track.swath)


def speed_range(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag speeds far from their pass's."""
    return sensor.speed_range(evidence.cut.speed, evidence.cut.pass_id, settings)


def speed_change(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag sharp changes of speed."""
    return sensor.speed_change(evidence.cut.speed, evidence.cut.pass_id, settings)


def stuck_sensor(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag flows that repeat one value."""
    track = evidence.track
    return sensor.stuck_sensor(evidence.flow, track.duration, track.log, settings)


def flow_range(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag flows that no crop can give."""
    return sensor.flow_range(evidence.flow, evidence.density, evidence.sound, settings)


def entry_ramp(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag the filling of the machine, and grain that would have been cut before the log began."""
    return _ramp(evidence, evidence.cut.since_entry, settings) | evidence.cut.unlogged


def exit_ramp(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag the emptying of the machine."""
    return _ramp(evidence, evidence.cut.until_exit, settings)


def _ramp(evidence: Evidence, since: Floats, settings: CleanPart) -> Bools:
    """Flag one end of every pass."""
    cut = evidence.cut
    inner = evidence.sound & (np.minimum(cut.since_entry, cut.until_exit) > settings.ramp_max_s)
    level = sensor.median_by_pass(np.where(inner, evidence.density, np.nan), cut.pass_id)
    relative = np.full(len(level), np.nan)
    np.divide(evidence.density, level, out=relative, where=evidence.sound & (level > 0))
    return ramps.flag_ramp(since, relative, evidence.track.machine, cut.pass_id > 0, evidence.sure, settings)


def spike(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag short jumps of the flow within their pass."""
    calm = evidence.sound
    level = np.log(np.maximum(evidence.density, sensor.LEAST_DENSITY), out=np.full(len(calm), np.nan), where=calm)
    record_s = float(np.median(evidence.track.duration)) if len(calm) else 1.0
    return sensor.spike(level, evidence.flow, evidence.cut.pass_id, record_s, settings)


FILTERS: tuple[tuple[Flag, Filter], ...] = (
    (Flag.POSITION_JUMP, position_jump),
    (Flag.POSITION_FROZEN, position_frozen),
    (Flag.OFF_PASS, off_pass),
    (Flag.HEADER_UP, header_up),
    (Flag.TURN, turn),
    (Flag.SHORT_PASS, short_pass),
    (Flag.NARROW_CUT, narrow_cut),
    (Flag.RECUT, recut),
    (Flag.SPEED_RANGE, speed_range),
    (Flag.SPEED_CHANGE, speed_change),
    (Flag.STUCK_SENSOR, stuck_sensor),
    (Flag.FLOW_RANGE, flow_range),
    (Flag.ENTRY_RAMP, entry_ramp),
    (Flag.EXIT_RAMP, exit_ramp),
    (Flag.SPIKE, spike),
)


def apply_filters(evidence: Evidence, settings: CleanPart) -> list[tuple[Flag, Bools]]:
    """Ask every filter in order; what one excludes, the next do not judge by value.

    Parameters
    ----------
    evidence : Evidence
    settings : CleanPart

    Returns
    -------
    list of (Flag, array of bool, shape (n,))
    """
    found: list[tuple[Flag, Bools]] = []
    ramp = np.zeros(len(evidence.track), dtype=bool)
    for flag, judge in FILTERS:
        mask = judge(evidence, settings)
        found.append((flag, mask))
        # Both ends are learnt from the same records, so one ramp does not hide the other.
        if flag & (Flag.ENTRY_RAMP | Flag.EXIT_RAMP):
            ramp |= mask
        elif flag & EXCLUDING:
            evidence = replace(evidence, sound=evidence.sound & ~mask)
        if flag is Flag.EXIT_RAMP:
            evidence = replace(evidence, sound=evidence.sound & ~ramp)
    return found
