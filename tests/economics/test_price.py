"""From a yield difference to money."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.stats.tables import block_table, loose_table, pair_table, settings

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import delivered_moisture, price_gain, price_treatments
from proofstrip.economics.prices import mean_price_per_kg
from proofstrip.economics.settlement import paid_share
from proofstrip.errors import DataError, SettingsError
from proofstrip.stats import Comparison, compare_treatments
from proofstrip.toml_file import validate
from proofstrip.units import HA_PER_ACRE, Money

OLD = np.array([60.0, 62.0, 58.5, 61.0, 59.5, 63.0])
GAIN = np.array([2.8, 1.5, 2.4, 1.1, 2.3, 1.9])


@pytest.fixture
def soybean() -> Crop:
    return find_crop("soybean", config_folder())


@pytest.fixture
def comparison() -> Comparison:
    table = pair_table((OLD + GAIN).tolist(), OLD.tolist()).rename(columns={"yield": "yield_bu_ac"})
    return compare_treatments(table, "old", settings(0.9), "yield_bu_ac")


def part(**values: object) -> EconomicsPart:
    return EconomicsPart(**{"price": ["10 USD/bu"], **values})


def test_gain_is_bushels_times_price_less_cost(comparison: Comparison, soybean: Crop) -> None:
    cost = {"new": "4.50 USD/ac", "old": "1.50 USD/ac"}
    (found,) = price_treatments(comparison, soybean, part(cost=cost))
    assert found.gain_per_ac == pytest.approx(2.0 * 10 - 3.0)
    assert found.budget.added_returns == pytest.approx(20.0)
    assert found.budget.added_costs == pytest.approx(3.0)
    assert (found.budget.reduced_costs, found.budget.reduced_returns) == (0.0, 0.0)
    assert found.budget.net == pytest.approx(found.gain_per_ac)
    row = comparison.differences[0]
    assert found.gain_per_ac_low == pytest.approx(row.low * 10 - 3.0)
    assert found.gain_per_ac_high == pytest.approx(row.high * 10 - 3.0)
    assert found.gain_per_ha == pytest.approx(found.gain_per_ac / HA_PER_ACRE)
    assert found.break_even_difference_kg_ha == pytest.approx(0.3 * soybean.kg_ha_per_bu_ac)


def test_less_yield_and_less_cost_fill_the_other_lines(comparison: Comparison, soybean: Crop) -> None:
    table = pair_table(OLD.tolist(), (OLD + GAIN).tolist()).rename(columns={"yield": "yield_bu_ac"})
    worse = compare_treatments(table, "old", settings(0.9), "yield_bu_ac")
    (found,) = price_treatments(worse, soybean, part(cost={"old": "5 USD/ac"}))
    assert found.budget.reduced_returns == pytest.approx(20.0)
    assert found.budget.reduced_costs == pytest.approx(5.0)
    assert found.gain_per_ac == pytest.approx(-15.0)


@pytest.mark.parametrize(
    ("price", "per_bu"),
    [
        ("10 USD/bu", 10.0),
        ("367.437 USD/t", 10.0),
        ("0.367437 USD/kg", 10.0),
        ("0.1666667 USD/lb", 10.0),
        ("16.66667 USD/cwt", 10.0),
    ],
)
def test_prices_by_any_weight(comparison: Comparison, soybean: Crop, price: str, per_bu: float) -> None:
    (found,) = price_treatments(comparison, soybean, EconomicsPart(price=[price]))
    assert found.price_per_bu == pytest.approx(per_bu, rel=1e-5)
    assert found.gain_per_ac == pytest.approx(20.0, rel=1e-5)


def test_season_prices_are_averaged(comparison: Comparison, soybean: Crop) -> None:
    (found,) = price_treatments(comparison, soybean, part(price=["9 USD/bu", "12 USD/bu", "330.69 USD/t"]))
    assert found.price_per_bu == pytest.approx((9 + 12 + 330.69 / 36.7437) / 3, rel=1e-5)


def test_costs_a_hectare(comparison: Comparison, soybean: Crop) -> None:
    (found,) = price_treatments(comparison, soybean, part(cost={"new": "10 USD/ha"}))
    assert found.budget.added_costs == pytest.approx(10 * HA_PER_ACRE)


def test_break_even_and_pay_back(comparison: Comparison, soybean: Crop) -> None:
    (found,) = price_treatments(comparison, soybean, part(investment="18000 USD", area="600 ac", years=3))
    assert found.break_even_ac == pytest.approx(18000 / 3 / 20)
    assert found.break_even_ac_low == pytest.approx(18000 / 3 / found.gain_per_ac_high)
    assert found.break_even_ac_high == pytest.approx(18000 / 3 / found.gain_per_ac_low)
    assert found.break_even_ha == pytest.approx(found.break_even_ac * HA_PER_ACRE)
    assert found.payback_years == pytest.approx(18000 / (20 * 600))
    assert found.payback_years_low < found.payback_years < found.payback_years_high
    assert found.net_gain_per_ac == pytest.approx(20 - 18000 / 3 / 600)


def test_interest_makes_it_more_acres(comparison: Comparison, soybean: Crop) -> None:
    values = {"investment": "18000 USD", "years": 3, "interest_pct": 5, "life_years": 7}
    (found,) = price_treatments(comparison, soybean, part(**values))
    assert found.break_even_ac == pytest.approx(18000 * 0.3672 / 20, rel=1e-3)
    assert found.break_even_life_ac == pytest.approx(18000 * 0.1728 / 20, rel=1e-3)


def test_an_interval_over_zero_has_no_upper_end(soybean: Crop) -> None:
    table = pair_table((OLD + np.array([3.0, -2.5, 1.5, -1.0, 2.0, -0.5])).tolist(), OLD.tolist())
    unsure = compare_treatments(table.rename(columns={"yield": "yield_bu_ac"}), "old", settings(0.9), "yield_bu_ac")
    (found,) = price_treatments(unsure, soybean, part(investment="18000 USD", area="600 ac"))
    assert found.gain_per_ac_low < 0 < found.gain_per_ac
    assert found.break_even_ac is not None
    assert found.break_even_ac_low is not None
    assert found.break_even_ac_high is None
    assert found.payback_years_high is None
    assert "break_even_open" in [note.code for note in found.notes]


def test_a_loss_breaks_even_nowhere(comparison: Comparison, soybean: Crop) -> None:
    (found,) = price_treatments(comparison, soybean, part(investment="18000 USD", cost={"new": "40 USD/ac"}))
    assert (found.break_even_ac, found.break_even_ac_low, found.payback_years) == (None, None, None)
    assert "no_break_even" in [note.code for note in found.notes]


def test_no_investment_no_break_even(comparison: Comparison, soybean: Crop) -> None:
    (found,) = price_treatments(comparison, soybean, part(area="600 ac"))
    assert found.break_even_ac is None
    assert found.net_gain_per_ac == found.gain_per_ac


def test_dry_grain_is_paid_by_its_weight(comparison: Comparison, soybean: Crop) -> None:
    # Both at 10 %: what is delivered weighs 87/90 of the standard weight.
    (found,) = price_treatments(comparison, soybean, part(), {"old": 10.0, "new": 10.0})
    assert found.difference_kg_ha == pytest.approx(2.0 * soybean.kg_ha_per_bu_ac)
    assert found.paid_difference_kg_ha == pytest.approx(2.0 * 87 / 90 * soybean.kg_ha_per_bu_ac)
    assert found.standard_gain_per_ac == pytest.approx(20.0)
    assert found.gain_per_ac == pytest.approx(20.0 * 87 / 90)
    assert "paid_below_standard" in [note.code for note in found.notes]


def test_a_drier_treatment_loses_on_all_its_grain(comparison: Comparison, soybean: Crop) -> None:
    # The paid difference must be that of the paid yields, worked out strip by strip.
    (found,) = price_treatments(comparison, soybean, part(), {"old": 12.5, "new": 11.0})
    paid = (OLD + GAIN) * paid_share(11.0, 13.0) - OLD * paid_share(12.5, 13.0)
    assert found.paid_difference_kg_ha == pytest.approx(paid.mean() * soybean.kg_ha_per_bu_ac)
    assert found.gain_per_ac < found.standard_gain_per_ac
    table = pair_table(((OLD + GAIN) * paid_share(11.0, 13.0)).tolist(), (OLD * paid_share(12.5, 13.0)).tolist())
    exact = compare_treatments(table, "old", settings(0.9), "yield").differences[0]
    width = found.gain_per_ac_high - found.gain_per_ac_low
    assert width == pytest.approx(10 * (exact.high - exact.low), rel=0.08)
    assert found.gain_per_ac_low == pytest.approx(10 * exact.low, abs=0.5)


def test_break_even_difference_gives_no_net_gain(comparison: Comparison, soybean: Crop) -> None:
    moistures = {"old": 12.5, "new": 11.0}
    economics = part(investment="9000 USD", area="900 ac", cost={"new": "2 USD/ac"})
    (found,) = price_treatments(comparison, soybean, economics, moistures)
    shifted = OLD + found.break_even_difference_kg_ha / soybean.kg_ha_per_bu_ac + (GAIN - GAIN.mean())
    table = pair_table(shifted.tolist(), OLD.tolist()).rename(columns={"yield": "yield_bu_ac"})
    even = compare_treatments(table, "old", settings(0.9), "yield_bu_ac")
    (again,) = price_treatments(even, soybean, economics, moistures)
    assert again.net_gain_per_ac == pytest.approx(0.0, abs=1e-9)


def test_wet_grain_is_paid_at_standard(comparison: Comparison, soybean: Crop) -> None:
    (found,) = price_treatments(comparison, soybean, part(), {"old": 16.0, "new": 14.0})
    assert found.paid_difference_kg_ha == pytest.approx(found.difference_kg_ha)


def test_another_standard_moisture(comparison: Comparison, soybean: Crop) -> None:
    (found,) = price_treatments(comparison, soybean, part(), {"old": 12.0, "new": 12.0}, 14.0)
    assert found.paid_difference_kg_ha == pytest.approx(found.difference_kg_ha * 86 / 88)


def test_moisture_is_weighted_by_mass() -> None:
    strips = pd.DataFrame(
        {
            "treatment": ["a", "a", "b", "b"],
            "moisture_pct": [10.0, 14.0, 12.0, np.nan],
            "standard_mass_kg": [900.0, 300.0, 500.0, 500.0],
        }
    )
    found = delivered_moisture(strips, 13.0)
    wet = np.array([900 * 87 / 90, 300 * 87 / 86])
    assert found["a"] == pytest.approx((wet * [10.0, 14.0]).sum() / wet.sum())
    assert found["b"] == pytest.approx(12.0)


def test_no_moisture_at_all() -> None:
    strips = pd.DataFrame({"treatment": ["a"], "moisture_pct": [np.nan], "standard_mass_kg": [900.0]})
    assert delivered_moisture(strips, 13.0) == {}


def test_a_crop_without_a_bushel_is_priced_by_weight() -> None:
    bean = find_crop("dry_bean", config_folder())
    table = pair_table((3000 + 100 * OLD + 50 * GAIN).tolist(), (3000 + 100 * OLD).tolist())
    comparison = compare_treatments(table.rename(columns={"yield": "yield_kg_ha"}), "old", settings(0.9))
    (found,) = price_treatments(comparison, bean, EconomicsPart(price=["40 USD/cwt"]))
    assert found.price_per_bu is None
    assert found.price_per_t == pytest.approx(40 / 45.359237 * 1000)
    assert found.gain_per_ha == pytest.approx(50 * 2.0 * 40 / 45.359237)
    with pytest.raises(SettingsError, match="dry_bean has no bushel here; give it per t, kg, lb or cwt"):
        price_treatments(comparison, bean, part())


def test_an_unreplicated_difference_has_no_interval(soybean: Crop) -> None:
    table = loose_table(old=[60.0], new=[62.0]).rename(columns={"yield": "yield_bu_ac"})
    once = compare_treatments(table, "old", settings(), "yield_bu_ac")
    (found,) = price_treatments(once, soybean, part(investment="18000 USD"))
    assert found.gain_per_ac == pytest.approx(20.0)
    assert (found.gain_per_ac_low, found.break_even_ac_high) == (None, None)


def test_one_payback_a_treatment(soybean: Crop) -> None:
    rows = [[60.0, 62.5, 61.0], [58.0, 61.0, 60.5], [61.5, 63.0, 61.0]]
    table = block_table(["old", "a", "b"], rows).rename(columns={"yield": "yield_bu_ac"})
    comparison = compare_treatments(table, "old", settings(), "yield_bu_ac")
    found = price_treatments(comparison, soybean, part(cost={"b": "3 USD/ac"}))
    assert [payback.treatment for payback in found] == ["a", "b"]
    assert [payback.budget.added_costs for payback in found] == pytest.approx([0.0, 3.0])


def test_a_cost_of_an_unknown_treatment(comparison: Comparison, soybean: Crop) -> None:
    with pytest.raises(SettingsError, match=r"names 'News'; treatments are 'old', 'new'\. Did you mean 'new'\?"):
        price_treatments(comparison, soybean, part(cost={"News": "3 USD/ac"}))


def test_yields_without_a_unit_have_no_price(soybean: Crop) -> None:
    comparison = compare_treatments(pair_table((OLD + GAIN).tolist(), OLD.tolist()), "old", settings(), "yield")
    with pytest.raises(DataError, match=r"no known unit.*Name the yield column yield_kg_ha or yield_bu_ac"):
        price_treatments(comparison, soybean, part())


def test_kilograms_and_bushels_give_the_same_money(comparison: Comparison, soybean: Crop) -> None:
    factor = soybean.kg_ha_per_bu_ac
    table = pair_table(((OLD + GAIN) * factor).tolist(), (OLD * factor).tolist()).rename(
        columns={"yield": "yield_kg_ha"}
    )
    (kilograms,) = price_treatments(compare_treatments(table, "old", settings(0.9)), soybean, part())
    (bushels,) = price_treatments(comparison, soybean, part())
    assert kilograms.gain_per_ac == pytest.approx(bushels.gain_per_ac)
    assert kilograms.gain_per_ac_low == pytest.approx(bushels.gain_per_ac_low)


def test_a_gain_that_is_known(soybean: Crop) -> None:
    factor = soybean.kg_ha_per_bu_ac
    found = price_gain(2 * factor, soybean, part(cost={"treatment": "1 USD/ac"}), factor, 3 * factor)
    assert (found.gain_per_ac_low, found.gain_per_ac, found.gain_per_ac_high) == pytest.approx((9, 19, 29))
    with pytest.raises(SettingsError, match="names 'new'; treatments are 'treatment', 'control'"):
        price_gain(2 * factor, soybean, part(cost={"new": "1 USD/ac"}))


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('price = "10 USD/bu"\ninvestment = "18000 EUR"', "sums are in EUR and USD; give all of them in one currency"),
        ('price = ["10 USD/bu", "9 CAD/bu"]', "sums are in CAD and USD"),
        ('price = "10 USD/bu"\n[cost]\nnew = "4 EUR/ac"', "sums are in EUR and USD"),
        ('price = "10 USD/ac"', "line 1: .*a price has /bu or /t or /kg or /lb or /cwt after the currency; found /ac"),
        ('price = "10 USD"', "found no unit"),
        ('price = "-10 USD/bu"', "a price is above zero; found -10"),
        ("price = []", "must not be an empty list"),
        ('price = "10 USD/bu"\ninvestment = "18000 USD/year"', "line 2: .*an investment has no unit"),
        ('price = "10 USD/bu"\ninvestment = "-5 USD"', "an investment is zero or more; found -5"),
        (
            'price = "10 USD/bu"\n[cost]\nnew = "4 USD/h"',
            "the cost of 'new' has /ac or /ha after the currency; found /h",
        ),
        ('price = "10 USD/bu"\nyears = 0', "line 2: .*must be above 0; found 0"),
    ],
)
def test_bad_economics_are_refused_with_their_line(text: str, problem: str) -> None:
    import tomllib

    with pytest.raises(SettingsError) as fault:
        validate(EconomicsPart, tomllib.loads(text), Path("economics.toml"), text)
    assert re.search(problem, str(fault.value))


def test_mean_price() -> None:
    soybean = find_crop("soybean", config_folder())
    assert mean_price_per_kg((Money(27.2155422, "USD", "bu"),), soybean) == pytest.approx(1.0)
