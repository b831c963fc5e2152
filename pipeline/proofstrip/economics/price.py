"""Turn yield differences into money: the treatments of a trial, or a gain that is already known."""

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from proofstrip.config_money import EconomicsPart
from proofstrip.crops import Crop
from proofstrip.economics.budget import sum_lines
from proofstrip.economics.case import Case
from proofstrip.economics.life import LifeWorth, Outlay, worth_over_life
from proofstrip.economics.notes import make_notes
from proofstrip.economics.prices import GrainPrice, spread_price
from proofstrip.economics.record import Delivered, Payback, PaybackWord, PriceSaid
from proofstrip.economics.settlement import Schedule, Settlement
from proofstrip.economics.spread import Belief, Needed, Spread
from proofstrip.economics.tables import tabulate_areas, tabulate_prices
from proofstrip.errors import DataError, SettingsError
from proofstrip.stats.results import Comparison, Difference
from proofstrip.units import HA_PER_ACRE, KG_PER_LB

USUAL_CONFIDENCE = 0.90  # of an interval that names none


@dataclass(frozen=True)
class Beside:
    """What may be known beside a yield gain.

    Attributes
    ----------
    confidence : float
        Of its interval.
    moisture_pct : float or None
        Of the grain as delivered, of both treatments alike [%].
    control_kg_ha : float or None
        Yield of the control at standard moisture [kg/ha].
    df : float
        Degrees of freedom of the interval's t; infinite, as of a normal distribution, where they are not known.
    """

    confidence: float = USUAL_CONFIDENCE
    moisture_pct: float | None = None
    control_kg_ha: float | None = None
    df: float = np.inf


def price_treatments(
    comparison: Comparison,
    crop: Crop,
    settings: EconomicsPart,
    moisture_pct: Mapping[str, float] | None = None,
    standard_moisture_pct: float | None = None,
) -> tuple[Payback, ...]:
    """Turn the yield differences of a trial into money.

    Parameters
    ----------
    comparison : Comparison
        In kg/ha or bu/ac.
    crop : Crop
        Its bushel converts prices and bushels.
    settings : EconomicsPart
        Prices, costs, investment, area, and how grain is settled.
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
        When the yields have no unit, or drying takes more than grain is worth.

    Notes
    -----
    The paid difference is f_t (difference) + (f_t - f_c) (control's mean), where f is the share of the standard weight
    that is paid. The interval moves with it; f_t - f_c is a few thousandths, and its product with the scatter of the
    control's mean is left out.
    """
    factor = _factor_to_kg_ha(comparison.unit, crop)
    names = [row.treatment for row in comparison.treatments]
    _check_names(settings, names)
    price = spread_price(settings.price, crop)
    standard = crop.standard_moisture_pct if standard_moisture_pct is None else standard_moisture_pct
    schedule = Schedule.of(settings, crop, standard)
    sold = {name: schedule.settle(name, (moisture_pct or {}).get(name)) for name in names}

    def price_row(row: Difference) -> Payback:
        tested = row.se is not None and row.df is not None
        own = Belief(factor * row.difference, factor * row.se, factor * row.se, row.df) if tested else None  # type: ignore[operator, arg-type]
        return _price(
            Case(
                treatment=row.treatment,
                control=row.control,
                confidence=row.confidence,
                difference=Spread(row.difference, row.low, row.high).scaled(factor),
                belief=own,
                df=np.inf if row.df is None else row.df,
                sold=(sold[row.treatment], sold[row.control]),
                control_kg_ha=factor * (comparison.mean_of(row.control) or 0.0),
                price=price,
                settings=settings,
                crop=crop,
                market_share=schedule.market_share,
            )
        )

    return tuple(price_row(row) for row in comparison.differences)


def price_gain(
    gain_kg_ha: float,
    crop: Crop,
    settings: EconomicsPart,
    low_kg_ha: float | None = None,
    high_kg_ha: float | None = None,
    beside: Beside | None = None,
) -> Payback:
    """Turn a yield gain that is already known into money.

    Parameters
    ----------
    gain_kg_ha : float
        Treatment minus control [kg/ha].
    crop : Crop
    settings : EconomicsPart
        Costs may be given for ``treatment`` and ``control``.
    low_kg_ha, high_kg_ha : float, optional
        Interval of the gain [kg/ha].
    beside : Beside, optional
        Not given: grain is paid as stated.

    Returns
    -------
    Payback

    Raises
    ------
    SettingsError
        When a cost has another name or a bushel price meets a crop without a bushel.
    DataError
        When drying takes more than grain is worth.
    """
    known = beside or Beside()
    _check_names(settings, ["treatment", "control"])
    schedule = Schedule.of(settings, crop, crop.standard_moisture_pct)
    sold = (schedule.settle("treatment", known.moisture_pct), schedule.settle("control", known.moisture_pct))
    if sold[0] != sold[1] and known.control_kg_ha is None:
        raise SettingsError(
            Path("[economics]"), ["dockage_pct differs between treatment and control; give the control's yield too"]
        )
    gain = Spread(gain_kg_ha, low_kg_ha, high_kg_ha)
    return _price(
        Case(
            treatment="treatment",
            control="control",
            confidence=known.confidence,
            difference=gain,
            belief=Belief.of_interval(gain, known.confidence, known.df),
            df=known.df,
            sold=sold,
            control_kg_ha=known.control_kg_ha or 0.0,
            price=spread_price(settings.price, crop),
            settings=settings,
            crop=crop,
            market_share=schedule.market_share,
        )
    )


def _price(case: Case) -> Payback:
    """Price one treatment."""
    if (case.line.slope <= 0).any():
        raise DataError(
            f"economics: drying and discounts take {1000 * case.sold[0].charge:.2f} {case.settings.currency} a tonne "
            f"of {case.treatment}, which is more than its grain is sold for. Look at [economics.delivery]."
        )
    settings, price = case.settings, case.price
    area_ha, years, cost_year = settings.area_ha, settings.years, case.costs.per_year
    gain_ha, gain = case.gain, case.gain.scaled(HA_PER_ACRE)
    net_ha = gain_ha.scaled(1.0, -case.capital_per_ha)
    net = net_ha.scaled(HA_PER_ACRE)
    growing = gain_ha.scaled(1.0, case.yearly_per_ha)
    hectares = Needed.of(case.capital_year + cost_year, growing)
    acres = hectares.scaled(1 / HA_PER_ACRE)
    back = Needed() if area_ha is None else Needed.of(settings.investment.amount, gain_ha.scaled(area_ha))
    life, life_ha = _over_life(case, growing)
    words = _payback_words(case, back, gain_ha)
    lines = case.make_lines()
    wanted, wanted_low, wanted_high = _difference_needed(case)
    kg_price = case.needed_prices
    t_price = kg_price.scaled(1000.0)
    bu_price = Needed() if case.crop.bushel_lb is None else kg_price.scaled(case.crop.bushel_lb * KG_PER_LB)
    return Payback(
        treatment=case.treatment,
        control=case.control,
        currency=settings.currency,
        confidence=None if gain.low is None else case.confidence,
        price_per_bu=price.per_bu,
        price_per_t=1000 * price.mean,
        price=_say_price(price, case),
        difference_kg_ha=case.difference.value,
        paid_difference_kg_ha=case.paid.value,
        budget=sum_lines(line for line in lines if line.name != "outlay"),
        lines=lines,
        yearly_cost=cost_year,
        investment=settings.investment.amount,
        years=years,
        years_given=settings.years_given,
        interest_pct=settings.interest_pct,
        area_ac=None if area_ha is None else area_ha / HA_PER_ACRE,
        standard_gain_per_ac=(case.difference.value * price.mean - case.costs.per_ha - case.yearly_per_ha)
        * HA_PER_ACRE,
        gain_per_ac=gain.value,
        gain_per_ac_low=gain.low,
        gain_per_ac_high=gain.high,
        gain_per_ha=gain_ha.value,
        gain_per_ha_low=gain_ha.low,
        gain_per_ha_high=gain_ha.high,
        gain_chance=case.chance_above(0.0),
        net_gain_per_ac=net.value,
        net_gain_per_ac_low=net.low,
        net_gain_per_ac_high=net.high,
        net_gain_per_ha=net_ha.value,
        net_gain_per_ha_low=net_ha.low,
        net_gain_per_ha_high=net_ha.high,
        pays_chance=case.chance_above(case.capital_per_ha),
        break_even_ac=acres.value,
        break_even_ac_low=acres.low,
        break_even_ac_high=acres.high,
        break_even_ha=hectares.value,
        break_even_ha_low=hectares.low,
        break_even_ha_high=hectares.high,
        break_even_life_ac=life_ha.scaled(1 / HA_PER_ACRE).value,
        break_even_life_ha=life_ha.value,
        payback_years=back.value,
        payback_years_low=back.low,
        payback_years_high=back.high,
        payback_word=words[0],
        payback_word_high=words[1],
        break_even_difference_kg_ha=wanted,
        break_even_difference_kg_ha_low=wanted_low,
        break_even_difference_kg_ha_high=wanted_high,
        break_even_price_per_bu=bu_price.value,
        break_even_price_per_bu_low=bu_price.low,
        break_even_price_per_bu_high=bu_price.high,
        break_even_price_per_t=t_price.value,
        break_even_price_per_t_low=t_price.low,
        break_even_price_per_t_high=t_price.high,
        life=life,
        delivered=_deliver(case),
        price_by_gain=tabulate_prices(case),
        area_by_years=tabulate_areas(case, hectares.value),
        notes=make_notes(case),
    )


def _over_life(case: Case, growing: Spread) -> tuple[LifeWorth | None, Needed]:
    """Say what the outlay comes to over its life, and the hectares that carry its yearly cost."""
    settings = case.settings
    if settings.life_years is None or not settings.investment.amount:
        return None, Needed()
    outlay = Outlay(settings.investment.amount, settings.salvage.amount, settings.life_years, settings.interest_pct)
    needed = Needed.of(outlay.yearly_cost + case.costs.per_year, growing)
    if settings.area_ha is None:
        return None, needed
    chance = case.chance_above(outlay.yearly_cost / settings.area_ha)
    return worth_over_life(outlay, case.gain, settings.area_ha, chance), needed


def _payback_words(case: Case, back: Needed, gain: Spread) -> tuple[PaybackWord, PaybackWord]:
    """Say why a pay-back time is missing, and why its high end is."""
    if not case.settings.investment.amount:
        return "no_investment", "no_investment"
    if case.settings.area_ha is None:
        return "no_area", "no_area"
    high: PaybackWord = "infinite" if back.high is None and (gain.low is not None or gain.value <= 0) else "finite"
    return "infinite" if back.value is None else "finite", high


def _difference_needed(case: Case) -> tuple[float, float | None, float | None]:
    """Give the yield difference that just pays [kg/ha], with the ends that the spread of the price leaves it."""
    value = case.needed_difference(case.price.mean)
    if len(case.price.points) == 1:
        return value, None, None
    low, high = sorted(case.needed_difference(price) for price in case.price.ends(case.confidence))
    return value, low, high


def _say_price(price: GrainPrice, case: Case) -> PriceSaid:
    """Say how the price was given, and what holds most of its spread."""
    if len(price.points) == 1:
        return PriceSaid(price.kind)
    low, high = price.ends(case.confidence)
    bushel = case.crop.bushel_lb
    each = (None, None) if bushel is None else (low * bushel * KG_PER_LB, high * bushel * KG_PER_LB)
    return PriceSaid(price.kind, 1000 * low, 1000 * high, *each)


def _deliver(case: Case) -> tuple[Delivered, ...]:
    """Say what is paid of the grain of treatment and control."""
    if not case.control_kg_ha:
        return ()
    yields = {case.treatment: case.control_kg_ha + case.difference.value, case.control: case.control_kg_ha}
    return tuple(
        _deliver_one(case, name, kg_ha, sold)
        for (name, kg_ha), sold in zip(yields.items(), case.sold, strict=True)
        if sold.moisture_pct is not None
    )


def _deliver_one(case: Case, name: str, kg_ha: float, sold: Settlement) -> Delivered:
    """Say what is paid of one treatment's grain."""
    moisture, market, paid = sold.moisture_pct, case.market_share * kg_ha, sold.paid * kg_ha
    assert moisture is not None
    bushel = case.crop.kg_ha_per_bu_ac
    return Delivered(
        treatment=name,
        moisture_pct=moisture,
        paid_share=sold.paid,
        standard_kg_ha=market,
        paid_kg_ha=paid,
        given_away_kg_ha=market - paid,
        given_away_bu_ac=None if bushel is None else (market - paid) / bushel,
        given_away_per_ac=(market - paid) * case.price.mean * HA_PER_ACRE,
        charges_per_ac=sold.charge * kg_ha * HA_PER_ACRE,
    )


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


def _check_names(settings: EconomicsPart, known: list[str]) -> None:
    """Refuse a cost or a dockage of a treatment that does not exist."""
    problems = []
    dockage = () if settings.delivery is None else settings.delivery.dockage_pct
    for part, named in (("[economics.cost]", settings.cost), ("[economics.delivery.dockage_pct]", dockage)):
        problems += [_unknown(part, name, known) for name in named if name not in known]
    if problems:
        raise SettingsError(Path("[economics]"), problems)


def _unknown(part: str, name: str, known: Iterable[str]) -> str:
    """Name a treatment that is not known, and the nearest one."""
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    return f"{part} names {name!r}; treatments are {', '.join(map(repr, known))}.{hint}"
