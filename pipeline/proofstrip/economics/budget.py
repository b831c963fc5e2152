"""The partial budget: its four parts, its lines, and what an outlay costs a year."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from proofstrip.config_money import EconomicsPart
from proofstrip.units import HA_PER_ACRE, Money

BudgetPart = Literal["added_returns", "reduced_costs", "added_costs", "reduced_returns"]


@dataclass(frozen=True)
class PartialBudget:
    """The four parts of a partial budget, all in the same currency and for the same area.

    Attributes
    ----------
    added_returns, reduced_costs, added_costs, reduced_returns : float

    References
    ----------
    The four parts are standard farm-management teaching; worked examples stand in tests/published.

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


@dataclass(frozen=True)
class BudgetLine:
    """One line of a partial budget.

    Attributes
    ----------
    name : str
    part : str
        added_returns, reduced_costs, added_costs or reduced_returns.
    per_ac, per_ha : float
        Zero or more [currency an acre, a hectare].
    """

    name: str
    part: BudgetPart
    per_ac: float
    per_ha: float


@dataclass(frozen=True)
class RunningCosts:
    """What a treatment costs beside the control, the outlay left out.

    Attributes
    ----------
    by_area : tuple of tuple of str and float
        Name and extra cost; a saving is negative [currency/ha].
    by_year : tuple of tuple of str and float
        The same for sums that do not grow with the area [currency a year].
    """

    by_area: tuple[tuple[str, float], ...]
    by_year: tuple[tuple[str, float], ...]

    @property
    def per_ha(self) -> float:
        """All that grows with the area [currency/ha]."""
        return sum(amount for _, amount in self.by_area)

    @property
    def per_year(self) -> float:
        """All that does not [currency a year]."""
        return sum(amount for _, amount in self.by_year)


def running_costs(settings: EconomicsPart, treatment: str, control: str) -> RunningCosts:
    """Gather what a treatment costs beside the control.

    Parameters
    ----------
    settings : EconomicsPart
    treatment, control : str
        Names in ``cost``.

    Returns
    -------
    RunningCosts
        Without what is zero.
    """
    inputs = cost_per_ha(settings.cost.get(treatment)) - cost_per_ha(settings.cost.get(control))
    labour = 0.0 if settings.wage is None else (settings.labour_h_ha or 0.0) * settings.wage.amount
    by_area = [("inputs", inputs), ("fuel", cost_per_ha(settings.fuel)), ("labour", labour)]
    by_year = []
    for name, sum_, sign in (("repairs", settings.repairs, 1), ("operating savings", settings.savings, -1)):
        if sum_ is not None and sum_.per == "year":
            by_year.append((name, sign * sum_.amount))
        else:
            by_area.append((name, sign * cost_per_ha(sum_)))
    kept = (tuple((name, amount) for name, amount in sums if amount) for sums in (by_area, by_year))
    return RunningCosts(*kept)


def make_line(name: str, per_ha: float, *, is_cost: bool) -> BudgetLine:
    """Put an amount into the part of the budget that its sign says.

    Parameters
    ----------
    name : str
    per_ha : float
        A return, or a cost; negative where there is less of it [currency/ha].
    is_cost : bool

    Returns
    -------
    BudgetLine

    Examples
    --------
    >>> make_line("fuel", -2.0, is_cost=True).part
    'reduced_costs'
    """
    kind: BudgetPart = "added_costs" if is_cost else "added_returns"
    if per_ha < 0:
        kind = "reduced_costs" if is_cost else "reduced_returns"
    return BudgetLine(name, kind, abs(per_ha) * HA_PER_ACRE, abs(per_ha))


def sum_lines(lines: Iterable[BudgetLine]) -> PartialBudget:
    """Add up the lines of each part, an acre.

    Parameters
    ----------
    lines : iterable of BudgetLine

    Returns
    -------
    PartialBudget
    """
    sums: dict[BudgetPart, float] = dict.fromkeys(
        ("added_returns", "reduced_costs", "added_costs", "reduced_returns"), 0.0
    )
    for line in lines:
        sums[line.part] += line.per_ac
    return PartialBudget(**sums)


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


def capital_recovery(price: float, salvage: float, interest_pct: float, years: float) -> float:
    """Depreciation and interest of a machine as one equal sum a year.

    Parameters
    ----------
    price, salvage : float
        Paid at first, and left after ``years`` [currency].
    interest_pct : float
        A year [%].
    years : float

    Returns
    -------
    float
        (price - salvage) x capital recovery factor + salvage x interest [currency a year].

    References
    ----------
    Edwards, W. Estimating farm machinery costs. Iowa State University Extension, AgDM A3-29.

    Examples
    --------
    >>> round(capital_recovery(93_500, 25_300, 5, 15), 1)
    7835.5
    """
    return (price - salvage) * capital_recovery_factor(interest_pct, years) + salvage * interest_pct / 100


def cost_per_ha(cost: Money | None) -> float:
    """Give a cost an acre or a hectare as a cost a hectare; none is zero."""
    if cost is None:
        return 0.0
    return cost.amount / HA_PER_ACRE if cost.per == "ac" else cost.amount
