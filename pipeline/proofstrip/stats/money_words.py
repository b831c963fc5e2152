"""Money in sentences, for the verdict, the report and the payback page alike: losses are called losses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from proofstrip.stats.wording import MINUS, YieldUnit, say_money, say_years
from proofstrip.units import KG_PER_LB

if TYPE_CHECKING:
    from proofstrip.economics import Payback


def earns(amount: float) -> str:
    """Say "earns" of a gain and "loses" of a loss."""
    return "earns" if amount >= 0 else "loses"


def say_ends(low: float, high: float, currency: str) -> str:
    """Say the margin of error of a gain or a loss; the sentence before it says which of the two.

    Parameters
    ----------
    low, high : float
        Of the gain; below zero a loss.
    currency : str

    Returns
    -------
    str

    Examples
    --------
    >>> say_ends(1.66, 11.09, "USD"), say_ends(-25.47, -5.07, "USD"), say_ends(-4, 64, "USD")
    ('1.66 to 11.09 USD', '5.07 to 25.47 USD', 'a loss of 4.00 to a gain of 64.00 USD')
    """
    if low < 0 < high:
        return f"a loss of {_bare(low, currency)} to a gain of {say_money(high, currency)}"
    least, most = sorted((abs(low), abs(high)))
    return f"{_bare(least, currency)} to {say_money(most, currency)}"


def _bare(amount: float, currency: str) -> str:
    """Say a sum without sign and currency."""
    return say_money(abs(amount), currency).removesuffix(f" {currency}").lstrip(MINUS)


def say_price(per_t: float, per_bu: float | None, currency: str, unit: str) -> str:
    """Say what grain is priced at, in the unit that the yields are said in.

    Parameters
    ----------
    per_t : float
    per_bu : float or None
        None for a crop without a bushel.
    currency : str
    unit : str
        ``bu/ac``, ``lb/ac`` or ``kg/ha``.

    Returns
    -------
    str

    Examples
    --------
    >>> say_price(164.03, 4.1667, "USD", "bu/ac"), say_price(700.0, None, "USD", "lb/ac")
    ('4.17 USD a bushel', '0.318 USD a pound')
    """
    if unit == "bu/ac" and per_bu is not None:
        return f"{say_money(per_bu, currency)} a bushel"
    if unit == "lb/ac":
        return f"{per_t / 1000 * KG_PER_LB:.3f} {currency} a pound"
    return f"{say_money(per_t, currency)} a tonne"


def price_of(payback: Payback, unit: YieldUnit) -> str:
    """Say what the grain of a treatment is priced at."""
    said = say_price(payback.price_per_t, payback.price_per_bu, payback.currency, unit.label)
    return said if payback.price.kind == "average" else f"{said} in the mean"


def say_outlay(outlay: str, years: float, interest_pct: float, share: str, area: str) -> str:
    """Say how an outlay becomes a sum an acre.

    Parameters
    ----------
    outlay : str
    years : float
        Over which it is spread.
    interest_pct : float
    share : str
        What it takes: ``3.02 USD an acre``.
    area : str
        Harvested a year: ``1,200 acres``.

    Returns
    -------
    str

    Examples
    --------
    >>> say_outlay("9,500 USD", 3, 7, "3.02 USD an acre", "1,200 acres")
    'The outlay of 9,500 USD, spread over 3 years with 7 % interest, takes 3.02 USD an acre on 1,200 acres a year.'
    """
    interest = f" with {interest_pct:g} % interest" if interest_pct else ""
    return f"The outlay of {outlay}, spread over {say_years(years)}{interest}, takes {share} on {area} a year."


def say_acres(needed: float | None, low: float | None, high: float | None, years: float, what: str) -> str:
    """Say on how many acres an outlay comes back, on how many it does not, and where nobody can tell.

    Parameters
    ----------
    needed, low, high : float or None
        At the gain itself, at the best and at the worst end of its margin of error; none where that end is a loss.
    years : float
        Within which it is to come back.
    what : str
        ``acres of corn``.

    Returns
    -------
    str
        Empty where there is nothing to say.

    Examples
    --------
    >>> first, rest = say_acres(385.4, 256.6, 773.4, 3, "acres of sorghum").split(". ")
    >>> first
    'It pays back within 3 years on about 385 acres of sorghum a year'
    >>> rest
    'Under 257 it most likely does not, over 773 it most likely does; between them it is uncertain.'
    >>> say_acres(None, 281, None, 1, "acres")
    'Under 281 acres a year it most likely does not pay back within one year; on more it is uncertain, however many.'
    """
    within = f"within {say_years(years)}"
    if low is None:
        return "" if needed is None else f"It pays back {within} from about {needed:,.0f} {what} a year on."
    if needed is None:
        said = f"Under {low:,.0f} {what} a year it most likely does not pay back {within}"
    else:
        said = f"It pays back {within} on about {needed:,.0f} {what} a year. Under {low:,.0f} it most likely does not"
    if high is None:
        return f"{said}; on more it is uncertain, however many."
    return f"{said}, over {high:,.0f} it most likely does; between them it is uncertain."
