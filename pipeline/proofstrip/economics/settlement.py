"""What a buyer pays for grain as it is delivered: weight, shrink, drying, discounts and dockage.

Of a kilogram at the moisture that yields are stated at, (100 - standard) / (100 - moisture) is delivered. Below market
moisture it is paid by that weight: what is missing to a standard bushel is given away. Above it the weight is shrunk.
"""

from dataclasses import dataclass

import pandas as pd

from proofstrip.config_money import DeliveryPart, EconomicsPart
from proofstrip.crops import Crop
from proofstrip.economics.prices import price_per_kg
from proofstrip.stats.table import label_text


@dataclass(frozen=True)
class Settlement:
    """What becomes of a kilogram at standard moisture when it is sold.

    Attributes
    ----------
    moisture_pct : float or None
        As delivered [%]; none where it is not known, and then standard bushels are paid.
    paid : float
        Kilograms that are paid for.
    charge : float
        Drying and discounts [currency].
    """

    moisture_pct: float | None = None
    paid: float = 1.0
    charge: float = 0.0


@dataclass(frozen=True)
class Schedule:
    """How a buyer settles grain of one crop.

    Attributes
    ----------
    part : DeliveryPart
    market_pct, standard_pct : float
        Moisture that the buyer pays at, and that yields are stated at [%].
    drying_kg : float
        For a point above market moisture, on the weight delivered [currency/kg].
    steps : tuple of tuple of float
        Moisture [%] and what is taken off above it, on the weight paid [currency/kg].
    """

    part: DeliveryPart
    market_pct: float
    standard_pct: float
    drying_kg: float
    steps: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, settings: EconomicsPart, crop: Crop, standard_pct: float) -> "Schedule":
        """Read the schedule of the settings; without one, exact shrink and nothing charged."""
        part = settings.delivery or DeliveryPart()
        market = standard_pct if part.moisture_pct is None else part.moisture_pct
        drying = 0.0 if part.drying is None else price_per_kg(part.drying, crop)
        steps = tuple((step.above_pct, price_per_kg(step.off, crop)) for step in part.discount)
        return cls(part, market, standard_pct, drying, steps)

    @property
    def market_share(self) -> float:
        """Weight at market moisture of a kilogram at the moisture that yields are stated at."""
        return (100 - self.standard_pct) / (100 - self.market_pct)

    def settle(self, treatment: str, moisture_pct: float | None) -> Settlement:
        """Settle a kilogram of a treatment's grain.

        Parameters
        ----------
        treatment : str
            Its dockage is looked up.
        moisture_pct : float or None
            As delivered [%].

        Returns
        -------
        Settlement
        """
        clean = 1 - self.part.dockage_pct.get(treatment, 0.0) / 100
        if moisture_pct is None:
            return Settlement(None, clean * self.market_share, 0.0)
        delivered = (100 - self.standard_pct) / (100 - moisture_pct)
        above = max(0.0, moisture_pct - self.market_pct)
        shrink = self.part.shrink_pct
        kept = (100 - max(moisture_pct, self.market_pct)) / (100 - self.market_pct)
        if shrink is not None:
            kept = max(0.0, 1 - shrink / 100 * above)
        paid = delivered * clean * kept
        off = [amount for step, amount in self.steps if moisture_pct > step][-1:]
        return Settlement(moisture_pct, paid, self.drying_kg * above * delivered + sum(off) * paid)


def paid_share(moisture_pct: float, standard_pct: float) -> float:
    """Share of the standard weight that an elevator pays for, with exact shrink.

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
    return Schedule(DeliveryPart(), standard_pct, standard_pct, 0.0, ()).settle("", moisture_pct).paid


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
