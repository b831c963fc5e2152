"""Numbers and phrases as a reader meets them: rounding, units and words.

Inside, everything is SI; a page shows one system of units, chosen by ``[report] units``.
"""

import math
from dataclasses import dataclass

from proofstrip.config import Settings
from proofstrip.stats.wording import say_money, say_times
from proofstrip.units import HA_PER_ACRE, KG_PER_LB, M2_PER_ACRE, M2_PER_HA, M_PER_FT

ABSENT = "–"
MINUS = "\N{MINUS SIGN}"
KG_HA_PER_LB_AC = KG_PER_LB / HA_PER_ACRE
MPH_PER_M_S = 3600 / (5280 * M_PER_FT)
WORDS_TO_TEN = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def is_number(value: object) -> bool:
    """Tell whether a value is a finite number.

    Parameters
    ----------
    value : object

    Returns
    -------
    bool

    Examples
    --------
    >>> [is_number(value) for value in (1, 2.5, float("nan"), None, "3", True)]
    [True, True, False, False, False, False]
    """
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return False
    try:
        return math.isfinite(value)  # type: ignore[arg-type]
    except TypeError:
        return False


def number(value: object, decimals: int = 0, sign: bool = False) -> str:
    """Write a number with its thousands set apart and a true minus sign.

    Parameters
    ----------
    value : object
        Anything that is not a finite number becomes a dash.
    decimals : int
    sign : bool
        Write the plus of a gain.

    Returns
    -------
    str

    Examples
    --------
    >>> number(1234.56, 1), number(-0.04, 1, sign=True), number(None)
    ('1,234.6', '0.0', '–')
    """
    if not is_number(value):
        return ABSENT
    rounded = round(float(value), decimals)  # type: ignore[arg-type]
    text = f"{abs(rounded):,.{decimals}f}"
    if rounded < 0:
        return MINUS + text
    return ("+" if sign and rounded > 0 else "") + text


def percent(share: object, decimals: int = 1) -> str:
    r"""Write a share of one as per cent.

    Parameters
    ----------
    share : object
    decimals : int

    Returns
    -------
    str

    Examples
    --------
    >>> percent(0.0512)
    '5.1\xa0%'
    """
    if not is_number(share):
        return ABSENT
    return number(100 * float(share), decimals) + "\N{NO-BREAK SPACE}%"  # type: ignore[arg-type]


def p_value(value: object) -> str:
    """Write a p-value: three decimals, never a bare zero.

    Parameters
    ----------
    value : object

    Returns
    -------
    str

    Examples
    --------
    >>> p_value(0.0312), p_value(1e-7), p_value(None)
    ('0.031', 'below 0.001', '–')
    """
    if not is_number(value):
        return ABSENT
    return "below 0.001" if float(value) < 0.001 else number(value, 3)  # type: ignore[arg-type]


def odds(p: object) -> str:
    """Say how often luck alone does as much.

    Parameters
    ----------
    p : object
        Two-sided p-value.

    Returns
    -------
    str

    Examples
    --------
    >>> odds(0.031), odds(0.4), odds(0.0001), odds(0.8)
    ('about 1 time in 32', 'about 4 times in 10', 'less than 1 time in 1,000', 'about 8 times in 10')
    """
    if not is_number(p):
        return ABSENT
    value = float(p)  # type: ignore[arg-type]
    if value < 0.001:
        return "less than 1 time in 1,000"
    if value <= 0.15:
        return f"about 1 time in {number(1 / value)}"
    tenths = round(10 * value)
    return "nearly always" if tenths >= 10 else f"about {tenths} times in 10"


def money(amount: object, currency: str, sign: bool = False) -> str:
    r"""Write a sum as the answer's own sentence does.

    Parameters
    ----------
    amount : object
    currency : str
        ISO 4217 code.
    sign : bool
        Write the plus of a gain.

    Returns
    -------
    str

    Examples
    --------
    >>> money(35.2, "USD", sign=True), money(-1234.5, "CAD"), money(None, "USD")
    ('+35.20\xa0USD', '−1,234\xa0CAD', '–')
    """
    if not is_number(amount):
        return ABSENT
    text = say_money(float(amount), currency).replace(" ", "\N{NO-BREAK SPACE}")  # type: ignore[arg-type]
    if not any(digit in text for digit in "123456789"):
        return text.lstrip(MINUS)
    return "+" + text if sign and float(amount) > 0 else text  # type: ignore[arg-type]


def times_in(confidence: object) -> str:
    """Say how often a margin of error holds.

    Parameters
    ----------
    confidence : object
        Share of one.

    Returns
    -------
    str

    Examples
    --------
    >>> times_in(0.9), times_in(0.95), times_in(0.99)
    ('9 times in 10', '19 times in 20', '99 times in 100')
    """
    return say_times(float(confidence)) if is_number(confidence) else ABSENT  # type: ignore[arg-type]


def count(amount: int, noun: str) -> str:
    """Write a count with its noun in the right number.

    Parameters
    ----------
    amount : int
    noun : str
        Singular; the plural adds an s.

    Returns
    -------
    str

    Examples
    --------
    >>> count(1, "pair"), count(6, "pair"), count(1200, "record")
    ('one pair', 'six pairs', '1,200 records')
    """
    text = WORDS_TO_TEN[amount] if 0 <= amount < len(WORDS_TO_TEN) else number(amount)
    return f"{text} {noun}" if amount == 1 else f"{text} {noun}s"


def short(text: object, length: int) -> str:
    """Cut a long name, marking the cut.

    Parameters
    ----------
    text : object
    length : int
        Most characters.

    Returns
    -------
    str

    Examples
    --------
    >>> short("Lifters", 10), short("Crop lifters on every knife", 10)
    ('Lifters', 'Crop lift…')
    """
    name = " ".join(str(text).split())
    return name if len(name) <= length else name[: length - 1].rstrip() + "…"


@dataclass(frozen=True)
class Units:
    """The one system of units of a page.

    Attributes
    ----------
    system : str
        ``us`` or ``metric``.
    kg_ha_per_yield : float
        Kilograms a hectare in one unit of yield.
    yield_name, yield_words : str
        ``bu/ac`` and ``bushels an acre``.
    yield_decimals : int
    """

    system: str
    kg_ha_per_yield: float
    yield_name: str
    yield_words: str
    yield_decimals: int

    @property
    def is_us(self) -> bool:
        """Whether the page is in acres, feet and pounds."""
        return self.system == "us"

    @property
    def area_name(self) -> str:
        """Unit of area: ``ac``."""
        return "ac" if self.is_us else "ha"

    @property
    def area_word(self) -> str:
        """One unit of area in words."""
        return "acre" if self.is_us else "hectare"

    @property
    def length_name(self) -> str:
        """Unit of length."""
        return "ft" if self.is_us else "m"

    @property
    def mass_name(self) -> str:
        """Unit of mass."""
        return "lb" if self.is_us else "kg"

    @property
    def speed_name(self) -> str:
        """Unit of speed."""
        return "mph" if self.is_us else "km/h"

    @property
    def m_per_length(self) -> float:
        """Metres in one unit of length."""
        return M_PER_FT if self.is_us else 1.0

    @property
    def price_name(self) -> str:
        """What a price of grain is for: ``bu``, ``lb`` or ``t``."""
        return self.yield_name.partition("/")[0] if self.is_us else "t"

    def from_kg_ha(self, value: object) -> float | None:
        """Convert a yield [kg/ha]; what is not a number becomes None."""
        return float(value) / self.kg_ha_per_yield if is_number(value) else None  # type: ignore[arg-type]

    def yields(self, kg_ha: object, sign: bool = False) -> str:
        """Write a yield [kg/ha] without its unit, for tables."""
        return number(self.from_kg_ha(kg_ha), self.yield_decimals, sign)

    def yield_text(self, kg_ha: object, sign: bool = False) -> str:
        """Write a yield [kg/ha] with its unit."""
        return f"{self.yields(kg_ha, sign)}\N{NO-BREAK SPACE}{self.yield_name}" if is_number(kg_ha) else ABSENT

    def area(self, m2: object, decimals: int = 2) -> str:
        """Write an area [m2] without its unit."""
        return _scaled(m2, M2_PER_ACRE if self.is_us else M2_PER_HA, decimals)

    def length(self, m: object) -> str:
        """Write a length [m] without its unit."""
        return _scaled(m, self.m_per_length, 0)

    def mass(self, kg: object) -> str:
        """Write a mass [kg] without its unit."""
        return _scaled(kg, KG_PER_LB if self.is_us else 1.0, 0)

    def speed(self, m_s: object) -> str:
        """Write a speed [m/s] without its unit."""
        return _scaled(m_s, 1 / MPH_PER_M_S if self.is_us else 1 / 3.6, 1)


def _scaled(value: object, unit: float, decimals: int) -> str:
    """Write an SI value in another unit."""
    return number(float(value) / unit, decimals) if is_number(value) else ABSENT  # type: ignore[arg-type]


def choose_units(settings: Settings) -> Units:
    """Give the units of a trial's page.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    Units
        Metric: kg/ha. US: bu/ac, or lb/ac for a crop without a bushel.
    """
    return make_units(settings.report.units, settings.trial.crop.kg_ha_per_bu_ac)


def make_units(system: str, bushel: float | None) -> Units:
    """Give the units of a system for a crop.

    Parameters
    ----------
    system : str
        ``us`` or ``metric``.
    bushel : float or None
        Kilograms a hectare in one bushel an acre of the crop; none where it has no bushel.

    Returns
    -------
    Units
    """
    if system == "metric":
        return Units("metric", 1.0, "kg/ha", "kilograms a hectare", 0)
    if bushel is None:
        return Units("us", KG_HA_PER_LB_AC, "lb/ac", "pounds an acre", 0)
    return Units("us", bushel, "bu/ac", "bushels an acre", 1)
