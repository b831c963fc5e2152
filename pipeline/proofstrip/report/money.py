"""What the difference is worth: phrases, the tables of a treatment, and the curve of net gain over the area."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from proofstrip.config import EconomicsPart
from proofstrip.economics import capital_recovery_factor
from proofstrip.report.money_inputs import PER_WORDS, own_area, price_unit
from proofstrip.report.tables import Row, Table, between, capital
from proofstrip.report.words import ABSENT, Units, is_number, money, number
from proofstrip.stats.money_words import say_ends
from proofstrip.stats.remarks import say_chance
from proofstrip.stats.wording import MARGIN, say_years
from proofstrip.units import HA_PER_ACRE

NEVER = "never"
LEAST_GIVEN_KG_HA = 0.5  # grain that nobody pays; less is rounding


@dataclass(frozen=True)
class Figure:
    """A figure of the budget with the ends of its interval; None where there is none."""

    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Curve:
    """Net gain a year over the area harvested a year.

    Attributes
    ----------
    areas, net : array of float
        [ac or ha], [currency]
    low, high : array of float or None
        From the interval of the gain.
    break_even, own_area : float or None
        Where the net gain is zero, and the area of the trial file.
    currency, label : str
        ``label`` names the vertical axis.
    """

    areas: npt.NDArray[np.float64]
    net: npt.NDArray[np.float64]
    low: npt.NDArray[np.float64] | None
    high: npt.NDArray[np.float64] | None
    break_even: float | None
    own_area: float | None
    currency: str
    label: str


def figure_of(entry: dict[str, Any], stem: str, units: Units) -> Figure:
    """Give a figure of the budget for the page's unit of area.

    Parameters
    ----------
    entry : dict
        One of result.json's economics.
    stem : str
        ``gain_per``, ``net_gain_per``, ``break_even`` (by area) or ``payback_years``.
    units : Units

    Returns
    -------
    Figure
    """
    key = stem if stem == "payback_years" else f"{stem}_{units.area_name}"
    values = (entry.get(key + end) for end in ("", "_low", "_high"))
    return Figure(*(float(value) if is_number(value) else None for value in values))  # type: ignore[arg-type]


def gain_span(gain: Figure, currency: str) -> str:
    r"""Write the interval of a gain, the currency once; a dash without one.

    Parameters
    ----------
    gain : Figure
    currency : str

    Returns
    -------
    str

    Examples
    --------
    >>> gain_span(Figure(30.0, -4.0, 64.0), "USD")
    '−4.00 to +64.00\xa0USD'
    """
    low = money(gain.low, currency, sign=True).partition("\N{NO-BREAK SPACE}")[0]
    return between(low, money(gain.high, currency, sign=True))


def cost_span(needed: Figure, gain: Figure, decimals: int) -> str:
    """Write the interval of a break-even or pay-back: at an end of the gain that is a loss it is never reached.

    Parameters
    ----------
    needed, gain : Figure
        The area or the years needed, and the gain they come from.
    decimals : int

    Returns
    -------
    str

    Examples
    --------
    >>> gain = Figure(30.0, -4.0, 64.0)
    >>> cost_span(Figure(600.0, 281.0, None), gain, 0), cost_span(Figure(None, None, None), gain, 0)
    ('281 or more', 'never')
    """
    if gain.low is None or gain.high is None:
        return ABSENT
    if needed.low is None:
        return NEVER
    low = number(needed.low, decimals)
    return f"{low} or more" if needed.high is None else f"{low} to {number(needed.high, decimals)}"


def money_table(entry: dict[str, Any], units: Units, part: EconomicsPart) -> Table:
    """Set the budget of one treatment: its lines, then what they come to.

    Parameters
    ----------
    entry : dict
        One of result.json's economics.
    units : Units
    part : EconomicsPart

    Returns
    -------
    Table
    """
    currency, area = str(entry["currency"]), units.area_word
    gain, net = figure_of(entry, "gain_per", units), figure_of(entry, "net_gain_per", units)
    rows: list[Row] = [*_budget_rows(entry, units, currency)]
    strong = [len(rows)]
    rows.append(_gain_row("Gain", f"per {area}", gain, currency))
    if part.investment.amount:
        if part.area_ha is not None and net.value is not None:
            strong.append(len(rows))
            spread = f"outlay spread over {say_years(part.years)}"
            spread += f" with {part.interest_pct:g} % interest" if part.interest_pct else ""
            rows.append(_gain_row("Net gain", f"per {area}, {spread}", net, currency))
        rows += _outlay_rows(entry, units, part, gain)
    if is_number(entry.get("pays_chance")):
        rows.append(["Chance that it pays, by this trial alone", say_chance(float(entry["pays_chance"])), ""])
    rows += _limit_rows(entry, units)
    return Table(f"The money with {entry['treatment']}", ("", "Figure", capital(MARGIN)), "lrr", rows, strong)


def _gain_row(name: str, of: str, gain: Figure, currency: str) -> Row:
    """Write a gain, or a loss as a loss, and its margin of error."""
    span = ABSENT if gain.low is None or gain.high is None else say_ends(gain.low, gain.high, currency)
    if gain.value is None:
        return [f"{name} {of}", ABSENT, span]
    word = name if gain.value >= 0 else name.replace("Gain", "Loss").replace("gain", "loss")
    return [f"{word} {of}", money(abs(gain.value), currency), span]


def _outlay_rows(entry: dict[str, Any], units: Units, part: EconomicsPart, gain: Figure) -> list[Row]:
    """Write what the outlay takes to come back, and what it comes to over its life."""
    currency = str(entry["currency"])
    acres, back = figure_of(entry, "break_even", units), figure_of(entry, "payback_years", units)
    name = f"{units.area_word.capitalize()}s a year that pay it back within {say_years(part.years)}"
    rows: list[Row] = [[name, NEVER if acres.value is None else number(acres.value), cost_span(acres, gain, 0)]]
    if part.area_ha is not None:
        value = NEVER if back.value is None else number(back.value, 1)
        rows.append(["Years to pay back on the area given", value, cost_span(back, gain, 1)])
    life = entry.get("life")
    if life:
        worth = Figure(life["npv"], life["npv_low"], life["npv_high"])
        over = f"over {say_years(life['years'])}"
        rows.append([f"Net present value {over}", money(worth.value, currency, sign=True), gain_span(worth, currency)])
        low, value, high = (_rate_of_return(life[key]) for key in ("irr_pct_low", "irr_pct", "irr_pct_high"))
        rows.append([f"Rate of return {over}, a year", value, "" if life["npv_low"] is None else f"{low} to {high}"])
    return rows


def _rate_of_return(rate: float | None) -> str:
    """Write a rate of return; where the money does not come back there is none."""
    return "none" if rate is None else f"{number(rate, 0)}\N{NO-BREAK SPACE}%"


def _limit_rows(entry: dict[str, Any], units: Units) -> list[Row]:
    """Write the yield difference and the price at which it breaks even, and the grain that nobody pays."""
    currency, rows = str(entry["currency"]), []
    needed = "break_even_difference_kg_ha"
    if is_number(entry.get(needed)):
        ends = (units.yield_text(entry.get(needed + end), sign=True) for end in ("_low", "_high"))
        rows.append(
            ["Yield difference at which it breaks even", units.yield_text(entry[needed], sign=True), between(*ends)]
        )
    unit = units.price_name if units.price_name == "bu" else "t"
    low, value, high = (entry.get(f"break_even_price_per_{unit}{end}") for end in ("_low", "", "_high"))
    if is_number(value):
        span = ABSENT if low is None else f"{money(low, currency)} or more" if high is None else ""
        span = span or between(money(low, currency), money(high, currency))
        rows.append([f"Price {PER_WORDS[unit]} at which it breaks even", money(value, currency), span])
    for sold in entry.get("delivered") or []:
        if abs(sold["given_away_kg_ha"]) > LEAST_GIVEN_KG_HA:
            away = units.yield_text(sold["given_away_kg_ha"])
            worth = money(sold["given_away_per_ac"] * (1.0 if units.is_us else 1 / HA_PER_ACRE), currency)
            name = f"Grain of {sold['treatment']} not paid, at {number(sold['moisture_pct'], 1)} % moisture"
            rows.append([name, away, f"{worth} per {units.area_word}"])
    return [[name, value, "" if span == ABSENT else span] for name, value, span in rows]


def _budget_rows(entry: dict[str, Any], units: Units, currency: str) -> list[Row]:
    """Write the lines of the partial budget, the outlay's left out."""
    names = {
        "added_returns": "Added returns", "reduced_costs": "Reduced costs", "added_costs": "Added costs",
        "reduced_returns": "Reduced returns",
    }  # fmt: skip
    signs = {"added_costs": -1.0, "reduced_returns": -1.0}
    rows: list[Row] = []
    for part, words in names.items():
        for line in entry.get("lines") or []:
            if line["part"] == part and line["name"] != "outlay":
                amount = signs.get(part, 1.0) * line[f"per_{units.area_name}"]
                rows.append([f"{words}: {line['name']}, per {units.area_word}", money(amount, currency, sign=True), ""])
    return rows


def what_if_tables(entry: dict[str, Any], units: Units) -> list[Table]:
    """Set the net gain by price and yield difference, and what is left by area and years.

    Parameters
    ----------
    entry : dict
        One of result.json's economics.
    units : Units

    Returns
    -------
    list of Table
        Folded; empty where the result holds none.
    """
    found, currency, name = [], str(entry["currency"]), entry["treatment"]
    table = entry.get("price_by_gain")
    if table:
        unit = price_unit(table, units)
        head = (f"Price {PER_WORDS[unit]}", *(units.yield_text(gain, sign=True) for gain in table["gains_kg_ha"]))
        cells = table[f"net_gain_per_{units.area_name}"]
        rows = [
            [money(price, currency), *(number(cell, 2, sign=True) for cell in row)]
            for price, row in zip(table[f"prices_per_{unit}"], cells, strict=True)
        ]
        caption = f"Net gain of {name} per {units.area_word}, {currency}, at other prices and yield differences"
        found.append(Table(caption, head, "r" * len(head), rows, folded=True))
    table = entry.get("area_by_years")
    if table:
        head = (f"{units.area_word.capitalize()}s a year", *(f"after {say_years(year)}" for year in table["years"]))
        rows = [
            [number(area), *(number(cell, sign=True) for cell in row)]
            for area, row in zip(table[f"areas_{units.area_name}"], table["left"], strict=True)
        ]
        caption = f"What is left with {name} when the outlay is paid, {currency} of today, by area and years"
        found.append(Table(caption, head, "r" * len(head), rows, folded=True))
    return found


def net_curve(entry: dict[str, Any], part: EconomicsPart, units: Units) -> Curve | None:
    """Give the net gain a year over the area: gain x area, less the yearly share of the outlay.

    Parameters
    ----------
    entry : dict
        One of result.json's economics.
    part : EconomicsPart
    units : Units

    Returns
    -------
    Curve or None
        None without a gain.
    """
    gain = figure_of(entry, "gain_per", units)
    if gain.value is None:
        return None
    needed, own = figure_of(entry, "break_even", units), own_area(part, units)
    # The gain holds its share of what runs by the year, which does not grow with the area.
    fixed = float(entry.get("yearly_cost") or 0.0)
    share = fixed / own if own else 0.0
    gain = Figure(gain.value + share, *(None if end is None else end + share for end in (gain.low, gain.high)))
    yearly = fixed + part.investment.amount * capital_recovery_factor(part.interest_pct, part.years)
    marks = [mark for mark in (needed.value, own) if mark] or [mark for mark in (needed.low,) if mark] or [500.0]
    areas = np.linspace(0, 2 * (min(max(marks), 4 * own) if own else max(marks)), 50)
    low, high = (None if end is None else end * areas - yearly for end in (gain.low, gain.high))
    over = "" if part.years == 1 or not yearly else f",\noutlay spread over {say_years(part.years)}"
    label = f"Net gain a year{over}"
    net = (gain.value or 0.0) * areas - yearly
    return Curve(areas, net, low, high, needed.value, own, str(entry["currency"]), label)
