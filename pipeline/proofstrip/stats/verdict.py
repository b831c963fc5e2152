"""The answer in one word and one sentence, by a rule simple enough to print beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from proofstrip.stats.money_words import earns, price_of, say_acres, say_ends, say_outlay
from proofstrip.stats.power import MOST_PAIRS, pairs_needed
from proofstrip.stats.remarks import tell_best
from proofstrip.stats.results import Check, Comparison, Difference
from proofstrip.stats.wording import (
    MARGIN,
    YieldUnit,
    choose_unit,
    first_margin,
    list_words,
    say_money,
    say_times,
    say_years,
)
from proofstrip.units import HA_PER_ACRE

if TYPE_CHECKING:
    from proofstrip.economics import Payback

Word = Literal["pays", "does_not_pay", "higher", "lower", "not_settled", "refused"]
Ends = tuple[float | None, float | None]


@dataclass(frozen=True)
class Place:
    """What yields and money are said by: an acre or a hectare of a crop.

    Attributes
    ----------
    unit : YieldUnit
    crop : str
    """

    unit: YieldUnit
    crop: str = ""

    @property
    def name(self) -> str:
        """``ac`` or ``ha``, as the yields are said."""
        return "ha" if self.unit.label.endswith("ha") else "ac"

    @property
    def per(self) -> str:
        """One of them."""
        return "a hectare" if self.name == "ha" else "an acre"

    @property
    def plain(self) -> str:
        """Several of them."""
        return "hectares" if self.name == "ha" else "acres"

    @property
    def many(self) -> str:
        """Several of them, of the crop where it is known."""
        return self.plain + (f" of {self.crop.replace('_', ' ')}" if self.crop else "")

    @property
    def per_ac(self) -> float:
        """How many of them an acre is."""
        return HA_PER_ACRE if self.name == "ha" else 1.0


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
    crop: str = "",
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
    crop : str
        Its name, for acres of it.

    Returns
    -------
    Verdict
    """
    forbidding = [check for check in (*comparison.checks, *checks) if check.forbids and check.passed is False]
    if forbidding:
        return Verdict("refused", "No answer. " + " ".join(check.note for check in forbidding))
    place = Place(choose_unit(comparison.unit, units, kg_ha_per_bu_ac), crop)
    priced = {payback.treatment: payback for payback in paybacks}
    order = sorted(comparison.differences, key=lambda row: -_height(row, priced))
    words = [_word(row, priced.get(row.treatment)) for row in order]
    for word in ("pays", "higher", "not_settled", "does_not_pay", "lower", "refused"):
        if word in words:
            break
    if comparison.dose is not None and comparison.dose.pays_best is not None:
        sentences = [tell_best(comparison.dose, place.unit), *_rate_sentences(order, words, priced, place)]
    elif len(order) == 1:
        sentences = [_sentence(order[0], words[0], comparison, priced.get(order[0].treatment), place)]
    else:
        sentences = _group_sentences(order, words, comparison, priced, place)
    if len(order) > 1:
        sentences.append(_say_basis(comparison, [price_of(one, place.unit) for one in paybacks[:1]]))
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


def _sentence(row: Difference, word: Word, comparison: Comparison, payback: Payback | None, place: Place) -> str:
    """Say the answer about one treatment in full."""
    name, unit = row.treatment, place.unit
    if row.low is None or row.high is None:
        return f"{name} stands on one strip, and one strip cannot be told apart from its piece of ground."
    first = first_margin(row.confidence)
    more = f"{unit.say(abs(row.difference))} {'more' if row.difference >= 0 else 'less'} than {row.control}"
    span = f"{unit.span(row.low, row.high)}; {_replicates(row, comparison)}"
    if payback is None:
        if word != "not_settled":
            return f"With {name}, it yields {more} ({first} {span})."
        needed = _more_needed(row, comparison, row.difference, unit)
        return f"With {name}, it is not settled whether it yields more or less: {more} ({first} {span}). {needed}"
    head = {"pays": "it pays", "does_not_pay": "it does not pay"}.get(word, "it is not settled whether it pays")
    said = [f"With {name}, {head}: it {_say_gain(payback, place, first)}.", *_say_outlay(payback, place)]
    said += [] if word == "pays" else _say_life(payback)
    said += [f"It yields {more} ({MARGIN}: {span}).", f"Priced at {price_of(payback, unit)}."]
    if word == "not_settled":
        said.append(_more_needed(row, comparison, row.difference - _break_even(payback, comparison, unit), unit))
    return " ".join(said)


def _replicates(row: Difference, comparison: Comparison) -> str:
    """Say what the comparison rests on."""
    if row.pairs is not None:
        return f"{row.pairs} {'pairs' if comparison.design == 'paired' else 'blocks'}"
    strips = {summary.treatment: summary.strips for summary in comparison.treatments}
    return f"{strips[row.treatment]} strips against {strips[row.control]}"


def _say_gain(payback: Payback, place: Place, first: str = f"{MARGIN}:") -> str:
    """Say the net gain or loss and its margin of error an acre or a hectare."""
    value, low, high = (getattr(payback, f"net_gain_per_{place.name}{end}") for end in ("", "_low", "_high"))
    said = f"{earns(value)} {say_money(abs(value), payback.currency)} {place.per}"
    if payback.investment > 0:
        said += f" a year {'before the outlay' if payback.area_ac is None else 'after its share of the outlay'}"
    return said if low is None else f"{said} ({first} {say_ends(low, high, payback.currency)})"


def _say_outlay(payback: Payback, place: Place) -> list[str]:
    """Say what the outlay takes of each acre, and on how many acres it comes back."""
    if payback.investment <= 0:
        return []
    needed, low, high = (getattr(payback, f"break_even_{place.name}{end}") for end in ("", "_low", "_high"))
    said = [say_acres(needed, low, high, payback.years, place.many)]
    if payback.gain_per_ac_high is not None and payback.gain_per_ac_high <= 0:
        said = ["At these prices it loses money before the outlay already."]
    if payback.area_ac is not None:
        outlay, share = (say_money(part, payback.currency) for part in (payback.investment, _share(payback, place)))
        area = f"{payback.area_ac * place.per_ac:,.0f} {place.plain}"
        said.insert(0, say_outlay(outlay, payback.years, payback.interest_pct, f"{share} {place.per}", area))
    if not payback.years_given:
        said.append(f"No pay-back time was given, so it is taken as {say_years(payback.years)}.")
    return [one for one in said if one]


def _share(payback: Payback, place: Place) -> float:
    """Give what the outlay takes of each acre or hectare."""
    return next((getattr(line, f"per_{place.name}") for line in payback.lines if line.name == "outlay"), 0.0)


def _say_life(payback: Payback) -> list[str]:
    """Say that it comes out ahead over its life, where only the pay-back time that was asked for is too short."""
    life = payback.life
    if life is None or life.npv_low is None or life.npv_high is None or life.npv_low <= 0:
        return []
    ends = say_ends(life.npv_low, life.npv_high, payback.currency)
    return [f"Over its life of {say_years(life.years)} it comes out ahead, by {ends} of today."]


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
    order: list[Difference], words: list[Word], comparison: Comparison, priced: dict[str, Payback], place: Place
) -> list[str]:
    """Say the answer about several treatments, best first, one sentence a word."""
    heads = {
        "pays": "it pays with {}.",
        "higher": "it yields more with {}.",
        "not_settled": "it is not settled for {}.",
        "does_not_pay": "it does not pay with {}.",
        "lower": "it yields less with {}.",
        "refused": "there is no answer for {}: one strip only.",
    }
    sentences = []
    for word, head in heads.items():
        rows = [row for row, own in zip(order, words, strict=True) if own == word]
        if rows:
            told = list_words([_short(row, priced.get(row.treatment), place) for row in rows])
            sentences.append(f"Against {comparison.control}, {head.format(told)}")
    times = say_times(comparison.confidence)
    sentences.append(f"The margins of error are right for all {len(order)} comparisons together {times}.")
    open_rows = [row for row, own in zip(order, words, strict=True) if own == "not_settled"]
    if open_rows:
        best = open_rows[0]
        payback = priced.get(best.treatment)
        distance = best.difference - (0.0 if payback is None else _break_even(payback, comparison, place.unit))
        sentences.append(f"For {best.treatment}: {_more_needed(best, comparison, distance, place.unit)}")
    return sentences


def _rate_sentences(order: list[Difference], words: list[Word], priced: dict[str, Payback], place: Place) -> list[str]:
    """Say what the other rates earn against the control's: their yields stand in the table."""
    told = []
    for row, word in zip(order, words, strict=True):
        payback = priced.get(row.treatment)
        if payback is not None and word in ("pays", "not_settled", "does_not_pay"):
            settled = ", which settles nothing" if word == "not_settled" else ""
            told.append(f"{row.treatment} {_say_gain(payback, place)}{settled}")
    return [f"Against {order[0].control}, {list_words(told)}."] if told else []


def _say_basis(comparison: Comparison, prices: list[str]) -> str:
    """Say on how many strips several treatments are judged, and at which price."""
    strips = sum(row.strips for row in comparison.treatments)
    blocks = f" in {comparison.blocks} blocks" if comparison.blocks else ""
    return f"All of it rests on {strips} strips{blocks}{''.join(f', priced at {price}' for price in prices)}."


def _short(row: Difference, payback: Payback | None, place: Place) -> str:
    """Say one treatment of several in a few words."""
    span = "" if row.low is None or row.high is None else f", {MARGIN} {place.unit.span(row.low, row.high)}"
    money = "" if payback is None else f"; {_say_gain(payback, place)}"
    return f"{row.treatment} ({place.unit.say(row.difference, sign=True)}{span}{money})"


def _warn_fragile(comparison: Comparison) -> list[str]:
    """Say in the answer itself when it hangs on one block."""
    return [check.note for check in comparison.checks if check.name == "one_block_left_out" and check.passed is False]
