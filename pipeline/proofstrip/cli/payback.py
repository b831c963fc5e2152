"""``proofstrip payback``: economics alone, from a yield gain that is already known."""

import dataclasses
import json
from pathlib import Path

import click

from proofstrip.economics import Payback, price_gain
from proofstrip.payback_file import PaybackPart
from proofstrip.result import plain
from proofstrip.stats.wording import say_money
from proofstrip.toml_file import read_toml, validate
from proofstrip.units import HA_PER_ACRE


@click.command()
@click.argument("payback_file", metavar="PAYBACK.toml", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print only JSON.")
def payback(payback_file: Path, as_json: bool) -> None:
    """Price a yield gain: budget, break-even acres and pay-back time."""
    text, written = read_toml(payback_file)
    part = validate(PaybackPart, written, payback_file, text)
    gain, low, high = part.gains_kg_ha
    priced = price_gain(gain, part.crop, part.economics, low, high, part.beside)
    if as_json:
        click.echo(json.dumps(plain(dataclasses.asdict(priced)), indent=2))
    else:
        click.echo(write_page(priced, part))


def write_page(priced: Payback, part: PaybackPart) -> str:
    """Write the page that a person reads."""
    money = priced.currency
    each = f"{priced.price_per_bu:.2f} {money}/bu" if priced.price_per_bu else f"{priced.price_per_t:.2f} {money}/t"
    prices = f"mean of {len(part.economics.price.sums)} prices, " if len(part.economics.price.sums) > 1 else ""
    budget = priced.budget
    lines = [
        f"{part.crop.name}, gain {part.gain}" + (f" ({part.gain_low} to {part.gain_high})" if part.gain_low else ""),
        f"Price {prices}{each}",
        "",
        "Partial budget, an acre",
        *(
            f"  {name:<17}{say_money(amount, money):>14}"
            for name, amount in (
                ("added returns", budget.added_returns),
                ("+ reduced costs", budget.reduced_costs),
                ("- added costs", budget.added_costs),
                ("- reduced returns", budget.reduced_returns),
                ("= gain an acre", priced.gain_per_ac),
            )
        ),
        *_say_interval(priced),
        f"  {'= gain a hectare':<17}{say_money(priced.gain_per_ha, money):>14}",
        "",
        *_say_investment(priced, part),
        *(notice.message for notice in priced.notes),
    ]
    return "\n".join(lines).rstrip()


def _say_interval(priced: Payback) -> list[str]:
    """Say the interval of the gain, where there is one."""
    if priced.gain_per_ac_low is None or priced.gain_per_ac_high is None:
        return []
    low, high = (say_money(end, priced.currency) for end in (priced.gain_per_ac_low, priced.gain_per_ac_high))
    return [f"    between {low} and {high}"]


def _say_investment(priced: Payback, part: PaybackPart) -> list[str]:
    """Say what the investment needs."""
    if priced.investment == 0:
        return []
    interest = part.economics.interest_pct
    years = "one year" if priced.years == 1 else f"{priced.years:g} years"
    lines = [
        f"Investment {say_money(priced.investment, priced.currency)}, to come back within {years}"
        + (f" with {interest:g} % interest" if interest else "")
    ]
    rows = [
        (
            "Break-even",
            priced.break_even_ac,
            priced.break_even_ac_low,
            priced.break_even_ac_high,
            ",.0f",
            "acres a year",
        ),
        ("", priced.break_even_ha, priced.break_even_ha_low, priced.break_even_ha_high, ",.0f", "ha a year"),
        ("Pay-back", priced.payback_years, priced.payback_years_low, priced.payback_years_high, ".1f", "years"),
    ]
    for name, value, low, high, style, unit in rows:
        if value is None:
            continue
        told = f"  {name:<12}{value:{style}} {unit}"
        if low is not None and priced.gain_per_ac_low is not None:
            told += f" (from {low:{style}} " + (f"to {high:{style}})" if high is not None else "upwards, without end)")
        if name == "Pay-back" and priced.area_ac is not None:
            told += f" on {priced.area_ac:,.0f} acres ({priced.area_ac * HA_PER_ACRE:,.0f} ha) a year, without interest"
        lines.append(told)
    if priced.break_even_life_ac is not None and part.economics.life_years is not None:
        lines.append(
            f"  {'Over its life':<14}{priced.break_even_life_ac:,.0f} acres a year cover the cost of capital "
            f"over {part.economics.life_years:g} years"
        )
    return [*lines, ""]
