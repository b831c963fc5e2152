"""A yield difference and a price that are both uncertain."""

import numpy as np
import pytest
from scipy import stats
from tests.stats.tables import pair_table, settings

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.config_money import Price
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import Beside, price_gain, price_treatments
from proofstrip.economics.prices import spread_price
from proofstrip.economics.spread import Belief, GainLine, Spread
from proofstrip.errors import SettingsError
from proofstrip.stats import compare_treatments

OLD = np.array([60.0, 62.0, 58.5, 61.0, 59.5, 63.0])
GAIN = np.array([2.8, 1.5, 2.4, 1.1, 2.3, 1.9])
TRIANGLE = {"low": "8 USD/bu", "likely": "10 USD/bu", "high": "15 USD/bu"}


@pytest.fixture
def soybean() -> Crop:
    return find_crop("soybean", config_folder())


def test_triangular_prices_have_the_quantiles_of_scipy(soybean: Crop) -> None:
    found = spread_price(Price.model_validate(TRIANGLE), soybean)
    own = stats.triang(c=2 / 7, loc=8, scale=7)
    bushel = 27.2155422
    chances = (np.arange(len(found.points)) + 0.5) / len(found.points)
    assert found.points * bushel == pytest.approx(own.ppf(chances), rel=1e-9)
    assert found.per_bu == pytest.approx(own.mean())


def test_normal_prices_and_seasons(soybean: Crop) -> None:
    normal = spread_price(Price.model_validate({"mean": "10 USD/bu", "sd": "1 USD/bu"}), soybean)
    assert np.array(normal.ends(0.9)) * 27.2155422 == pytest.approx(stats.norm(10, 1).ppf([0.05, 0.95]), abs=0.01)
    seasons = spread_price(Price.model_validate({"seasons": ["9 USD/bu", "12 USD/bu", "10 USD/bu"]}), soybean)
    assert seasons.points * 27.2155422 == pytest.approx([9, 10, 12])
    assert seasons.per_bu == pytest.approx(31 / 3)


@pytest.mark.parametrize(
    ("price", "said"),
    [
        ({"low": "9 USD/bu", "likely": "12 USD/bu", "high": "11 USD/bu"}, "must rise from low over likely to high"),
        ({"mean": "9 USD/bu", "sd": "4 USD/bu"}, "sd is 44 % of the mean"),
    ],
)
def test_spreads_that_cannot_be(soybean: Crop, price: dict[str, str], said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        spread_price(Price.model_validate(price), soybean)


def test_a_certain_price_leaves_the_t_interval_as_it_is(soybean: Crop) -> None:
    table = pair_table((OLD + GAIN).tolist(), OLD.tolist()).rename(columns={"yield": "yield_bu_ac"})
    comparison = compare_treatments(table, "old", settings(0.9), "yield_bu_ac")
    (found,) = price_treatments(comparison, soybean, EconomicsPart(price="10 USD/bu", cost={"new": "15 USD/ac"}))
    row = comparison.differences[0]
    assert found.gain_per_ac_low == pytest.approx(row.low * 10 - 15)
    # The chance is the t test of the difference against what it must earn: scipy on the pair differences.
    expected = stats.ttest_1samp(GAIN, 1.5, alternative="greater").pvalue
    assert found.pays_chance == pytest.approx(1 - expected, abs=1e-9)


def test_both_together_agree_with_a_million_draws(soybean: Crop) -> None:
    table = pair_table((OLD + GAIN).tolist(), OLD.tolist()).rename(columns={"yield": "yield_bu_ac"})
    comparison = compare_treatments(table, "old", settings(0.9), "yield_bu_ac")
    part = EconomicsPart(price=TRIANGLE, cost={"new": "18 USD/ac"})
    (found,) = price_treatments(comparison, soybean, part)
    rng = np.random.default_rng(4)
    se = GAIN.std(ddof=1) / np.sqrt(6)
    difference = GAIN.mean() + se * rng.standard_t(5, 1_000_000)
    gain = difference * rng.triangular(8, 10, 15, 1_000_000) - 18
    assert (found.gain_per_ac_low, found.gain_per_ac_high) == pytest.approx(np.quantile(gain, [0.05, 0.95]), abs=0.08)
    assert found.gain_chance == pytest.approx((gain > 0).mean(), abs=2e-3)
    assert found.gain_per_ac == pytest.approx(2.0 * 11 - 18)


def test_a_wider_price_makes_a_wider_answer(soybean: Crop) -> None:
    factor = soybean.kg_ha_per_bu_ac
    ends = [
        price_gain(2 * factor, soybean, EconomicsPart(price=price), factor, 3 * factor)
        for price in ("11 USD/bu", {"mean": "11 USD/bu", "sd": "1 USD/bu"}, {"mean": "11 USD/bu", "sd": "3 USD/bu"})
    ]
    widths = [one.gain_per_ac_high - one.gain_per_ac_low for one in ends]
    assert widths[0] == pytest.approx(22) and widths == sorted(widths)
    assert ends[2].break_even_difference_kg_ha_low is not None


def test_an_uneven_interval_keeps_its_ends() -> None:
    belief = Belief.of_interval(Spread(10.0, 4.0, 30.0), 0.9, np.inf)
    assert (belief.quantile(0.05), belief.quantile(0.5), belief.quantile(0.95)) == pytest.approx((4.0, 10.0, 30.0))
    assert belief.below_chance(np.array([4.0, 10.0, 30.0])) == pytest.approx([0.05, 0.5, 0.95])


def test_the_interval_holds_the_share_it_says() -> None:
    line = GainLine(np.array([0.2, 0.3, 0.5]), np.array([-3.0, -2.0, -4.0]))
    belief = Belief(100.0, 20.0, 20.0, 7.0)
    low, high = line.interval(belief, 0.8)
    assert line.chance_above(low, belief) == pytest.approx(0.9)
    assert line.chance_above(high, belief) == pytest.approx(0.1)


@pytest.mark.parametrize("confidence", [0.6, 0.9, 0.999999])
def test_a_difference_without_scatter_leaves_the_spread_of_the_price(soybean: Crop, confidence: float) -> None:
    factor, part = soybean.kg_ha_per_bu_ac, EconomicsPart(price={"mean": "10 USD/bu", "sd": "1 USD/bu"})
    found = price_gain(factor, soybean, part, factor, factor, Beside(confidence))
    wanted = stats.norm(10, 1).ppf([max((1 - confidence) / 2, 1 / 800), min((1 + confidence) / 2, 799 / 800)])
    assert (found.gain_per_ac_low, found.gain_per_ac_high) == pytest.approx(wanted, abs=0.02)


def test_confidence_of_a_known_gain_moves_its_chance(soybean: Crop) -> None:
    factor, part = soybean.kg_ha_per_bu_ac, EconomicsPart(price="10 USD/bu")
    wide, narrow = (
        price_gain(factor, soybean, part, 0.0, 2 * factor, Beside(confidence)).gain_chance for confidence in (0.9, 0.5)
    )
    assert (wide, narrow) == pytest.approx((0.95, 0.75))
