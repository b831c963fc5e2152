"""Does it pay: partial budget, break-even acres and pay-back time of each treatment, with the uncertainty of its yield.

Money follows the grain that is paid for: below standard moisture an elevator pays the weight delivered, not the
bushels at standard moisture.
"""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean

import numpy as np
import pandas as pd

from proofstrip.config import EconomicsPart
from proofstrip.crops import Crop
from proofstrip.errors import DataError, Notice, SettingsError
from proofstrip.stats.results import Comparison, Difference
from proofstrip.stats.table import label_text
from proofstrip.units import HA_PER_ACRE, KG_PER_LB, Money

KG_PER = {"t": 1000.0, "kg": 1.0, "lb": KG_PER_LB, "cwt": 100 * KG_PER_LB}  # cwt: the hundredweight of 100 lb


@dataclass(frozen=True)
class PartialBudget:
    """The four lines of a partial budget [currency an acre]; each is zero or more.

    Attributes
    ----------
    added_returns, reduced_costs, added_costs, reduced_returns : float
    """

    added_returns: float
    reduced_costs: float
    added_costs: float
    reduced_returns: float

    @property
    def net(self) -> float:
        """Added returns and reduced costs, less added costs and reduced returns."""
        return (self.added_returns + self.reduced_costs) - (self.added_costs + self.reduced_returns)


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
    confidence: float
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
    price = _read_price(comparison, crop, settings)
    _check_costs(comparison, settings.cost)
    standard = crop.standard_moisture_pct if standard_moisture_pct is None else standard_moisture_pct
    shares = {row.treatment: 1.0 for row in comparison.treatments}
    shares |= {treatment: paid_share(moisture, standard) for treatment, moisture in (moisture_pct or {}).items()}
    return tuple(_price(row, comparison, settings, price, shares) for row in comparison.differences)


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
class _Needed:
    """What a sum takes to come back: the figure, the best and the worst end; none where it never does."""

    value: float | None = None
    low: float | None = None
    high: float | None = None

    def scaled(self, factor: float) -> "_Needed":
        """Give the same in another unit."""
        return _Needed(*(None if end is None else factor * end for end in (self.value, self.low, self.high)))


def _needed(cost: float, gain: _Spread) -> _Needed:
    """Divide a sum by a gain; the low end belongs to the best gain, the high end to the worst."""
    return _Needed(
        *(cost / end if cost > 0 and end is not None and end > 0 else None for end in (gain.value, gain.high, gain.low))
    )


def _price(
    row: Difference,
    comparison: Comparison,
    settings: EconomicsPart,
    price: "_Price",
    shares: Mapping[str, float],
) -> Payback:
    """Price one treatment."""
    share, control_share = shares[row.treatment], shares[row.control]
    shift = (share - control_share) * price.to_kg_ha * (comparison.mean_of(row.control) or 0.0)
    standard = _Spread(row.difference, row.low, row.high).scaled(price.to_kg_ha)
    paid = standard.scaled(share, shift)
    extra_ha = cost_per_ha(settings.cost.get(row.treatment)) - cost_per_ha(settings.cost.get(row.control))
    gain_ha = paid.scaled(price.per_kg, -extra_ha)
    gain = gain_ha.scaled(HA_PER_ACRE)
    investment, area_ha = settings.investment.amount, settings.area_ha
    yearly = investment * capital_recovery_factor(settings.interest_pct, settings.years)
    capital_ha = 0.0 if area_ha is None else yearly / area_ha
    net_ha = gain_ha.scaled(1.0, -capital_ha)
    net = net_ha.scaled(HA_PER_ACRE)
    acres = _needed(yearly, gain)
    hectares = acres.scaled(HA_PER_ACRE)
    years = _Needed() if area_ha is None else _needed(investment, gain_ha.scaled(area_ha))
    life = _Needed()
    if settings.life_years is not None:
        life = _needed(investment * capital_recovery_factor(settings.interest_pct, settings.life_years), gain)
    return Payback(
        treatment=row.treatment,
        control=row.control,
        currency=settings.currency,
        confidence=comparison.confidence,
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
        break_even_difference_kg_ha=((extra_ha + capital_ha) / price.per_kg - shift) / share,
        notes=_notes(gain, investment, settings, (share, control_share)),
    )


def _notes(
    gain: _Spread, investment: float, settings: EconomicsPart, shares: tuple[float, float]
) -> tuple[Notice, ...]:
    """Say what a figure that is missing means, and what moisture did."""
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


@dataclass(frozen=True)
class _Price:
    """Price of grain, and what turns the comparison's unit into kg/ha."""

    per_kg: float
    per_bu: float | None
    to_kg_ha: float


def _read_price(comparison: Comparison, crop: Crop, settings: EconomicsPart) -> _Price:
    """Work the price out for the crop at hand."""
    if comparison.unit == "kg/ha":
        factor = 1.0
    elif comparison.unit == "bu/ac" and crop.kg_ha_per_bu_ac is not None:
        factor = crop.kg_ha_per_bu_ac
    else:
        raise DataError(
            f"economics: the yields are in {comparison.unit or 'no known unit'}, which has no price for {crop.name}. "
            "Name the yield column yield_kg_ha" + ("." if crop.bushel_lb is None else " or yield_bu_ac.")
        )
    per_kg = mean_price_per_kg(settings.price, crop)
    return _Price(per_kg, None if crop.bushel_lb is None else per_kg * crop.bushel_lb * KG_PER_LB, factor)


def _check_costs(comparison: Comparison, costs: Mapping[str, Money]) -> None:
    """Refuse a cost of a treatment that the trial does not have."""
    names = [row.treatment for row in comparison.treatments]
    problems = []
    for name in costs:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            problems.append(f"[economics.cost] names {name!r}; the trial has {', '.join(map(repr, names))}.{hint}")
    if problems:
        raise SettingsError(Path("[economics]"), problems)


def mean_price_per_kg(prices: tuple[Money, ...], crop: Crop) -> float:
    """Mean price of one kilogram over the seasons given.

    Parameters
    ----------
    prices : tuple of Money
        Per bu, t, kg, lb or cwt (100 lb).
    crop : Crop

    Returns
    -------
    float
        [currency/kg]

    Raises
    ------
    SettingsError
        When a price is per bushel and the crop has none.
    """
    if crop.bushel_lb is None and any(price.per == "bu" for price in prices):
        raise SettingsError(
            Path("[economics]"),
            [f"price is per bushel, and {crop.name} has no bushel here; give it per t, kg, lb or cwt"],
        )
    weights = {**KG_PER, "bu": (crop.bushel_lb or 1.0) * KG_PER_LB}
    return fmean(price.amount / weights[price.per] for price in prices)


def cost_per_ha(cost: Money | None) -> float:
    """Give a cost an acre or a hectare as a cost a hectare; none is zero."""
    if cost is None:
        return 0.0
    return cost.amount / HA_PER_ACRE if cost.per == "ac" else cost.amount


def split_budget(yield_value: float, extra_cost: float) -> PartialBudget:
    """Sort the value of a yield difference and an extra cost into the four lines of a partial budget.

    Parameters
    ----------
    yield_value, extra_cost : float
        Of the treatment over the control; negative when it yields or costs less [currency an acre].

    Returns
    -------
    PartialBudget

    Examples
    --------
    >>> split_budget(30.0, 4.5)
    PartialBudget(added_returns=30.0, reduced_costs=0.0, added_costs=4.5, reduced_returns=0.0)
    """
    return PartialBudget(max(yield_value, 0.0), max(-extra_cost, 0.0), max(extra_cost, 0.0), max(-yield_value, 0.0))


def capital_recovery_factor(interest_pct: float, years: float) -> float:
    """Share of a sum that pays it back with interest in equal yearly payments.

    Parameters
    ----------
    interest_pct : float
        A year [%].
    years : float

    Returns
    -------
    float
        i (1 + i)^n / ((1 + i)^n - 1); 1 / n without interest.

    References
    ----------
    Edwards, W. Estimating farm machinery costs. Iowa State University Extension, AgDM A3-29.

    Examples
    --------
    >>> round(capital_recovery_factor(5, 7), 4)
    0.1728
    """
    i = interest_pct / 100
    return 1 / years if i == 0 else float(i / -np.expm1(-years * np.log1p(i)))


def paid_share(moisture_pct: float, standard_pct: float) -> float:
    """Share of the standard weight that an elevator pays for.

    Parameters
    ----------
    moisture_pct : float
        Of the grain as delivered [%].
    standard_pct : float
        [%]

    Returns
    -------
    float
        Delivered weight over standard weight below standard moisture, (100 - standard) / (100 - moisture); 1 above,
        where the wet weight is shrunk to standard.

    Examples
    --------
    >>> round(1 - paid_share(10.0, 13.0), 4)  # soybean at 10 %: one bushel in thirty is given away
    0.0333
    """
    return min(1.0, (100 - standard_pct) / (100 - moisture_pct))


def delivered_moisture(strips: pd.DataFrame, standard_moisture_pct: float) -> dict[str, float]:
    """Moisture of all the grain of each treatment: its water over its wet weight.

    Parameters
    ----------
    strips : pandas.DataFrame
        treatment, moisture_pct and standard_mass_kg; strips without moisture or mass are left out.
    standard_moisture_pct : float
        At which standard_mass_kg is stated [%].

    Returns
    -------
    dict of str to float
        [%]; treatments without any moisture are not in it.
    """
    known = strips.dropna(subset=["moisture_pct", "standard_mass_kg"])
    names = known["treatment"].map(label_text)
    wet = known["standard_mass_kg"] * (100 - standard_moisture_pct) / (100 - known["moisture_pct"])
    share = (wet * known["moisture_pct"]).groupby(names).sum() / wet.groupby(names).sum()
    return {str(name): float(value) for name, value in share.items()}
