"""One treatment beside its control, ready to be priced: the yield difference, the grain, the costs and the price."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from proofstrip.config_money import EconomicsPart
from proofstrip.crops import Crop
from proofstrip.economics.budget import (
    BudgetLine,
    RunningCosts,
    capital_recovery_factor,
    make_line,
    running_costs,
)
from proofstrip.economics.prices import GrainPrice
from proofstrip.economics.settlement import Settlement
from proofstrip.economics.spread import Belief, GainLine, Needed, Spread


@dataclass(frozen=True)
class Case:
    """One treatment to be priced.

    Attributes
    ----------
    treatment, control : str
    confidence : float
        Of the interval of ``difference``.
    difference : Spread
        Treatment minus control at standard moisture [kg/ha].
    belief : Belief or None
        Of this difference by itself; chances go by it.
    df : float
        Of the interval.
    sold : tuple of Settlement
        A kilogram of the treatment's grain and of the control's.
    control_kg_ha : float
        Yield of the control [kg/ha]; counts where the two are settled unlike.
    price, settings, crop
    market_share : float
        Weight at market moisture of a kilogram at the moisture that yields are stated at.
    """

    treatment: str
    control: str
    confidence: float
    difference: Spread
    belief: Belief | None
    df: float
    sold: tuple[Settlement, Settlement]
    control_kg_ha: float
    price: GrainPrice
    settings: EconomicsPart
    crop: Crop
    market_share: float

    @cached_property
    def costs(self) -> RunningCosts:
        """Running costs beside the control."""
        return running_costs(self.settings, self.treatment, self.control)

    @property
    def paid_shift(self) -> float:
        """Paid difference of two equal yields whose grain is settled unlike [kg/ha]."""
        return (self.sold[0].paid - self.sold[1].paid) * self.control_kg_ha

    @property
    def charge_shift(self) -> float:
        """Difference of drying and discounts between two equal yields [currency/ha]."""
        return (self.sold[0].charge - self.sold[1].charge) * self.control_kg_ha

    @property
    def paid(self) -> Spread:
        """The difference as the elevator pays it [kg/ha]."""
        return self.difference.scaled(self.sold[0].paid, self.paid_shift)

    @property
    def yearly_per_ha(self) -> float:
        """Running costs by year, spread over the area [currency/ha]; none of them without an area."""
        area = self.settings.area_ha
        return 0.0 if area is None else self.costs.per_year / area

    @property
    def capital_year(self) -> float:
        """The outlay as one equal sum over the pay-back time [currency a year]."""
        settings = self.settings
        return settings.investment.amount * capital_recovery_factor(settings.interest_pct, settings.years)

    @property
    def capital_per_ha(self) -> float:
        """The same spread over the area [currency/ha]; nothing without an area."""
        return 0.0 if self.settings.area_ha is None else self.capital_year / self.settings.area_ha

    def gain_at(self, difference: float, price: float) -> float:
        """Gain before the outlay at a yield difference and a price of a kilogram [currency/ha]."""
        line = self.line_at(np.array([price]))
        return float(line.slope[0] * difference + line.level[0])

    def line_at(self, prices: np.ndarray) -> GainLine:
        """Give the gain as a line of the yield difference at each price."""
        slope = prices * self.sold[0].paid - self.sold[0].charge
        level = prices * self.paid_shift - self.charge_shift - self.costs.per_ha - self.yearly_per_ha
        return GainLine(slope, level)

    @cached_property
    def line(self) -> GainLine:
        """Give that line at every price of the spread."""
        return self.line_at(self.price.points)

    @cached_property
    def gain(self) -> Spread:
        """Gain before the outlay with its interval [currency/ha]."""
        value = self.gain_at(self.difference.value, self.price.mean)
        whole = Belief.of_interval(self.difference, self.confidence, self.df)
        if whole is None:
            return Spread(value)
        if len(self.price.points) == 1:
            ends = (self.difference.low, self.difference.high)
            return Spread(value, *(None if end is None else self.gain_at(end, self.price.mean) for end in ends))
        return Spread(value, *self.line.interval(whole, self.confidence))

    def chance_above(self, gain: float) -> float | None:
        """Chance that the gain before the outlay is above a sum [currency/ha]; none without a scatter."""
        return None if self.belief is None else self.line.chance_above(gain, self.belief)

    def needed_difference(self, price: float) -> float:
        """Yield difference at which the net gain is zero [kg/ha]."""
        line = self.line_at(np.array([price]))
        return float((self.capital_per_ha - line.level[0]) / line.slope[0])

    def needed_price(self, difference: float) -> float | None:
        """Price of a kilogram at which the net gain is zero; none where less grain is paid [currency/kg]."""
        paid = self.sold[0].paid * difference + self.paid_shift
        owed = self.sold[0].charge * difference + self.charge_shift
        owed += self.costs.per_ha + self.yearly_per_ha + self.capital_per_ha
        return max(owed / paid, 0.0) if paid > 0 else None

    @property
    def needed_prices(self) -> Needed:
        """Price needed, at the best and at the worst end of the yield difference [currency/kg]."""
        ends = (self.difference.value, self.difference.high, self.difference.low)
        return Needed(*(None if end is None else self.needed_price(end) for end in ends))

    def make_lines(self) -> tuple[BudgetLine, ...]:
        """Write the partial budget line by line, the outlay last."""
        charge = self.sold[0].charge * self.difference.value + self.charge_shift
        lines = [make_line("grain", self.paid.value * self.price.mean, is_cost=False)]
        lines.append(make_line("drying and discounts", charge, is_cost=True))
        lines += [make_line(name, amount, is_cost=True) for name, amount in self.costs.by_area]
        area = self.settings.area_ha
        if area is not None:
            lines += [make_line(name, amount / area, is_cost=True) for name, amount in self.costs.by_year]
            lines.append(make_line("outlay", self.capital_per_ha, is_cost=True))
        return tuple(line for line in lines if line.per_ha or line.name == "grain")
