"""The answer in one word and one sentence, by a rule simple enough to print beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from proofstrip.stats.power import MOST_PAIRS, pairs_needed
from proofstrip.stats.remarks import tell_best
from proofstrip.stats.results import Check, Comparison, Difference
from proofstrip.stats.wording import YieldUnit, choose_unit, list_words, say_money, say_years
from proofstrip.units import HA_PER_ACRE

if TYPE_CHECKING:
    from proofstrip.economics import Payback

Word = Literal["pays", "does_not_pay", "higher", "lower", "not_settled", "refused"]
Ends = tuple[float | None, float | None]


@dataclass(frozen=True)
class Verdict:
    """The answer.

    Attributes
    ----------
    word : str
        pays, does_not_pay, higher, lower, not_settled or refused. Of several treatments the best word that one of them
        earned.
    sentence : str
        For a grower.
    """

    word: Word
    sentence: str


def give_verdict(
    comparison: Comparison,
    paybacks: Sequence[Payback] = (),
    checks: Sequence[Check] = (),
    units: str = "us",
    kg_ha_per_bu_ac: float | None = None,
) -> Verdict:
    """Give the answer of a trial.

    Parameters
    ----------
    comparison : Comparison
    paybacks : sequence of Payback
        Empty without prices.
    checks : sequence of Check
        Of other stages, beside the comparison's own; one that forbids and failed refuses the answer.
    units : str
        ``us`` or ``metric``.
    kg_ha_per_bu_ac : float, optional
        Of the crop; without it US yields are said in lb/ac.

    Returns
    -------
    Verdict
    """
    forbidding = [check for check in (*comparison.checks, *checks) if check.forbids and check.passed is False]
    if forbidding:
        return Verdict("refused", "No answer. " + " ".join(check.note for check in forbidding))
    unit = choose_unit(comparison.unit, units, kg_ha_per_bu_ac)
    priced = {payback.treatment: payback for payback in paybacks}
    order = sorted(comparison.differences, key=lambda row: -_height(row, priced))
    words = [_word(row, priced.get(row.treatment)) for row in order]
    for word in ("pays", "higher", "not_settled", "does_not_pay", "lower", "refused"):
        if word in words:
            break
    if comparison.dose is not None and comparison.dose.pays_best is not None:
        sentences = [tell_best(comparison.dose, unit), *_rate_sentences(order, words, comparison, priced, unit)]
    elif len(order) == 1:
        sentences = [_sentence(order[0], words[0], comparison, priced.get(order[0].treatment), unit)]
    else:
        sentences = _group_sentences(order, words, comparison, priced, unit)
    return Verdict(word, " ".join([*sentences, *_warn_fragile(comparison)]))


def _height(row: Difference, priced: dict[str, Payback]) -> float:
    """Give what treatments are ranked by: the net gain, or the yield difference."""
    payback = priced.get(row.treatment)
    return row.difference if payback is None else payback.net_gain_per_ac


def _word(row: Difference, payback: Payback | None) -> Word:
    """Apply the rule to one treatment."""
    if row.low is None or row.high is None:
        return "refused"
    money = None if payback is None else (payback.net_gain_per_ac_low, payback.net_gain_per_ac_high)
    return judge((row.low, row.high), money)


def judge(difference: Ends, money: Ends | None = None) -> Word:
    """Give the answer by the one rule: the whole interval on one side of zero, of the money where it is known.

    Parameters
    ----------
    difference, money : tuple of float or None
        Ends of the interval of the yield difference, in any unit, and of the net gain.

    Returns
    -------
    str
        refused where neither has an interval.

    Examples
    --------
    >>> judge((1.0, 3.0)), judge((1.0, 3.0), (-2.0, 5.0)), judge((1.0, 3.0), (None, None)), judge((None, None))
    ('higher', 'not_settled', 'higher', 'refused')
    """
    words: tuple[Word, Word] = ("pays", "does_not_pay")
    low, high = money or (None, None)
    if low is None or high is None:
        (low, high), words = difference, ("higher", "lower")
    if low is None or high is None:
        return "refused"
    return words[0] if low > 0 else words[1] if high < 0 else "not_settled"


def _sentence(row: Difference, word: Word, comparison: Comparison, payback: Payback | None, unit: YieldUnit) -> str:
    """Say the answer about one treatment in full."""
    if row.low is None or row.high is None:
        return f"{row.treatment} stands on one strip, and one strip cannot be told apart from its piece of ground."
    sureness = f"{100 * row.confidence:.0f} % interval"
    span = f"({sureness} {unit.span(row.low, row.high)}, {_replicates(row, comparison)})"
    if payback is None:
        if word == "not_settled":
            return (
                f"The trial does not settle whether {row.treatment} yields more or less than {row.control}: "
                f"{unit.say(row.difference, sign=True)} {span}. {_more_needed(row, comparison, row.difference, unit)}"
            )
        more = "more" if word == "higher" else "less"
        return f"{row.treatment} yields {unit.say(abs(row.difference))} {more} than {row.control} {span}."
    yields = f"It yields {unit.say(row.difference, sign=True)} against {row.control} {span}."
    gain = _say_gain(payback, unit, sureness)
    if word == "not_settled":
        short = row.difference - _break_even(payback, comparison, unit)
        needed = _more_needed(row, comparison, short, unit)
        return f"The trial does not settle whether {row.treatment} pays: {gain}.{_say_life(payback)} {yields} {needed}"
    if word == "pays":
        return f"{row.treatment} pays: {gain}.{_say_acres(payback, unit)} {yields}"
    return f"{row.treatment} does not pay: {gain}.{_say_life(payback)} {yields}"


def _replicates(row: Difference, comparison: Comparison) -> str:
    """Say what the comparison rests on."""
    if row.pairs is not None:
        return f"{row.pairs} {'pairs' if comparison.design == 'paired' else 'blocks'}"
    strips = {summary.treatment: summary.strips for summary in comparison.treatments}
    return f"{strips[row.treatment]} strips against {strips[row.control]}"


def _area_word(unit: YieldUnit) -> str:
    """Say acre or hectare, as the yields do."""
    return "ha" if unit.label.endswith("ha") else "ac"


def _say_gain(payback: Payback, unit: YieldUnit, sureness: str) -> str:
    """Say the net gain and its interval an acre or a hectare."""
    metric = _area_word(unit) == "ha"
    value, low, high = (
        (payback.net_gain_per_ha, payback.net_gain_per_ha_low, payback.net_gain_per_ha_high)
        if metric
        else (payback.net_gain_per_ac, payback.net_gain_per_ac_low, payback.net_gain_per_ac_high)
    )
    area = payback.area_ac
    after = " before the investment" if payback.investment > 0 and area is None else ""
    if payback.investment > 0 and area is not None:
        shown = area * HA_PER_ACRE if metric else area
        after = (
            f" after the {say_money(payback.investment, payback.currency)} are spread over {shown:,.0f} "
            f"{'ha' if metric else 'acres'} a year for {say_years(payback.years)}"
            + ("" if payback.years_given else " (no pay-back time was given)")
        )
    verb = "it earns" if value >= 0 else "it loses"
    span = f"{say_money(low or 0.0, payback.currency)} to {say_money(high or 0.0, payback.currency)}"
    place = "a hectare" if metric else "an acre"
    return f"{verb} {say_money(abs(value), payback.currency)} {place}{after} ({sureness} {span})"


def _say_life(payback: Payback) -> str:
    """Say that it comes out ahead over its life, where only the pay-back time that was asked for is too short."""
    life = payback.life
    if life is None or life.npv_low is None or life.npv_high is None or life.npv_low <= 0:
        return ""
    low, high = (say_money(end, payback.currency) for end in (life.npv_low, life.npv_high))
    return f" Over its life of {say_years(life.years)} it comes out ahead, by {low} to {high} of today."


def _say_acres(payback: Payback, unit: YieldUnit) -> str:
    """Say on how many acres the investment comes back."""
    metric = _area_word(unit) == "ha"
    needed = payback.break_even_ha if metric else payback.break_even_ac
    most = payback.break_even_ha_high if metric else payback.break_even_ac_high
    if needed is None or most is None:
        return ""
    places = "ha" if metric else "acres"
    return (
        f" The investment is paid back within {say_years(payback.years)} on {needed:,.0f} {places} a year, "
        f"on {most:,.0f} {places} at the low end of the interval."
    )


def _break_even(payback: Payback, comparison: Comparison, unit: YieldUnit) -> float:
    """Give the difference at which the net gain is zero, in the unit of the comparison."""
    if payback.difference_kg_ha == 0:
        return payback.break_even_difference_kg_ha
    own = next(row.difference for row in comparison.differences if row.treatment == payback.treatment)
    return payback.break_even_difference_kg_ha * own / payback.difference_kg_ha


def _more_needed(row: Difference, comparison: Comparison, distance: float, unit: YieldUnit) -> str:
    """Say how many more pairs would settle it if the true difference is the one observed."""
    more = more_pairs(row, comparison, distance)
    kind = {"paired": "pair", "unblocked": "strip"}.get(comparison.design, "block")
    if more is None:
        return (
            f"More than {MOST_PAIRS} {kind}s would be needed to settle it if the true difference is the one seen here: "
            "for practical purposes the two come out even."
        )
    kinds = kind if more == 1 else f"{kind}s"
    each = " of each treatment" if kind == "strip" else ""
    return (
        f"If the true difference is the one seen here ({unit.say(row.difference, sign=True)}), about {more} more "
        f"{kinds}{each} would settle it with a chance of {100 * comparison.power:.0f} %."
    )


def more_pairs(row: Difference, comparison: Comparison, distance: float) -> int | None:
    """Pairs (blocks, strips a treatment) still missing to tell the difference from what it must beat.

    Parameters
    ----------
    row : Difference
        With a standard error.
    comparison : Comparison
    distance : float
        True difference, taken as the one observed, less the one to beat (zero, or the break-even difference).

    Returns
    -------
    int or None
        At least 1; none when more than ``MOST_PAIRS`` would be needed in all.

    Notes
    -----
    The scatter is the one observed: standard error x sqrt(pairs).
    """
    if row.se is None:
        return None
    blocked = comparison.blocks is not None
    strips = {summary.treatment: summary.strips for summary in comparison.treatments}
    if blocked:
        now = float(row.pairs or 1) if comparison.design != "incomplete_blocks" else float(comparison.blocks or 1)
    else:
        now = 2 / (1 / strips[row.treatment] + 1 / strips[row.control])
    sd = row.se * np.sqrt(now)
    count = 1 + len([other for other in comparison.differences if other.se is not None])
    needed = pairs_needed(distance, sd, comparison.confidence, comparison.power, count, blocked=blocked)
    return None if needed is None else max(1, int(np.ceil(needed - now)))


def _group_sentences(
    order: list[Difference], words: list[Word], comparison: Comparison, priced: dict[str, Payback], unit: YieldUnit
) -> list[str]:
    """Say the answer about several treatments, best first, one sentence a word."""
    control = comparison.control
    heads = {
        "pays": "Pays against {}: {}.",
        "higher": "Yields more than {}: {}.",
        "not_settled": "Not settled against {}: {}.",
        "does_not_pay": "Does not pay against {}: {}.",
        "lower": "Yields less than {}: {}.",
        "refused": "One strip only, so no answer against {}: {}.",
    }
    sentences = []
    for word, head in heads.items():
        rows = [row for row, own in zip(order, words, strict=True) if own == word]
        if rows:
            told = list_words([_short(row, priced.get(row.treatment), unit) for row in rows])
            sentences.append(head.format(control, told))
    sentences.append(
        f"Each interval holds for all {len(order)} comparisons together ({100 * comparison.confidence:.0f} %)."
    )
    open_rows = [row for row, own in zip(order, words, strict=True) if own == "not_settled"]
    if open_rows:
        best = open_rows[0]
        payback = priced.get(best.treatment)
        distance = best.difference - (0.0 if payback is None else _break_even(payback, comparison, unit))
        sentences.append(f"For {best.treatment}: {_more_needed(best, comparison, distance, unit)}")
    return sentences


def _rate_sentences(
    order: list[Difference], words: list[Word], comparison: Comparison, priced: dict[str, Payback], unit: YieldUnit
) -> list[str]:
    """Say what the other rates earn against the control's: their yields stand in the table."""
    metric = _area_word(unit) == "ha"
    place = "a hectare" if metric else "an acre"
    said = {
        "pays": "{} pays: {} {} {}",
        "not_settled": "whether {} pays is not settled: {} {} {}",
        "does_not_pay": "{} does not pay: {} {} {}",
    }
    told = []
    for row, word in zip(order, words, strict=True):
        payback = priced.get(row.treatment)
        if payback is None or word not in said:
            continue
        value = payback.net_gain_per_ha if metric else payback.net_gain_per_ac
        amount = say_money(abs(value), payback.currency)
        told.append(said[word].format(row.treatment, "it earns" if value >= 0 else "it loses", amount, place))
    return [f"Against {comparison.control}, {'; '.join(told)}."] if told else []


def _short(row: Difference, payback: Payback | None, unit: YieldUnit) -> str:
    """Say one treatment of several in a few words."""
    span = "" if row.low is None or row.high is None else f", {unit.span(row.low, row.high)}"
    money = ""
    if payback is not None:
        metric = _area_word(unit) == "ha"
        value = payback.net_gain_per_ha if metric else payback.net_gain_per_ac
        money = f"; net {say_money(value, payback.currency)}/{'ha' if metric else 'ac'}"
    return f"{row.treatment} ({unit.say(row.difference, sign=True)}{span}{money})"


def _warn_fragile(comparison: Comparison) -> list[str]:
    """Say in the answer itself when it hangs on one block."""
    return [check.note for check in comparison.checks if check.name == "one_block_left_out" and check.passed is False]
