"""The answer at other prices, yield gains, areas and years."""

from collections.abc import Sequence

import numpy as np

from proofstrip.economics.case import Case
from proofstrip.economics.life import Outlay, net_present_value
from proofstrip.economics.record import AreaByYears, PriceByGain
from proofstrip.units import HA_PER_ACRE, KG_PER_LB

STEPS = (0.8, 0.9, 1.0, 1.1, 1.2)  # of the price, where it is taken as certain
SHARES = (0.5, 0.75, 1.0, 1.25, 1.5)  # of the yield difference, where it has no interval
AREAS = (0.5, 0.75, 1.0, 1.5, 2.0)  # of the user's own area, or of the one that breaks even
YEARS = (1.0, 2.0, 3.0, 5.0)


def tabulate_prices(case: Case) -> PriceByGain:
    """Give the net gain at other prices and yield differences.

    Parameters
    ----------
    case : Case

    Returns
    -------
    PriceByGain
    """
    prices = [case.price.mean * step for step in STEPS]
    if len(case.price.points) > 1:
        low, high = case.price.ends(case.confidence)
        prices = [low, (low + case.price.mean) / 2, case.price.mean, (case.price.mean + high) / 2, high]
    value, low_gain, high_gain = case.difference.value, case.difference.low, case.difference.high
    gains = [value * share for share in SHARES]
    if low_gain is not None and high_gain is not None:
        gains = [low_gain, (low_gain + value) / 2, value, (value + high_gain) / 2, high_gain]
    net = [[case.gain_at(gain, price) - case.capital_per_ha for gain in gains] for price in prices]
    bushel, bushel_ac = case.crop.bushel_lb, case.crop.kg_ha_per_bu_ac
    return PriceByGain(
        prices_per_t=tuple(1000 * price for price in prices),
        prices_per_bu=None if bushel is None else tuple(price * bushel * KG_PER_LB for price in prices),
        gains_kg_ha=tuple(gains),
        gains_bu_ac=None if bushel_ac is None else tuple(gain / bushel_ac for gain in gains),
        net_gain_per_ac=_freeze(net, HA_PER_ACRE),
        net_gain_per_ha=_freeze(net, 1.0),
    )


def tabulate_areas(case: Case, break_even_ha: float | None) -> AreaByYears | None:
    """Give what is left when the outlay is paid, on other areas after other numbers of years.

    Parameters
    ----------
    case : Case
    break_even_ha : float or None
        [ha]

    Returns
    -------
    AreaByYears or None
        None without an outlay, and without an area to start from.
    """
    settings = case.settings
    middle = settings.area_ha or break_even_ha
    if not settings.investment.amount or middle is None:
        return None
    areas = [_round(middle / HA_PER_ACRE * share) for share in AREAS]
    years = sorted({*YEARS, settings.years, *([settings.life_years] if settings.life_years else [])})
    growing = case.gain.value + case.yearly_per_ha
    left = [
        [
            net_present_value(
                Outlay(settings.investment.amount, 0.0, year, settings.interest_pct),
                growing * area * HA_PER_ACRE - case.costs.per_year,
            )
            for year in years
        ]
        for area in areas
    ]
    return AreaByYears(
        areas_ac=tuple(areas),
        areas_ha=tuple(area * HA_PER_ACRE for area in areas),
        years=tuple(years),
        left=_freeze(left, 1.0),
    )


def _round(area: float) -> float:
    """Round an area to two digits or, where it starts with a one, three."""
    digits = int(np.floor(np.log10(area)))
    return round(area, 1 - digits if area / 10.0**digits >= 2 else 2 - digits)


def _freeze(rows: Sequence[Sequence[float]], factor: float) -> tuple[tuple[float, ...], ...]:
    """Scale a table and make it fast."""
    return tuple(tuple(factor * cell for cell in row) for row in rows)
