"""Units: parsed by pint at the edges (files read, settings); inside, everything is SI.

Exact factors: international yard and pound agreement of 1959 (1 lb = 0.45359237 kg, 1 ft = 0.3048 m);
1 acre = 43,560 international square feet.
"""

from dataclasses import dataclass
from functools import cache
from tokenize import TokenError
from typing import Any

import numpy as np
import pint

KG_PER_LB = 0.45359237
M_PER_FT = 0.3048
M2_PER_ACRE = 43_560 * M_PER_FT**2
M2_PER_HA = 10_000.0
MONEY_PER = ("", "bu", "t", "kg", "lb", "cwt", "ac", "ha", "h", "year")
HA_PER_ACRE = M2_PER_ACRE / M2_PER_HA
# What pint raises on a text that is no unit, its parser's own faults among them.
UNREADABLE = (
    pint.errors.UndefinedUnitError,
    pint.errors.DefinitionSyntaxError,
    AttributeError,
    TypeError,
    TokenError,
    AssertionError,
    ZeroDivisionError,
    ValueError,
)


@dataclass(frozen=True)
class Money:
    """A sum in a currency, for a unit of something.

    Attributes
    ----------
    amount : float
    currency : str
        ISO 4217 code.
    per : str
        ``bu``, ``t``, ``kg``, ``lb``, ``ac``, ``ha`` or empty for a plain sum.
    """

    amount: float
    currency: str
    per: str


@cache
def registry() -> Any:
    """Give the one pint registry, with the trade's own units added."""
    ureg: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=False)
    ureg.define("percent = 0.01 = %")
    # pint's own acre is of survey feet, 4 millionths larger than the international acre used here.
    ureg.define("international_acre = 43560 * foot ** 2 = ac")
    ureg.define("@alias international_acre = acre = acres")
    ureg.define("@alias hectare = ha")
    return ureg


def factor_to(unit: str, target: str) -> float:
    """Give what a number in ``unit`` is multiplied by to be in ``target``.

    Parameters
    ----------
    unit, target : str
        As pint reads them: ``lb/s``, ``kg/s``.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        When ``unit`` is not known or measures something else.

    Examples
    --------
    >>> round(factor_to("lb/s", "kg/s"), 8)
    0.45359237
    """
    try:
        return float(registry().Quantity(1.0, unit).to(target).magnitude)
    except pint.errors.DimensionalityError as fault:  # a TypeError to pint, so it goes first
        raise ValueError(f"unit {unit!r} does not measure the same thing as {target!r}") from fault
    except UNREADABLE as fault:
        raise ValueError(f"unit {unit!r} is not known; a unit such as {target!r} is expected") from fault


def parse_quantity(text: str, target: str) -> float:
    """Read one number with its unit, such as ``"30 ft"``, into SI.

    Parameters
    ----------
    text : str
        Number, space, unit.
    target : str
        Unit of the answer.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        When there is no number, no unit, or a unit of another kind.

    Examples
    --------
    >>> round(parse_quantity("30 ft", "m"), 3)
    9.144
    """
    number, _, unit = text.strip().partition(" ")
    try:
        value = float(number)
    except ValueError:
        raise ValueError(f"{text!r} is not a number and a unit, such as '12 {target}'") from None
    if not np.isfinite(value):
        raise ValueError(f"{text!r} is not a finite number")
    if not unit.strip():
        raise ValueError(f"{text!r} has no unit; write for example '{number} {target}'")
    return value * factor_to(unit.strip(), target)


def log_ratio_pct(log_ratio: float) -> float:
    """Turn the log of a ratio into per cent.

    Parameters
    ----------
    log_ratio : float

    Returns
    -------
    float
        [%]

    Examples
    --------
    >>> round(log_ratio_pct(0.0488), 2)
    5.0
    """
    return float(100 * np.expm1(log_ratio))


def kg_ha_per_bu_ac(bushel_lb: float) -> float:
    """Convert one bushel an acre of a crop to kilograms a hectare.

    Parameters
    ----------
    bushel_lb : float
        Weight of a bushel [lb].

    Returns
    -------
    float
        [kg/ha]

    Examples
    --------
    >>> round(kg_ha_per_bu_ac(60), 4)
    67.2511
    """
    return bushel_lb * KG_PER_LB / HA_PER_ACRE


def parse_money(text: str) -> Money:
    """Read a sum such as ``"11.40 USD/bu"``, ``"4.50 USD/ac"`` or ``"18000 USD"``.

    Parameters
    ----------
    text : str

    Returns
    -------
    Money

    Raises
    ------
    ValueError
        When there is no amount, no three-letter currency, or an unknown "per".

    Examples
    --------
    >>> parse_money("11.40 USD/bu")
    Money(amount=11.4, currency='USD', per='bu')
    """
    number, _, unit = text.strip().partition(" ")
    currency, _, per = unit.replace(" ", "").partition("/")
    try:
        amount = float(number)
    except ValueError:
        raise ValueError(f"{text!r} is not an amount and a currency, such as '11.40 USD/bu'") from None
    if not np.isfinite(amount):
        raise ValueError(f"{text!r} is not a finite amount")
    if not (len(currency) == 3 and currency.isalpha() and currency.isupper()):
        raise ValueError(f"{text!r} needs a three-letter currency (ISO 4217), such as '{number} USD'")
    if per not in MONEY_PER:
        raise ValueError(f"{text!r}: per {per!r} is not known; use one of {', '.join(filter(None, MONEY_PER))}")
    return Money(amount, currency, per)
