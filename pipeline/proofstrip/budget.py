"""Formulas of farm money: partial budget, capital recovery, prices of a kilogram, and the weight that is paid for."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean

import numpy as np
import pandas as pd

from proofstrip.crops import Crop
from proofstrip.errors import SettingsError
from proofstrip.stats.table import label_text
from proofstrip.units import HA_PER_ACRE, KG_PER_LB, Money

KG_PER = {"t": 1000.0, "kg": 1.0, "lb": KG_PER_LB, "cwt": 100 * KG_PER_LB}  # cwt: the hundredweight of 100 lb


@dataclass(frozen=True)
class PartialBudget:
    """The four lines of a partial budget, all in the same currency and for the same area.

    Attributes
    ----------
    added_returns, reduced_costs, added_costs, reduced_returns : float

    References
    ----------
    The four lines are standard farm-management teaching; a worked example stands in tests/published.

    Examples
    --------
    >>> PartialBudget(added_returns=12000, reduced_costs=50000, added_costs=62450, reduced_returns=0).net
    -450
    """

    added_returns: float
    reduced_costs: float
    added_costs: float
    reduced_returns: float

    @property
    def net(self) -> float:
        """Added returns and reduced costs, less added costs and reduced returns."""
        return (self.added_returns + self.reduced_costs) - (self.added_costs + self.reduced_returns)


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


def mean_price_per_kg(prices: Iterable[Money], crop: Crop) -> float:
    """Mean price of one kilogram over the seasons given.

    Parameters
    ----------
    prices : iterable of Money
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
