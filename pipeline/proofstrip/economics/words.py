"""The text page of ``proofstrip payback``: the answer, the budget line by line, what the outlay needs, two tables."""

from textwrap import wrap

from proofstrip.economics.record import Delivered, Payback
from proofstrip.stats.money_words import say_acres, say_ends
from proofstrip.stats.remarks import say_chance
from proofstrip.stats.wording import first_margin, list_words, say_money, say_years
from proofstrip.units import HA_PER_ACRE

WIDTH = 110  # of the page, in characters
PART_WORDS = {
    "added_returns": "added returns", "reduced_costs": "reduced costs", "added_costs": "added costs",
    "reduced_returns": "reduced returns",
}  # fmt: skip
CAUTION = (
    "This is not financial advice: it is arithmetic on the gain and the prices put in. Scales used for settlement must "
    "be legal for trade; local codes and licensed practice come first."
)


def write_page(priced: Payback, head: str, prices: int) -> str:
    """Write the page that a person reads.

    Parameters
    ----------
    priced : Payback
    head : str
        Its first line: crop and gain.
    prices : int
        How many were given.

    Returns
    -------
    str
    """
    parts = [
        [head, _say_price(priced, prices)],
        _say_answer(priced),
        _say_budget(priced),
        _say_outlay(priced),
        _say_limits(priced),
        [line for one in priced.delivered[:1] for line in _say_delivered(one, priced)],
        _say_price_table(priced),
        _say_area_table(priced),
        [line for notice in priced.notes for line in wrap(notice.message, WIDTH)],
        wrap(CAUTION, WIDTH),
    ]
    return "\n\n".join("\n".join(lines) for lines in parts if lines)


def _say_price(priced: Payback, prices: int) -> str:
    """Say the price, and how it is spread."""
    said = f"{_each(priced.price_per_bu, priced.price_per_t, priced.currency)}"
    spread = priced.price
    if spread.kind == "average":
        return f"Price mean of {prices} prices, {said}" if prices > 1 else f"Price {said}"
    how = {
        "triangular": "low, likely and high",
        "normal": "a mean and its spread",
        "seasons": f"{prices} seasons, each as likely",
    }
    low = _each(spread.low_per_bu, spread.low_per_t, "").split(" ")[0]
    high = _each(spread.high_per_bu, spread.high_per_t, priced.currency)
    return f"Price {said} in the mean, mostly {low} to {high} ({how[spread.kind]})"


def _each(per_bu: float | None, per_t: float | None, currency: str) -> str:
    """Say a price a bushel, or a tonne where the crop has no bushel."""
    return f"{per_bu:.2f} {currency}/bu" if per_bu is not None else f"{per_t or 0.0:.2f} {currency}/t"


def _say_answer(priced: Payback) -> list[str]:
    """Say in two or three sentences what comes of it."""
    money = priced.currency
    verb = "earns" if priced.gain_per_ac >= 0 else "loses"
    before = " before the outlay" if priced.investment else ""
    lines = [f"An acre {verb} {say_money(abs(priced.gain_per_ac), money)} a year{before}{_span(priced)}."]
    if priced.investment and priced.area_ac is not None:
        net = priced.net_gain_per_ac
        over = f"With the outlay spread over {say_years(priced.years)} on {priced.area_ac:,.0f} acres"
        verb = "earns" if net >= 0 else "loses"
        said = f"{over} it {verb} {say_money(abs(net), money)} an acre"
        if priced.pays_chance is not None:
            said += f"; the chance that it pays is {say_chance(priced.pays_chance)}"
        lines.append(said + ".")
    elif priced.gain_chance is not None:
        lines.append(f"The chance that it earns anything is {say_chance(priced.gain_chance)}.")
    if priced.payback_word == "infinite":
        lines.append("It never pays back: an acre earns nothing to pay with.")
    return lines


def _span(priced: Payback) -> str:
    """Say the margin of error of the gain, where there is one."""
    if priced.gain_per_ac_low is None or priced.gain_per_ac_high is None or priced.confidence is None:
        return ""
    low, high = priced.gain_per_ac_low, priced.gain_per_ac_high
    return f" ({first_margin(priced.confidence)} {say_ends(low, high, priced.currency)})"


def _say_budget(priced: Payback) -> list[str]:
    """Write the partial budget line by line."""
    lines = [f"{'Partial budget':<37}{'an acre':>14}{'a hectare':>14}  {priced.currency}"]
    for part, words in PART_WORDS.items():
        for line in priced.lines:
            if line.part == part and line.name != "outlay":
                sign = "-" if part in ("added_costs", "reduced_returns") else "+"
                lines.append(_row(f"  {sign} {words}: {line.name}", line.per_ac, line.per_ha))
    lines.append(_row("  = gain", priced.gain_per_ac, priced.gain_per_ha))
    for line in priced.lines:
        if line.name == "outlay":
            interest = f", {priced.interest_pct:g} % interest" if priced.interest_pct else ""
            lines.append(_row(f"  - outlay over {say_years(priced.years)}{interest}", line.per_ac, line.per_ha))
            lines.append(_row("  = net gain", priced.net_gain_per_ac, priced.net_gain_per_ha))
    return lines


def _row(name: str, *amounts: float) -> str:
    """Set a name and sums in columns."""
    return f"{name:<37}" + "".join(f"{amount:>14,.2f}" for amount in amounts).replace("-", "−")


def _say_outlay(priced: Payback) -> list[str]:
    """Say what the outlay needs."""
    if priced.investment == 0:
        return []
    lines = [f"Outlay {say_money(priced.investment, priced.currency)}, to come back within {say_years(priced.years)}"]
    if not priced.years_given:
        lines[0] += " (no pay-back time was given)"
    acres = (priced.break_even_ac, priced.break_even_ac_low, priced.break_even_ac_high)
    hectares = (priced.break_even_ha, priced.break_even_ha_low, priced.break_even_ha_high)
    back = (priced.payback_years, priced.payback_years_low, priced.payback_years_high)
    lines += _needed("Break-even", acres, ",.0f", "acres a year", priced)
    lines += _needed("", hectares, ",.0f", "ha a year", priced)
    if acres[1] is not None:
        lines += [f"  {line}" for line in wrap(say_acres(*acres, priced.years, "acres"), WIDTH - 2)]
    if priced.area_ac is not None:
        on = f"on {priced.area_ac:,.0f} acres ({priced.area_ac * HA_PER_ACRE:,.0f} ha) a year, without interest"
        if priced.payback_word == "infinite":
            lines.append(f"  {'Pay-back':<12}never {on}")
        lines += [f"{line} {on}" for line in _needed("Pay-back", back, ".1f", "years", priced)]
    return [*lines, *_say_life(priced)]


def _needed(
    name: str, figure: tuple[float | None, float | None, float | None], style: str, unit: str, priced: Payback
) -> list[str]:
    """Say a figure that is a sum over the gain, with its ends; nothing where there is none."""
    value, low, high = figure
    if value is None:
        return []
    said = f"  {name:<12}{value:{style}} {unit}"
    if low is not None and priced.gain_per_ac_low is not None:
        said += f" (from {low:{style}} " + (f"to {high:{style}})" if high is not None else "upwards, without end)")
    return [said]


def _say_life(priced: Payback) -> list[str]:
    """Say what the outlay comes to over its life."""
    lines, life, money = [], priced.life, priced.currency
    if life is None:
        if priced.break_even_life_ac is not None:
            lines.append(f"  {'Over its life':<14}{priced.break_even_life_ac:,.0f} acres a year cover its yearly cost")
        return lines
    worth = f"  Over its life of {say_years(life.years)}, with {life.interest_pct:g} % interest"
    worth += f" and {say_money(life.salvage, money)} left" if life.salvage else ""
    lines.append(worth)
    if priced.break_even_life_ac is not None:
        lines.append(f"    {priced.break_even_life_ac:,.0f} acres a year cover its yearly cost of capital")
    said = f"    net present value {say_money(life.npv, money)}"
    if life.npv_low is not None and life.npv_high is not None:
        said += f" ({say_money(life.npv_low, money)} to {say_money(life.npv_high, money)})"
    lines.append(said + (f", above zero in {say_chance(life.pays_chance)}" if life.pays_chance is not None else ""))
    rate = "none: the money does not come back" if life.irr_pct is None else f"{life.irr_pct:,.1f} % a year"
    if life.irr_pct_high is not None:
        low = "none" if life.irr_pct_low is None else f"{life.irr_pct_low:,.1f} %"
        rate += f" ({low} to {life.irr_pct_high:,.1f} %)"
    return [*lines, f"    rate of return {rate}"]


def _say_limits(priced: Payback) -> list[str]:
    """Say the price and the yield gain at which it just pays."""
    bushel = priced.price_by_gain.gains_bu_ac
    wanted, unit = priced.break_even_difference_kg_ha, "kg/ha"
    if bushel is not None:
        wanted = wanted * priced.price_per_t / 1000 / (priced.price_per_bu or 1.0) * HA_PER_ACRE
        unit = "bu/ac"
    style = ".2f" if unit == "bu/ac" else ".0f"
    lines = ["It just pays" + (" with the outlay in it" if priced.investment and priced.area_ac else "")]
    lines.append(f"  at a yield gain of {wanted:{style}} {unit}, at this price")
    price = (priced.break_even_price_per_bu, priced.break_even_price_per_t)
    low = (priced.break_even_price_per_bu_low, priced.break_even_price_per_t_low)
    high = (priced.break_even_price_per_bu_high, priced.break_even_price_per_t_high)
    if price[1] is None:
        return [*lines, "  at no price, with this gain"]
    said = f"  at a price of {_each(*price, priced.currency)}, with this gain"
    if low[1] is not None and priced.confidence is not None:
        span = _each(*low, "").split(" ")[0]
        said += f" ({span} " + ("upwards, without end)" if high[1] is None else f"to {_each(*high, priced.currency)})")
    return [*lines, said]


def _say_delivered(one: Delivered, priced: Payback) -> list[str]:
    """Say what is paid of the grain that is delivered."""
    lost = f"{one.given_away_kg_ha:,.0f} kg/ha"
    if one.given_away_bu_ac is not None:
        lost = f"{one.given_away_bu_ac:.2f} bu/ac"
    lines = [f"Delivered at {one.moisture_pct:g} % moisture"]
    if abs(one.given_away_kg_ha) > 1e-9:
        money = say_money(one.given_away_per_ac, priced.currency)
        lines.append(f"  {lost} of all the grain are not paid, worth {money} an acre")
    if one.charges_per_ac:
        lines.append(f"  drying and discounts take {say_money(one.charges_per_ac, priced.currency)} an acre")
    return lines if len(lines) > 1 else []


def _say_price_table(priced: Payback) -> list[str]:
    """Set the net gain an acre by price and yield gain."""
    table = priced.price_by_gain
    gains = table.gains_bu_ac or table.gains_kg_ha
    prices, unit = (table.prices_per_bu, "bu/ac") if table.prices_per_bu else (table.prices_per_t, "kg/ha")
    style = ".1f" if unit == "bu/ac" else ",.0f"
    after = ", outlay included" if priced.investment and priced.area_ac else ""
    head = f"{'price':>10}" + "".join(f"{gain:>{12}{style}}" for gain in gains)
    rows = [
        f"{price:>10,.2f}" + "".join(f"{cell:>12,.2f}" for cell in row).replace("-", "−")
        for price, row in zip(prices, table.net_gain_per_ac, strict=True)
    ]
    return [f"Gain an acre{after}, {priced.currency}, by price (down) and yield gain in {unit} (across)", head, *rows]


def _say_area_table(priced: Payback) -> list[str]:
    """Set what is left by acres and years."""
    table = priced.area_by_years
    if table is None:
        return []
    head = f"{'acres':>10}" + "".join(f"{year:>12g}" for year in table.years)
    rows = [
        f"{area:>10,.0f}" + "".join(f"{cell:>12,.0f}" for cell in row).replace("-", "−")
        for area, row in zip(table.areas_ac, table.left, strict=True)
    ]
    years = list_words([f"{year:g}" for year in table.years])
    title = f"Left when the outlay is paid, {priced.currency} of today, by acres a year (down) after {years} years"
    return [title, head, *rows]
