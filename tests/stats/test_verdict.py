"""The word and the sentence."""

import numpy as np
import pytest
from tests.stats.tables import block_table, loose_table, pair_table, settings

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import Payback, price_rates, price_treatments
from proofstrip.stats import Check, Comparison, compare_treatments
from proofstrip.stats.probability import give_probabilities
from proofstrip.stats.remarks import tell_odds
from proofstrip.stats.verdict import give_verdict, more_pairs
from proofstrip.stats.wording import YieldUnit

OLD = np.array([60.0, 62.0, 58.5, 61.0, 59.5, 63.0])
SCATTER = np.array([0.8, -0.5, 0.4, -0.9, 0.3, -0.1])


@pytest.fixture
def soybean() -> Crop:
    return find_crop("soybean", config_folder())


def compare_with(gain: float, confidence: float = 0.90) -> Comparison:
    """Six pairs in bu/ac whose mean difference is ``gain``."""
    table = pair_table((OLD + gain + SCATTER).tolist(), OLD.tolist()).rename(columns={"yield": "yield_bu_ac"})
    return compare_treatments(table, "old", settings(confidence), "yield_bu_ac")


def price(comparison: Comparison, crop: Crop, **part: object) -> tuple[Payback, ...]:
    return price_treatments(comparison, crop, EconomicsPart(**{"price": ["10 USD/bu"], **part}))


def test_higher() -> None:
    verdict = give_verdict(compare_with(2.0))
    assert verdict.word == "higher"
    assert verdict.sentence.startswith(
        "With new, it yields 2.0 bu/ac more than old (margin of error, right 9 times in 10: +1.5 to +2.5 bu/ac; 6 "
        "pairs)."
    )


def test_lower() -> None:
    verdict = give_verdict(compare_with(-2.0))
    assert verdict.word == "lower"
    assert "2.0 bu/ac less than old" in verdict.sentence


def test_not_settled_says_how_many_more_pairs() -> None:
    comparison = compare_with(0.4)
    more = more_pairs(comparison.differences[0], comparison, 0.4)
    verdict = give_verdict(comparison)
    assert verdict.word == "not_settled"
    assert f"about {more} more pairs would settle it with a chance of 80 %" in verdict.sentence


def test_more_pairs_would_indeed_settle_it() -> None:
    # With that many pairs of the same scatter and the true difference as observed, about 80 % of trials are settled.
    comparison = compare_with(0.4)
    row = comparison.differences[0]
    more = more_pairs(row, comparison, row.difference)
    assert more is not None
    pairs = 6 + more
    rng = np.random.default_rng(7)
    differences = rng.normal(row.difference, row.se * np.sqrt(6), size=(4000, pairs))
    half = 1.0 * differences.std(axis=1, ddof=1) / np.sqrt(pairs)
    from scipy.special import stdtrit

    settled = np.abs(differences.mean(axis=1)) > -stdtrit(pairs - 1, 0.05) * half
    assert settled.mean() == pytest.approx(0.80, abs=0.03)


def test_practically_even() -> None:
    verdict = give_verdict(compare_with(0.01))
    assert verdict.word == "not_settled"
    assert "for practical purposes the two come out even" in verdict.sentence


def test_pays(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    verdict = give_verdict(comparison, price(comparison, soybean, investment="9000 USD", area="900 ac"))
    assert verdict.word == "pays"
    assert verdict.sentence.startswith(
        "With new, it pays: it earns 10.00 USD an acre a year after its share of the outlay ("
    )
    assert (
        "The outlay of 9,000 USD, spread over one year, takes 10.00 USD an acre on 900 acres a year."
        in verdict.sentence
    )
    assert "Priced at 10.00 USD a bushel." in verdict.sentence


def test_the_share_of_the_outlay_is_the_annuity_of_its_years(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    part = {"investment": "9000 USD", "area": "900 ac", "years": 3, "interest_pct": 7}
    said = give_verdict(comparison, price(comparison, soybean, **part), crop="soybean").sentence
    # Annuity of 9,000 over 3 years at 7 %: 9000 x 0.07 / (1 - 1.07^-3) = 3,429.46 a year, on 900 acres 3.81.
    assert "spread over 3 years with 7 % interest, takes 3.81 USD an acre on 900 acres a year" in said
    assert "It pays back within 3 years on about 171 acres of soybean a year. Under 1" in said


def test_a_loss_is_called_a_loss(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    sentence = give_verdict(comparison, price(comparison, soybean, cost={"new": "30 USD/ac"})).sentence
    assert sentence.startswith(
        "With new, it does not pay: it loses 10.00 USD an acre (margin of error, right 9 times in"
    )
    assert "\N{MINUS SIGN}" not in sentence


def test_yields_more_and_does_not_pay(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    verdict = give_verdict(comparison, price(comparison, soybean, cost={"new": "30 USD/ac"}))
    assert give_verdict(comparison).word == "higher"
    assert verdict.word == "does_not_pay"
    assert "it loses 10.00 USD an acre" in verdict.sentence


def test_whether_it_pays_is_not_settled(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    priced = price(comparison, soybean, cost={"new": "18 USD/ac"})
    verdict = give_verdict(comparison, priced)
    assert verdict.word == "not_settled"
    # What it must be told apart from is the difference at which it breaks even: 1.8 bu/ac.
    more = more_pairs(comparison.differences[0], comparison, 0.2)
    assert f"about {more} more pairs" in verdict.sentence


def test_without_an_area_the_acres_are_said(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    verdict = give_verdict(comparison, price(comparison, soybean, investment="9000 USD"))
    assert "a year before the outlay" in verdict.sentence
    # 9,000 USD over the ends of the gain, 14.85 and 25.15 USD an acre.
    assert (
        "It pays back within one year on about 450 acres a year. Under 358 it most likely does not, over 606 it most "
        "likely does; between them it is uncertain." in verdict.sentence
    )


def test_metric(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    priced = price(comparison, soybean, investment="9000 USD", area="900 ac")
    sentence = give_verdict(comparison, priced, units="metric", kg_ha_per_bu_ac=soybean.kg_ha_per_bu_ac).sentence
    assert "24.71 USD a hectare" in sentence
    assert "135 kg/ha more than old" in sentence
    assert "hectares a year" in sentence
    assert "Priced at 367 USD a tonne." in sentence
    assert "bu/ac" not in sentence
    assert "acre" not in sentence


def test_kilograms_are_said_in_bushels_for_us_readers(soybean: Crop) -> None:
    factor = soybean.kg_ha_per_bu_ac
    table = pair_table(((OLD + 2.0 + SCATTER) * factor).tolist(), (OLD * factor).tolist())
    table = table.rename(columns={"yield": "yield_kg_ha"})
    comparison = compare_treatments(table, "old", settings(0.9))
    assert "2.0 bu/ac more" in give_verdict(comparison, kg_ha_per_bu_ac=factor).sentence
    assert "120 lb/ac more" in give_verdict(comparison).sentence
    assert "135 kg/ha more" in give_verdict(comparison, units="metric").sentence


def test_unreplicated_is_refused() -> None:
    verdict = give_verdict(compare_treatments(loose_table(old=[60.0], new=[63.0]), "old", settings(), "yield"))
    assert verdict.word == "refused"
    assert "two or more strips of each treatment" in verdict.sentence


def test_a_forbidding_check_of_another_stage_refuses() -> None:
    check = Check("machine_by_treatment", False, 1.0, "shared", "Each treatment had its own combine.", forbids=True)
    verdict = give_verdict(compare_with(2.0), checks=[check])
    assert verdict.word == "refused"
    assert "Each treatment had its own combine." in verdict.sentence


def test_a_failed_check_that_only_warns_does_not_refuse() -> None:
    check = Check("speed", False, 1.0, "3 %", "One treatment was driven faster.")
    assert give_verdict(compare_with(2.0), checks=[check]).word == "higher"


def test_fragile_is_said_in_the_answer() -> None:
    new = OLD + np.array([1.0, 1.2, 0.9, 1.1, 0.8, -1.2])
    comparison = compare_treatments(pair_table(new.tolist(), OLD.tolist()), "old", settings(), "yield")
    assert "Leave out one part of the field (block 6)" in give_verdict(comparison).sentence


def test_several_treatments_are_said_in_groups() -> None:
    rng = np.random.default_rng(9)
    rows = (rng.normal(60, 2, size=(6, 1)) + rng.normal(0, 0.7, size=(6, 4)) + np.array([0, 3.0, 0.4, -3.0])).tolist()
    names = ["old", "good", "same", "bad"]
    comparison = compare_treatments(block_table(names, rows), "old", settings(0.9), "yield")
    verdict = give_verdict(comparison)
    assert verdict.word == "higher"
    for part in ("it yields more with good (", "it is not settled for same (", "it yields less with bad ("):
        assert part in verdict.sentence
    assert "more blocks would settle it" in verdict.sentence or "come out even" in verdict.sentence


def test_several_treatments_of_which_none_pays(soybean: Crop) -> None:
    rng = np.random.default_rng(9)
    rows = (rng.normal(60, 2, size=(6, 1)) + rng.normal(0, 0.7, size=(6, 3)) + np.array([0, -4.0, -3.0])).tolist()
    table = block_table(["old", "a", "b"], rows).rename(columns={"yield": "yield_bu_ac"})
    comparison = compare_treatments(table, "old", settings(0.9), "yield_bu_ac")
    assert give_verdict(comparison, price(comparison, soybean)).word == "does_not_pay"


def test_strips_without_blocks_ask_for_strips() -> None:
    comparison = compare_treatments(
        loose_table(old=OLD.tolist(), new=(OLD + 0.8 + SCATTER).tolist()), "old", settings(0.9), "yield"
    )
    assert "more strips of each treatment would settle it" in give_verdict(comparison).sentence


def test_of_rates_the_answer_opens_with_the_rate_that_pays_best() -> None:
    corn = find_crop("corn", config_folder())
    names = ["32,000 seeds/ac", "26,000 seeds/ac", "38,000 seeds/ac"]
    rows = [[191.5, 182.0, 193.2], [190.2, 180.5, 192.8], [192.9, 184.1, 193.9], [189.8, 181.2, 191.1]]
    table = block_table(names, rows).rename(columns={"yield": "yield_bu_ac"})
    cost = dict(zip(names, ("112 USD/ac", "91 USD/ac", "133 USD/ac"), strict=True))
    part = EconomicsPart(price="4.30 USD/bu", cost=cost)
    comparison = price_rates(compare_treatments(table, names[0], settings(0.9), "yield_bu_ac"), corn, part)
    said = give_verdict(comparison, price_treatments(comparison, corn, part), units="us").sentence
    first, second, third = said.split(". ")[:3]
    assert first == "No rate clearly beats staying at 32,000 seeds/ac"
    assert second.startswith("The best by the curve is about 3")
    assert "worked out between the rates planted" in second
    assert "an acre more, too little to tell apart" in second
    assert third.startswith("Against 32,000 seeds/ac, ")
    assert "26,000 seeds/ac loses " in third and "(margin of error: " in third


def test_the_odds_are_said_in_plain_sentences() -> None:
    (row,) = give_probabilities(compare_with(2.0), (), settings())
    said = tell_odds(row, "old", YieldUnit("bu/ac", 1.0, 1))
    assert "With new, the chance of more yield than with old is more than 99 in 100." in said
    assert "In another year the chance that it yields more is" in said
    assert max(len(sentence) for sentence in said.split(". ")) < 100


def test_what_pays_only_over_its_life_is_said(soybean: Crop) -> None:
    comparison = compare_with(2.0)
    part = {"investment": "19000 USD", "area": "600 ac", "years": 1, "life_years": 8, "interest_pct": 5}
    verdict = give_verdict(comparison, price(comparison, soybean, **part))
    assert verdict.word == "does_not_pay"
    assert "Over its life of 8 years it comes out ahead, by " in verdict.sentence
    silent = give_verdict(comparison, price(comparison, soybean, **{**part, "life_years": None}))
    assert "Over its life" not in silent.sentence
