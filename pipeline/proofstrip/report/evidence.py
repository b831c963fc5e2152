"""Pictures behind the statistics: yield over the rate, and what the model leaves of each strip."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from proofstrip.report.material import ReportMaterial
from proofstrip.report.pictures import Picture
from proofstrip.report.sheet import ACCENT, FAINT, SOFT, TINT, Sheet, drawing, new_figure, number_axis
from proofstrip.report.words import Units

PANELS = (("fitted", "Expected yield"), ("order", "Place across the field"), ("time", "Hours since the first strip"))


def evidence_pictures(material: ReportMaterial, units: Units) -> list[Picture]:
    """Draw the curve of a rate trial, and the residuals.

    Parameters
    ----------
    material : ReportMaterial
    units : Units

    Returns
    -------
    list of Picture
        Empty where nothing was tested.
    """
    dose, left = material.result.get("dose"), material.result.get("residuals") or []
    drawn = [_rate_picture(dose, material, units)] if dose else []
    return drawn + ([_residual_picture(left, units)] if left else [])


def _rate_picture(dose: dict[str, Any], material: ReportMaterial, units: Units) -> Picture:
    """Draw strips, means and curve over the rate."""
    best = dose.get("pays_best") or dose["most_yield"]
    what = "pays best" if dose.get("pays_best") else "yields most"
    strips = material.strips.assign(dose=material.strips["treatment"].astype(str).map(dose["doses"]))
    means = "; ".join(
        f"{row['treatment']} {units.yields(row['mean_kg_ha'])}" for row in material.result.get("treatments") or []
    )
    return Picture(
        "rates",
        "Yield over the rate",
        f"Dots are strips, diamonds the means, the line the curve through them. Shaded: the rates among which the one "
        f"that {what} lies; dashed: its best guess.",
        f"Yield over the rate, {units.yield_name}. Means: {means}.",
        lambda sheet: draw_rates(strips[["dose", "yield_kg_ha"]].to_numpy(dtype=float), dose, best, units, sheet),
    )


def draw_rates(
    strips: "np.ndarray[Any, Any]", dose: dict[str, Any], best: dict[str, Any], units: Units, sheet: Sheet
) -> Figure:
    """Draw yield over the rate.

    Parameters
    ----------
    strips : ndarray, shape (n, 2)
        Rate and yield [kg/ha] of each strip.
    dose, best : dict
        ``dose`` of result.json, and its best rate.
    units : Units
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    strips = strips[np.isfinite(strips).all(axis=1)]
    rates = np.unique(strips[:, 0])
    grid = np.linspace(rates[0], rates[-1], 120)
    line = np.polynomial.polynomial.polyval(grid, dose["coefficients"]) / units.kg_ha_per_yield
    means = [strips[strips[:, 0] == rate, 1].mean() / units.kg_ha_per_yield for rate in rates]
    with drawing():
        figure, body = new_figure(sheet, 2.9 if sheet.is_wide else 2.7)
        axes = body.add_subplot()
        axes.axvspan(best["low"], best["high"], color=TINT, linewidth=0)
        axes.axvline(best["dose"], color=ACCENT, linewidth=0.9, linestyle=(0, (4, 3)))
        axes.plot(grid, line, color=ACCENT, linewidth=2)
        axes.scatter(strips[:, 0], strips[:, 1] / units.kg_ha_per_yield, s=14, color=SOFT, zorder=3)
        axes.scatter(rates, means, s=38, marker="D", color=ACCENT, zorder=4)
        axes.set_xlabel(f"Rate, {dose['unit']}".rstrip(", "))
        axes.set_ylabel(f"Yield, {units.yield_name}")
        number_axis(axes.xaxis, 7 if sheet.is_wide else 4)
        number_axis(axes.yaxis, 6)
        axes.grid(axis="y", color=FAINT, linewidth=0.5)
        axes.set_axisbelow(True)
    return figure


def _residual_picture(left: list[dict[str, Any]], units: Units) -> Picture:
    """Draw what is left over."""
    pairs = not any(row["treatment"] for row in left)
    worst = max(left, key=lambda row: abs(row["residual"]))
    what = "pair" if pairs else "strip"
    name = f"block {worst['name']}" if pairs else " in block ".join(filter(None, (worst["treatment"], worst["name"])))
    far = f"{units.yield_text(worst['residual'], sign=True)}"
    return Picture(
        "residuals",
        "What the comparison leaves unexplained",
        f"Each dot is a {what}: how far it lies from what the comparison expects of it. Dots should scatter evenly "
        f"about zero, without a slope, a bend or a funnel. Farthest off: {name}, {far}.",
        f"Residual of each {what} against expected yield, place and time. Farthest off: {name}, {far}.",
        lambda sheet: draw_residuals(left, units, sheet),
    )


def draw_residuals(left: list[dict[str, Any]], units: Units, sheet: Sheet) -> Figure:
    """Draw residuals over expected yield, and over place and time where these are known.

    Parameters
    ----------
    left : list of dict
        ``residuals`` of result.json.
    units : Units
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    panels = [(key, label) for key, label in PANELS if all(row[key] is not None for row in left)]
    rest = np.array([row["residual"] for row in left]) / units.kg_ha_per_yield
    wide = sheet.is_wide
    with drawing():
        figure, body = new_figure(sheet, 2.3 if wide else 0.5 + 1.75 * len(panels))
        shape = (1, len(panels)) if wide else (len(panels), 1)
        grid = body.add_gridspec(*shape, wspace=0.12, hspace=0.6)
        for place, (key, label) in enumerate(panels):
            axes = body.add_subplot(grid[place])
            scale = units.kg_ha_per_yield if key == "fitted" else 1.0
            unit = f", {units.yield_name}" if key == "fitted" else ""
            axes.scatter(np.array([row[key] for row in left]) / scale, rest, s=18, color=ACCENT, zorder=3)
            _dress(axes, f"{label}{unit}", f"Left over, {units.yield_name}" if place == 0 or not wide else "")
    return figure


def _dress(axes: Axes, across: str, up: str) -> None:
    """Label a panel and draw its zero line."""
    axes.axhline(0, color=SOFT, linewidth=0.9)
    axes.set_xlabel(across)
    axes.set_ylabel(up)
    number_axis(axes.xaxis, 4)
    number_axis(axes.yaxis, 5, sign=True)
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
