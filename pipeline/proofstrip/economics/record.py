"""What pricing a treatment finds out: plain frozen records that map one to one on result.json."""

from dataclasses import dataclass
from typing import Literal

from proofstrip.config_money import PriceKind
from proofstrip.economics.budget import BudgetLine, PartialBudget
from proofstrip.economics.life import LifeWorth
from proofstrip.errors import Notice

PaybackWord = Literal["finite", "infinite", "no_investment", "no_area"]


@dataclass(frozen=True)
class PriceSaid:
    """How the price of grain was given.

    Attributes
    ----------
    kind : str
        average, seasons, triangular or normal.
    low_per_t, high_per_t, low_per_bu, high_per_bu : float or None
        What holds most of a spread, at the confidence of the answer; none where the price is taken as certain.
    """

    kind: PriceKind
    low_per_t: float | None = None
    high_per_t: float | None = None
    low_per_bu: float | None = None
    high_per_bu: float | None = None


@dataclass(frozen=True)
class Delivered:
    """What a buyer pays of a treatment's grain.

    Attributes
    ----------
    treatment : str
    moisture_pct : float
        As delivered [%].
    paid_share : float
        Of the weight at the moisture that yields are stated at.
    standard_kg_ha, paid_kg_ha : float
        At market moisture, and as it is paid [kg/ha].
    given_away_kg_ha, given_away_bu_ac : float or None
        The difference: dry matter delivered that the weight does not pay, dockage, and shrink beyond the water.
    given_away_per_ac, charges_per_ac : float
        Its worth, and drying and discounts [currency an acre].
    """

    treatment: str
    moisture_pct: float
    paid_share: float
    standard_kg_ha: float
    paid_kg_ha: float
    given_away_kg_ha: float
    given_away_bu_ac: float | None
    given_away_per_ac: float
    charges_per_ac: float


@dataclass(frozen=True)
class PriceByGain:
    """Net gain at other prices and other yield differences: a row a price, a column a difference."""

    prices_per_t: tuple[float, ...]
    prices_per_bu: tuple[float, ...] | None
    gains_kg_ha: tuple[float, ...]
    gains_bu_ac: tuple[float, ...] | None
    net_gain_per_ac: tuple[tuple[float, ...], ...]
    net_gain_per_ha: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class AreaByYears:
    """What is left of the gain when the outlay is paid: a row an area, a column a number of years.

    Attributes
    ----------
    left : tuple of tuple of float
        In today's money, nothing counted for the thing itself; below zero it is not paid back yet [currency].
    """

    areas_ac: tuple[float, ...]
    areas_ha: tuple[float, ...]
    years: tuple[float, ...]
    left: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, kw_only=True)
class Payback:
    """What one treatment earns beside the control.

    Attributes
    ----------
    confidence : float or None
        What ``_low`` and ``_high`` cover; none without an interval.
    price_per_bu, price_per_t : float or None
        At which grain was priced, the mean of a spread; no bushel price for a crop without a bushel.
    price : PriceSaid
    difference_kg_ha, paid_difference_kg_ha : float
        At standard moisture, and as the elevator pays it.
    standard_gain_per_ac : float
        What the gain would be if bushels at standard moisture were paid and nothing charged.
    break_even_difference_kg_ha : float
        Yield difference at standard moisture at which the net gain is zero; ``_low`` and ``_high`` from the spread of
        the price, none where the price is taken as certain.
    break_even_price_per_bu, break_even_price_per_t : float or None
        Price at which the net gain is zero; at the best and the worst end of the yield difference; none where no
        price would do.
    budget : PartialBudget
        An acre, before the outlay.
    lines : tuple of BudgetLine
        The same line by line; the outlay's own line last, where it can be spread over an area.
    yearly_cost : float
        Running costs that do not grow with the area [currency a year].
    gain_per_ac : float
        Net of the four parts, before the outlay; ``_low`` and ``_high`` from the yield difference and the price.
    gain_chance, pays_chance : float or None
        Chance that the gain, and the net gain, are above zero: of this trial alone, each treatment by itself.
    net_gain_per_ac : float
        The gain less the outlay spread over ``years`` and ``area_ac``; the same as the gain without those.
    years_given : bool
        Whether ``years`` was asked for; one year stands in.
    interest_pct : float
        A year, on what is not paid back yet [%].
    break_even_ac : float or None
        Acres a year that pay the outlay back within ``years``; none where the gain is a loss.
    break_even_ac_low, break_even_ac_high : float or None
        At the best and the worst gain of the interval; none where that end of the gain is a loss.
    break_even_life_ac : float or None
        Acres a year at which the gain covers the yearly cost of the outlay over ``life_years``.
    payback_years : float or None
        Outlay over gain an acre times area, without interest; none without an area or with a loss.
    payback_word, payback_word_high : str
        Why ``payback_years`` and ``payback_years_high`` are null: infinite, no_investment, no_area; finite where they
        are not.
    life : LifeWorth or None
        Net present value and rate of return, where outlay, area and life are known.
    delivered : tuple of Delivered
        Treatment and control, where their moisture and yield are known.
    price_by_gain : PriceByGain
    area_by_years : AreaByYears or None
        With an outlay.
    """

    treatment: str
    control: str
    currency: str
    confidence: float | None
    price_per_bu: float | None
    price_per_t: float
    price: PriceSaid
    difference_kg_ha: float
    paid_difference_kg_ha: float
    budget: PartialBudget
    lines: tuple[BudgetLine, ...]
    yearly_cost: float
    investment: float
    years: float
    years_given: bool
    interest_pct: float
    area_ac: float | None
    standard_gain_per_ac: float
    gain_per_ac: float
    gain_per_ac_low: float | None
    gain_per_ac_high: float | None
    gain_per_ha: float
    gain_per_ha_low: float | None
    gain_per_ha_high: float | None
    gain_chance: float | None
    net_gain_per_ac: float
    net_gain_per_ac_low: float | None
    net_gain_per_ac_high: float | None
    net_gain_per_ha: float
    net_gain_per_ha_low: float | None
    net_gain_per_ha_high: float | None
    pays_chance: float | None
    break_even_ac: float | None
    break_even_ac_low: float | None
    break_even_ac_high: float | None
    break_even_ha: float | None
    break_even_ha_low: float | None
    break_even_ha_high: float | None
    break_even_life_ac: float | None
    break_even_life_ha: float | None
    payback_years: float | None
    payback_years_low: float | None
    payback_years_high: float | None
    payback_word: PaybackWord
    payback_word_high: PaybackWord
    break_even_difference_kg_ha: float
    break_even_difference_kg_ha_low: float | None
    break_even_difference_kg_ha_high: float | None
    break_even_price_per_bu: float | None
    break_even_price_per_bu_low: float | None
    break_even_price_per_bu_high: float | None
    break_even_price_per_t: float | None
    break_even_price_per_t_low: float | None
    break_even_price_per_t_high: float | None
    life: LifeWorth | None
    delivered: tuple[Delivered, ...]
    price_by_gain: PriceByGain
    area_by_years: AreaByYears | None
    notes: tuple[Notice, ...]
