"""The gain over the price of the grain: a straight line, with the price used and the one at which it just pays."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure

from proofstrip.report.charts import draw_band
from proofstrip.report.money_inputs import PER_WORDS, price_unit
from proofstrip.report.sheet import ACCENT, INK, SOFT, Sheet, drawing, new_figure, number_axis
from proofstrip.report.words import Units, is_number, money

Floats = npt.NDArray[np.float64]
WIDEST = (0.3, 2.0)  # of the price used: a price that just pays is drawn where it lies between them


@dataclass(frozen=True)
class PriceLine:
    """Gain an acre or hectare over the price, at the yield difference of the trial.

    Attributes
    ----------
    prices, net : array of float, shape (2,)
        The ends of the line: [currency a bushel or tonne], [currency an area].
    low, high : array of float or None
        The same at the ends of the yield difference's interval.
    used : float
        The price that the answer goes by.
    just_pays : float or None
        Where the line crosses zero, drawn or beyond what is drawn; none where no price does it.
    currency, per, label : str
        ``per`` is "a bushel" or "a tonne"; ``label`` names the vertical axis.
    """

    prices: Floats
    net: Floats
    low: Floats | None
    high: Floats | None
    used: float
    just_pays: float | None
    currency: str
    per: str
    label: str


def price_line(entry: dict[str, Any], units: Units) -> PriceLine | None:
    """Draw the gain out of the table of prices, in which it is a straight line of the price.

    Parameters
    ----------
    entry : dict
        One of result.json's economics.
    units : Units

    Returns
    -------
    PriceLine or None
        None where the result holds no such table.
    """
    table = entry.get("price_by_gain")
    if not table:
        return None
    unit = price_unit(table, units)
    prices = np.array(table[f"prices_per_{unit}"], dtype=np.float64)
    cells = np.array(table[f"net_gain_per_{units.area_name}"], dtype=np.float64)
    used, found = float(entry[f"price_per_{unit}"]), entry.get(f"break_even_price_per_{unit}")
    needed = float(found) if is_number(found) else 0.0  # type: ignore[arg-type]
    near = WIDEST[0] * used <= needed <= WIDEST[1] * used
    reach = [prices[0], prices[-1], *((0.95 * needed, 1.05 * needed) if near else ())]
    ends = np.array([min(reach), max(reach)])

    def along(column: int) -> Floats:
        slope = (cells[-1, column] - cells[0, column]) / (prices[-1] - prices[0])
        return np.asarray(cells[0, column] + slope * (ends - prices[0]))

    told = entry.get("confidence") is not None
    outlay = ", outlay included" if entry.get("investment") and is_number(entry.get("area_ac")) else ""
    return PriceLine(
        ends,
        along(cells.shape[1] // 2),
        along(0) if told else None,
        along(-1) if told else None,
        used,
        needed or None,
        str(entry["currency"]),
        PER_WORDS[unit],
        f"Gain {PER_WORDS[units.area_name]}{outlay}",
    )


def describe_line(line: PriceLine) -> str:
    """Say in numbers what the picture shows.

    Parameters
    ----------
    line : PriceLine

    Returns
    -------
    str
    """
    said = "; ".join(
        f"{money(net, line.currency, sign=True)} at {money(price, line.currency)} {line.per}"
        for price, net in zip(line.prices, line.net, strict=True)
    )
    pays = "" if line.just_pays is None else f"; zero at {money(line.just_pays, line.currency)} {line.per}"
    return f"{line.label}: {said}{pays}. The price used is {money(line.used, line.currency)} {line.per}."


def draw_price(line: PriceLine, sheet: Sheet) -> Figure:
    """Draw the line with its band.

    Parameters
    ----------
    line : PriceLine
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    with drawing():
        figure, body = new_figure(sheet, 2.3 if sheet.is_wide else 2.5)
        axes = body.add_subplot()
        draw_band(axes, line.prices, (line.net, line.low, line.high), sheet)
        axes.axvline(line.used, color=INK, linewidth=0.9, linestyle=(0, (4, 3)))
        labels = [f"dashed: price used, {money(line.used, line.currency)} {line.per}"]
        if line.just_pays is not None:
            drawn = line.prices[0] <= line.just_pays <= line.prices[1]
            axes.scatter([line.just_pays] if drawn else [], [0.0] if drawn else [], s=44, color=ACCENT, zorder=4)
            said = f"just pays at {money(line.just_pays, line.currency)} {line.per}"
            labels.insert(0, f"dot: {said}" if drawn else f"{said}, beyond what is drawn")
        axes.set_title("\n".join(labels), loc="left", fontsize=8, color=SOFT)
        axes.set_xlabel(f"Price of the grain, {line.currency} {line.per}")
        axes.set_ylabel(f"{line.label.replace(', ', ',' + chr(10))}, {line.currency}")
        number_axis(axes.yaxis, 5, sign=True)
    return figure
