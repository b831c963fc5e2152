"""One set of prices for all trials."""

from pathlib import Path

import pytest

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import load_crops
from proofstrip.errors import SettingsError
from proofstrip.pool.answer import PoolSettings, pool_sites, site_word
from proofstrip.pool.prices import Prices, price_pooled, price_sites
from proofstrip.pool.sites import SiteList

SOYBEAN = load_crops(config_folder())["soybean"]
BUSHEL = (
    67.2511  # kg/ha in one bu/ac of 60 lb: University of Nebraska, CropWatch (Dorn 2009), with 1 lb = 0.45359237 kg
)


def price(sites, **other):
    """Price sites at 10 USD a bushel, lifters costing 2.50 USD an acre."""
    part = {"price": "10 USD/bu", "cost": {"Lifters": "2.50 USD/ac"}} | other
    prices = Prices(EconomicsPart.model_validate(part), SOYBEAN, Path("prices.toml"))
    return price_sites(SiteList(tuple(sites)), prices).sites


def test_gain_is_yield_times_price_less_cost(make_site, make_money) -> None:
    own = make_money(99.0, currency="CAD")
    (site,) = price([make_site(1, difference_kg_ha=2 * BUSHEL, se_kg_ha=0.5 * BUSHEL, money=own, verdict="pays")])
    assert site.money is not None
    assert (site.money.currency, site.money.outlay) == ("USD", "none")
    assert site.money.gain_per_ac == pytest.approx(2 * 10 - 2.50, rel=1e-5)
    assert site.money.se_per_ac == pytest.approx(0.5 * 10, rel=1e-5)
    assert site_word(site, 0.90) == "pays"  # 17.50 is 3.5 standard errors of 5 above zero, t(5) of 90 % is 2.015


def test_outlay_is_spread_over_the_area(make_site) -> None:
    outlay = {"investment": "9000 USD", "years": 3, "area": "300 ac"}
    (site,) = price([make_site(1, difference_kg_ha=2 * BUSHEL, se_kg_ha=BUSHEL)], **outlay)
    assert site.money is not None
    assert (site.money.outlay, site.money.gain_per_ac) == ("included", pytest.approx(17.50 - 10.0, rel=1e-5))
    (before,) = price([make_site(1, difference_kg_ha=2 * BUSHEL, se_kg_ha=BUSHEL)], investment="9000 USD")
    assert before.money is not None
    assert (before.money.outlay, before.money.gain_per_ac) == ("before", pytest.approx(17.50, rel=1e-5))


def test_site_without_a_yield_loses_its_own_prices(make_site, make_money) -> None:
    (site,) = price([make_site(1, money=make_money(20.0))])
    assert site.money is None


def test_cost_of_a_treatment_that_no_trial_has_is_refused(make_site) -> None:
    with pytest.raises(SettingsError, match=r"names 'lifter'; the pooled trials have 'lifters', 'plain header'"):
        price([make_site(1)], cost={"lifter": "2.50 USD/ac"})


def test_pooled_yield_has_its_break_even_acres(make_site) -> None:
    outlay = {"investment": "9000 USD", "years": 3, "area": "300 ac"}
    prices = Prices(EconomicsPart.model_validate({"price": "10 USD/bu"} | outlay), SOYBEAN, Path("prices.toml"))
    sites = [make_site(n, difference_kg_ha=n * BUSHEL, se_kg_ha=0.2 * BUSHEL) for n in (1, 2, 3)]
    named = price_sites(SiteList(tuple(sites)), prices)
    (answer,) = price_pooled(pool_sites(named, PoolSettings(0.90, 0.80)), prices).answers
    assert answer.payback is not None
    assert answer.money is not None
    # 2 bu/ac at 10 USD earn 20 USD an acre: 9,000 USD in 3 years need 150 acres; on 300 acres it takes 1.5 years.
    assert answer.payback.break_even_ac == pytest.approx(150, rel=1e-4)
    assert answer.payback.payback_years == pytest.approx(1.5, rel=1e-4)
    assert answer.payback.net_gain_per_ac == pytest.approx(answer.money.estimate)
    assert answer.payback.net_gain_per_ac_low == pytest.approx(answer.money.low)
