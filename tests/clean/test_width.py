"""Cut width against exact polygons: each pass's swath minus what earlier passes cut."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from tests.clean.truth import to_points

from proofstrip.clean import follow_machines
from proofstrip.clean.settle import settle_width
from proofstrip.clean.track import Track
from proofstrip.clean.width import measure_overlap
from proofstrip.config import load_defaults
from proofstrip.simulate import SCENARIOS, simulate_harvest

WIDTH_M = 9.0


def drive(lines: list[tuple[tuple[float, float], tuple[float, float]]], step_m: float = 1.8) -> Track:
    """Make a track of straight passes, driven one after the other."""
    parts = []
    for number, (start, end) in enumerate(lines, start=1):
        length = np.hypot(end[0] - start[0], end[1] - start[1])
        along = np.arange(step_m, length, step_m)
        share = along / length
        east, north = start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])
        heading = np.arctan2(end[0] - start[0], end[1] - start[1])
        parts.append((np.full(len(along), number), east, north, np.full(len(along), heading), along))
    number, east, north, heading, along = (np.concatenate(column) for column in zip(*parts, strict=True))
    n = len(number)
    return Track(
        row=np.arange(n),
        machine=np.zeros(n, dtype=np.int64),
        log=number.astype(np.int64) - 1,
        time=np.arange(n, dtype=float),
        duration=np.ones(n),
        span=np.ones(n),
        easting=east,
        northing=north,
        distance=np.full(n, step_m),
        odometer=along,
        swath=np.full(n, WIDTH_M),
        heading=heading,
        header_up=np.zeros(n, dtype=bool),
        turn=np.zeros(n, dtype=bool),
        pass_id=number.astype(np.int64),
        cut_width=np.full(n, WIDTH_M),
    )


def exact_share_taken(track: Track) -> dict[int, float]:
    """Subtract polygons in harvest order."""
    cut, taken = shapely.Polygon(), {}
    for number in np.unique(track.pass_id):
        mine = np.flatnonzero(track.pass_id == number)
        back = track.distance[mine[0]]
        heading = track.heading[mine[0]]
        first = (track.easting[mine[0]] - back * np.sin(heading), track.northing[mine[0]] - back * np.cos(heading))
        line = shapely.LineString([first, *zip(track.easting[mine], track.northing[mine], strict=True)])
        swath = line.buffer(WIDTH_M / 2, cap_style="flat")
        taken[int(number)] = swath.intersection(cut).area / swath.area
        cut = cut.union(swath)
    return taken


@pytest.mark.parametrize("turned_deg", [0.0, 17.0, 45.0, 90.0])
def test_overlap_is_what_polygon_subtraction_gives(turned_deg):
    # Full, 0.5 m overlap, half a header, a gap, and a pass across all of them.
    lines = [((x, 0.0), (x, 200.0)) for x in (0.0, 8.5, 13.0, 23.0)] + [((-10.0, 100.0), (40.0, 103.0))]
    angle = np.radians(turned_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    turned = [tuple((x * cos + y * sin, y * cos - x * sin) for x, y in line) for line in lines]
    track = drive(turned)
    measured, exact = measure_overlap(track, 0.5), exact_share_taken(track)
    for number, share in exact.items():
        found = measured.taken[track.pass_id == number].mean()
        assert WIDTH_M * found == pytest.approx(WIDTH_M * share, abs=0.05), number


def test_a_pass_does_not_count_against_itself():
    track = drive([((0.0, 0.0), (0.0, 100.0))])
    jitter = replace(track, northing=track.northing + np.random.default_rng(1).normal(0, 0.3, len(track)))
    assert measure_overlap(jitter, 0.5).taken.max() == 0.0


def test_the_narrow_last_pass_of_an_invented_field_is_found():
    harvest = simulate_harvest(replace(SCENARIOS["hard"], position_noise_m=0.02), 3)
    points = to_points(harvest)
    track = follow_machines(points, load_defaults().clean)
    true = harvest.records["true_width_m"].to_numpy()[track.row]
    for number in np.unique(track.pass_id[track.pass_id > 0]):
        inner = (track.pass_id == number) & (true > 0)
        # Full passes are drawn to what is usual beside cut ground; a narrow one must be measured.
        if inner.sum() > 100 and np.median(true[inner]) < 0.8 * 9.144:
            assert np.median(track.cut_width[inner]) == pytest.approx(np.median(true[inner]), abs=0.3)


def swath_of(track: Track, records: np.ndarray) -> shapely.Geometry:
    """Give the ground of one pass: a rectangle a record, header wide, from where it began to where it ended."""
    sin, cos, half = np.sin(track.heading[records]), np.cos(track.heading[records]), track.swath[records] / 2
    end = np.column_stack([track.easting[records], track.northing[records]])
    start = end - track.distance[records, None] * np.column_stack([sin, cos])
    side = half[:, None] * np.column_stack([cos, -sin])
    corners = np.stack([start - side, start + side, end + side, end - side], axis=1)
    return shapely.union_all(shapely.polygons(corners))


@pytest.mark.parametrize("name", ["hard", "contour"])
def test_pass_means_are_those_of_rectangles_subtracted_in_harvest_order(name):
    scenario = replace(SCENARIOS[name], blocks=2, strip_length_m=160.0, overlap_m=0.5, jump_share=0.0, frozen_per_h=0.0)
    track = follow_machines(to_points(simulate_harvest(scenario, 5)), load_defaults().clean)
    measured = measure_overlap(track, 0.5)
    cut, checked = shapely.Polygon(), 0
    first = {number: track.time[track.pass_id == number][0] for number in np.unique(track.pass_id) if number}
    for number in sorted(first, key=first.get):
        records = np.flatnonzero(track.pass_id == number)
        ground = swath_of(track, records)
        if len(records) > 30:
            exact = ground.intersection(cut).area / ground.area * 9.144
            found = np.average(measured.taken[records], weights=track.distance[records]) * 9.144
            assert found == pytest.approx(exact, abs=0.05), number
            checked += exact > 0.2
        cut = cut.union(ground)
    assert checked >= 3


@pytest.mark.parametrize("cell_m", [0.25, 0.5, 1.0])
def test_the_cell_hardly_matters(cell_m):
    track = drive([((0.0, 0.0), (0.0, 200.0)), ((7.0, 0.0), (7.0, 200.0))])
    taken = measure_overlap(track, cell_m).taken[track.pass_id == 2]
    assert 9 * taken.mean() == pytest.approx(2.0, abs=0.06)


def test_ground_is_taken_in_order_of_time_not_of_number():
    track = drive([((0.0, 0.0), (0.0, 100.0)), ((4.5, 0.0), (4.5, 100.0))])
    late = replace(track, time=np.where(track.pass_id == 1, track.time + 1000, track.time))
    taken = measure_overlap(late, 0.5).taken
    assert taken[track.pass_id == 2].max() == 0
    assert taken[track.pass_id == 1].mean() == pytest.approx(0.5, abs=0.01)


def test_edges_that_run_along_cut_ground_are_counted():
    track = drive([((x, 0.0), (x, 100.0)) for x in (0.0, 18.0, 9.0)])
    edges = measure_overlap(track, 0.5).edges
    middle = np.flatnonzero((track.northing > 10) & (track.northing < 90))
    assert [set(edges[middle][track.pass_id[middle] == number].tolist()) for number in (1, 2, 3)] == [{0}, {0}, {2}]


def test_outside_passes_nothing_is_taken_or_claimed():
    track = drive([((0.0, 0.0), (0.0, 100.0))] * 2)
    idle = replace(track, pass_id=np.where(track.pass_id == 1, 0, 2))
    assert not measure_overlap(idle, 0.5).taken.any()
    assert not measure_overlap(replace(track, pass_id=np.zeros_like(track.pass_id)), 0.5).taken.any()


def test_the_cut_is_never_wider_than_the_header_nor_below_nothing():
    track = drive([((0.0, 0.0), (0.0, 100.0))] * 2)
    width = settle_width(track, measure_overlap(track, 0.5), load_defaults().clean)
    assert width[track.pass_id == 1].tolist() == pytest.approx([9.0] * int((track.pass_id == 1).sum()))
    assert width[track.pass_id == 2].max() < 0.2  # the rim of a swath is known to a part of a cell
    assert width.min() >= 0


def test_ground_left_standing_beside_the_header_is_measured_as_a_gap():
    # 9 m passes: 0.4 m left standing, then 0.3 m of overlap, then a gap too wide to see the neighbour.
    track = drive([((x, 0.0), (x, 200.0)) for x in (0.0, 9.4, 18.1, 28.5)])
    measured = measure_overlap(track, 0.5)
    signed = [float((9 * measured.taken - measured.gap)[track.pass_id == number].mean()) for number in range(1, 5)]
    assert signed == pytest.approx([0.0, -0.4, 0.3, 0.0], abs=0.05)
