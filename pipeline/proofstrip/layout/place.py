"""Where blocks of strips fit on a field: formulas of shapes and lengths, in a frame that lies along the strips.

*Field* coordinates: across [m], to the right of the heading, and along [m], in its direction.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP_M = 1.0
SLACK_M = 0.002  # a strip that reaches a boundary exactly is not refused for rounding
ARC_SEGMENTS = 64  # chords of a quarter circle round a corner: at 20 m they cut it by 2 mm
# Blocks are parted only where that gives their strips at least this many times the length.
WORTH_PARTING = 1.05


@dataclass(frozen=True)
class Frame:
    """Turns ground coordinates into field coordinates and back.

    Attributes
    ----------
    easting_m, northing_m : float
        Ground coordinates of the frame's origin.
    heading_deg : float
        Direction of the strips, clockwise from grid north.
    """

    easting_m: float
    northing_m: float
    heading_deg: float

    def to_field(self, shape: shapely.Geometry) -> shapely.Geometry:
        """Give a shape in field coordinates."""
        along, right = self._axes()
        origin = np.array([self.easting_m, self.northing_m])
        return shapely.transform(shape, lambda points: (points - origin) @ np.column_stack([right, along]))

    def to_ground(self, shape: shapely.Geometry) -> shapely.Geometry:
        """Give a shape in ground coordinates."""
        along, right = self._axes()
        origin = np.array([self.easting_m, self.northing_m])
        return shapely.transform(shape, lambda points: points @ np.vstack([right, along]) + origin)

    def _axes(self) -> tuple[Floats, Floats]:
        """Give the unit vectors along and to the right."""
        turn = np.deg2rad(self.heading_deg)
        return np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])


@dataclass(frozen=True)
class Sizes:
    """How large the blocks are to be, and where they may begin.

    Attributes
    ----------
    block_m, buffer_m, guard_m : float
        Width of a block, of the ground between two blocks, and of the guard outside them.
    min_length_m : float
        A shorter stretch is no place for strips.
    grid_m, grid_at_m : float or None
        Blocks begin only at ``grid_at_m`` and whole ``grid_m`` from it; none: anywhere.
    """

    block_m: float
    buffer_m: float
    guard_m: float
    min_length_m: float
    grid_m: float | None = None
    grid_at_m: float = 0.0

    @property
    def pitch_m(self) -> float:
        """From the start of a block to the start of its neighbour [m]."""
        return self.block_m + self.buffer_m


@dataclass(frozen=True)
class Place:
    """The ground of one block: its left edge across, and the stretch along that all its strips have [m]."""

    left_m: float
    low_m: float
    high_m: float

    @property
    def length_m(self) -> float:
        """Length of its strips [m]."""
        return self.high_m - self.low_m


@dataclass(frozen=True)
class Row:
    """Every place in one piece of ground where a block could begin."""

    left_m: Floats
    low_m: Floats
    high_m: Floats
    stride: int
    min_length_m: float

    @property
    def length_m(self) -> Floats:
        """Length of a block's strips; minus infinity where they would be too short."""
        length = self.high_m - self.low_m
        return np.where(length >= self.min_length_m - SLACK_M, length, -np.inf)

    def place(self, index: int) -> Place:
        """Give one of them."""
        return Place(float(self.left_m[index]), float(self.low_m[index]), float(self.high_m[index]))


def shrink(ground: shapely.Geometry, headland_m: float) -> list[shapely.Polygon]:
    """Take the headland off every edge, of holes too; pieces that remain, from left to right."""
    inner = shapely.buffer(ground, -headland_m, quad_segs=ARC_SEGMENTS) if headland_m else ground
    parts = [part for part in shapely.get_parts(inner) if part.geom_type == "Polygon" and part.area > 0]
    return sorted(parts, key=lambda part: part.bounds)


def find_places(parts: list[shapely.Polygon], sizes: Sizes, count: int) -> list[Place] | None:
    """Find the places of a number of blocks: side by side where that does not cost much length.

    Parameters
    ----------
    parts : list of shapely.Polygon
        Ground that strips may lie on, in field coordinates.
    sizes : Sizes
    count : int

    Returns
    -------
    list of Place or None
        From left to right, piece by piece; none where fewer fit.

    Notes
    -----
    All blocks in one piece of ground where one holds them, else on as many as give the greatest length together.
    """
    rows = [row for row in (survey(part, sizes) for part in parts) if len(row.left_m)]
    whole = [found for row in rows if (found := _choose(row, count)) is not None]
    if whole:
        return [row.place(index) for total, row, chosen in [max(whole, key=lambda one: one[0])] for index in chosen]
    best: dict[int, tuple[float, list[Place]]] = {0: (0.0, [])}
    for row in rows:
        several = [_choose(row, blocks) for blocks in range(1, min(count, capacity_of(row)) + 1)]
        for have, (length, places) in list(best.items()):
            for found in several:
                if found is None or have + len(found[2]) > count:
                    continue
                total, blocks = length + found[0], have + len(found[2])
                if blocks not in best or total > best[blocks][0]:
                    best[blocks] = (total, places + [row.place(index) for index in found[2]])
    return best[count][1] if count in best else None


def count_places(parts: list[shapely.Polygon], sizes: Sizes) -> int:
    """Count the blocks that fit."""
    return sum(capacity_of(survey(part, sizes)) for part in parts)


def survey(part: shapely.Polygon, sizes: Sizes) -> Row:
    """Find the longest free stretch for a block at every place where one may begin."""
    west, _, east, _ = part.bounds
    first, last = west + sizes.guard_m, east - sizes.guard_m - sizes.block_m + SLACK_M
    step = sizes.grid_m or sizes.pitch_m / np.ceil(sizes.pitch_m / STEP_M)
    if sizes.grid_m:
        first = sizes.grid_at_m + np.ceil((first - SLACK_M - sizes.grid_at_m) / sizes.grid_m) * sizes.grid_m
    left: Floats = np.asarray(
        first + step * np.arange(max(0, int(np.floor((last - first) / step)) + 1)), dtype=np.float64
    )
    low, high = longest_stretches(part, left - sizes.guard_m, sizes.block_m + 2 * sizes.guard_m)
    return Row(left, low, high, round(sizes.pitch_m / step), sizes.min_length_m)


def longest_stretches(ground: shapely.Polygon, left_m: Floats, width_m: float) -> tuple[Floats, Floats]:
    """Find, for bands along the field, the longest stretch that lies on the ground in its whole width.

    Parameters
    ----------
    ground : shapely.Polygon
        In field coordinates.
    left_m : array of float, shape (n,)
        Left edges of the bands [m].
    width_m : float

    Returns
    -------
    tuple of two arrays of float, shape (n,)
        Where the stretch begins and ends along [m]; equal where there is none.

    Examples
    --------
    >>> pond = shapely.Point(50, 120).buffer(10)
    >>> low, high = longest_stretches(shapely.box(0, 0, 100, 300).difference(pond), np.array([0.0, 45.0]), 20.0)
    >>> low.round(1).tolist(), high.round(1).tolist()
    ([0.0, 130.0], [300.0, 300.0])
    """
    _, bottom, _, top = ground.bounds
    low, high = np.full(len(left_m), bottom), np.full(len(left_m), bottom)
    roomy = shapely.buffer(ground, SLACK_M / 2, join_style="mitre")
    shapely.prepare(roomy)
    level = np.zeros(len(left_m))
    bands: Any = shapely.box(left_m, level + bottom, left_m + width_m, level + top)
    outside: Any = shapely.difference(bands, roomy)
    for number, shape in enumerate(outside):
        # A piece of band that is no field blocks all of its own length along.
        blocked = sorted((y0, y1) for _, y0, _, y1 in shapely.bounds(shapely.get_parts(shape)).tolist())
        reach = bottom
        for begin, end in [*blocked, (top, top)]:
            if begin - reach > high[number] - low[number]:
                low[number], high[number] = reach, begin
            reach = max(reach, end)
    return low, high


def capacity_of(row: Row) -> int:
    """Count the blocks that a row holds, taken greedily from the left: no choice holds more."""
    count, index = 0, 0
    length = row.length_m
    while index < len(length):
        if np.isfinite(length[index]):
            count, index = count + 1, index + row.stride
        else:
            index += 1
    return count


def _choose(row: Row, count: int) -> tuple[float, Row, list[int]] | None:
    """Choose the starts of a number of blocks; their lengths together, and none where they do not fit."""
    joined, parted = _side_by_side(row, count), _anywhere(row, count)
    if joined and (parted is None or parted[0] <= WORTH_PARTING * joined[0]):
        return joined[0], row, joined[1]
    return None if parted is None else (parted[0], row, parted[1])


def _side_by_side(row: Row, count: int) -> tuple[float, list[int]] | None:
    """Take the longest run of neighbouring blocks; of equals the one nearest to the middle of the ground."""
    reach = row.stride * (count - 1)
    length = row.length_m
    starts = len(length) - reach
    if starts <= 0:
        return None
    total = np.sum([length[place : place + starts] for place in range(0, reach + 1, row.stride)], axis=0)
    if not np.isfinite(total).any():
        return None
    good = np.flatnonzero(total >= total.max() * 0.999)
    start = int(good[np.argmin(np.abs(good - (starts - 1) / 2))])
    return float(total[start]), list(range(start, start + reach + 1, row.stride))


def _anywhere(row: Row, count: int) -> tuple[float, list[int]] | None:
    """Take the blocks that are longest together, with gaps where they help (dynamic programme over the starts)."""
    length, size = row.length_m, len(row.length_m)
    best = np.full((count + 1, size + row.stride), -np.inf)
    best[0] = 0.0
    for blocks in range(1, count + 1):
        taken = length + best[blocks - 1, row.stride : row.stride + size]
        best[blocks, :size] = np.maximum.accumulate(taken[::-1])[::-1]
    if not np.isfinite(best[count, 0]):
        return None
    chosen, index = [], 0
    for blocks in range(count, 0, -1):
        while length[index] + best[blocks - 1, index + row.stride] < best[blocks, index] - 1e-9:
            index += 1
        chosen.append(index)
        index += row.stride
    return float(best[count, 0]), chosen
