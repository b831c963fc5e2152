"""The rate that pays best, and what being wrong costs, through the money part of a trial."""

import numpy as np
import pandas as pd
import pytest
from tests.stats.tables import settings

from proofstrip.config import EconomicsPart
from proofstrip.economics import price_rates, price_treatments
from proofstrip.stats import compare_treatments
from proofstrip.stats.probability import find_posterior, give_probabilities

NAMES = ["26,000 seeds/ac", "32,000 seeds/ac", "38,000 seeds/ac"]
ROWS = [[182.0, 191.5, 193.2], [180.5, 190.2, 192.8], [184.1, 192.9, 193.9], [181.2, 189.8, 191.1]]


def compare(names=NAMES):
    """Compare three seeding rates in four blocks, bushels an acre."""
    rows = [
        {"strip": f"{block}-{name}", "block": block, "treatment": name, "yield_bu_ac": value}
        for block, values in enumerate(ROWS)
        for name, value in zip(names, values, strict=True)
    ]
    return compare_treatments(pd.DataFrame(rows), names[1], settings(0.9), "yield_bu_ac")


def economics(*costs: float) -> EconomicsPart:
    """Give corn at 4.30 USD a bushel, and a cost for each rate."""
    named = {name: f"{cost} USD/ac" for name, cost in zip(NAMES, costs, strict=False)}
    return EconomicsPart.model_validate({"price": "4.30 USD/bu", "cost": named})


def test_the_best_rate_is_where_a_seed_more_earns_what_it_costs(make_settings):
    crop = make_settings(crop="corn").trial.crop
    best = price_rates(compare(), crop, economics(91.0, 112.0, 133.0)).dose.pays_best
    means = np.mean(ROWS, axis=0)
    doses = np.array([26000.0, 32000, 38000])
    net = np.polyfit(doses, 4.30 * means - 0.0035 * doses, 2)
    assert best.dose == pytest.approx(-net[1] / (2 * net[0]), rel=1e-6)
    assert best.gain == pytest.approx(np.polyval(net, best.dose) - np.polyval(net, 32000), abs=1e-6)
    assert 26000 < best.low < best.dose < best.high < 38000


@pytest.mark.parametrize(("costs", "why"), [((), "the rates have no cost"), ((91, 140, 133), "do not go up evenly")])
def test_why_no_rate_is_named(make_settings, costs, why):
    found = price_rates(compare(), make_settings(crop="corn").trial.crop, economics(*costs))
    assert found.dose.pays_best is None
    assert why in found.warnings[-1].message


def test_names_that_are_no_rates_are_left_alone(make_settings):
    found = compare(["thin", "usual", "thick"])
    assert price_rates(found, make_settings(crop="corn").trial.crop, economics()) is found


def test_chances_and_losses_go_by_the_break_even_of_the_money(make_settings):
    # The same posterior drawn 400,000 times and priced draw by draw.
    comparison, crop = compare(), make_settings(crop="corn").trial.crop
    paybacks = price_treatments(comparison, crop, economics(91.0, 112.0, 133.0))
    row = give_probabilities(comparison, paybacks, settings())[1]
    own = comparison.differences[1]
    posterior = find_posterior(own.log_ratio, own.se_log_ratio, own.sd_log_ratio, own.df_log_ratio, settings())
    rng = np.random.default_rng(1)
    place = rng.choice(len(posterior.weights), 400_000, p=posterior.weights)
    effect = rng.normal(posterior.means[place], posterior.sds[place])
    control = np.mean(ROWS, axis=0)[1]
    net = 4.30 * control * np.expm1(effect) - 21.0
    assert row.break_even_pct == pytest.approx(100 * 21.0 / 4.30 / control)
    assert row.above_break_even == pytest.approx((net > 0).mean(), abs=3e-3)
    assert row.loss_if_adopted_per_ac == pytest.approx(np.maximum(-net, 0).mean(), rel=5e-3)
    assert row.loss_if_left_per_ac == pytest.approx(np.maximum(net, 0).mean(), rel=0.1, abs=0.01)
