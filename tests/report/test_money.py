"""The money part of the report: its tables, its curve and what was put in."""

import dataclasses
from typing import Any

import numpy as np
import pytest

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import Beside, price_gain
from proofstrip.report.money import money_table, net_curve, what_if_tables
from proofstrip.report.price_line import describe_line, price_line
from proofstrip.report.words import ABSENT, Units, make_units, money
from proofstrip.result import plain
from proofstrip.units import HA_PER_ACRE, KG_PER_LB

FULL: dict[str, Any] = {
    "price": {"low": "10 USD/bu", "likely": "12 USD/bu", "high": "15 USD/bu"},
    "investment": "19990 USD",
    "salvage": "4000 USD",
    "years": 3,
    "life_years": 7,
    "interest_pct": 6,
    "area": "900 ac",
    "repairs": "600 USD/year",
    "fuel": "0.30 USD/ac",
}


@pytest.fixture
def soybean() -> Crop:
    return find_crop("soybean", config_folder())


def price(crop: Crop, values: dict[str, Any], bushels: tuple[float, float, float] = (2.4, 0.9, 3.9)) -> dict[str, Any]:
    """Give one entry of result.json's economics."""
    gain, low, high = (one * crop.kg_ha_per_bu_ac for one in bushels)
    beside = Beside(moisture_pct=10.0, control_kg_ha=60 * crop.kg_ha_per_bu_ac)
    found = price_gain(gain, crop, EconomicsPart.model_validate(values), low, high, beside)
    return plain(dataclasses.asdict(found))


def cells(crop: Crop, values: dict[str, Any], units: Units, **more: Any) -> dict[str, tuple[str, str]]:
    table = money_table(price(crop, values, **more), units, EconomicsPart.model_validate(values))
    return {row[0]: (row[1], row[2]) for row in table.rows}


@pytest.mark.parametrize(("system", "area", "grain"), [("us", "acre", "+28.61"), ("metric", "hectare", "+70.71")])
def test_budget_line_by_line(soybean: Crop, system: str, area: str, grain: str) -> None:
    found = cells(soybean, FULL, make_units(system, soybean.kg_ha_per_bu_ac))
    assert found[f"Added returns: grain, per {area}"][0].startswith(grain)
    assert {f"Added costs: fuel, per {area}", f"Added costs: repairs, per {area}"} <= set(found)
    assert f"Net gain per {area}, outlay spread over 3 years with 6 % interest" in found
    assert found["Net present value over 7 years"][0].endswith("USD")
    assert "%" in found["Rate of return over 7 years, a year"][0]
    assert found["Yield difference at which it breaks even"][1] != ""
    assert "Grain of control not paid, at 10.0 % moisture" in found


def test_a_loss_has_no_rate_of_return_and_never_pays_back(soybean: Crop) -> None:
    found = cells(soybean, FULL, make_units("us", soybean.kg_ha_per_bu_ac), bushels=(-1.0, -2.0, 0.0))
    assert found["Rate of return over 7 years, a year"][0] == "none"
    assert found["Years to pay back on the area given"][0] == "never"
    assert "Price a bushel at which it breaks even" not in found


def test_without_an_outlay_nothing_is_said_of_it(soybean: Crop) -> None:
    found = cells(soybean, {"price": "12 USD/bu"}, make_units("us", soybean.kg_ha_per_bu_ac))
    assert not [name for name in found if "outlay" in name or "pay back" in name or "present" in name]
    assert ABSENT not in [cell for row in found.values() for cell in row]


def test_other_prices_and_areas_are_folded_tables_with_their_currency(soybean: Crop) -> None:
    prices, areas = what_if_tables(price(soybean, FULL), make_units("us", soybean.kg_ha_per_bu_ac))
    assert prices.folded and areas.folded
    assert "USD" in prices.caption and "USD" in areas.caption
    assert len(prices.rows) == 5 and len(prices.head) == 6
    assert areas.head == ("Acres a year", *(f"after {n} years".replace("1 years", "one year") for n in (1, 2, 3, 5, 7)))


@pytest.mark.parametrize("system", ["us", "metric"])
def test_line_over_the_price_is_the_budget_at_each_price(soybean: Crop, system: str) -> None:
    units = make_units(system, soybean.kg_ha_per_bu_ac)
    dear = {"price": "12 USD/bu", "investment": "19990 USD", "years": 1, "area": "900 ac"}
    line = price_line(price(soybean, dear), units)
    assert line is not None and line.low is not None and line.just_pays is not None
    # By hand: 2.4 bu at 12 USD pay 28.80 USD an acre, less 19,990 / 900 = 22.21; dry grain is paid by its weight.
    dry = (100 - 13) / (100 - 10)
    acre = 1.0 if system == "us" else HA_PER_ACRE
    bushel = 1.0 if system == "us" else 1000 / (soybean.bushel_lb * KG_PER_LB)
    for at, bushels, ends in ((12.0, 2.4, line.net), (9.2, 2.4, line.net), (9.2, 0.9, line.low)):
        drawn = np.interp(at * bushel, line.prices, ends)
        assert drawn == pytest.approx((bushels * dry * at - 19990 / 900) / acre, rel=1e-6)
    assert line.just_pays == pytest.approx(19990 / 900 / (2.4 * dry) * bushel, rel=1e-6)
    assert np.interp(line.just_pays, line.prices, line.net) == pytest.approx(0.0, abs=1e-9)
    assert f"The price used is {money(12 * bushel, 'USD')}" in describe_line(line)


def test_price_that_just_pays_is_not_drawn_where_it_is_far_off(soybean: Crop) -> None:
    line = price_line(
        price(soybean, {"price": "12 USD/bu", "fuel": "1 USD/ac"}), make_units("us", soybean.kg_ha_per_bu_ac)
    )
    assert line is not None
    assert line.just_pays == pytest.approx(1 / (2.4 * 87 / 90), rel=1e-3)
    assert line.prices == pytest.approx([0.8 * 12, 1.2 * 12])
    assert "outlay" not in line.label


def test_result_without_a_table_of_prices_has_no_line(soybean: Crop) -> None:
    entry = price(soybean, FULL) | {"price_by_gain": None}
    assert price_line(entry, make_units("us", soybean.kg_ha_per_bu_ac)) is None


def test_curve_crosses_zero_where_the_table_says(soybean: Crop) -> None:
    units, entry = make_units("us", soybean.kg_ha_per_bu_ac), price(soybean, FULL)
    curve = net_curve(entry, EconomicsPart.model_validate(FULL), units)
    crossing = np.interp(0.0, curve.net, curve.areas)
    assert crossing == pytest.approx(entry["break_even_ac"], rel=1e-6)
    own = np.interp(900.0, curve.areas, curve.net)
    assert own == pytest.approx(900 * entry["net_gain_per_ac"], rel=1e-6)
