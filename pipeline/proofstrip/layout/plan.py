"""A layout: where the strips lie, what each of them gets, and how they are harvested."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from proofstrip.errors import Notice
from proofstrip.layout.notices import notice_ground, notice_order, notice_passes
from proofstrip.layout.place import Floats, Frame, Sizes, find_places, shrink
from proofstrip.layout.refuse import refuse_field
from proofstrip.layout.settings import LayoutSettings
from proofstrip.layout.shapes import Drawn, Slot, draw_guards, draw_lines, draw_strips
from proofstrip.read.boundary import Boundary
from proofstrip.read.positions import WGS84, grid_turn
from proofstrip.strips import long_axis

AbLine = tuple[Floats, Floats]


@dataclass(frozen=True)
class Plan:
    """A layout, in the coordinate system of the boundary.

    Attributes
    ----------
    strips : geopandas.GeoDataFrame
        strip, treatment, block, place (1 from the left), width_m, length_m, area_m2, geometry; from left to right.
    guards : geopandas.GeoDataFrame
        name, kind (``guard`` outside the blocks, ``buffer`` between strips), geometry.
    lines : geopandas.GeoDataFrame
        pass_number (order of cutting), strip, treatment, block, heading_deg (from true north), geometry: the line of
        the header's middle, in the direction of driving.
    ground : shapely.MultiPolygon
        The field.
    crs : pyproj.CRS
    heading_deg : float
        Of the strips, from true north.
    notices : tuple of Notice
    """

    strips: gpd.GeoDataFrame
    guards: gpd.GeoDataFrame
    lines: gpd.GeoDataFrame
    ground: shapely.MultiPolygon
    crs: pyproj.CRS
    heading_deg: float
    notices: tuple[Notice, ...]


def plan_layout(settings: LayoutSettings, boundary: Boundary, ab_line: AbLine | None = None) -> Plan:
    """Lay strips out on a field.

    Parameters
    ----------
    settings : LayoutSettings
    boundary : Boundary
    ab_line : tuple of two arrays, optional
        Ends of the guidance line: gives the heading, and strips lie on whole passes from it.

    Returns
    -------
    Plan

    Raises
    ------
    DataError
        When the strips do not fit: says how many blocks do, and what would fit.
    """
    turn = _turn_of_grid(boundary)
    frame = _find_frame(settings, boundary, ab_line, turn)
    sizes = _find_sizes(settings, ab_line is not None)
    ground = frame.to_field(boundary.ground)
    parts = shrink(ground, settings.field.headland_m)
    places = find_places(parts, sizes, settings.strips.replicates)
    if places is None:
        raise refuse_field(settings, sizes, ground, parts)
    order = draw_order(settings)
    slots = [
        Slot(block, kind, place.left_m + number * (settings.strip_width_m + sizes.buffer_m), place)
        for block, place in enumerate(places)
        for number, kind in enumerate(order[block].tolist())
    ]
    heading = (frame.heading_deg - turn) % 360

    def on_ground(drawn: Drawn) -> gpd.GeoDataFrame:
        shapes = gpd.GeoSeries([frame.to_ground(shape) for shape in drawn.shapes], crs=boundary.crs)
        return gpd.GeoDataFrame(pd.DataFrame(drawn.rows, columns=drawn.columns), geometry=shapes, crs=boundary.crs)

    return Plan(
        strips=on_ground(draw_strips(settings, slots)),
        guards=on_ground(draw_guards(sizes, settings.strip_width_m, places)),
        lines=on_ground(draw_lines(settings, slots, heading)),
        ground=boundary.ground,
        crs=boundary.crs,
        heading_deg=heading,
        notices=(
            *boundary.notices,
            *notice_ground(settings, sizes, ground, places),
            *notice_order(settings, order),
            *notice_passes(settings),
        ),
    )


def draw_order(settings: LayoutSettings) -> np.ndarray:
    """Draw the order of treatments in each block.

    Parameters
    ----------
    settings : LayoutSettings
        Treatments, replicates, design and seed.

    Returns
    -------
    array of int, shape (replicates, treatments)
        Number of the treatment at each place from the left; every order of a block is equally likely.
    """
    rows = np.tile(np.arange(len(settings.strips.treatments)), (settings.strips.replicates, 1))
    if settings.strips.design == "systematic":
        return rows
    return np.random.default_rng(settings.strips.seed).permuted(rows, axis=1)


def _find_sizes(settings: LayoutSettings, on_ab_line: bool) -> Sizes:
    """Give the widths of blocks, and the grid of passes where field coordinates begin on a guidance line."""
    strips, tool, kinds = settings.strips, settings.machines.treating_m, len(settings.strips.treatments)
    return Sizes(
        block_m=kinds * settings.strip_width_m + (kinds - 1) * strips.buffer_m,
        buffer_m=strips.buffer_m,
        guard_m=strips.guard_m,
        min_length_m=strips.min_length_m,
        grid_m=tool if on_ab_line else None,
        # The line is the middle of a pass, and strips begin at the edge of one.
        grid_at_m=tool / 2,
    )


def _turn_of_grid(boundary: Boundary) -> float:
    """Give the grid bearing of true north at the field [deg]."""
    middle = shapely.centroid(boundary.ground)
    to_degrees = pyproj.Transformer.from_crs(boundary.crs, WGS84, always_xy=True)
    return grid_turn(boundary.crs, *to_degrees.transform(middle.x, middle.y))


def _find_frame(settings: LayoutSettings, boundary: Boundary, ab_line: AbLine | None, turn: float) -> Frame:
    """Take the heading that was given, the AB line's, or that of the field's long side."""
    middle = shapely.centroid(boundary.ground)
    if ab_line is not None:
        east, north = ab_line[1] - ab_line[0]
        return Frame(float(ab_line[0][0]), float(ab_line[0][1]), float(np.degrees(np.arctan2(east, north))) % 360)
    if settings.strips.heading_deg is not None:
        return Frame(middle.x, middle.y, (settings.strips.heading_deg + turn) % 360)
    hull: Any = shapely.convex_hull(boundary.ground)
    east, north = long_axis(hull)
    heading = float(np.degrees(np.arctan2(east, north))) % 180
    # The northward one of the two ways, so that left is west on most maps.
    return Frame(middle.x, middle.y, heading if heading <= 90 else heading + 180)
