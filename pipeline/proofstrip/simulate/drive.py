"""Where each combine is at each moment: passes, turns, speed, slow stretches and stops."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter

from proofstrip.simulate.layout import Floats, Ints, Layout, find_end
from proofstrip.simulate.scenario import Scenario

VERTEX_M = 0.5
RUN_IN_M = 12.0
SPEED_MEMORY_M = 15.0
STEERING_MEMORY_M = 40.0
SLOW_STRETCH_M = 25.0
BRAKING_M = 8.0


@dataclass(frozen=True)
class Drive:
    """One combine's way in steps of equal time; edges are one more than steps.

    Attributes
    ----------
    edge_time_s : Floats
        Seconds since the first combine started.
    across_m, along_m : Floats
        Field coordinates of the header's centre at the edges [m].
    step_m : Floats
        Ground travelled per step [m].
    pass_index : Ints
        Pass of each step as the layout numbers them, -1 in a turn.
    header_down : ndarray of bool
        Header truly down in the step.
    """

    edge_time_s: Floats
    across_m: Floats
    along_m: Floats
    step_m: Floats
    pass_index: Ints
    header_down: NDArray[np.bool_]


@dataclass(frozen=True)
class Way:
    """A line of vertices every half metre or so, without time."""

    across_m: Floats
    along_m: Floats
    pass_index: Ints
    speed_m_s: Floats


def drive_passes(scenario: Scenario, layout: Layout, machine: int, rng: np.random.Generator) -> Drive:
    """Drive one combine's passes in their order.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    machine : int
        Which combine.
    rng : numpy.random.Generator

    Returns
    -------
    Drive
    """
    way = _join_passes(scenario, layout, machine)
    way = _steer(scenario, way, rng)
    right, up = layout.frame.flatten(way.across_m, way.along_m)
    travelled = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(right), np.diff(up)))])
    speed, stop_at, stop_s = _vary_speed(scenario, layout, way, travelled, rng)
    clock = np.concatenate([[0.0], np.cumsum(np.diff(travelled) / ((speed[1:] + speed[:-1]) / 2))])
    # A stop is a second vertex at the same place, later.
    clock += np.concatenate([[0.0], np.cumsum(np.bincount(stop_at, stop_s, len(clock)))[:-1]])
    clock = np.insert(clock, stop_at + 1, clock[stop_at] + stop_s)
    across, along = (np.insert(line, stop_at + 1, line[stop_at]) for line in (way.across_m, way.along_m))
    label = np.insert(way.pass_index, stop_at + 1, way.pass_index[stop_at])
    return _step_through(scenario, layout, clock, Way(across, along, label, clock), machine)


def _step_through(scenario: Scenario, layout: Layout, clock: Floats, way: Way, machine: int) -> Drive:
    """Cut a timed line into steps of equal time, a whole number of records."""
    per_record = scenario.steps_per_record
    steps = int(clock[-1] / scenario.step_length_s) // per_record * per_record
    edges = np.arange(steps + 1, dtype=np.float64) * scenario.step_length_s
    across, along = np.interp(edges, clock, way.across_m), np.interp(edges, clock, way.along_m)
    right, up = layout.frame.flatten(across, along)
    middle = (edges[:-1] + edges[1:]) / 2
    label = way.pass_index[np.searchsorted(clock, middle, side="right") - 1]
    half = (along[:-1] + along[1:]) / 2
    direction = np.where(label < 0, 1, layout.pass_direction[label])
    before = np.where(direction > 0, half, scenario.strip_length_m - half)
    # The header is down as long as any of it has crop before it.
    farthest = find_end(scenario, layout.pass_across_m - scenario.header_width_m / 2)[label]
    begin = np.where(direction > 0, 0.0, scenario.strip_length_m - farthest)
    end = np.where(direction > 0, farthest, scenario.strip_length_m)
    down = (before > begin - scenario.header_down_m) & (before < end + scenario.header_up_m)
    start_s = scenario.combines[machine].start_s
    return Drive(
        edges + start_s,
        across,
        along,
        np.hypot(np.diff(right), np.diff(up)),
        label.astype(np.int64),
        down & (label >= 0),
    )


def _join_passes(scenario: Scenario, layout: Layout, machine: int) -> Way:
    """Join passes and turns into one line, run-in and run-out included."""
    passes = np.flatnonzero(layout.pass_combine == machine)
    passes = passes[np.argsort(layout.pass_number[passes])]
    low, high = -RUN_IN_M, scenario.strip_length_m + RUN_IN_M
    pieces: list[tuple[Floats, Floats, int, float]] = []
    for place, index in enumerate(passes):
        here, ahead = layout.pass_across_m[index], layout.pass_direction[index]
        start, end = (low, high) if ahead > 0 else (high, low)
        along = np.arange(start, end + ahead * VERTEX_M / 2, ahead * VERTEX_M)
        kind = scenario.treatments[layout.strip_treatment[layout.pass_strip[index]]]
        pieces.append((np.full(len(along), here), along, int(index), scenario.speed_m_s * kind.speed))
        if place + 1 == len(passes):
            break
        there = layout.pass_across_m[passes[place + 1]]
        if scenario.path == "one_way":
            pieces.append((*turn_round(here, here, end, scenario.turn_radius_m), -1, scenario.turn_speed_m_s))
            back = np.arange(end, start, -ahead * VERTEX_M)
            pieces.append((np.full(len(back), here), back, -1, scenario.road_speed_m_s))
            end = start
        outward = scenario.turn_radius_m if end == high else -scenario.turn_radius_m
        pieces.append((*turn_round(here, there, end, outward), -1, scenario.turn_speed_m_s))
    across, along = pieces[-1][:2]
    # The last way out is long enough for the combine to empty before the log ends.
    out = along[-1] + np.sign(along[-1] - along[0]) * np.arange(VERTEX_M, 60, VERTEX_M)
    pieces.append((np.full(len(out), across[-1]), out, -1, scenario.turn_speed_m_s))
    counts = [len(piece[0]) for piece in pieces]
    return Way(
        np.concatenate([piece[0] for piece in pieces]),
        np.concatenate([piece[1] for piece in pieces]),
        np.repeat([piece[2] for piece in pieces], counts),
        np.repeat([piece[3] for piece in pieces], counts).astype(np.float64),
    )


def turn_round(here_m: float, there_m: float, along_m: float, radius_m: float) -> tuple[Floats, Floats]:
    """Turn from one pass into the opposite direction on another.

    Parameters
    ----------
    here_m, there_m : float
        ``across_m`` of the two passes [m].
    along_m : float
        Where both end [m].
    radius_m : float
        Smallest radius; negative: the turn lies below its start, not above [m].

    Returns
    -------
    tuple of Floats
        Vertices in field coordinates, from the start to the end of the turn.

    Notes
    -----
    Passes two radii apart or more: two quarter circles and a straight line. Nearer ones: a bulb of three arcs, first
    away from the goal, which keeps the radius.

    Examples
    --------
    >>> across, along = turn_round(0.0, 20.0, 100.0, 7.0)
    >>> float(across[0]), float(across[-1]), float(along.max())
    (0.0, 20.0, 107.0)
    """
    radius, gap = abs(radius_m), abs(there_m - here_m)
    step = VERTEX_M / radius

    def arc(middle: tuple[float, float], start: float, end: float) -> Floats:
        angle = np.linspace(start, end, max(int(abs(end - start) / step), 2) + 1)
        return np.array(middle) + radius * np.column_stack([np.cos(angle), np.sin(angle)])

    if gap >= 2 * radius:
        parts = [arc((radius, 0), np.pi, np.pi / 2), arc((gap - radius, 0), np.pi / 2, 0)]
        line = np.arange(radius + VERTEX_M, gap - radius, VERTEX_M)
        parts.insert(1, np.column_stack([line, np.full(len(line), radius)]))
    else:
        swing = np.arccos((gap / 2 + radius) / (2 * radius))
        parts = [
            arc((-radius, 0), 0, swing),
            arc((gap / 2, 2 * radius * np.sin(swing)), np.pi + swing, -swing),
            arc((gap + radius, 0), np.pi - swing, np.pi),
        ]
    right, up = np.concatenate(parts).T
    side = 1.0 if there_m >= here_m else -1.0
    return here_m + side * right, along_m + np.sign(radius_m) * up


def remember(innovation: Floats, memory: float) -> Floats:
    """Make a stationary first-order autoregressive series with SD 1 from independent normal draws.

    Parameters
    ----------
    innovation : Floats
        Draws with mean 0 and SD 1, time along the last axis.
    memory : float
        Correlation of neighbours.

    Returns
    -------
    Floats
    """
    scaled = innovation * np.sqrt(1 - memory**2)
    scaled[..., 0] = innovation[..., 0]
    return np.asarray(lfilter([1.0], [1.0, -memory], scaled, axis=-1), dtype=np.float64)


def _steer(scenario: Scenario, way: Way, rng: np.random.Generator) -> Way:
    """Add slow steering errors within the passes, none at their ends."""
    slow = remember(rng.standard_normal(len(way.along_m)), float(np.exp(-VERTEX_M / STEERING_MEMORY_M)))
    error = gaussian_filter1d(slow, 4) * scenario.wander_m
    inside = np.clip(np.minimum(way.along_m, scenario.strip_length_m - way.along_m) + RUN_IN_M, 0, RUN_IN_M) / RUN_IN_M
    return Way(
        way.across_m + np.where(way.pass_index >= 0, error * inside, 0), way.along_m, way.pass_index, way.speed_m_s
    )


def _vary_speed(
    scenario: Scenario, layout: Layout, way: Way, travelled: Floats, rng: np.random.Generator
) -> tuple[Floats, Ints, Floats]:
    """Give the speed at each vertex, the vertices at which the combine stops, and for how long."""
    working = (way.pass_index >= 0) & (way.along_m > 0) & (way.along_m < layout.frame.length_m)
    varied = remember(rng.standard_normal(len(travelled)), float(np.exp(-VERTEX_M / SPEED_MEMORY_M)))
    speed = way.speed_m_s * np.where(working, np.maximum(1 + scenario.speed_cv * varied, 0.3), 1)
    places = np.flatnonzero(working)
    cut_km = len(places) * VERTEX_M / 1000
    for start in rng.choice(places, min(rng.poisson(scenario.slowdowns_per_km * cut_km), len(places)), replace=False):
        end = np.searchsorted(travelled, travelled[start] + rng.uniform(0.5, 1.5) * SLOW_STRETCH_M)
        speed[start:end] *= rng.uniform(0.5, 0.8)
    speed = gaussian_filter1d(speed, 2.0 / VERTEX_M)
    count = min(rng.poisson(scenario.stops_per_km * cut_km), len(places))
    stops = np.sort(rng.choice(places, count, replace=False))
    for stop in stops:
        near = slice(*np.searchsorted(travelled, travelled[stop] + np.array([-BRAKING_M, BRAKING_M])))
        speed[near] *= np.sqrt(np.clip(np.abs(travelled[near] - travelled[stop]) / BRAKING_M, 0.03, 1))
    return np.maximum(speed, 0.2), stops, rng.uniform(15, 60, count)
