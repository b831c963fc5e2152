"""The ``[economics]`` part of a settings file: prices, costs, the outlay, and how grain is settled; one currency."""

from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_serializer,
    model_validator,
)

from proofstrip.toml_file import Part, quantity
from proofstrip.units import Money, parse_money

GRAIN = ("bu", "t", "kg", "lb", "cwt")

PriceKind = Literal["average", "seasons", "triangular", "normal"]


def _money(value: object) -> object:
    """Read ``"11.40 USD/bu"``."""
    if isinstance(value, str):
        return parse_money(value)
    if isinstance(value, Money):
        return value
    raise ValueError(f'needs an amount and a currency in quotes, such as "11.40 USD/bu"; found {value!r}')


def _money_list(value: object) -> object:
    """Read one sum or a list of them."""
    return tuple(_money(item) for item in (value if isinstance(value, list | tuple) else [value]))


def _price(value: object) -> object:
    """Read a price, a list of season prices that are averaged, or a table that says how it is spread."""
    if isinstance(value, dict | Price):
        return value
    if value == []:
        raise ValueError("must not be an empty list; found []")
    try:
        return Price.model_validate({"average": value})
    except ValidationError as fault:  # a plain price is no table to its writer
        raise ValueError(str(fault.errors()[0]["msg"]).removeprefix("Value error, ")) from None


MoneyAmount = Annotated[Money, BeforeValidator(_money)]
MoneyList = Annotated[tuple[Money, ...], BeforeValidator(_money_list)]
Hectares = Annotated[float, quantity("hectare")]
HoursPerHectare = Annotated[float, quantity("hour/hectare")]
Percent = Annotated[float, Field(ge=0, le=100)]


class Price(Part):
    """What grain is sold for: a price, the mean of seasons, or a spread that the answer carries along."""

    average: MoneyList | None = Field(None, min_length=1)
    seasons: MoneyList | None = Field(None, min_length=2)
    low: MoneyAmount | None = None
    likely: MoneyAmount | None = None
    high: MoneyAmount | None = None
    mean: MoneyAmount | None = None
    sd: MoneyAmount | None = None

    @field_validator("*")
    @classmethod
    def _check_sums(cls, found: Any) -> Any:
        """Take prices of grain above zero only."""
        for price in () if found is None else found if isinstance(found, tuple) else (found,):
            _require_per(price, GRAIN, "a price")
            if price.amount <= 0:
                raise ValueError(f"a price is above zero; found {price.amount:g}")
        return found

    @model_validator(mode="after")
    def _check_kind(self) -> "Price":
        """Take one way of saying it, complete."""
        named = {name for name in type(self).model_fields if getattr(self, name) is not None}
        if named not in ({"average"}, {"seasons"}, {"low", "likely", "high"}, {"mean", "sd"}):
            raise ValueError(
                "a price is one sum, a list of season prices, or a table: { low, likely, high }, { mean, sd } or "
                f"{{ seasons }}; found {', '.join(sorted(named)) or 'an empty table'}"
            )
        return self

    @model_serializer
    def _write(self) -> Any:
        """Write it as a settings file does."""
        named = {name: getattr(self, name) for name in type(self).model_fields if getattr(self, name) is not None}
        return named.get("average", named)

    @property
    def kind(self) -> PriceKind:
        """How it was given."""
        if self.average is not None:
            return "average"
        return "seasons" if self.seasons is not None else "normal" if self.mean is not None else "triangular"

    @property
    def sums(self) -> tuple[Money, ...]:
        """Every sum in it."""
        single = (self.low, self.likely, self.high, self.mean, self.sd)
        return (*(self.average or ()), *(self.seasons or ()), *(price for price in single if price is not None))


class DiscountStep(Part):
    """What the buyer takes off the price of grain above a moisture."""

    above_pct: Percent
    off: MoneyAmount

    @field_validator("off")
    @classmethod
    def _check_off(cls, off: Money) -> Money:
        """Take a discount by weight."""
        _require_per(off, GRAIN, "a discount")
        return off


class DeliveryPart(Part):
    """How the buyer settles grain: market moisture, shrink, drying, discounts and dockage."""

    moisture_pct: float | None = Field(default=None, ge=0, lt=100)
    shrink_pct: float | None = Field(default=None, gt=0, le=10)
    drying: MoneyAmount | None = None
    discount: tuple[DiscountStep, ...] = ()
    dockage_pct: dict[str, Percent] = Field(default_factory=dict)

    @field_validator("discount", mode="before")
    @classmethod
    def _check_list(cls, steps: object) -> object:
        """Take a list of tables."""
        if not isinstance(steps, list | tuple):
            raise ValueError('needs a list such as [{ above_pct = 14, off = "0.05 USD/bu" }]')
        return tuple(steps)

    @field_validator("discount")
    @classmethod
    def _check_steps(cls, steps: tuple[DiscountStep, ...]) -> tuple[DiscountStep, ...]:
        """Take steps that rise."""
        above = [step.above_pct for step in steps]
        if above != sorted(set(above)):
            raise ValueError(f"steps must go up in moisture; found {', '.join(f'{one:g}' for one in above)}")
        return steps

    @field_validator("drying")
    @classmethod
    def _check_drying(cls, drying: Money | None) -> Money | None:
        """Take a charge by weight."""
        if drying is not None:
            _require_per(drying, GRAIN, "drying, a point,")
            _require_not_negative(drying, "drying")
        return drying


class EconomicsPart(Part):
    """Prices, costs, the investment and how long it may take to pay back; one currency throughout."""

    price: Annotated[Price, BeforeValidator(_price)]
    investment: MoneyAmount = Money(0.0, "", "")
    years: float = Field(1.0, gt=0, le=50)
    area_ha: Hectares | None = Field(None, alias="area", gt=0)
    life_years: float | None = Field(None, gt=0, le=100)
    interest_pct: Percent = 0.0
    salvage: MoneyAmount = Money(0.0, "", "")
    repairs: MoneyAmount | None = None
    fuel: MoneyAmount | None = None
    wage: MoneyAmount | None = None
    labour_h_ha: HoursPerHectare | None = Field(None, alias="labour", ge=0)
    savings: MoneyAmount | None = None
    cost: dict[str, MoneyAmount] = Field(default_factory=dict)
    delivery: DeliveryPart | None = None

    @field_validator("investment", "salvage")
    @classmethod
    def _check_sum(cls, sum_: Money, found: ValidationInfo) -> Money:
        """Take a plain sum only."""
        name = "an investment" if found.field_name == "investment" else "a salvage value"
        _require_per(sum_, ("",), name)
        _require_not_negative(sum_, name)
        return sum_

    @field_validator("salvage")
    @classmethod
    def _check_salvage(cls, salvage: Money, found: ValidationInfo) -> Money:
        """Take a salvage value that the thing can have, at an age that is known."""
        investment = found.data.get("investment")
        if "life_years" in found.data and found.data["life_years"] is None and salvage.amount:
            raise ValueError("is what the thing is worth after life_years; give life_years too")
        if investment is not None and salvage.amount > investment.amount:
            raise ValueError(f"is more than the investment: {salvage.amount:g} above {investment.amount:g}")
        return salvage

    @field_validator("repairs", "savings")
    @classmethod
    def _check_yearly(cls, sum_: Money, found: ValidationInfo) -> Money:
        """Take a sum by area, or by year where the area is known."""
        name = str(found.field_name)
        _require_per(sum_, ("ac", "ha", "year"), name)
        _require_not_negative(sum_, name)
        if sum_.per == "year" and "area_ha" in found.data and found.data["area_ha"] is None:
            raise ValueError(f"are by year and no area is given; give area too, or {name} per ac or ha")
        return sum_

    @field_validator("fuel")
    @classmethod
    def _check_fuel(cls, fuel: Money) -> Money:
        """Take a cost of ground."""
        _require_per(fuel, ("ac", "ha"), "fuel")
        return fuel

    @field_validator("wage")
    @classmethod
    def _check_wage(cls, wage: Money) -> Money:
        """Take a sum an hour."""
        _require_per(wage, ("h",), "a wage")
        return wage

    @field_validator("labour_h_ha")
    @classmethod
    def _check_labour(cls, hours: float, found: ValidationInfo) -> float:
        """Take hours that have a wage."""
        if "wage" in found.data and found.data["wage"] is None:
            raise ValueError('needs a wage: add wage = "25 USD/h"')
        return hours

    @field_validator("cost")
    @classmethod
    def _check_cost(cls, costs: dict[str, Money]) -> dict[str, Money]:
        """Take costs of ground only."""
        for name, cost in costs.items():
            _require_per(cost, ("ac", "ha"), f"the cost of {name!r}")
        return costs

    @model_validator(mode="after")
    def _check_whole(self) -> "EconomicsPart":
        """Refuse several currencies, a wage for no hours, and a pay-back time that is longer than the life."""
        found = sorted({item.currency for item in self._sums() if item.currency})
        if len(found) > 1:
            raise ValueError(f"sums are in {' and '.join(found)}; give all of them in one currency")
        if self.wage is not None and self.labour_h_ha is None:
            raise ValueError('wage needs the hours: add labour = "0.05 h/ac"')
        if self.years_given and self.life_years is not None and self.years > self.life_years:
            raise ValueError(
                f"life_years is shorter than years: the thing lasts {self.life_years:g} years and is to pay back "
                f"within {self.years:g}"
            )
        return self

    def _sums(self) -> list[Money]:
        """Give every sum of the part."""
        single = [self.investment, self.salvage, self.repairs, self.fuel, self.wage, self.savings]
        delivery = self.delivery or DeliveryPart()
        settled = [delivery.drying, *(step.off for step in delivery.discount)]
        return [*self.price.sums, *self.cost.values(), *(sum_ for sum_ in (*single, *settled) if sum_ is not None)]

    @property
    def currency(self) -> str:
        """ISO 4217 code of every sum."""
        return self.price.sums[0].currency

    @property
    def years_given(self) -> bool:
        """Whether somebody asked for a pay-back time; one year stands in where nobody did."""
        return "years" in self.model_fields_set


def _require_per(money: Money, allowed: tuple[str, ...], what: str) -> None:
    """Refuse a sum for a unit that does not fit."""
    if money.per not in allowed:
        units = " or ".join(f"/{unit}" if unit else "no unit" for unit in allowed)
        raise ValueError(f"{what} has {units} after the currency; found {'/' + money.per if money.per else 'no unit'}")


def _require_not_negative(money: Money, what: str) -> None:
    """Refuse a sum below zero."""
    if money.amount < 0:
        raise ValueError(f"{what} is zero or more; found {money.amount:g}")
