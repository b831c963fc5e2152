"""The shapes of a layout in field coordinates: strips, guards, and the lines that the combine follows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from proofstrip.layout.place import SLACK_M, Place, Sizes
from proofstrip.layout.settings import LayoutSettings


@dataclass(frozen=True)
class Slot:
    """One strip: its block and treatment by number, its left edge across, and the ground of its block."""

    block: int
    kind: int
    left_m: float
    place: Place


@dataclass(frozen=True)
class Drawn:
    """A table and the shape of each of its rows."""

    columns: tuple[str, ...]
    rows: list[tuple[Any, ...]]
    shapes: Sequence[shapely.Geometry]


def draw_strips(settings: LayoutSettings, slots: list[Slot]) -> Drawn:
    """Draw the strips, rectangles of their width and of their block's length."""
    width, names = settings.strip_width_m, settings.strips.treatments
    rows = [
        (
            f"S{number:02d}",
            names[slot.kind],
            f"B{slot.block + 1}",
            number,
            width,
            slot.place.length_m,
            width * slot.place.length_m,
        )
        for number, slot in enumerate(slots, start=1)
    ]
    shapes = [shapely.box(s.left_m, s.place.low_m, s.left_m + width, s.place.high_m) for s in slots]
    return Drawn(("strip", "treatment", "block", "place", "width_m", "length_m", "area_m2"), rows, shapes)


def draw_guards(sizes: Sizes, strip_m: float, places: list[Place]) -> Drawn:
    """Draw the guards outside the blocks and the buffers between strips.

    Parameters
    ----------
    sizes : Sizes
    strip_m : float
        Width of a strip [m].
    places : list of Place

    Returns
    -------
    Drawn
    """
    boxes: list[tuple[str, float, float, float, float]] = []
    guard, buffer = sizes.guard_m, sizes.buffer_m
    for place in places:
        right = place.left_m + sizes.block_m
        beside = [other for other in places if is_right_of(place, other, sizes)]
        if guard and not any(is_right_of(other, place, sizes) for other in places):
            boxes.append(("guard", place.left_m - guard, place.left_m, place.low_m, place.high_m))
        if buffer:
            ends = [place.left_m + n * (strip_m + buffer) for n in range(1, round(sizes.pitch_m / (strip_m + buffer)))]
            boxes += [("buffer", end - buffer, end, place.low_m, place.high_m) for end in ends]
            boxes += [
                ("buffer", right, right + buffer, max(place.low_m, o.low_m), min(place.high_m, o.high_m))
                for o in beside
            ]
        if guard and not beside:
            boxes.append(("guard", right, right + guard, place.low_m, place.high_m))
    rows = [(f"G{number:02d}", kind) for number, (kind, *_) in enumerate(boxes, start=1)]
    return Drawn(("name", "kind"), rows, [shapely.box(west, low, east, high) for _, west, east, low, high in boxes])


def is_right_of(one: Place, other: Place, sizes: Sizes) -> bool:
    """Tell whether a block is the right neighbour of another: the next one across, with ground in common along."""
    beside = abs(other.left_m - one.left_m - sizes.pitch_m) < SLACK_M
    return beside and min(one.high_m, other.high_m) > max(one.low_m, other.low_m)


def draw_lines(settings: LayoutSettings, slots: list[Slot], heading_deg: float) -> Drawn:
    """Draw the middle of every pass that counts, in its direction.

    Parameters
    ----------
    settings : LayoutSettings
    slots : list of Slot
    heading_deg : float
        Of the strips, from true north.

    Returns
    -------
    Drawn

    Notes
    -----
    The passes of a strip go back and forth. All strips of a block begin the same way, so that no direction stands
    behind a difference; where a strip has an odd number of passes, the next block begins the other way.
    """
    header, passes, names = settings.machines.header_m, settings.header_passes, settings.strips.treatments
    rest = (settings.strip_width_m - passes * header) / 2
    rows: list[tuple[Any, ...]] = []
    shapes: list[shapely.Geometry] = []
    for number, slot in enumerate(slots, start=1):
        for own in range(passes):
            back = (own + (slot.block if passes % 2 else 0)) % 2 == 1
            middle = slot.left_m + rest + (own + 0.5) * header
            ends = [(middle, slot.place.low_m), (middle, slot.place.high_m)]
            shapes.append(shapely.LineString(ends[::-1] if back else ends))
            heading = round((heading_deg + 180 * back) % 360, 2)
            rows.append((len(rows) + 1, f"S{number:02d}", names[slot.kind], f"B{slot.block + 1}", heading))
    return Drawn(("pass_number", "strip", "treatment", "block", "heading_deg"), rows, shapes)
