"""Partial budgets, capital recovery and break-even acres, against printed worked examples."""

import numpy_financial as npf
import pytest

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import Beside, PartialBudget, capital_recovery_factor, price_gain
from proofstrip.economics.budget import capital_recovery
from proofstrip.economics.life import Outlay, rate_of_return
from proofstrip.economics.settlement import Schedule, paid_share
from proofstrip.units import KG_PER_LB


@pytest.fixture
def soybean() -> Crop:
    return find_crop("soybean", config_folder())


def test_corn_instead_of_dry_beans() -> None:
    # Southeast Farm Press, partial budget for 100 acres: 150 bu x 6.50 $ = 97,500 and 55,000 of bean costs saved,
    # against 22 cwt x 40 $ = 88,000 of beans given up and 69,000 of corn costs. Printed net -4,500 (its last line
    # misprints the first sum as 152,000; it is 152,500).
    budget = PartialBudget(
        added_returns=100 * 150 * 6.50, reduced_costs=100 * 550, added_costs=100 * 690, reduced_returns=100 * 22 * 40
    )
    assert budget.added_returns == 97_500
    assert budget.added_returns + budget.reduced_costs == 152_500
    assert budget.added_costs + budget.reduced_returns == 157_000
    assert budget.net == -4_500


def test_own_combine_or_custom_work() -> None:
    # Farm-management course exercise "Think Break 23": 1 % of 150 bu x 4 $ x 2,000 ac = 12,000 gained, 25 $ x 2,000 =
    # 50,000 saved, 1.249 x 25 x 2,000 = 62,450 spent: net -450 (the printed copy lost the sign).
    factor = round(1.241 + 33.026 / 4000, 3)
    budget = PartialBudget(0.01 * 150 * 4 * 2000, 25 * 2000, factor * 25 * 2000, 0)
    assert factor == 1.249
    assert budget.net == pytest.approx(-450)


def test_guidance_pays_on_300_acres(soybean: Crop) -> None:
    # Darr, Iowa State University, in Farm Industry News: 3,000 $ of guidance pay back on 300 acres a year in five
    # years; that takes 2.00 $ an acre and year.
    part = EconomicsPart(price=["10 USD/bu"], investment="3000 USD", years=5)
    found = price_gain(0.2 * soybean.kg_ha_per_bu_ac, soybean, part)
    assert found.gain_per_ac == pytest.approx(2.00)
    assert found.break_even_ac == pytest.approx(300)


def test_depreciation_of_a_tractor() -> None:
    # Edwards, Iowa State University, AgDM A3-29 (older edition): price 93,500 $, salvage 23 % of the list price of
    # 110,000 $ after 15 years, 5 % real interest. Capital recovery = 68,200 x 0.0963 + 25,300 x 0.05 = 7,833 with the
    # printed factor.
    salvage = 0.23 * 110_000
    assert salvage == pytest.approx(25_300)
    recovery = capital_recovery(93_500, salvage, 5, 15)
    assert recovery == pytest.approx(7_835.5, abs=0.5)


# ASHRAE Pocket Guide (2013), capital recovery factors: years, then 3.5, 4.5, 6, 8 and 10 %.
FACTORS = {
    2: (0.52640, 0.53400, 0.54544, 0.56077, 0.57619),
    4: (0.27225, 0.27874, 0.28859, 0.30192, 0.31547),
    6: (0.18767, 0.19388, 0.20336, 0.21632, 0.22961),
    8: (0.14548, 0.15161, 0.16104, 0.17401, 0.18744),
    10: (0.12024, 0.12638, 0.13587, 0.14903, 0.16275),
    12: (0.10348, 0.10967, 0.11928, 0.13270, 0.14676),
    14: (0.09157, 0.09782, 0.10758, 0.12130, 0.13575),
    16: (0.08268, 0.08902, 0.09895, 0.11298, 0.12782),
    18: (0.07582, 0.08224, 0.09236, 0.10670, 0.12193),
}


@pytest.mark.parametrize("years", FACTORS)
@pytest.mark.parametrize(("place", "interest_pct"), list(enumerate((3.5, 4.5, 6, 8, 10))))
def test_capital_recovery_table(years: int, place: int, interest_pct: float) -> None:
    assert capital_recovery_factor(interest_pct, years) == pytest.approx(FACTORS[years][place], abs=5.1e-6)


@pytest.mark.parametrize(
    ("years", "factor"), [(3, 0.3672), (5, 0.2310), (7, 0.1728), (8, 0.1547), (10, 0.1295), (12, 0.1128), (15, 0.0963)]
)
def test_capital_recovery_at_five_per_cent(years: int, factor: float) -> None:
    # Computed from the definition; the 15-year factor stands in AgDM A3-29.
    assert capital_recovery_factor(5, years) == pytest.approx(factor, abs=5.1e-5)


def test_an_attachment_that_pays_back_in_one_year(soybean: Crop) -> None:
    # 2.4 bu/ac at 12.62 $ are 30.29 $ an acre; 19,990 $ then come back on 660 acres in one year (common practice, no
    # source).
    part = EconomicsPart(price=["12.62 USD/bu"], investment="19990 USD", years=1, area="660 ac")
    found = price_gain(2.4 * soybean.kg_ha_per_bu_ac, soybean, part)
    assert found.gain_per_ac == pytest.approx(30.29, abs=5e-3)
    assert found.break_even_ac == pytest.approx(660, abs=0.05)
    assert found.payback_years == pytest.approx(1.0, abs=1e-4)


def test_worth_of_a_smaller_harvest_loss(soybean: Crop) -> None:
    # Michigan Farmer 9-53103: 45 bu/ac and a loss of 3 instead of 10 % gain 3.15 bu/ac, more than 41 $ an acre at
    # 13.50 $.
    part = EconomicsPart(price=["13.50 USD/bu"])
    found = price_gain(45 * 0.07 * soybean.kg_ha_per_bu_ac, soybean, part)
    assert found.budget.added_returns == pytest.approx(42.5, abs=0.1)


@pytest.mark.parametrize(
    ("moisture_pct", "lost_pct"), [(12, 1.14), (11, 2.25), (10, 3.3), (9, 4.4), (8, 5.43), (13, 0.0), (15, 0.0)]
)
def test_soybean_delivered_dry(moisture_pct: float, lost_pct: float) -> None:
    # University of Nebraska-Lincoln CropWatch 2016/2017: per cent of the yield given away below 13 % moisture.
    assert 100 * (1 - paid_share(moisture_pct, 13.0)) == pytest.approx(lost_pct, abs=0.04)


def test_sixty_bushels_at_ten_per_cent() -> None:
    # Estadt, Ohio State University 2021: 60 bu/ac delivered at 10 % instead of 13 %, 12 $: 23.98 $ an acre (exactly
    # 24.00).
    assert 60 * (1 - paid_share(10.0, 13.0)) * 12 == pytest.approx(23.98, abs=0.03)


@pytest.mark.parametrize(("acres", "cost_per_acre"), [(50, 24.0), (100, 14.0), (200, 9.0), (500, 6.0)])
def test_cost_by_acre_falls_with_use(soybean: Crop, acres: float, cost_per_acre: float) -> None:
    # Introduction to Agricultural Engineering Technology, tables 10.2 and 10.3: 1,000 $ a year to own and 4 $ an acre
    # to run. Here the machine brings in nothing, so the net loss an acre is its cost.
    part = EconomicsPart.model_validate(
        {"price": "10 USD/bu", "investment": "1000 USD", "years": 1, "area": f"{acres} ac"}
        | {"cost": {"treatment": "4 USD/ac"}}
    )
    assert price_gain(0.0, soybean, part).net_gain_per_ac == pytest.approx(-cost_per_acre)


def test_break_even_use_against_hired_work(soybean: Crop) -> None:
    # The same book: at a custom rate of 21 $ an acre owning breaks even at "about 60 acres" (exactly 58.8).
    part = EconomicsPart.model_validate(
        {"price": "10 USD/bu", "investment": "1000 USD", "years": 1, "savings": "21 USD/ac"}
        | {"cost": {"treatment": "4 USD/ac"}}
    )
    assert price_gain(0.0, soybean, part).break_even_ac == pytest.approx(58.8, abs=0.05)


def test_a_thousand_that_brings_twelve_hundred() -> None:
    # Agribusiness Management, chapter 13: 1,000 $ laid out and 1,200 $ a year later return 20 per cent.
    assert rate_of_return(Outlay(1000.0, 0.0, 1, 0.0), 1200.0) == pytest.approx(20.0)


def corn_settled(moisture_pct: float, wet_bu: float, **delivery: object) -> tuple[float, float]:
    """Give bushels paid and drying, of bushels delivered wet, on a market moisture of 15 %."""
    corn = find_crop("corn", config_folder())
    part = EconomicsPart.model_validate({"price": "3.50 USD/bu", "delivery": {"moisture_pct": 15, **delivery}})
    sold = Schedule.of(part, corn, 15.0).settle("corn", moisture_pct)
    standard_bu = wet_bu * (100 - moisture_pct) / 85
    return sold.paid * standard_bu, sold.charge * standard_bu * corn.bushel_lb * KG_PER_LB


def test_drying_charge_on_wet_bushels() -> None:
    # Iowa State University in Ohio State's allenag, 2019: 1,000 wet bu of corn at 20.5 %, 0.048 $ a wet bushel and
    # point above 15 %: 264 $.
    assert corn_settled(20.5, 1000, drying="0.048 USD/bu")[1] == pytest.approx(264.0)


def test_moisture_discount_off_the_price() -> None:
    # The same: 2 % of 3.50 $ for each of 5.5 points are 0.39 $ (0.385) a wet bushel, which leaves 3,110 $ (3,115).
    drying = corn_settled(20.5, 1000, drying="0.07 USD/bu")[1]
    assert 1000 * 3.50 - drying == pytest.approx(3110, abs=6)


def test_shrink_at_an_elevator() -> None:
    # University of Illinois farmdoc FEFO 09-16: 190 bu/ac of 15 % corn are 216 bu at 25 % (with 0.25 % of handling) and
    # 186 bu at delivery with a shrink of 1.4 a point.
    wet = 190 * 85 / 75 * 1.0025
    assert round(wet) == 216
    assert round(corn_settled(25.0, wet, shrink_pct=1.4)[0]) == 186


@pytest.mark.parametrize(("moisture_pct", "share"), [(15.0, 1.0), (20.0, 0.94)])
def test_crop_insurance_shrink(moisture_pct: float, share: float) -> None:
    # United States crop insurance shrinks corn by 1.2 a point to 15 %: 1,000 wet bu at 20 % are 940 bu.
    assert corn_settled(moisture_pct, 1000, shrink_pct=1.2)[0] == pytest.approx(1000 * share)


@pytest.mark.parametrize(("moisture_pct", "lost_bu"), [(12, 0.86), (11, 1.68), (10, 2.4), (9, 3.3), (8, 4.0)])
def test_bushels_given_away_of_seventy_five(soybean: Crop, moisture_pct: float, lost_bu: float) -> None:
    # University of Nebraska-Lincoln's table by fieldadvisor.org 2024, soybean of 75 bu/ac; it prints 2.4 and 4.0 where
    # 2.500 and 4.076 are exact.
    factor, part = soybean.kg_ha_per_bu_ac, EconomicsPart(price="9 USD/bu")
    found = price_gain(0.0, soybean, part, beside=Beside(moisture_pct=moisture_pct, control_kg_ha=75 * factor))
    control = found.delivered[1]
    assert control.given_away_bu_ac == pytest.approx(lost_bu, abs=0.11)
    assert control.given_away_per_ac == pytest.approx(9 * control.given_away_bu_ac)


def test_forty_bushels_at_nine_per_cent(soybean: Crop) -> None:
    # Ohio State University C.O.R.N. 2024-33: 40 bu/ac at 9 %, 10.14 $: "1.8 bu" and 18.25 $ an acre (exactly 1.758 bu
    # and 17.83 $: the printed sum multiplies the rounded bushels).
    part = EconomicsPart(price="10.14 USD/bu")
    known = Beside(moisture_pct=9.0, control_kg_ha=40 * soybean.kg_ha_per_bu_ac)
    control = price_gain(0.0, soybean, part, beside=known).delivered[1]
    assert round(control.given_away_bu_ac, 1) == 1.8
    assert pytest.approx(18.25, abs=5e-3) == 1.8 * 10.14
    assert control.given_away_per_ac == pytest.approx(17.83, abs=5e-3)


def test_library_example_of_a_rate_of_return() -> None:
    # numpy-financial 1.0 documents irr([-250000, 100000, 150000, 200000, 250000, 300000]) = 0.5672303344358536; here
    # the flows are even, so its own function is the reference.
    assert npf.irr([-250000, 100000, 150000, 200000, 250000, 300000]) == pytest.approx(0.5672303344358536)
    outlay = Outlay(250_000.0, 0.0, 5, 0.0)
    assert rate_of_return(outlay, 200_000.0) == pytest.approx(100 * npf.irr([-250_000, *[200_000] * 5]))
