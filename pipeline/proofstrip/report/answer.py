"""The first screen: the answer, the difference, how sure, the money, and whatever moves the answer."""

import re
from dataclasses import dataclass
from typing import Any

from proofstrip.checks import FIRST_PARAGRAPH
from proofstrip.report.money import Figure, figure_of
from proofstrip.report.tables import Table, capital, check_title, interval, plain, with_margin
from proofstrip.report.words import ABSENT, Units, count, is_number, money, number, odds
from proofstrip.stats.money_words import earns, say_acres, say_ends, say_price
from proofstrip.stats.moves import BLOCK_CHECK, CHOICE_CHECK, find_moved
from proofstrip.stats.remarks import say_chance
from proofstrip.stats.wording import MARGIN, list_words

VERDICTS = {
    "pays": "It pays",
    "does_not_pay": "It does not pay",
    "not_settled": "Not settled yet",
    "refused": "No answer",
    "higher": "Higher yield",
    "lower": "Lower yield",
}

SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[^\W\d_])")
# Sentences of the verdict that the figures, or the table, say again.
SAID_BY_FACTS, SAID_BY_TABLE = ("It yields ", "Priced at "), ("Against ",)


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
    table = _several(result, economics, units) if len(differences) > 1 else None
    word = VERDICTS.get(str(verdict.get("word")), plain(verdict.get("word")))
    best = (result.get("dose") or {}).get("pays_best")
    if best and not is_refused(result):
        # Of rates, "it pays" would leave open which.
        beats = not float(best["gain_low"]) <= 0 <= float(best["gain_high"])
        word = "The rate that pays best" if beats else "No better rate"
    sentence = str(verdict.get("sentence") or "No verdict was given.")
    # The heading says already that there is no answer; what stands here is why.
    sentence = capital(sentence.removeprefix("No answer. ") if is_refused(result) else sentence)
    first, *rest = SENTENCE_END.split(sentence, maxsplit=1)
    first += _say_hanging(result)
    below = SAID_BY_FACTS if len(facts) == 3 else SAID_BY_TABLE if economics and table else ()
    more = _unsaid(" ".join(rest), result, below)
    return Answer(word, first, more, facts, table, find_flags(result), _read_evidence(result))


def _say_hanging(result: dict[str, Any]) -> str:
    """Say in the first paragraph which answer moves, and with what; the flags below say how."""
    checks = result.get("checks") or []
    failed = {check.get("name"): str(check.get("note")) for check in checks if check.get("passed") is False}
    hangs = {CHOICE_CHECK: "on how the data was taken", BLOCK_CHECK: "on one part of the field"}
    under = [said for name, said in hangs.items() if name in failed]
    if not under or is_refused(result):
        return ""
    notes = " ".join(failed[name] for name in hangs if name in failed)
    tried = [str(row["treatment"]) for row in result.get("differences") or []]
    moved, money_alone = find_moved(notes, tried)
    whose = f" for {list_words(moved)}" if len(tried) > 1 and moved else ""
    firm, what = "", "answer"
    if money_alone:
        firm, what = "the yield answer stands either way; ", "money answer"
    return " " + capital(f"{firm}the {what}{whose} hangs {' and '.join(under)}: see below.")


def _read_evidence(result: dict[str, Any]) -> tuple[str, str] | None:
    """Give what the answer rests on; none in a result of an earlier version."""
    head, _, rest = str((result.get("evidence") or {}).get("sentence") or "").partition(". ")
    return (f"{head.rstrip('.')}.", rest) if head else None


def _unsaid(more: str, result: dict[str, Any], below: tuple[str, ...]) -> str:
    """Leave out what the flags, the figures or the table say right below."""
    for check in result.get("checks") or []:
        if check.get("passed") is False and not _gives_the_reason(check, result):
            for said in filter(None, (FIRST_PARAGRAPH.get(str(check.get("name"))), check.get("note"))):
                more = more.replace(str(said), "")
    sentences = SENTENCE_END.split(" ".join(more.split()))
    return " ".join(one for one in sentences if not one.startswith(below))


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
        text += f" {capital(MARGIN)}: {interval(entry, units)} {units.yield_name}."
    label = "Measured, but no answer" if is_refused(result) else "Difference in yield"
    return Fact(label, units.yield_text(entry.get("difference_kg_ha"), sign=True), text)


def _sureness_fact(entry: dict[str, Any], result: dict[str, Any]) -> Fact:
    """Say how sure it is: the chance that it pays, on how many pairs, and what luck alone does."""
    luck = entry.get("p_value")
    if not is_number(luck):
        return Fact(
            "How sure",
            "Cannot be said",
            "Without several strips of each treatment nobody can tell the treatment from the ground it stood on. "
            "This describes one harvest; it is not a test.",
        )
    text = f"Luck alone would give a yield difference this large {odds(luck)}."
    if entry.get("pairs"):
        text = f"{capital(count(int(entry['pairs']), 'pair'))} of strips. {text}"
    goal, chances = chances_of(result)
    if entry["treatment"] in chances:
        return Fact("How sure", f"{capital(chances[entry['treatment']])} that it {goal}", text)
    low, high = entry.get("low_kg_ha"), entry.get("high_kg_ha")
    beyond = is_number(low) and is_number(high) and (float(low or 0) > 0 or float(high or 0) < 0)
    return Fact("How sure", "Unlikely to be luck" if beyond else "Could be luck", text)


def chances_of(result: dict[str, Any]) -> tuple[str, dict[str, str]]:
    """Give the chance that each treatment pays, or without prices that it yields more.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    tuple of str and dict of str to str
        What the chance is of, and the chances by treatment.
    """
    rows = [] if is_refused(result) else result.get("probability") or []
    for goal, key in (("pays", "above_break_even"), ("yields more", "above_zero")):
        known = {str(row["treatment"]): say_chance(float(row[key])) for row in rows if is_number(row.get(key))}
        if known:
            return goal, known
    return "", {}


def _money_fact(entry: dict[str, Any], units: Units) -> Fact:
    """Say the gain or loss by area that the verdict goes by, and the price."""
    per = f"{'an' if units.is_us else 'a'} {units.area_word}"
    gain, before = headline_gain(entry, units)
    if gain.value is None:
        return Fact("Money", "Cannot be said", "There is no gain to put a price on.")
    said = [before, f"{capital(MARGIN)}: {gain_words(gain, entry)}." if gain.low is not None else ""]
    said += [
        f"{capital(_priced_at(entry, units))}." if is_number(entry.get("price_per_t")) else "",
        _on_this_farm(entry),
    ]
    return Fact("Money", f"{_earned(gain.value, entry)} {per}", " ".join(filter(None, said)))


def _on_this_farm(entry: dict[str, Any]) -> str:
    """Say when the outlay is back on the farm's own acres; empty where none is given or it never is."""
    years = entry.get("payback_years")
    return f"On this farm the outlay is back in {number(years, 1)} years." if is_number(years) else ""


def _earned(value: float, entry: dict[str, Any]) -> str:
    """Write a gain or a loss in words."""
    return f"{capital(earns(value))} {money(abs(value), str(entry['currency']))}"


def gain_words(gain: Figure, entry: dict[str, Any]) -> str:
    """Write the margin of error of a gain or a loss; a dash without one."""
    if gain.low is None or gain.high is None:
        return ABSENT
    return say_ends(gain.low, gain.high, str(entry["currency"]))


def _priced_at(entry: dict[str, Any], units: Units) -> str:
    """Say the price that was used; empty in a result that names none."""
    if not is_number(entry.get("price_per_t")):
        return ""
    said = say_price(entry["price_per_t"], entry.get("price_per_bu"), str(entry["currency"]), units.yield_name)
    mean = " in the mean" if (entry.get("price") or {}).get("kind", "average") != "average" else ""
    return f"priced at {said}{mean}"


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
    return net, "After the outlay."


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
    gain, acres = figure_of(entry, "gain_per", units), figure_of(entry, "break_even", units)
    if gain.value is not None and gain.value <= 0:
        return f"At these prices it loses money on every {units.area_word}."
    said = say_acres(acres.value, acres.low, acres.high, float(entry.get("years") or 1), f"{units.area_word}s")
    return f"{said} {_on_this_farm(entry)}".strip()


def _several(result: dict[str, Any], economics: list[dict[str, Any]], units: Units) -> Table:
    """Set each treatment against the control, one row each, in words."""
    differences = result["differences"]
    if is_refused(result):
        plain_rows = [
            [str(row["treatment"]), units.yields(row.get("difference_kg_ha"), sign=True)] for row in differences
        ]
        return Table("Measured, but no answer", ("Treatment", f"Difference, {units.yield_name}"), "lr", plain_rows)
    goal, chances = chances_of(result)
    priced = {str(row["treatment"]): row for row in economics}
    head = ["Treatment", f"Difference, {units.yield_name}"]
    head += [f"Chance that it {goal}"] if chances else []
    head += [f"Money, {'an' if units.is_us else 'a'} {units.area_word}"] if priced else []
    rows = []
    for entry in differences:
        name, span = str(entry["treatment"]), interval(entry, units)
        row = [name, with_margin(units.yields(entry.get("difference_kg_ha"), sign=True), span)]
        row += [capital(chances.get(name, ABSENT))] if chances else []
        rows.append([*row, _money_cell(priced.get(name), units)] if priced else row)
    caption = f"Each treatment against {differences[0]['control']}, {MARGIN} in brackets"
    return Table(caption, tuple(head), "lrrr"[: len(head)], rows, sortable=True)


def _money_cell(entry: dict[str, Any] | None, units: Units) -> str:
    """Write what a treatment earns or loses, with its margin of error."""
    gain = Figure(None, None, None) if entry is None else headline_gain(entry, units)[0]
    if entry is None or gain.value is None:
        return ABSENT
    return with_margin(_earned(gain.value, entry), gain_words(gain, entry))


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
