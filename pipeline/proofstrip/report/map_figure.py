"""The picture of the yield map: both maps on one scale, strips outlined, marked and named."""

import geopandas as gpd
import matplotlib.patheffects as effects
import numpy as np
import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from proofstrip.report.map import Floats, Window, YieldMap
from proofstrip.report.sheet import ACCENT, CATEGORIES, INK, MARKERS, SOFT, Sheet, drawing, new_figure, number_axis
from proofstrip.report.words import Units, number, short

REMOVED = "#b4b9bd"
PALETTE = "viridis"
THIN_PT = 2.0  # strips narrower than this on paper would vanish under their own outlines
HALO = [effects.withStroke(linewidth=2, foreground="white")]


def draw_map(picture: YieldMap, control: str, units: Units, moisture_pct: float, sheet: Sheet) -> Figure:
    """Draw both maps on one scale, with the strips outlined and named.

    Parameters
    ----------
    picture : YieldMap
    control : str
        Its strips carry the hollow mark.
    units : Units
    moisture_pct : float
        [%]
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    window = picture.window
    ratio = window.height_m / window.width_m
    beside = ratio > (0.8 if sheet.is_wide else 2.2)
    panel_in = sheet.width_in / 2 - 0.3 if beside else sheet.width_in - 0.5
    tall_in = min(panel_in * ratio, 5.6 if beside else 2.9)
    marks = _legend(picture.strips, control)
    columns = 3 if sheet.is_wide else 1
    legend_in = 0.1 + 0.19 * -(-len(marks) // columns)
    maps_in = (tall_in if beside else 2 * tall_in + 0.35) + 1.55
    with drawing():
        figure, body = new_figure(sheet, legend_in + maps_in)
        top, maps = body.subfigures(2, 1, squeeze=False, height_ratios=(legend_in, maps_in))[:, 0]
        top.legend(handles=marks, loc="center left", ncols=columns)
        before, after = maps.subplots(1, 2) if beside else maps.subplots(2, 1)
        points_per_m = 72 * min(panel_in / window.width_m, tall_in / window.height_m)
        _draw_panel(before, picture, picture.before / units.kg_ha_per_yield, units, is_before=True)
        image = _draw_panel(after, picture, picture.after / units.kg_ha_per_yield, units, is_before=False)
        gap = "\n" if beside else ": "
        for axes, title in ((before, f"Before{gap}as logged"), (after, f"After{gap}only what is counted")):
            _outline_strips(axes, picture.strips, points_per_m)
            reach = _name_strips(axes, picture, control, points_per_m)
            axes.set_title(title, fontsize=8.5, fontweight="bold", pad=reach + 5)
        _draw_scale(after, window, units)
        bar = maps.colorbar(
            image, ax=[before, after], location="bottom", extend="both", aspect=36, shrink=0.75, pad=0.02
        )
        bar.set_label(f"Yield, {units.yield_name} at {number(moisture_pct, 1)} % moisture")
        bar.outline.set_visible(False)
        number_axis(bar.ax.xaxis, 6 if sheet.is_wide else 4)
    return figure


def _draw_panel(axes: Axes, picture: YieldMap, values: Floats, units: Units, is_before: bool):  # type: ignore[no-untyped-def]
    """Draw one map with its outlines; grey where records were removed."""
    extent = picture.window.extent
    if is_before:
        grey = np.zeros((*picture.removed.shape, 4), dtype=np.uint8)
        grey[picture.removed] = [int(REMOVED[i : i + 2], 16) for i in (1, 3, 5)] + [255]
        values = np.where(picture.removed, np.nan, values)
        axes.imshow(grey, extent=extent, origin="lower", interpolation="none")
    scale = units.kg_ha_per_yield
    image = axes.imshow(
        np.ma.masked_invalid(values),
        extent=extent,
        origin="lower",
        interpolation="none",
        cmap=PALETTE,
        vmin=picture.low / scale,
        vmax=picture.high / scale,
    )
    axes.set_aspect("equal")
    axes.set_xlim(extent[0], extent[1])
    axes.set_ylim(extent[2], extent[3])
    axes.axis("off")
    return image


def _outline_strips(axes: Axes, strips: gpd.GeoDataFrame, points_per_m: float) -> None:
    """Outline each strip, thinner where strips are narrow on paper; outline only the whole where they are hairlines."""
    shapes = [shape for shape in strips.geometry if shape is not None and not shape.is_empty]
    wide = _paper_width(strips, points_per_m)
    if wide < THIN_PT:
        shapes = [shapely.union_all(shapely.buffer(shapes, 0.1))]
    lines = [np.asarray(ring.coords)[:, :2] for shape in shapes for ring in outer_rings(shape)]
    axes.add_collection(LineCollection(lines, colors=INK, linewidths=0.6 if wide < THIN_PT else min(0.6, 0.1 * wide)))


def _paper_width(strips: gpd.GeoDataFrame, points_per_m: float) -> float:
    """Give the typical width of a strip on paper [pt]: twice its area over its outline."""
    return float((2 * strips.geometry.area / strips.geometry.length).median()) * points_per_m


def outer_rings(shape: shapely.geometry.base.BaseGeometry) -> list[shapely.LinearRing]:
    """Give the outer rings of a polygon or of several."""
    return [part.exterior for part in getattr(shape, "geoms", [shape]) if isinstance(part, shapely.Polygon)]


def treatment_marks(strips: gpd.GeoDataFrame, control: str) -> dict[str, tuple[str, str, str]]:
    """Give marker, face and edge colour of each treatment: hollow for the control."""
    others = [name for name in pd.unique(strips["treatment"].astype(str)) if name != control]
    marks = {control: ("o", "white", SOFT)}
    for place, name in enumerate(others):
        colour = ACCENT if len(others) == 1 else CATEGORIES[1 + place % (len(CATEGORIES) - 1)]
        marks[name] = (MARKERS[(place + (len(others) > 1)) % len(MARKERS)], colour, colour)
    return marks


def _name_strips(axes: Axes, picture: YieldMap, control: str, points_per_m: float) -> float:
    """Mark one end of each strip with its treatment, name it where there is room, give how far names reach out [pt]."""
    strips, north, reach = picture.strips, picture.window.extent[3], 0.0
    marks, taken = treatment_marks(strips, control), np.empty((0, 2))
    wide = _paper_width(strips, points_per_m)
    size = min(26.0, max(5.0, 0.8 * wide**2))
    for strip, treatment, shape in zip(strips["strip"], strips["treatment"].astype(str), strips.geometry, strict=True):
        if shape is None or shape.is_empty:
            continue
        end, direction = far_end(shape)
        crowded = len(taken) > 0 and float(np.min(np.hypot(*(taken - end).T))) * points_per_m < 8.5
        if crowded and wide < THIN_PT:
            continue
        marker, face, edge = marks.get(treatment, ("o", "white", SOFT))
        axes.scatter(
            end[0],
            end[1],
            marker=marker,
            s=size,
            facecolor=face,
            edgecolor=edge,
            linewidth=1.1,
            zorder=4,
            clip_on=False,
        )
        if crowded:
            continue
        taken = np.vstack([taken, end])
        name = short(strip, 16)
        _write_name(axes, name, end, direction)
        reach = max(reach, (8 + 4.8 * len(name)) * abs(direction[1]) - (north - end[1]) * points_per_m)
    return reach


def far_end(shape: shapely.geometry.base.BaseGeometry) -> tuple[Floats, Floats]:
    """Give the middle of a strip's northern (or, lying flat, western) end, and the direction out of it."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))[:4]
    if np.hypot(*(corners[1] - corners[0])) > np.hypot(*(corners[2] - corners[1])):
        corners = np.roll(corners, -1, axis=0)
    along = (corners[2] + corners[3] - corners[0] - corners[1]) / 2
    direction = along / max(float(np.hypot(*along)), 1e-9)
    if (direction[1] < 0) if abs(direction[1]) >= abs(direction[0]) else (direction[0] > 0):
        direction = -direction
    # A strip may curve: its end is where its own outline reaches furthest, not where the rectangle around it ends.
    outline = np.unique(shapely.get_coordinates(shape), axis=0)
    tip = outline[np.argmax(outline @ direction)]
    width = 2 * shape.area / shape.length
    return outline[np.hypot(*(outline - tip).T) <= 1.2 * width].mean(axis=0), direction


def _write_name(axes: Axes, name: str, end: Floats, direction: Floats) -> None:
    """Write a name outward from the end of its strip, along the strip."""
    angle = float(np.degrees(np.arctan2(direction[1], direction[0])))
    upright = abs(direction[1]) >= abs(direction[0])
    axes.annotate(
        name,
        (float(end[0]), float(end[1])),
        xytext=(7.0 * direction[0], 7.0 * direction[1]),
        textcoords="offset points",
        rotation=angle if upright else angle - 180 if angle > 0 else angle + 180,
        rotation_mode="anchor",
        ha="left" if upright else "right",
        va="center",
        fontsize=7,
        annotation_clip=False,
        path_effects=HALO,
    )


def _draw_scale(axes: Axes, window: Window, units: Units) -> None:
    """Draw scale bar and north arrow below the map."""
    west, east, south, _ = window.extent
    steps = [unit * 10**power for power in range(1, 5) for unit in (1, 2, 5)]
    length = max([step for step in steps if step * units.m_per_length <= 0.3 * window.width_m] or [steps[0]])
    metres = length * units.m_per_length
    place = axes.transData
    axes.annotate(
        f"{number(length)} {units.length_name}",
        (west + metres / 2, south),
        xytext=(0, -12),
        xycoords=place,
        textcoords="offset points",
        ha="center",
        va="top",
        fontsize=7.5,
        annotation_clip=False,
    )
    axes.annotate(
        "",
        (west, south),
        xytext=(west + metres, south),
        xycoords=place,
        textcoords=place,
        arrowprops={
            "arrowstyle": "|-|, widthA=0.25, widthB=0.25",
            "color": INK,
            "linewidth": 1,
            "shrinkA": 0,
            "shrinkB": 0,
        },
        annotation_clip=False,
    )
    axes.annotate(
        "N",
        (east, south),
        xytext=(0, -16),
        textcoords="offset points",
        ha="center",
        va="top",
        fontsize=8,
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1},
        annotation_clip=False,
    )


def _legend(strips: gpd.GeoDataFrame, control: str) -> list[Line2D | Patch]:
    """List treatments by their mark, and grey for what was removed."""
    entries: list[Line2D | Patch] = [
        Line2D([], [], linestyle="", marker=marker, markerfacecolor=face, markeredgecolor=edge, label=short(name, 30))
        for name, (marker, face, edge) in treatment_marks(strips, control).items()
    ]
    return [*entries, Patch(color=REMOVED, label="removed")]


def describe_map(picture: YieldMap, points: gpd.GeoDataFrame, units: Units) -> str:
    """Say what the map shows, for readers who cannot see it.

    Parameters
    ----------
    picture : YieldMap
    points : geopandas.GeoDataFrame
    units : Units

    Returns
    -------
    str
    """
    used = points.loc[points["usable"].astype(bool), "yield_kg_ha"].dropna()
    return (
        f"Two yield maps of the same {len(picture.strips)} strips on one scale. Before: {number(len(points))} records "
        f"as logged, with {number(len(points) - len(used))} removed ones in grey. After: the {number(len(used))} "
        f"records that are counted, with a median of {units.yield_text(float(used.median()))}; the scale runs from "
        f"{units.yields(picture.low)} to {units.yield_text(picture.high)}."
    )
