"""The answer as pictures: under other choices, and in money over the area."""

from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from proofstrip.report.figures import MAX_HEIGHT_IN, wrap_name
from proofstrip.report.map import Floats
from proofstrip.report.money import Curve
from proofstrip.report.sheet import ACCENT, FAINT, INK, SOFT, TINT, Sheet, drawing, new_figure, number_axis
from proofstrip.report.words import Units, number, short


def draw_choices(choices: list[dict[str, Any]], units: Units, sheet: Sheet) -> Figure:
    """Draw the difference under each other choice of cleaning, with its interval.

    Parameters
    ----------
    choices : list of dict
        label, difference_kg_ha, low_kg_ha, high_kg_ha [kg/ha], is_headline.
    units : Units
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    pitch = min(0.3 if sheet.is_wide else 0.42, (MAX_HEIGHT_IN - 0.8) / max(len(choices), 1))
    with drawing():
        figure, body = new_figure(sheet, max(1.5, 0.75 + pitch * len(choices)))
        axes = body.add_subplot()
        axes.axvline(0, color=SOFT, linewidth=0.9)
        for row, entry in enumerate(choices):
            middle, low, high = (
                units.from_kg_ha(entry[key]) for key in ("difference_kg_ha", "low_kg_ha", "high_kg_ha")
            )
            colour = ACCENT if entry["is_headline"] else SOFT
            if low is not None and high is not None:
                axes.hlines(row, low, high, color=colour, linewidth=2.4 if entry["is_headline"] else 1.3)
            if middle is not None:
                axes.scatter(middle, row, s=34, marker="D" if entry["is_headline"] else "o", color=colour, zorder=3)
        labels = [short(entry["label"], 52) if sheet.is_wide else wrap_name(entry["label"], sheet) for entry in choices]
        axes.set_yticks(range(len(choices)), labels, fontsize=8)
        axes.set_ylim(len(choices) - 0.4, -0.6)
        axes.tick_params(axis="y", length=0)
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(f"Difference, {units.yield_name}")
        number_axis(axes.xaxis, 6 if sheet.is_wide else 3, sign=True)
        axes.grid(axis="x", color=FAINT, linewidth=0.5)
        axes.set_axisbelow(True)
    return figure


def draw_money(curve: Curve, area_word: str, sheet: Sheet) -> Figure:
    """Draw the net gain over the area harvested a year, with its band.

    Parameters
    ----------
    curve : Curve
    area_word : str
        ``acre`` or ``hectare``.
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    with drawing():
        figure, body = new_figure(sheet, 2.9 if sheet.is_wide else 2.7)
        axes = body.add_subplot()
        draw_band(axes, curve.areas, (curve.net, curve.low, curve.high), sheet)
        axes.set_xlabel(f"{area_word.capitalize()}s harvested a year")
        axes.set_ylabel(f"{curve.label}, {curve.currency}")
        number_axis(axes.yaxis, 6)
        _mark_areas(axes, curve, area_word)
    return figure


def draw_band(axes: Axes, along: Floats, money: tuple[Floats, Floats | None, Floats | None], sheet: Sheet) -> None:
    """Draw money along something: the line, its band where both ends are known, and zero.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    along : array of float, shape (n,)
        What the money is drawn over.
    money : tuple of array of float or None, each of shape (n,)
        The sums, and the low and the high end of their margin.
    sheet : Sheet
    """
    net, low, high = money
    if low is not None and high is not None:
        axes.fill_between(along, low, high, color=TINT, linewidth=0)
    axes.axhline(0, color=SOFT, linewidth=0.9)
    axes.plot(along, net, color=ACCENT, linewidth=2)
    axes.margins(x=0)
    number_axis(axes.xaxis, 7 if sheet.is_wide else 4)
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)


def _mark_areas(axes: Axes, curve: Curve, area_word: str) -> None:
    """Mark the break-even and the farm's own area, named above the panel."""
    labels = []
    if curve.break_even is not None and curve.break_even <= curve.areas[-1]:
        axes.scatter(curve.break_even, 0, s=44, color=ACCENT, zorder=4, clip_on=False)
        labels.append(f"dot: breaks even on {number(curve.break_even)} {area_word}s a year")
    if curve.own_area is not None:
        axes.axvline(curve.own_area, color=INK, linewidth=0.9, linestyle=(0, (4, 3)))
        labels.append(f"dashed: this farm, {number(curve.own_area)} {area_word}s")
    axes.set_title("\n".join(labels), loc="left", fontsize=8, color=SOFT)
