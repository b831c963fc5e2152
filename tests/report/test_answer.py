"""The first screen: chances before luck, losses called losses, and an answer that moves said in the first paragraph."""

from typing import Any

import pytest

from proofstrip.report.answer import chances_of, give_answer, pay_back_sentence
from proofstrip.report.words import make_units

US = make_units("us", 62.7677)  # kg/ha in a bushel of 56 lb an acre: 56 x 0.45359237 / 0.40468564


def difference(treatment: str, gap: float) -> dict[str, Any]:
    return {
        "treatment": treatment, "control": "old", "pairs": 5, "difference_kg_ha": gap, "low_kg_ha": gap - 60.0,
        "high_kg_ha": gap + 60.0, "confidence": 0.9, "p_value": 0.012,
    }  # fmt: skip


def money(treatment: str, gain: float, **more: Any) -> dict[str, Any]:
    return {
        "treatment": treatment, "currency": "USD", "gain_per_ac": gain, "gain_per_ac_low": gain - 5.0,
        "gain_per_ac_high": gain + 5.0, "price_per_t": 169.28, "price_per_bu": 4.30, **more,
    }  # fmt: skip


def result(*gains: float, sentence: str = "It stands so.", **more: Any) -> dict[str, Any]:
    names = [f"new {place}" for place in range(len(gains))]
    return {
        "verdict": {"word": "pays", "sentence": sentence},
        "treatments": [{"treatment": name, "strips": 5, "mean_kg_ha": 12000.0} for name in ("old", *names)],
        "differences": [difference(name, 200.0) for name in names],
        "economics": [money(name, gain) for name, gain in zip(names, gains, strict=True)],
        "probability": [{"treatment": name, "above_zero": 0.99, "above_break_even": 0.93} for name in names],
        **more,
    }


def test_money_and_chance_stand_in_words_with_the_price() -> None:
    yields, sure, worth = give_answer(result(-12.5), US).facts
    assert (sure.value, worth.value) == ("93 in 100 that it pays", "Loses 12.50\N{NO-BREAK SPACE}USD an acre")
    assert worth.text == "Margin of error: 7.50 to 17.50 USD. Priced at 4.30 USD a bushel."
    assert sure.text.startswith("Five pairs of strips.")
    assert yields.text.endswith("Margin of error: +2.2 to +4.1 bu/ac.")


def test_a_table_of_several_says_gain_loss_and_neither() -> None:
    table = give_answer(result(-12.5, 2.0, 20.0), US).table
    assert table is not None
    assert table.head[2:] == ("Chance that it pays", "Money, an acre")
    cells = [row[3].replace("\N{NO-BREAK SPACE}", " ") for row in table.rows]
    assert cells == [
        "Loses 12.50 USD<br>(7.50 to 17.50 USD)",
        "Earns 2.00 USD<br>(a loss of 3.00 to a gain of 7.00 USD)",
        "Earns 20.00 USD<br>(15.00 to 25.00 USD)",
    ]


@pytest.mark.parametrize(
    ("failed", "said"),
    [
        ((), ""),
        (("other_choices",), "on how the data was taken"),
        (("one_block_left_out",), "on one part of the field"),
        (("other_choices", "one_block_left_out"), "on how the data was taken and on one part of the field"),
    ],
)
def test_the_first_paragraph_says_that_the_answer_moves(failed: tuple[str, ...], said: str) -> None:
    checks = [{"name": name, "passed": False, "note": f"{name} moves it."} for name in failed]
    answer = give_answer(result(20.0, checks=checks), US)
    assert answer.sentence == "It stands so." + (f" The answer hangs {said}: see below." if said else "")
    assert len(answer.flags) == len(failed)


def test_the_first_paragraph_says_which_answer_moves() -> None:
    note = "With spikes left in, the money answer for new 0 changes from “it pays” to “not settled”."
    check = {"name": "other_choices", "passed": False, "note": note}
    said = " The yield answer stands either way; the money answer hangs on how the data was taken: see below."
    assert give_answer(result(20.0, checks=[check]), US).sentence.endswith(said)
    several = result(20.0, -9.0, checks=[{**check, "note": note.replace("money answer", "yield answer")}])
    assert give_answer(several, US).sentence.endswith(
        " The answer for new 0 hangs on how the data was taken: see below."
    )


def test_without_prices_the_chance_is_of_more_yield() -> None:
    bare = result(20.0, economics=[], probability=[{"treatment": "new 0", "above_zero": 0.99}])
    assert chances_of(bare) == ("yields more", {"new 0": "99 in 100"})
    assert chances_of({**bare, "verdict": {"word": "refused", "sentence": "No answer."}}) == ("", {})


def test_acres_that_pay_back_have_two_ends_and_a_grey_zone() -> None:
    ends = {"break_even_ac": 385.0, "break_even_ac_low": 257.0, "break_even_ac_high": 773.0, "years": 3}
    assert pay_back_sentence(money("new", 20.0, payback_years=0.84, **ends), US) == (
        "It pays back within 3 years on about 385 acres a year. Under 257 it most likely does not, over 773 it most "
        "likely does; between them it is uncertain. On this farm the outlay is back in 0.8 years."
    )
    assert pay_back_sentence(money("new", -1.0), US) == "At these prices it loses money on every acre."
