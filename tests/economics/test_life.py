"""The outlay over its life, and the tables of other prices, areas and years."""

import numpy_financial as npf
import pytest

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import price_gain
from proofstrip.economics.life import Outlay, net_present_value, rate_of_return
from proofstrip.units import HA_PER_ACRE


@pytest.fixture
def soybean() -> Crop:
    return find_crop("soybean", config_folder())


@pytest.mark.parametrize("interest", [0.0, 1.0, 6.0, 15.0])
@pytest.mark.parametrize("yearly", [500.0, 3000.0, 40_000.0])
def test_as_numpy_financial_has_it(interest: float, yearly: float) -> None:
    flows = [-12_000.0, *[yearly] * 6, yearly + 2_500.0]
    outlay = Outlay(12_000.0, 2_500.0, 7, interest)
    assert net_present_value(outlay, yearly) == pytest.approx(npf.npv(interest / 100, flows))
    own = rate_of_return(outlay, yearly)
    if sum(flows) < 0:
        assert own is None
    else:
        assert own == pytest.approx(100 * npf.irr(flows), rel=1e-7)


@pytest.mark.parametrize(("price", "yearly", "years"), [(1e-9, 90_000.0, 100), (1.0, 1e9, 0.3), (5000.0, 0.01, 1)])
def test_returns_beyond_reason_are_found_all_the_same(price: float, yearly: float, years: float) -> None:
    outlay = Outlay(price, price, years, 5.0)
    rate = rate_of_return(outlay, yearly)
    assert net_present_value(outlay, yearly, rate / 100) == pytest.approx(0.0, abs=1e-6 * price)


def test_half_years_lie_between_whole_ones() -> None:
    three, half, four = (net_present_value(Outlay(9000.0, 0.0, years, 5.0), 3000.0) for years in (3, 3.5, 4))
    assert three < half < four


def test_worth_and_yearly_cost_change_sign_together(soybean: Crop) -> None:
    part = EconomicsPart.model_validate(
        {"price": "10 USD/bu", "investment": "20000 USD", "salvage": "3000 USD", "life_years": 8, "interest_pct": 6}
        | {"area": "500 ac"}
    )
    needed = price_gain(2 * soybean.kg_ha_per_bu_ac, soybean, part).break_even_life_ac
    even = part.model_copy(update={"area_ha": needed * HA_PER_ACRE})
    life = price_gain(2 * soybean.kg_ha_per_bu_ac, soybean, even).life
    assert life.npv == pytest.approx(0.0, abs=1e-6)
    assert life.gain_per_ac == pytest.approx(0.0, abs=1e-9)
    assert life.irr_pct == pytest.approx(6.0)


def test_costs_by_the_year_do_not_grow_with_the_area(soybean: Crop) -> None:
    part = EconomicsPart.model_validate(
        {"price": "10 USD/bu", "investment": "6000 USD", "years": 3, "area": "400 ac", "repairs": "500 USD/year"}
    )
    found = price_gain(soybean.kg_ha_per_bu_ac, soybean, part)
    assert found.gain_per_ac == pytest.approx(10 - 500 / 400)
    assert found.break_even_ac == pytest.approx((2000 + 500) / 10)
    assert found.payback_years == pytest.approx(6000 / (10 * 400 - 500))


def test_what_just_pays(soybean: Crop) -> None:
    part = EconomicsPart.model_validate(
        {
            "price": "10 USD/bu",
            "investment": "6000 USD",
            "years": 3,
            "area": "400 ac",
            "cost": {"treatment": "2 USD/ac"},
        }
    )
    factor = soybean.kg_ha_per_bu_ac
    found = price_gain(2 * factor, soybean, part, factor, 3 * factor)
    price = found.break_even_price_per_bu
    assert price == pytest.approx((2 + 2000 / 400) / 2)
    assert found.break_even_price_per_bu_high == pytest.approx(7.0)
    again = price_gain(
        2 * factor, soybean, part.model_copy(update={"price": EconomicsPart(price=f"{price} USD/bu").price})
    )
    assert again.net_gain_per_ac == pytest.approx(0.0, abs=1e-9)
    assert price_gain(-factor, soybean, part).break_even_price_per_bu is None


def test_tables_hold_the_answer_in_their_middle(soybean: Crop) -> None:
    part = EconomicsPart.model_validate(
        {"price": "10 USD/bu", "investment": "6000 USD", "years": 3, "life_years": 8, "interest_pct": 5}
        | {"area": "400 ac", "repairs": "100 USD/year"}
    )
    found = price_gain(2 * soybean.kg_ha_per_bu_ac, soybean, part)
    table = found.price_by_gain
    assert table.net_gain_per_ac[2][2] == pytest.approx(found.net_gain_per_ac)
    assert table.prices_per_bu[0] == pytest.approx(8.0)
    assert table.net_gain_per_ac[0][4] == pytest.approx(3 * 8 - 100 / 400 - (found.gain_per_ac - found.net_gain_per_ac))
    left = found.area_by_years
    assert left.years == (1.0, 2.0, 3.0, 5.0, 8.0)
    assert left.areas_ac == (200, 300, 400, 600, 800)
    assert left.left[2][4] == pytest.approx(npf.npv(0.05, [-6000.0, *[20 * 400 - 100] * 8]))


def test_years_that_nobody_gave_are_said(soybean: Crop) -> None:
    asked, silent = (
        price_gain(
            100.0, soybean, EconomicsPart.model_validate({"price": "10 USD/bu", "investment": "6000 USD"} | years)
        )
        for years in ({"years": 1}, {})
    )
    assert "years_not_given" in [note.code for note in silent.notes]
    assert "years_not_given" not in [note.code for note in asked.notes]
