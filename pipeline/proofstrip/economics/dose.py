"""The rate that pays best: the curve of a rate trial, and what the rates cost."""

from dataclasses import replace

import numpy as np

from proofstrip.config_money import EconomicsPart
from proofstrip.crops import Crop
from proofstrip.economics.budget import cost_per_ha
from proofstrip.economics.prices import spread_price
from proofstrip.errors import Notice
from proofstrip.stats.dose import price_doses
from proofstrip.stats.results import Comparison
from proofstrip.units import HA_PER_ACRE

STRAIGHT = 0.02  # costs may stray from a straight line by this share of their range


def price_rates(comparison: Comparison, crop: Crop, settings: EconomicsPart) -> Comparison:
    """Add the rate that pays best to a comparison of rates.

    Parameters
    ----------
    comparison : Comparison
        Any; one that is not of rates comes back as it is.
    crop : Crop
    settings : EconomicsPart
        ``cost`` by treatment gives the cost of a unit of the rate; grain is priced at standard moisture.

    Returns
    -------
    Comparison
        With ``dose.pays_best``, or a warning that says why there is none.
    """
    dose = comparison.dose
    if dose is None:
        return comparison
    factor = {"kg/ha": 1.0, "bu/ac": crop.kg_ha_per_bu_ac}.get(comparison.unit)
    amounts = np.array(list(dose.doses.values()))
    costs = np.array([cost_per_ha(settings.cost.get(name)) for name in dose.doses])
    if factor is None or not settings.cost:
        why = "the rates have no cost: name each in [economics.cost]"
        return _without(comparison, why)
    slope, start = np.polyfit(amounts, costs, 1)
    if np.abs(costs - start - slope * amounts).max() > STRAIGHT * max(float(np.ptp(costs)), 1e-12):
        return _without(comparison, "their costs do not go up evenly with the rate")
    worth = spread_price(settings.price, crop).mean * factor
    priced = price_doses(dose, float(slope) / worth, worth * HA_PER_ACRE, settings.currency)
    return replace(comparison, dose=priced)


def _without(comparison: Comparison, why: str) -> Comparison:
    """Say why no rate is named the best."""
    notice = Notice("no_best_rate", f"Which rate pays best was not worked out: {why}.")
    return replace(comparison, warnings=(*comparison.warnings, notice))
