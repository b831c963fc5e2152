"""Units: one number with its unit into SI, and sums of money."""

import pytest

from proofstrip.units import (
    HA_PER_ACRE,
    KG_PER_LB,
    M2_PER_ACRE,
    M_PER_FT,
    Money,
    factor_to,
    kg_ha_per_bu_ac,
    parse_money,
    parse_quantity,
)

# Exact by the international yard and pound agreement of 1959: 1 yd = 0.9144 m, 1 lb = 0.45359237 kg.
FACTORS = [
    ("ft", "m", 0.3048),
    ("inch", "m", 0.0254),
    ("in", "m", 0.0254),
    ("mile", "m", 1609.344),
    ("mph", "m/s", 0.44704),
    ("mile/hour", "m/s", 0.44704),
    ("km/h", "m/s", 1 / 3.6),
    ("lb", "kg", 0.45359237),
    ("lb/s", "kg/s", 0.45359237),
    ("t/h", "kg/s", 1 / 3.6),
    ("g", "kg", 0.001),
    ("ha", "m**2", 10_000),
    ("ac", "hectare", 0.40468564224),
    ("acre", "hectare", 0.40468564224),
    ("acres", "m**2", 4046.8564224),
    ("ms", "s", 0.001),
    ("%", "dimensionless", 0.01),
    ("percent", "%", 1),
]


@pytest.mark.parametrize(("unit", "target", "factor"), FACTORS)
def test_factors(unit: str, target: str, factor: float) -> None:
    assert factor_to(unit, target) == pytest.approx(factor, rel=1e-9)


def test_constants() -> None:
    assert KG_PER_LB == 0.45359237
    assert M_PER_FT == 0.3048
    assert pytest.approx(4046.8564224, rel=1e-12) == M2_PER_ACRE
    assert pytest.approx(0.40468564224, rel=1e-12) == HA_PER_ACRE


@pytest.mark.parametrize(
    ("text", "target", "value"),
    [
        ("30 ft", "m", 9.144),
        ("9.14 m", "m", 9.14),
        ("  5 mph ", "m/s", 2.2352),
        ("1e1 s", "s", 10),
        ("-15 s", "s", -15),
        ("900 ac", "hectare", 364.217078016),
        ("30   ft", "m", 9.144),
    ],
)
def test_quantity(text: str, target: str, value: float) -> None:
    assert parse_quantity(text, target) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("30", "'30' has no unit; write for example '30 m'"),
        ("30 ", "has no unit"),
        ("", "is not a number and a unit, such as '12 m'"),
        ("ft", "'ft' is not a number and a unit"),
        ("30ft", "'30ft' is not a number and a unit"),
        ("thirty ft", "'thirty ft' is not a number and a unit"),
        ("30 kg", "unit 'kg' does not measure the same thing as 'm'"),
        ("30 fete", "unit 'fete' is not known; a unit such as 'm' is expected"),
        ("30 ft)", "unit 'ft\\)' is not known"),
        ("30 5", "unit '5' is not known"),
        ("nan m", "'nan m' is not a finite number"),
        ("inf m", "'inf m' is not a finite number"),
        ("1,5 m", "'1,5 m' is not a number and a unit"),
    ],
)
def test_quantity_refused(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        parse_quantity(text, "m")


@pytest.mark.parametrize("unit", ["((", "**", "ft ft)", "1/0", "\x00", "'"])
def test_no_odd_unit_breaks_the_parser(unit: str) -> None:
    with pytest.raises(ValueError, match=r"is not known|does not measure"):
        factor_to(unit, "m")


@pytest.mark.parametrize(
    ("text", "money"),
    [
        ("11.40 USD/bu", Money(11.4, "USD", "bu")),
        ("18000 USD", Money(18_000, "USD", "")),
        ("4.50 USD / ac", Money(4.5, "USD", "ac")),
        ("-2 EUR/ha", Money(-2, "EUR", "ha")),
        ("410 CAD/t", Money(410, "CAD", "t")),
    ],
)
def test_money(text: str, money: Money) -> None:
    assert parse_money(text) == money


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("USD 11", "is not an amount and a currency, such as '11.40 USD/bu'"),
        ("11.40", "'11.40' needs a three-letter currency \\(ISO 4217\\), such as '11.40 USD'"),
        ("11.40 $/bu", "needs a three-letter currency"),
        ("11.40 usd/bu", "needs a three-letter currency"),
        ("11.40 USD/bushel", "per 'bushel' is not known; use one of bu, t, kg, lb, cwt, ac, ha"),
        ("nan USD/bu", "is not a finite amount"),
        ("", "is not an amount"),
    ],
)
def test_money_refused(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        parse_money(text)


def test_bushels_an_acre() -> None:
    assert kg_ha_per_bu_ac(60) == pytest.approx(60 * 0.45359237 / 0.40468564224, rel=1e-12)
