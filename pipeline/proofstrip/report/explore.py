"""The map to move about in: what the page's own script (explore.js) needs, in the units of the page."""

from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pandas as pd
import shapely
from matplotlib.markers import MarkerStyle

from proofstrip.flags import FLAGS, count_flags
from proofstrip.report.map import Floats
from proofstrip.report.map_figure import PALETTE, far_end, outer_rings, treatment_marks
from proofstrip.report.marks import LENGTH_STEP_M, STEPS, WIDTH_STEP_M, Frame, choose_frame, gather_marks, pack_marks
from proofstrip.report.material import ReportMaterial
from proofstrip.report.sheet import CATEGORIES, INK
from proofstrip.report.words import Units, number

OUTLINE_M = 0.2  # outlines are drawn this close to the trial map's
REASON_COLOURS = (*CATEGORIES[1:6], INK)  # the commonest reasons have their own; the rest share the last one
COUNTED = "#c9ced2"


def explore_map(material: ReportMaterial, units: Units) -> dict[str, Any] | None:
    """Put together the map that the page's own script draws, and the legend beside it.

    Parameters
    ----------
    material : ReportMaterial
    units : Units

    Returns
    -------
    dict or None
        ``map``, plain data, and ``legend``; None where no record was counted.
    """
    points, moisture = material.points, material.settings.standard_moisture_pct
    counted = points["yield_kg_ha"][points["usable"].astype(bool)].dropna()
    if counted.empty or material.trial_map.empty:
        return None
    strips = material.trial_map.to_crs(points.crs) if points.crs is not None else material.trial_map
    frame, (low, high) = choose_frame(points, strips), np.percentile(counted, [2, 98])
    marks, together = gather_marks(points, moisture)
    step = max(1.0, 4 * float(high) / STEPS)
    control = material.settings.trial_map.control
    data = {
        "frame": {"width": frame.width_m, "height": frame.height_m, "step": frame.step_m},
        "marks": pack_marks(marks, frame, [str(name) for name in strips["strip"]], step),
        "together": together,
        "widthStep": WIDTH_STEP_M,
        "lengthStep": LENGTH_STEP_M,
        "yield": {
            "step": step / units.kg_ha_per_yield,
            "unit": units.yield_name,
            "decimals": units.yield_decimals,
            "low": float(low) / units.kg_ha_per_yield,
            "high": float(high) / units.kg_ha_per_yield,
        },
        "length": {"metres": units.m_per_length, "unit": units.length_name},
        "palette": _palette(),
        "strips": list_strips(strips, material.strips, frame, units),
        "treatments": list_treatments(strips, control),
        "flags": list_reasons(points),
        "counted": COUNTED,
    }
    return {"map": data, "legend": legend_of(data, moisture)}


def legend_of(data: dict[str, Any], moisture_pct: float) -> dict[str, Any]:
    """Give the legend of the yields: a continuous band and what stands below it.

    Parameters
    ----------
    data : dict
        From ``explore_map``.
    moisture_pct : float
        [%]

    Returns
    -------
    dict
    """
    ends, places = data["yield"], data["yield"]["decimals"]
    middle = (ends["low"] + ends["high"]) / 2
    return {
        "band": ", ".join(data["palette"][::17]),
        "ticks": [number(value, places) for value in (ends["low"], middle, ends["high"])],
        "unit": f"{ends['unit']} at {number(moisture_pct, 1)} % moisture",
    }


def _palette() -> list[str]:
    """Give 256 colours of the map's scale, perceptually uniform, from low to high."""
    return [mpl.colors.to_hex(colour) for colour in mpl.colormaps[PALETTE](np.arange(256))]


def list_treatments(strips: gpd.GeoDataFrame, control: str) -> list[dict[str, str]]:
    """Give each treatment its mark and colours, the same as on the printed map.

    Parameters
    ----------
    strips : geopandas.GeoDataFrame
    control : str

    Returns
    -------
    list of dict of str to str
        name, fill, edge, and path: the outline of the mark as SVG writes it, about one unit across.
    """
    return [
        {"name": name, "fill": fill, "edge": edge, "path": _svg_path(marker)}
        for name, (marker, fill, edge) in treatment_marks(strips, control).items()
    ]


def _svg_path(marker: str) -> str:
    """Write a mark's outline as SVG does, y downward."""
    style = MarkerStyle(marker)
    rings = [np.asarray(ring) for ring in style.get_path().transformed(style.get_transform()).to_polygons()]
    return " ".join("M" + " L".join(f"{x:.3f} {-y:.3f}" for x, y in ring.tolist()) + " Z" for ring in rings)


def list_strips(strips: gpd.GeoDataFrame, table: pd.DataFrame, frame: Frame, units: Units) -> list[dict[str, Any]]:
    """Give each strip its outline, the place of its mark, and what is said of it.

    Parameters
    ----------
    strips : geopandas.GeoDataFrame
        In the projection of the points.
    table : pandas.DataFrame
        strips.csv.
    frame : Frame
    units : Units

    Returns
    -------
    list of dict
        name, treatment, rings [m from the frame's corner], end, out (the direction out of it), text.
    """
    said = {str(row.strip): _say_strip(row, units) for row in table.itertuples()}
    listed = []
    for name, treatment, shape in zip(strips["strip"], strips["treatment"], strips.geometry, strict=True):
        known = shape is not None and not shape.is_empty
        outlines = outer_rings(shapely.simplify(shape, OUTLINE_M)) if known else []
        end, out = far_end(shape) if known else (np.empty(0), np.empty(0))
        listed.append(
            {
                "name": str(name),
                "treatment": str(treatment),
                "rings": [_places(np.asarray(ring.coords)[:, :2], frame) for ring in outlines],
                "end": _places(end[None, :], frame) if known else [],
                "out": np.round(out, 2).tolist(),
                "text": said.get(str(name), "not harvested"),
            }
        )
    return listed


def _places(corners: Floats, frame: Frame) -> list[float]:
    """Write corners as easting and northing in turn, in decimetres' detail, from the frame's corner [m]."""
    rounded: list[float] = np.round(corners - (frame.west_m, frame.south_m), 1).ravel().tolist()
    return rounded


def _say_strip(row: Any, units: Units) -> str:
    """Say what a strip came to."""
    counted = f"{number(row.records_used)} of {number(row.records)} records counted"
    return f"{units.yield_text(row.yield_kg_ha)}, {counted}"


def list_reasons(points: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """List the flags that occur: those that exclude first, then by how many records each is the first reason of.

    Parameters
    ----------
    points : geopandas.GeoDataFrame

    Returns
    -------
    list of dict
        bit, phrase, excludes, count, colour.
    """
    counts, kinds = count_flags(points["flags"]), points["flags"].value_counts()
    first = {bits: next((one.name for one in FLAGS if one.excludes and bits & one.flag), "") for bits in kinds.index}
    shown = kinds.groupby(first).sum().to_dict()
    found = [meaning for meaning in FLAGS if counts[meaning.name]]
    found.sort(key=lambda one: (not one.excludes, -shown.get(one.name, 0), -counts[one.name]))
    return [
        {
            "bit": int(meaning.flag),
            "phrase": meaning.phrase,
            "excludes": meaning.excludes,
            "count": counts[meaning.name],
            "colour": REASON_COLOURS[min(place, len(REASON_COLOURS) - 1)],
        }
        for place, meaning in enumerate(found)
    ]
