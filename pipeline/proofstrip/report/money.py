"""What the difference is worth: phrases, a table a treatment, and the curve of net gain over the area."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from proofstrip.config import EconomicsPart, Settings
from proofstrip.economics import KG_PER, capital_recovery_factor
from proofstrip.report.tables import Row, Table, between
from proofstrip.report.words import ABSENT, Units, is_number, money, number, years_text
from proofstrip.units import HA_PER_ACRE, KG_PER_LB, Money

NEVER = "never"
PER_WORDS = {
    "bu": "a bushel", "t": "a tonne", "kg": "a kilogram", "lb": "a pound", "cwt": "a hundredweight", "ac": "an acre",
    "ha": "a hectare", "h": "an hour", "year": "a year",
}  # fmt: skip


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
    """Set the budget of one treatment.

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
    rows.append([f"Gain per {area}", money(gain.value, currency, sign=True), gain_span(gain, currency)])
    if part.investment.amount:
        if part.area_ha is not None and net.value is not None:
            name = f"Net gain per {area}, outlay included"
            rows.append([name, money(net.value, currency, sign=True), gain_span(net, currency)])
        acres, back = figure_of(entry, "break_even", units), figure_of(entry, "payback_years", units)
        name = f"{units.area_word.capitalize()}s a year that pay it back within {years_text(part.years)}"
        rows.append([name, NEVER if acres.value is None else number(acres.value), cost_span(acres, gain, 0)])
        if part.area_ha is not None:
            value = NEVER if back.value is None else number(back.value, 1)
            rows.append(["Years to pay back on the area given", value, cost_span(back, gain, 1)])
    needed = entry.get("break_even_difference_kg_ha")
    if is_number(needed):
        rows.append(["Yield difference at which it breaks even", units.yield_text(needed, sign=True), ""])
    return Table(f"What {entry['treatment']} is worth", ("", "Figure", "Range"), "lrr", rows)


def _budget_rows(entry: dict[str, Any], units: Units, currency: str) -> list[Row]:
    """Write the lines of the partial budget that are not zero."""
    names = {
        "added_returns": "Grain gained", "reduced_costs": "Costs saved", "added_costs": "Costs added",
        "reduced_returns": "Grain lost",
    }  # fmt: skip
    budget = entry.get("budget") or {}
    factor = 1.0 if units.is_us else 1 / HA_PER_ACRE
    return [
        [f"{name}, per {units.area_word}", money(budget[key] * factor, currency), ""]
        for key, name in names.items()
        if is_number(budget.get(key)) and budget[key] > 0
    ]


def describe_inputs(settings: Settings, units: Units) -> str:
    """Say which prices and costs were put in.

    Parameters
    ----------
    settings : Settings
    units : Units

    Returns
    -------
    str
        Empty without an [economics] part.
    """
    part = settings.economics
    if part is None:
        return ""
    rates = [_rate(price, settings, units) for price in part.price.sums]
    said = [
        f"Price: {rates[0]}." if len(rates) == 1 else f"Price: the mean of {len(rates)} seasons ({', '.join(rates)})."
    ]
    if part.investment.amount:
        outlay = money(part.investment.amount, part.investment.currency)
        said.append(f"Outlay: {outlay}, to be back within {years_text(part.years)}.")
    if part.area_ha is not None:
        said.append(f"Harvested a year: {number(own_area(part, units))} {units.area_word}s.")
    if part.interest_pct:
        said.append(f"Interest: {number(part.interest_pct, 1)} % a year.")
    said += [f"Cost of {name}: {_rate(cost, settings, units)}." for name, cost in part.cost.items()]
    return " ".join(said)


def own_area(part: EconomicsPart, units: Units) -> float | None:
    """Give the area of the trial file in the page's unit."""
    if part.area_ha is None:
        return None
    return part.area_ha / HA_PER_ACRE if units.is_us else part.area_ha


def _rate(rate: Money, settings: Settings, units: Units) -> str:
    """Write a rate for the page's own unit of grain or area, where it has one."""
    bushel = settings.trial.crop.bushel_lb
    grain = {**KG_PER, **({} if bushel is None else {"bu": bushel * KG_PER_LB})}
    for table, target in ((grain, units.price_name), ({"ac": HA_PER_ACRE, "ha": 1.0}, units.area_name)):
        if rate.per in table:
            return f"{money(rate.amount / table[rate.per] * table[target], rate.currency)} {PER_WORDS[target]}"
    return f"{money(rate.amount, rate.currency)} {PER_WORDS.get(rate.per, '')}".rstrip()


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
    yearly = part.investment.amount * capital_recovery_factor(part.interest_pct, part.years)
    marks = [mark for mark in (needed.value, own) if mark] or [mark for mark in (needed.low,) if mark] or [500.0]
    areas = np.linspace(0, 2 * (min(max(marks), 4 * own) if own else max(marks)), 50)
    low, high = (None if end is None else end * areas - yearly for end in (gain.low, gain.high))
    share = "" if part.years == 1 or not yearly else f",\noutlay spread over {years_text(part.years)}"
    label = f"Net gain a year{share}"
    return Curve(areas, gain.value * areas - yearly, low, high, needed.value, own, str(entry["currency"]), label)
