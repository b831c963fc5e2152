"""Does it pay: partial budget, break-even acres and pay-back time of each treatment, with the uncertainty of its yield.

Money follows the grain that is paid for: below standard moisture an elevator pays the weight delivered, not the
bushels at standard moisture.
"""

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from proofstrip.budget import (
    KG_PER,
    PartialBudget,
    capital_recovery_factor,
    cost_per_ha,
    delivered_moisture,
    mean_price_per_kg,
    paid_share,
    split_budget,
)
from proofstrip.config import EconomicsPart
from proofstrip.crops import Crop
from proofstrip.errors import DataError, Notice, SettingsError
from proofstrip.stats.results import Comparison
from proofstrip.units import HA_PER_ACRE, KG_PER_LB

__all__ = [
    "KG_PER",
    "PartialBudget",
    "Payback",
    "capital_recovery_factor",
    "delivered_moisture",
    "price_gain",
    "price_treatments",
]


@dataclass(frozen=True)
class Payback:
    """What one treatment earns beside the control.

    Attributes
    ----------
    price_per_bu, price_per_t : float or None
        At which grain was priced; no bushel price for a crop without a bushel.
    difference_kg_ha, paid_difference_kg_ha : float
        At standard moisture, and as the elevator pays it.
    standard_gain_per_ac : float
        What the gain would be if bushels at standard moisture were paid.
    break_even_difference_kg_ha : float
        Yield difference at standard moisture at which the net gain is zero.
    budget : PartialBudget
        An acre.
    gain_per_ac : float
        Net of the four lines, before the investment; ``_low`` and ``_high`` from the interval of the yield difference.
    net_gain_per_ac : float
        The gain less the investment spread over ``years`` and ``area_ac``; the same as the gain without those.
    break_even_ac : float or None
        Acres a year that pay the investment back within ``years``; none where the gain is a loss.
    break_even_ac_low, break_even_ac_high : float or None
        At the best and the worst gain of the interval; none where that end of the gain is a loss.
    break_even_life_ac : float or None
        Acres a year at which the gain covers the yearly cost of the investment over ``life_years``.
    payback_years : float or None
        Investment over gain an acre times area, without interest; none without an area or with a loss.
    """

    treatment: str
    control: str
    currency: str
    confidence: float | None
    price_per_bu: float | None
    price_per_t: float
    difference_kg_ha: float
    paid_difference_kg_ha: float
    budget: PartialBudget
    investment: float
    years: float
    area_ac: float | None
    standard_gain_per_ac: float
    gain_per_ac: float
    gain_per_ac_low: float | None
    gain_per_ac_high: float | None
    gain_per_ha: float
    gain_per_ha_low: float | None
    gain_per_ha_high: float | None
    net_gain_per_ac: float
    net_gain_per_ac_low: float | None
    net_gain_per_ac_high: float | None
    net_gain_per_ha: float
    net_gain_per_ha_low: float | None
    net_gain_per_ha_high: float | None
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
    break_even_difference_kg_ha: float
    notes: tuple[Notice, ...]


def price_treatments(
    comparison: Comparison,
    crop: Crop,
    settings: EconomicsPart,
    moisture_pct: Mapping[str, float] | None = None,
    standard_moisture_pct: float | None = None,
) -> tuple[Payback, ...]:
    """Turn yield differences into money.

    Parameters
    ----------
    comparison : Comparison
        In kg/ha or bu/ac.
    crop : Crop
        Its bushel converts prices and bushels.
    settings : EconomicsPart
        Prices, costs, investment, area.
    moisture_pct : mapping of str to float, optional
        Moisture of the grain as delivered, by treatment [%]: see ``delivered_moisture``. Where it is not known the
        standard bushels are paid.
    standard_moisture_pct : float, optional
        That yields are stated at [%]; the crop's own where not given.

    Returns
    -------
    tuple of Payback
        One for each treatment beside the control.

    Raises
    ------
    SettingsError
        When a cost names a treatment that does not exist or a bushel price meets a crop without a bushel.
    DataError
        When the yields have no unit.

    Notes
    -----
    The paid difference is f_t (difference) + (f_t - f_c) (control's mean), where f is the share of the standard weight
    that is paid. The interval moves with it; f_t - f_c is a few thousandths, and its product with the scatter of the
    control's mean is left out.
    """
    factor = _factor_to_kg_ha(comparison.unit, crop)
    _check_costs(settings.cost, [row.treatment for row in comparison.treatments])
    price = _Price.of(crop, settings)
    standard = crop.standard_moisture_pct if standard_moisture_pct is None else standard_moisture_pct
    shares = {row.treatment: 1.0 for row in comparison.treatments}
    shares |= {treatment: paid_share(moisture, standard) for treatment, moisture in (moisture_pct or {}).items()}
    return tuple(
        _price(
            _Gain(
                row.treatment,
                row.control,
                comparison.confidence,
                _Spread(row.difference, row.low, row.high).scaled(factor),
                (shares[row.treatment], shares[row.control]),
                factor * (comparison.mean_of(row.control) or 0.0),
            ),
            price,
            settings,
        )
        for row in comparison.differences
    )


def price_gain(
    gain_kg_ha: float,
    crop: Crop,
    settings: EconomicsPart,
    low_kg_ha: float | None = None,
    high_kg_ha: float | None = None,
) -> Payback:
    """Turn a yield gain that is already known into money; the grain is taken to be paid as stated.

    Parameters
    ----------
    gain_kg_ha : float
        Treatment minus control [kg/ha].
    crop : Crop
    settings : EconomicsPart
        Costs may be given for ``treatment`` and ``control``.
    low_kg_ha, high_kg_ha : float, optional
        Interval of the gain [kg/ha].

    Returns
    -------
    Payback

    Raises
    ------
    SettingsError
        When a cost has another name or a bushel price meets a crop without a bushel.
    """
    _check_costs(settings.cost, ["treatment", "control"])
    gain = _Gain("treatment", "control", None, _Spread(gain_kg_ha, low_kg_ha, high_kg_ha), (1.0, 1.0), 0.0)
    return _price(gain, _Price.of(crop, settings), settings)


@dataclass(frozen=True)
class _Spread:
    """A figure with the ends of its interval; none where there is no such end."""

    value: float
    low: float | None
    high: float | None

    def scaled(self, factor: float, shift: float = 0.0) -> "_Spread":
        """Give factor x figure + shift; ``factor`` is not negative."""
        low, high = (None if end is None else factor * end + shift for end in (self.low, self.high))
        return _Spread(factor * self.value + shift, low, high)


@dataclass(frozen=True)
class _Gain:
    """A yield difference at standard moisture [kg/ha] and the shares of treatment and control that are paid."""

    treatment: str
    control: str
    confidence: float | None
    standard: _Spread
    shares: tuple[float, float]
    control_mean: float

    @property
    def shift(self) -> float:
        """Paid difference of two equal yields whose grain differs in moisture [kg/ha]."""
        return (self.shares[0] - self.shares[1]) * self.control_mean


@dataclass(frozen=True)
class _Price:
    """Price of grain, mean of the seasons given."""

    per_kg: float
    per_bu: float | None

    @classmethod
    def of(cls, crop: Crop, settings: EconomicsPart) -> "_Price":
        """Work the price out for a crop."""
        per_kg = mean_price_per_kg(settings.price, crop)
        return cls(per_kg, None if crop.bushel_lb is None else per_kg * crop.bushel_lb * KG_PER_LB)


@dataclass(frozen=True)
class _Needed:
    """What a sum takes to come back: the figure, the best and the worst end; none where it never does."""

    value: float | None = None
    low: float | None = None
    high: float | None = None

    @classmethod
    def of(cls, cost: float, gain: _Spread) -> "_Needed":
        """Divide a sum by a gain; the low end belongs to the best gain, the high end to the worst."""
        ends = (gain.value, gain.high, gain.low)
        return cls(*(cost / end if cost > 0 and end is not None and end > 0 else None for end in ends))

    def scaled(self, factor: float) -> "_Needed":
        """Give the same in another unit."""
        return _Needed(*(None if end is None else factor * end for end in (self.value, self.low, self.high)))


def _price(difference: _Gain, price: _Price, settings: EconomicsPart) -> Payback:
    """Price one treatment."""
    standard, shift = difference.standard, difference.shift
    paid = standard.scaled(difference.shares[0], shift)
    cost = settings.cost
    extra_ha = cost_per_ha(cost.get(difference.treatment)) - cost_per_ha(cost.get(difference.control))
    gain_ha = paid.scaled(price.per_kg, -extra_ha)
    gain = gain_ha.scaled(HA_PER_ACRE)
    investment, area_ha = settings.investment.amount, settings.area_ha
    yearly = investment * capital_recovery_factor(settings.interest_pct, settings.years)
    capital_ha = 0.0 if area_ha is None else yearly / area_ha
    net_ha = gain_ha.scaled(1.0, -capital_ha)
    net = net_ha.scaled(HA_PER_ACRE)
    acres = _Needed.of(yearly, gain)
    hectares = acres.scaled(HA_PER_ACRE)
    years = _Needed() if area_ha is None else _Needed.of(investment, gain_ha.scaled(area_ha))
    life = _Needed()
    if settings.life_years is not None:
        life = _Needed.of(investment * capital_recovery_factor(settings.interest_pct, settings.life_years), gain)
    return Payback(
        treatment=difference.treatment,
        control=difference.control,
        currency=settings.currency,
        confidence=difference.confidence,
        price_per_bu=price.per_bu,
        price_per_t=1000 * price.per_kg,
        difference_kg_ha=standard.value,
        paid_difference_kg_ha=paid.value,
        budget=split_budget(paid.value * price.per_kg * HA_PER_ACRE, extra_ha * HA_PER_ACRE),
        investment=investment,
        years=settings.years,
        area_ac=None if area_ha is None else area_ha / HA_PER_ACRE,
        standard_gain_per_ac=(standard.value * price.per_kg - extra_ha) * HA_PER_ACRE,
        gain_per_ac=gain.value,
        gain_per_ac_low=gain.low,
        gain_per_ac_high=gain.high,
        gain_per_ha=gain_ha.value,
        gain_per_ha_low=gain_ha.low,
        gain_per_ha_high=gain_ha.high,
        net_gain_per_ac=net.value,
        net_gain_per_ac_low=net.low,
        net_gain_per_ac_high=net.high,
        net_gain_per_ha=net_ha.value,
        net_gain_per_ha_low=net_ha.low,
        net_gain_per_ha_high=net_ha.high,
        break_even_ac=acres.value,
        break_even_ac_low=acres.low,
        break_even_ac_high=acres.high,
        break_even_ha=hectares.value,
        break_even_ha_low=hectares.low,
        break_even_ha_high=hectares.high,
        break_even_life_ac=life.value,
        break_even_life_ha=life.scaled(HA_PER_ACRE).value,
        payback_years=years.value,
        payback_years_low=years.low,
        payback_years_high=years.high,
        break_even_difference_kg_ha=((extra_ha + capital_ha) / price.per_kg - shift) / difference.shares[0],
        notes=_notes(gain, settings, difference.shares),
    )


def _notes(gain: _Spread, settings: EconomicsPart, shares: tuple[float, float]) -> tuple[Notice, ...]:
    """Say what a figure that is missing means, and what moisture did."""
    investment = settings.investment.amount
    notes = []
    if investment == 0:
        notes.append(
            Notice("no_investment", "No investment is given, so there are no break-even acres and no pay-back time.")
        )
    elif gain.value <= 0:
        notes.append(Notice("no_break_even", "An acre loses money, so no number of acres pays the investment back."))
    elif gain.low is not None and gain.low <= 0:
        notes.append(
            Notice(
                "break_even_open",
                "The interval of the gain reaches zero or below: at its low end the investment is never paid back, so "
                "break-even acres and pay-back time have no upper end.",
            )
        )
    if investment > 0 and settings.area_ha is None:
        notes.append(Notice("no_area", "No area is given, so there is no pay-back time; [economics] area sets it."))
    if min(shares) < 1:
        notes.append(
            Notice(
                "paid_below_standard",
                "Grain was delivered drier than standard and is paid by its weight: "
                f"{100 * shares[0]:.1f} % of the standard weight of the treatment, {100 * shares[1]:.1f} % of the "
                "control's.",
            )
        )
    return tuple(notes)


def _factor_to_kg_ha(unit: str, crop: Crop) -> float:
    """Give what turns the comparison's unit into kg/ha."""
    if unit == "kg/ha":
        return 1.0
    if unit == "bu/ac" and crop.kg_ha_per_bu_ac is not None:
        return crop.kg_ha_per_bu_ac
    raise DataError(
        f"economics: the yields are in {unit or 'no known unit'}, which has no price for {crop.name}. "
        "Name the yield column yield_kg_ha" + ("." if crop.bushel_lb is None else " or yield_bu_ac.")
    )


def _check_costs(named: Iterable[str], known: list[str]) -> None:
    """Refuse a cost of a treatment that does not exist."""
    problems = []
    for name in named:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            problems.append(f"[economics.cost] names {name!r}; treatments are {', '.join(map(repr, known))}.{hint}")
    if problems:
        raise SettingsError(Path("[economics]"), problems)
