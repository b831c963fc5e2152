"""The answer under other choices, in yield and in money."""

import numpy as np
import pytest

from proofstrip.choice_answers import find_choice_moves, price_choices
from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import find_crop
from proofstrip.economics import price_blocks, price_treatments
from proofstrip.sensitivity import Alternative
from proofstrip.stats import compare_treatments
from proofstrip.stats.moves import Answers, check_blocks
from tests.stats.tables import pair_table, settings

OLD = np.array([4000.0, 4100.0, 3950.0, 4050.0, 4020.0, 4080.0])
SCATTER = np.array([40.0, -25.0, 20.0, -45.0, 15.0, -5.0])
SOYBEAN = find_crop("soybean", config_folder())


def compare(gain, scatter=SCATTER):
    table = pair_table((OLD + gain + scatter).tolist(), OLD.tolist()).rename(columns={"yield": "yield_kg_ha"})
    return compare_treatments(table, "old", settings(0.9), "yield_kg_ha")


def price_at(cost):
    part = EconomicsPart(price="400 USD/t", cost={"new": f"{cost} USD/ha"})
    return lambda other: price_treatments(other, SOYBEAN, part)


def other(low, high, moves=False):
    middle = (low + high) / 2
    return Alternative("No cleaning", "", "new", middle, low, high, 1.0, moves, said="without any cleaning", df=5.0)


def test_money_moves_where_the_yield_answer_stays() -> None:
    # 100 kg/ha at 0.40 USD/kg earns 40 USD/ha and costs 25: it pays from 62.5 kg/ha on.
    headline = compare(100.0)
    row = headline.differences[0]
    assert row.low > 62.5
    (priced,) = price_choices((other(30.0, 120.0),), headline, price_at(25))
    assert (priced.money_before, priced.money) == ("pays", "not_settled")
    (move,) = find_choice_moves((priced,), headline)
    assert (move.before, move.after) == (Answers("higher", "pays"), Answers("higher", "not_settled"))


def test_nothing_moves_where_the_other_interval_lies_on_the_same_side() -> None:
    headline = compare(100.0)
    priced = price_choices((other(70.0, 130.0),), headline, price_at(25))
    assert find_choice_moves(priced, headline) == ()
    assert find_choice_moves((), headline) is None


def test_a_choice_without_an_answer_moves_it() -> None:
    headline = compare(100.0)
    lost = Alternative("No cleaning", "no answer: empty", "new", None, None, None, None, True, said="without cleaning")
    (move,) = find_choice_moves(price_choices((lost,), headline, price_at(25)), headline)
    assert move.after == Answers("refused", "refused")


def test_without_prices_only_the_yield_answer_counts() -> None:
    headline = compare(100.0)
    (move,) = find_choice_moves((other(-20.0, 120.0, moves=True),), headline)
    assert (move.before, move.after) == (Answers("higher"), Answers("not_settled"))


@pytest.mark.parametrize(("cost", "passed"), [(0, True), (32, False)])
def test_one_block_can_turn_the_money_and_leave_the_yield(cost, passed) -> None:
    # Without the block at +220 the mean falls from 120 to 100 kg/ha; 32 USD/ha need 80 kg/ha.
    headline = compare(100.0, np.array([0.0, 20.0, -20.0, 15.0, -15.0, 120.0]))
    check = check_blocks(headline.differences, price_blocks(headline, price_at(cost)))
    assert check.passed is passed
    assert check_blocks(headline.differences).passed
