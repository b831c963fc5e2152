"""The map of a layout: field, strips by treatment, guards, and the way the combine takes."""

from typing import Any

import geopandas as gpd
import matplotlib.patheffects as effects
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path as Outline

from proofstrip.layout.plan import Plan
from proofstrip.layout.settings import LayoutSettings
from proofstrip.report.sheet import CATEGORIES, INK, SOFT, Sheet, drawing, new_figure
from proofstrip.report.words import number as say_number
from proofstrip.report.words import short
from proofstrip.units import M_PER_FT

FIELD, GUARD = "#f1f3f0", "#c9ced1"
LETTERS = "ABCDEFGH"
READABLE_PT = 4.5
BLOCK_NAME_PT = 18.0
MARGIN = 0.04
HALO = [effects.withStroke(linewidth=2.2, foreground="white")]


def letters_of(settings: LayoutSettings) -> dict[str, str]:
    """Give each treatment its letter, the control A, so that a print without colours can be read."""
    control = settings.strips.control
    names = [control, *(name for name in settings.strips.treatments if name != control)]
    return dict(zip(names, LETTERS, strict=False))


def colours_of(settings: LayoutSettings) -> dict[str, str]:
    """Give each treatment its colour, the control grey."""
    return dict(zip(letters_of(settings), CATEGORIES, strict=False))


def draw_map(plan: Plan, settings: LayoutSettings, sheet: Sheet, height_in: float = 7.5) -> Figure:
    """Draw a layout, north up.

    Parameters
    ----------
    plan : Plan
    settings : LayoutSettings
    sheet : Sheet
    height_in : float
        Most height of the map [inch].

    Returns
    -------
    matplotlib.figure.Figure
    """
    west, south, east, north = _frame(plan, sheet.width_in, height_in)
    legend_in = 0.1 + 0.2 * -(-(len(settings.strips.treatments) + 2) // 3)
    tall_in = min((sheet.width_in - 0.4) * (north - south) / (east - west), height_in)
    points_per_m = 72 * min(tall_in / (north - south), (sheet.width_in - 0.4) / (east - west))
    with drawing():
        figure, body = new_figure(sheet, tall_in + legend_in + 0.45)
        top, below = body.subfigures(2, 1, squeeze=False, height_ratios=(legend_in, tall_in + 0.45))[:, 0]
        top.legend(handles=_legend(plan, settings), loc="center left", ncols=3)
        axes = below.subplots()
        axes.set_aspect("equal")
        axes.set_xlim(west, east)
        axes.set_ylim(south, north)
        axes.axis("off")
        _fill(axes, list(plan.ground.geoms), facecolor=FIELD, edgecolor=SOFT, linewidth=1.0)
        _fill(axes, list(plan.guards.geometry), facecolor=GUARD, edgecolor=SOFT, linewidth=0.4, hatch="////")
        colours = colours_of(settings)
        for name, colour in colours.items():
            shapes = plan.strips.geometry[plan.strips["treatment"] == name]
            _fill(axes, list(shapes), facecolor=colour, edgecolor="white", linewidth=0.6)
        wide = settings.strip_width_m * points_per_m
        _draw_lines(axes, plan.lines, settings.machines.header_m * points_per_m)
        _write_names(axes, plan, settings, wide)
        _draw_scale(axes, settings.report.units)
    return figure


def _frame(plan: Plan, width_in: float, height_in: float) -> tuple[float, float, float, float]:
    """Give the ground that is shown: the field, or the strips alone where they would be hairlines on it."""
    narrowest = float(plan.strips["width_m"].min())
    bounds = plan.ground.bounds
    scale = min(width_in / (bounds[2] - bounds[0]), height_in / (bounds[3] - bounds[1]))
    if 72 * scale * narrowest < READABLE_PT:
        bounds = tuple(plan.strips.total_bounds)
    margin = MARGIN * max(bounds[2] - bounds[0], bounds[3] - bounds[1])
    return bounds[0] - margin, bounds[1] - margin, bounds[2] + margin, bounds[3] + margin


def _fill(axes: Axes, shapes: list[shapely.Polygon], **style: object) -> None:
    """Fill polygons, their holes left open."""
    patches = []
    for shape in shapes:
        rings = [np.asarray(ring.coords)[:, :2] for ring in (shape.exterior, *shape.interiors)]
        codes = [[Outline.MOVETO, *[Outline.LINETO] * (len(ring) - 2), Outline.CLOSEPOLY] for ring in rings]
        patches.append(PathPatch(Outline(np.vstack(rings), np.concatenate(codes))))
    axes.add_collection(PatchCollection(patches, **style))  # type: ignore[arg-type]


def _draw_lines(axes: Axes, lines: gpd.GeoDataFrame, wide_pt: float) -> None:
    """Draw the way of the combine with an arrow at its end."""
    for line in lines.geometry:
        start, end = np.asarray(line.coords)[:, :2]
        axes.annotate(
            "",
            end - 0.03 * (end - start),
            start + 0.03 * (end - start),
            xycoords="data",
            textcoords="data",
            arrowprops={
                "arrowstyle": "-|>",
                "color": "white",
                "linewidth": min(0.9, 0.1 * wide_pt),
                "mutation_scale": min(8.0, max(3.0, 0.8 * wide_pt)),
                "shrinkA": 0,
                "shrinkB": 0,
            },
        )


def _write_names(axes: Axes, plan: Plan, settings: LayoutSettings, wide_pt: float) -> None:
    """Write name and letter into each strip, and the block's name beyond the middle of its end."""
    letters = letters_of(settings)
    east, north = (np.array(value) for value in _direction(plan.strips.geometry.iloc[0]))
    angle = float(np.degrees(np.arctan2(north, east)))
    upright = angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle
    size = min(8.0, 0.62 * wide_pt)
    if size >= READABLE_PT:
        for row in plan.strips.itertuples():
            middle = row.geometry.centroid
            axes.text(
                middle.x,
                middle.y,
                f"{row.strip}  {letters[row.treatment]}",
                rotation=upright,
                rotation_mode="anchor",
                ha="center",
                va="center",
                fontsize=size,
                fontweight="bold",
                path_effects=HALO,
                zorder=5,
            )
    # Blocks too narrow for their names are named in part.
    every = int(np.ceil(BLOCK_NAME_PT / (wide_pt * len(settings.strips.treatments))))
    for number, (block, strips) in enumerate(plan.strips.groupby("block", sort=False)):
        if number % every:
            continue
        ends = np.vstack([np.asarray(shape.exterior.coords)[:4] for shape in strips.geometry])
        along = ends @ np.array([east, north])
        far = ends[along > along.max() - 0.01].mean(axis=0)
        axes.annotate(
            str(block),
            far,
            xytext=(9.0 * east, 9.0 * north),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=7.5,
            color=INK,
            path_effects=HALO,
            zorder=6,
        )


def _direction(strip: shapely.Polygon) -> tuple[float, float]:
    """Give the direction along a strip, east and north; it is drawn from its left lower corner."""
    corners = np.asarray(strip.exterior.coords)[:4]
    sides = np.diff(np.vstack([corners, corners[:1]]), axis=0)
    side = sides[np.hypot(sides[:, 0], sides[:, 1]).argmax()]
    side = -side if side[1] < 0 or (side[1] == 0 and side[0] < 0) else side
    east, north = side / np.hypot(*side)
    return float(east), float(north)


def _draw_scale(axes: Axes, units: str) -> None:
    """Draw scale bar and north arrow below the map."""
    west, east = axes.get_xlim()
    south, _ = axes.get_ylim()
    per_unit, unit = (M_PER_FT, "ft") if units == "us" else (1.0, "m")
    steps = [base * 10**power for power in range(1, 5) for base in (1, 2, 5)]
    length = max([step for step in steps if step * per_unit <= 0.25 * (east - west)] or steps[:1])
    bar: Any = {"arrowstyle": "|-|, widthA=0.25, widthB=0.25", "color": INK, "linewidth": 1, "shrinkA": 0, "shrinkB": 0}
    place: Any = {"textcoords": "offset points", "ha": "center", "va": "top", "annotation_clip": False}
    end = west + length * per_unit
    axes.annotate("", (west, south), (end, south), textcoords="data", arrowprops=bar, annotation_clip=False)
    axes.annotate(f"{say_number(length)} {unit}", ((west + end) / 2, south), (0, -5), fontsize=7.5, **place)
    arrow: Any = {"arrowstyle": "-|>", "color": INK, "linewidth": 1}
    axes.annotate("N", (east, south), (0, -14), fontsize=8, arrowprops=arrow, **place)


def _legend(plan: Plan, settings: LayoutSettings) -> list[Patch | Line2D]:
    """List treatments with letter and colour, guards, and the combine's way."""
    letters = letters_of(settings)
    entries: list[Patch | Line2D] = [
        Patch(color=colour, label=f"{letters[name]}  {short(name, 34)}")
        for name, colour in colours_of(settings).items()
    ]
    if len(plan.guards):
        entries.append(Patch(facecolor=GUARD, edgecolor=SOFT, hatch="////", label="guard, not harvested for the trial"))
    return entries


def describe_map(plan: Plan, settings: LayoutSettings) -> str:
    """Say what the map shows, for readers who cannot see it."""
    order = ", ".join(f"{row.strip} {row.treatment}" for row in plan.strips.itertuples())
    return f"Map of the field, north up, with {len(plan.strips)} strips. From the left, driving along them: {order}."
