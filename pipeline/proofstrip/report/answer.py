"""The first screen: the answer, the difference, how sure, the money, and whatever moves the answer."""

import re
from dataclasses import dataclass
from typing import Any

from proofstrip.checks import FIRST_PARAGRAPH
from proofstrip.report.money import Figure, cost_span, figure_of, gain_span
from proofstrip.report.tables import Table, capital, check_title, interval, plain
from proofstrip.report.words import ABSENT, Units, count, is_number, money, number, odds, times_in
from proofstrip.stats.moves import BLOCK_CHECK, CHOICE_CHECK
from proofstrip.stats.remarks import say_chance
from proofstrip.stats.wording import say_years

VERDICTS = {
    "pays": "It pays",
    "does_not_pay": "It does not pay",
    "not_settled": "Not settled yet",
    "refused": "No answer",
    "higher": "Higher yield",
    "lower": "Lower yield",
}

SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[^\W\d_])")
SAID_BY_FACTS = ("The investment is paid back ", "It yields ")


@dataclass(frozen=True)
class Fact:
    """One of the three figures under the answer.

    Attributes
    ----------
    label, value, text : str
        What it is, the figure, and a sentence or two.
    """

    label: str
    value: str
    text: str


@dataclass(frozen=True)
class Answer:
    """The first screen.

    Attributes
    ----------
    word, sentence, more : str
        ``more`` is what the verdict says after its first sentence.
    facts : list of Fact
    table : Table or None
        In place of single facts when several treatments were compared.
    flags : list of tuple of str
        What moves or forbids the answer: a few words, then a sentence.
    evidence : tuple of str or None
        What it rests on: a few words, then a sentence.
    """

    word: str
    sentence: str
    more: str
    facts: list[Fact]
    table: Table | None
    flags: list[tuple[str, str]]
    evidence: tuple[str, str] | None = None


def give_answer(result: dict[str, Any], units: Units) -> Answer:
    """Build the first screen from the result.

    Parameters
    ----------
    result : dict
        result.json.
    units : Units

    Returns
    -------
    Answer
    """
    verdict = result.get("verdict") or {}
    differences = result.get("differences") or []
    economics = [] if is_refused(result) else result.get("economics") or []
    facts: list[Fact] = []
    if len(differences) == 1:
        facts = [_difference_fact(differences[0], result, units)]
    if len(differences) == 1 and not is_refused(result):
        facts += [_sureness_fact(differences[0], result), *(_money_fact(entry, units) for entry in economics[:1])]
    table = _several(differences, economics, units, is_refused(result)) if len(differences) > 1 else None
    word = VERDICTS.get(str(verdict.get("word")), plain(verdict.get("word")))
    if (result.get("dose") or {}).get("pays_best") and not is_refused(result):
        word = "The rate that pays best"  # of rates, "it pays" would leave open which
    sentence = str(verdict.get("sentence") or "No verdict was given.")
    # The heading says already that there is no answer; what stands here is why.
    sentence = capital(sentence.removeprefix("No answer. ") if is_refused(result) else sentence)
    first, *rest = SENTENCE_END.split(sentence, maxsplit=1)
    first += _say_hanging(result)
    more = _unsaid(" ".join(rest), result, len(facts) == 3)
    return Answer(word, first, more, facts, table, find_flags(result), _read_evidence(result))


def _say_hanging(result: dict[str, Any]) -> str:
    """Say in the first paragraph that the answer moves; the flags below say how."""
    failed = {check.get("name") for check in result.get("checks") or [] if check.get("passed") is False}
    hangs = {CHOICE_CHECK: "under another choice", BLOCK_CHECK: "without one part of the field"}
    under = [said for name, said in hangs.items() if name in failed]
    return f" Part of this answer changes {' or '.join(under)}: see below." if under and not is_refused(result) else ""


def _read_evidence(result: dict[str, Any]) -> tuple[str, str] | None:
    """Give what the answer rests on; none in a result of an earlier version."""
    head, _, rest = str((result.get("evidence") or {}).get("sentence") or "").partition(". ")
    return (f"{head.rstrip('.')}.", rest) if head else None


def _unsaid(more: str, result: dict[str, Any], facts: bool) -> str:
    """Leave out what the flags, or all three facts, say right below."""
    for check in result.get("checks") or []:
        if check.get("passed") is False and not _gives_the_reason(check, result):
            for said in filter(None, (FIRST_PARAGRAPH.get(str(check.get("name"))), check.get("note"))):
                more = more.replace(str(said), "")
    sentences = SENTENCE_END.split(" ".join(more.split()))
    return " ".join(one for one in sentences if not (facts and one.startswith(SAID_BY_FACTS)))


def _is_said_above(check: dict[str, Any], result: dict[str, Any]) -> bool:
    """Tell whether a flag would repeat why there is no answer, or say that an answer moves where there is none."""
    return _gives_the_reason(check, result) or (is_refused(result) and check.get("name") in (BLOCK_CHECK, CHOICE_CHECK))


def _gives_the_reason(check: dict[str, Any], result: dict[str, Any]) -> bool:
    """Tell whether a check is why there is no answer: the first paragraph says so, and no flag again."""
    return is_refused(result) and bool(check.get("forbids")) and str(check.get("note")) in result["verdict"]["sentence"]


def is_refused(result: dict[str, Any]) -> bool:
    """Tell whether a check forbids an answer."""
    return (result.get("verdict") or {}).get("word") == "refused"


def _difference_fact(entry: dict[str, Any], result: dict[str, Any], units: Units) -> Fact:
    """Say the difference with its margin of error, and the two means."""
    means = {row["treatment"]: row.get("mean_kg_ha") for row in result.get("treatments") or []}
    tried, control = means.get(entry["treatment"]), means.get(entry["control"])
    text = f"{capital(entry['treatment'])} {units.yields(tried)}, {entry['control']} {units.yield_text(control)}."
    if interval(entry, units) != ABSENT and not is_refused(result):
        text += f" Margin of error: {interval(entry, units)} {units.yield_name}."
        text += f" Such a margin holds {times_in(entry.get('confidence'))}."
    label = "Measured, but no answer" if is_refused(result) else "Difference in yield"
    return Fact(label, units.yield_text(entry.get("difference_kg_ha"), sign=True), text)


def _sureness_fact(entry: dict[str, Any], result: dict[str, Any]) -> Fact:
    """Say how sure it is: against chance, and on how many pairs."""
    chance = entry.get("p_value")
    if not is_number(chance):
        return Fact(
            "How sure",
            "Cannot be said",
            "Without several strips of each treatment nobody can tell the treatment from the ground it stood on. "
            "This describes one harvest; it is not a test.",
        )
    low, high = entry.get("low_kg_ha"), entry.get("high_kg_ha")
    beyond = is_number(low) and is_number(high) and (float(low or 0) > 0 or float(high or 0) < 0)
    text = f"If the treatment did nothing, a difference this large would still turn up {odds(chance)}."
    if entry.get("pairs"):
        text += f" The figures rest on {count(int(entry['pairs']), 'pair')} of strips."
    for odds_of in result.get("probability") or []:
        pays = odds_of.get("above_break_even")
        goal, share = ("it pays", pays) if is_number(pays) else ("it yields more", odds_of.get("above_zero"))
        if is_number(share):
            text += f" The chances that {goal} are {say_chance(float(share))}."
    return Fact("How sure", "Unlikely to be chance" if beyond else "Could be chance", text)


def _money_fact(entry: dict[str, Any], units: Units) -> Fact:
    """Say the gain by area that the verdict goes by, and what it takes to pay back."""
    currency, per = str(entry["currency"]), f"{'an' if units.is_us else 'a'} {units.area_word}"
    gain, said = headline_gain(entry, units)
    if gain.value is None:
        return Fact("Money", "Cannot be said", "There is no gain to put a price on.")
    span = gain_span(gain, currency)
    text = f"{said} Margin of error: {span} {per}." if span != ABSENT else said
    return Fact(
        "Money", f"{money(gain.value, currency, sign=True)} {per}", f"{text} {pay_back_sentence(entry, units)}".strip()
    )


def headline_gain(entry: dict[str, Any], units: Units) -> tuple[Figure, str]:
    """Give the gain that the verdict goes by, and say whether the outlay is in it.

    Parameters
    ----------
    entry : dict
        One of result.json's economics.
    units : Units

    Returns
    -------
    tuple of Figure and str
        The net gain where the outlay can be spread over an area, else the gain; the sentence is empty without outlay.
    """
    net = figure_of(entry, "net_gain_per", units)
    if not entry.get("investment"):
        return figure_of(entry, "gain_per", units), ""
    if net.value is None or not is_number(entry.get("area_ac")):
        return figure_of(entry, "gain_per", units), "Before the outlay."
    return net, "Outlay included."


def pay_back_sentence(entry: dict[str, Any], units: Units) -> str:
    """Say on how many acres and in how many years it pays back; empty where nothing is to be paid back.

    Parameters
    ----------
    entry : dict
        One of result.json's economics.
    units : Units

    Returns
    -------
    str
    """
    gain = figure_of(entry, "gain_per", units)
    acres, years = figure_of(entry, "break_even", units), figure_of(entry, "payback_years", units)
    if gain.value is not None and gain.value <= 0:
        return "At these prices it loses money on every one."
    if acres.value is None:
        return ""
    within = f" within {say_years(entry['years'])}" if is_number(entry.get("years")) else ""
    said = f"The outlay comes back{within} on {number(acres.value)} {units.area_word}s a year"
    span = cost_span(acres, gain, 0)
    said += "." if span == ABSENT else f" (margin of error: {span})."
    said += " On fewer it does not pay."
    if years.value is not None:
        said += f" On this farm it takes {number(years.value, 1)} years."
    return said


def _several(differences: list[dict[str, Any]], economics: list[dict[str, Any]], units: Units, refused: bool) -> Table:
    """Set each treatment against the control, one row each, in words."""
    gains = {row["treatment"]: (headline_gain(row, units)[0].value, str(row["currency"])) for row in economics}
    outlay = any(headline_gain(row, units)[1] == "Outlay included." for row in economics)
    if refused:
        plain_rows = [
            [str(row["treatment"]), units.yields(row.get("difference_kg_ha"), sign=True)] for row in differences
        ]
        return Table("Measured, but no answer", ("Treatment", f"Difference, {units.yield_name}"), "lr", plain_rows)
    rows = []
    for entry in differences:
        row = [str(entry["treatment"]), units.yields(entry.get("difference_kg_ha"), sign=True), interval(entry, units)]
        row.append(capital(odds(entry.get("p_value"))))
        gain = money(*gains.get(entry["treatment"], (None, "")), sign=True)
        rows.append([*row, gain] if gains else row)
    head: tuple[str, ...] = (
        "Treatment", f"Difference, {units.yield_name}", "Margin of error", "Chance alone does as much",
    )  # fmt: skip
    if gains:
        head = (*head, f"{'Net gain' if outlay else 'Gain'} per {units.area_word}")
    return Table(f"Each treatment against {differences[0]['control']}", head, "lrrlr"[: len(head)], rows)


def find_flags(result: dict[str, Any]) -> list[tuple[str, str]]:
    """Collect what moves or forbids the answer: failed checks and choices under which it turns.

    Parameters
    ----------
    result : dict

    Returns
    -------
    list of tuple of str
        A few words, then a sentence.
    """
    flags = []
    for check in sorted(result.get("checks") or [], key=lambda check: not check.get("forbids")):
        if check.get("passed") is False and not _is_said_above(check, result):
            note = check.get("note") or f"Found {plain(check.get('value'))}; allowed is {plain(check.get('allowed'))}."
            flags.append((check_title(check), str(note)))
    return flags
