"""Numbers as people read them: one unit, few digits, a sign where it matters."""

import math
from dataclasses import dataclass

from proofstrip.units import HA_PER_ACRE, KG_PER_LB

MINUS = "\N{MINUS SIGN}"
MARGIN = "margin of error"  # the one name of an interval, on every page and in the terminal


@dataclass(frozen=True)
class YieldUnit:
    """How yields are said.

    Attributes
    ----------
    label : str
        ``bu/ac``; empty where the table names no unit.
    factor : float
        Turns a yield of the comparison into this unit.
    decimals : int or None
        None: three significant digits or all before the point, for yields of unknown unit.
    """

    label: str
    factor: float
    decimals: int | None

    def number(self, value: float, sign: bool = False) -> str:
        """Say a yield without its unit."""
        own = self.factor * value
        decimals = self.decimals
        if decimals is None:
            decimals = min(max(2 - math.floor(math.log10(abs(own))), 0), 6) if own else 0
        text = format(own, f"{'+' if sign else ''},.{decimals}f")
        return text.replace("-", "−") if any(c in text for c in "123456789") else text.lstrip("+-")

    def say(self, value: float, sign: bool = False) -> str:
        """Say a yield with its unit."""
        return f"{self.number(value, sign)} {self.label}".strip()

    def span(self, low: float, high: float) -> str:
        """Say an interval."""
        return f"{self.number(low, True)} to {self.number(high, True)} {self.label}".strip()


def choose_unit(unit: str, units: str, kg_ha_per_bu_ac: float | None) -> YieldUnit:
    """Pick the unit in which yields are said.

    Parameters
    ----------
    unit : str
        Of the comparison: ``kg/ha``, ``bu/ac`` or empty.
    units : str
        ``us`` or ``metric``.
    kg_ha_per_bu_ac : float or None
        Of the crop; none where it has no bushel or is not known.

    Returns
    -------
    YieldUnit

    Examples
    --------
    >>> choose_unit("kg/ha", "us", 67.2511).say(282.5, sign=True)
    '+4.2 bu/ac'
    >>> choose_unit("kg/ha", "metric", 67.2511).say(282.5)
    '282 kg/ha'
    """
    if unit == "kg/ha" and units == "us":
        if kg_ha_per_bu_ac is None:
            return YieldUnit("lb/ac", HA_PER_ACRE / KG_PER_LB, 0)
        return YieldUnit("bu/ac", 1 / kg_ha_per_bu_ac, 1)
    if unit == "bu/ac" and units == "metric" and kg_ha_per_bu_ac is not None:
        return YieldUnit("kg/ha", kg_ha_per_bu_ac, 0)
    return YieldUnit(unit, 1.0, {"kg/ha": 0, "bu/ac": 1}.get(unit))


def say_money(amount: float, currency: str) -> str:
    """Say a sum: cents below a hundred, whole units above.

    Parameters
    ----------
    amount : float
    currency : str
        ISO 4217 code.

    Returns
    -------
    str

    Examples
    --------
    >>> say_money(30.288, "USD"), say_money(19990.0, "USD")
    ('30.29 USD', '19,990 USD')
    """
    text = f"{amount:,.2f}" if abs(amount) < 100 else f"{amount:,.0f}"
    return f"{'0.00' if text == '-0.00' else text} {currency}".replace("-", "−")


def say_years(years: float) -> str:
    """Say a time in years.

    Parameters
    ----------
    years : float

    Returns
    -------
    str

    Examples
    --------
    >>> say_years(1.0), say_years(3.0), say_years(2.5)
    ('one year', '3 years', '2.5 years')
    """
    return "one year" if years == 1 else f"{years:g} years"


def say_times(confidence: float) -> str:
    """Say how often a margin of error holds the true figure.

    Parameters
    ----------
    confidence : float
        Share of one.

    Returns
    -------
    str

    Examples
    --------
    >>> say_times(0.9), say_times(0.95), say_times(0.99)
    ('9 times in 10', '19 times in 20', '99 times in 100')
    """
    base = next((base for base in (10, 20) if abs(confidence * base - round(confidence * base)) < 1e-9), 100)
    return f"{confidence * base:.0f} times in {base}"


def first_margin(confidence: float) -> str:
    """Name the margin of error where it first stands: with what it is."""
    return f"{MARGIN}, right {say_times(confidence)}:"


def say_p(p: float | None) -> str:
    """Say a p-value.

    Parameters
    ----------
    p : float or None

    Returns
    -------
    str

    Examples
    --------
    >>> say_p(0.0358), say_p(0.00001), say_p(None)
    ('0.036', '<0.001', 'none')
    """
    if p is None:
        return "none"
    return "<0.001" if p < 0.001 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"


def list_words(words: list[str]) -> str:
    """Join words as a sentence does.

    Parameters
    ----------
    words : list of str

    Returns
    -------
    str

    Examples
    --------
    >>> list_words(["a", "b", "c"])
    'a, b and c'
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
