"""Which prices, costs and outlays were put in, in words."""

from typing import Any

from proofstrip.config import EconomicsPart, Settings
from proofstrip.config_money import Price
from proofstrip.economics import KG_PER
from proofstrip.report.words import Units, money, number
from proofstrip.stats.wording import say_years
from proofstrip.units import HA_PER_ACRE, KG_PER_LB, Money

PER_WORDS = {
    "bu": "a bushel", "t": "a tonne", "kg": "a kilogram", "lb": "a pound", "cwt": "a hundredweight", "ac": "an acre",
    "ha": "a hectare", "h": "an hour", "year": "a year",
}  # fmt: skip


def price_unit(table: dict[str, Any], units: Units) -> str:
    """Give the unit that a table of prices is told in: ``bu`` where page and table have bushels, else ``t``."""
    return "bu" if units.price_name == "bu" and table["prices_per_bu"] else "t"


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
    said = [_say_price(part.price, settings, units)]
    if part.investment.amount:
        outlay = money(part.investment.amount, part.investment.currency)
        wish = f"to be back within {say_years(part.years)}"
        if not part.years_given:
            wish += " (no pay-back time was given; [economics] years sets it)"
        said.append(f"Outlay: {outlay}, {wish}.")
    if part.life_years is not None and part.investment.amount:
        left = f", then worth {money(part.salvage.amount, part.currency)}" if part.salvage.amount else ""
        said.append(f"It lasts {say_years(part.life_years)}{left}.")
    if part.area_ha is not None:
        said.append(f"Harvested a year: {number(own_area(part, units))} {units.area_word}s.")
    if part.interest_pct:
        said.append(f"Interest: {number(part.interest_pct, 1)} % a year.")
    named = {"Repairs": part.repairs, "Fuel": part.fuel, "Saved": part.savings}
    said += [f"{name}: {_rate(sum_, settings, units)}." for name, sum_ in named.items() if sum_ is not None]
    if part.wage is not None and part.labour_h_ha is not None:
        hours = part.labour_h_ha * (HA_PER_ACRE if units.is_us else 1.0)
        said.append(
            f"Labour: {number(hours, 3)} hours {PER_WORDS[units.area_name]} at {_rate(part.wage, settings, units)}."
        )
    said += [f"Cost of {name}: {_rate(cost, settings, units)}." for name, cost in part.cost.items()]
    if part.delivery is not None:
        said.append("Grain is settled by the buyer's schedule in the trial file.")
    return " ".join(said)


def _say_price(price: Price, settings: Settings, units: Units) -> str:
    """Say what the grain is sold for, one price or how it is spread."""
    rates = [_rate(one, settings, units) for one in price.sums]
    if price.kind == "average":
        return (
            f"Price: {rates[0]}."
            if len(rates) == 1
            else f"Price: the mean of {len(rates)} seasons ({', '.join(rates)})."
        )
    if price.kind == "seasons":
        return f"Price: any of {len(rates)} seasons, each as likely ({', '.join(rates)})."
    if price.kind == "normal":
        return f"Price: {rates[0]} in the mean, give or take {rates[1]} (standard deviation)."
    return f"Price: most likely {rates[1]}, at lowest {rates[0]}, at highest {rates[2]}."


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
