"""The parts of the page below the answer, in their order."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from proofstrip.checks import NOT_JUDGED
from proofstrip.report import money, tables
from proofstrip.report.answer import is_refused
from proofstrip.report.excluded import SAID, exclusion_table
from proofstrip.report.glossary import GLOSSARY
from proofstrip.report.harm import (
    DELAY_SAID,
    REMOVED_SAID,
    delays_by_treatment,
    removals_by_treatment,
    say_usual_delays,
)
from proofstrip.report.machines import describe_machines
from proofstrip.report.material import ReportMaterial
from proofstrip.report.money_inputs import describe_inputs
from proofstrip.report.pictures import Picture
from proofstrip.report.tables import Table, plain
from proofstrip.report.words import Units, count, is_number, number, odds, p_value, percent

LEGAL = (
    "Scales used for settlement must be legal for trade, and local codes and licensed practice come before anything on "
    "this page."
)
CAUTION = f"This is not financial advice: it is arithmetic on one trial and on the prices put in. {LEGAL}"
MOST_WHAT_IF = 3  # treatments whose money is shown at other prices and areas; result.json has them all
UNPROVEN = (
    "A check forbids an answer (see the top of the page). The figures of this part describe one harvest; they say "
    "nothing about the treatment."
)


@dataclass(frozen=True)
class Section:
    """One part of the page.

    Attributes
    ----------
    anchor, title : str
    text : list of str
        Paragraphs before the pictures.
    pictures : list of Picture
    tables : list of Table
    items : list of str
        A list.
    terms : sequence of tuple of str
        A list of terms and what they mean.
    code : str
        Text shown letter by letter.
    notes : list of str
        Paragraphs after all else.
    group : str
        Heading of the table of contents that the part stands under.
    explore : dict or None
        A map to move about in, from ``explore_map``.
    """

    anchor: str
    title: str
    text: list[str] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    items: list[str] = field(default_factory=list)
    terms: Sequence[tuple[str, str]] = ()
    code: str = ""
    notes: list[str] = field(default_factory=list)
    group: str = ""
    explore: dict[str, Any] | None = None


def removal_section(material: ReportMaterial) -> Section:
    """Say what was set aside and why."""
    title, records = "What was removed, and why", material.result.get("records") or {}
    read, used = records.get("read") or 0, records.get("used") or 0
    if not read:
        return Section("removed", title, ["No combine records were read."])
    text = [
        f"Of {number(read)} records, {number(used)} are counted; {number(read - used)} "
        f"({percent((read - used) / read)}) were set aside. A record is set aside for what the machine or the position "
        "did, never because its yield is low or high; a jump of a moment far outside its own pass is the only "
        "exception. One record can have several reasons."
    ]
    shown, by_hand = [tables.removal_table(material.result)], exclusion_table(material.result)
    by_treatment = removals_by_treatment(material.result)
    if by_treatment is not None:
        text.append(REMOVED_SAID)
        shown.append(by_treatment)
    if by_hand is not None:
        text.append(SAID)
        shown.append(by_hand)
    return Section("removed", title, text, tables=shown)


def money_section(material: ReportMaterial, units: Units, pictures: list[Picture]) -> Section | None:
    """Say what the difference is worth."""
    part = material.settings.economics
    if part is None:
        return None
    economics = material.result.get("economics") or []
    text = [describe_inputs(material.settings, units)]
    if is_refused(material.result):
        text.append(UNPROVEN)
    if not economics:
        text.append("The trial gives no difference that a price could be put on.")
        return Section("money", "The money", text, notes=[CAUTION])
    if part.price.kind != "average":
        text.append("The margins of error come from the yield difference and from the spread of the price.")
    if part.investment.amount and any(entry.get("break_even_ac_high") is None for entry in economics):
        text.append("“Or more” and “never” mean that at the low end of the gain the outlay does not come back.")
    shown = [money.money_table(entry, units, part) for entry in economics]
    shown += [table for entry in economics[:MOST_WHAT_IF] for table in money.what_if_tables(entry, units)]
    notes = [str(note["message"]) for note in economics[0].get("notes") or [] if note.get("message")]
    return Section("money", "The money", text, pictures, shown, notes=[*notes, CAUTION])


def combine_section(result: dict[str, Any], units: Units) -> Section:
    """Say the travel delay of each machine and how it was had, and how the machines read."""
    said, shown = describe_machines(result, units)
    items = [describe_delay(entry) for entry in result.get("delay") or []]
    items += [describe_lag(entry) for entry in result.get("moisture") or []]
    text = ["No travel delay was applied."]
    if items:
        text = ["Grain is weighed some seconds after it was cut. Each record was moved back to where its grain stood."]
    by_treatment = delays_by_treatment(result)
    if by_treatment is not None:
        text, shown = [*text, DELAY_SAID], [by_treatment, *shown]
    notes = say_usual_delays(result, units)
    return Section("delay", "The combines", [*text, *said], tables=shown, items=items, notes=notes)


def describe_lag(entry: dict[str, Any]) -> str:
    """Say how late one machine's moisture probe reads.

    Parameters
    ----------
    entry : dict
        machine, seconds [s], low, high, reason.

    Returns
    -------
    str

    Examples
    --------
    >>> describe_lag({"machine": "A", "seconds": 36.2, "low": 34.0, "high": 38.1})
    "A, moisture: its probe reads 36 seconds after the cut (range 34 to 38); each record has its grain's reading."
    """
    head = f"{plain(entry.get('machine'))}, moisture: "
    if is_number(entry.get("seconds")):
        span = f"{number(entry.get('low'), 0)} to {number(entry.get('high'), 0)}"
        return (
            f"{head}its probe reads {number(entry['seconds'], 0)} seconds after the cut (range {span}); each record "
            "has its grain's reading."
        )
    return f"{head}readings stand as logged; how late they are cannot be told: {plain(entry.get('reason'))}."


def describe_delay(entry: dict[str, Any]) -> str:
    """Say one machine's delay in a sentence.

    Parameters
    ----------
    entry : dict
        machine, seconds [s], low, high, source, reason; day, where it holds on one day only.

    Returns
    -------
    str

    Examples
    --------
    >>> describe_delay({"machine": "A", "seconds": 11.2, "low": 10.8, "high": 11.7, "source": "estimated"})
    'A: 11.2 seconds, estimated from the records themselves (range 10.8 to 11.7 seconds).'
    >>> describe_delay({"machine": "A", "day": "2024-10-07", "seconds": 9.0, "source": "estimated"})
    'A on 2024-10-07: 9.0 seconds, estimated from the records themselves.'
    """
    how = {
        "estimated": "estimated from the records themselves",
        "declared": "as declared in the trial file",
        "assumed": "assumed" if entry.get("reason") else "assumed, because the records cannot tell",
    }
    source = how.get(str(entry.get("source")), plain(entry.get("source")))
    day = f" on {plain(entry['day'])}" if entry.get("day") else ""
    head = f"{plain(entry.get('machine'))}{day}: "
    if not is_number(entry.get("seconds")):
        said = head + "no delay could be found"
    else:
        said = f"{head}{number(entry['seconds'], 1)} seconds, {source}"
        if is_number(entry.get("low")) and is_number(entry.get("high")):
            said += f" (range {number(entry['low'], 1)} to {number(entry['high'], 1)} seconds)"
        if float(entry["seconds"]) < 0:
            said += "; the display had already moved the records, by too much"
    reason = str(entry.get("reason") or "").strip()
    return f"{said}. {tables.capital(reason).rstrip('.')}." if reason else said + "."


def statistics_section(material: ReportMaterial, units: Units, pictures: list[Picture]) -> Section:
    """Give means, differences and analysis of variance, in words first."""
    result = material.result
    text = [UNPROVEN] if is_refused(result) else []
    text += [sentence for entry in result.get("differences") or [] for sentence in describe_difference(entry, units)]
    if not is_refused(result):
        answer = str((result.get("verdict") or {}).get("sentence") or "")
        for remark in result.get("remarks") or []:
            sentences = re.split(r"(?<=\.) (?=[^\W\d_])", str(remark["text"]))
            text.append(tables.capital(" ".join(one for one in sentences if one not in answer)))
        text = [paragraph for paragraph in text if paragraph]
    shown = [tables.treatment_table(result, units)]
    if result.get("differences"):
        shown.append(tables.difference_table(result, units))
    anova = tables.anova_table(result, units)
    shown += [anova] if anova else []
    shown.append(tables.strip_table(material.strips, units))
    notes = []
    if is_number(result.get("lsd")):
        notes.append(f"Least significant difference (LSD), one comparison: {units.yield_text(result['lsd'])}.")
    if is_number(result.get("cv_pct")):
        notes.append(f"Coefficient of variation (CV): {number(result['cv_pct'], 1)} %.")
    if result.get("letters"):
        notes.append("This trial cannot tell apart treatments that share a letter.")
    said = [" ".join(notes)] if notes else []
    return Section("statistics", "The statistics", text, pictures, tables=shown, notes=said)


def describe_difference(entry: dict[str, Any], units: Units) -> list[str]:
    """Say one comparison in words, symbols after.

    Parameters
    ----------
    entry : dict
        One of result.json's differences.
    units : Units

    Returns
    -------
    list of str
        One paragraph.
    """
    name = tables.capital(f"{entry['treatment']} against {entry['control']}")
    p, exact = entry.get("p_value"), entry.get("p_exact")
    gap = units.yield_text(entry.get("difference_kg_ha"), sign=True)
    if not is_number(p):
        return [f"{name}: {gap}. There are too few strips of each to test this against chance."]
    said = [f"{name}: {gap}. Were there no effect, luck alone would show as much {odds(p)} ({_equals('p', p)})."]
    if is_number(exact):
        sentence = f"Swapping the labels of the strips in every way gives {odds(exact)} ({_equals('exact p', exact)})"
        floor = entry.get("p_exact_floor")
        if is_number(floor) and float(floor or 0) >= 0.001:
            few = f"with {count(int(entry['pairs']), 'pair')}" if entry.get("pairs") else "with these strips"
            sentence += f"; {few} it can never be below {p_value(floor)}, {odds(floor)}"
        said.append(sentence + ".")
    if is_number(entry.get("detectable_kg_ha")):
        least = units.yield_text(entry["detectable_kg_ha"])
        said.append(f"A trial of this size and scatter finds true differences from about {least}.")
    return [" ".join(said)]


def _equals(name: str, p: object) -> str:
    """Write a p-value with its name, kept on one line."""
    value = p_value(p)
    return f"{name} {value}" if value.startswith("below") else f"{name} = {value}".replace(" ", "\N{NO-BREAK SPACE}")


def check_section(result: dict[str, Any]) -> Section:
    """List the checks, failed ones first, and what else the run had to say."""
    checks, title = result.get("checks") or [], "The checks"
    text = ["No checks were recorded."]
    if checks:
        passed = sum(check.get("passed") is True for check in checks)
        judged = sum(check.get("allowed") != NOT_JUDGED for check in checks)
        text = [f"{passed} of {judged} passed."]
    said = [entry for entry in result.get("warnings") or [] if entry.get("code") != "delay_assumed"]
    items = [tables.capital(str(entry.get("message") or plain(entry.get("code")))) for entry in said]
    if items:
        title, text = "Checks and warnings", [*text, "Warnings of the run:"]
    return Section("checks", title, text, items=items, tables=tables.check_tables(checks))


def run_section(run: dict[str, Any]) -> Section:
    """List version, files, stages and settings."""
    shown = []
    files: list[tables.Row] = [[plain(row.get("file")), plain(row.get("sha256"))] for row in run.get("inputs") or []]
    if files:
        shown.append(Table("Files read, with their SHA-256", ("File", "SHA-256"), "ll", files, folded=True))
    stages = run.get("stages") or []
    if stages:
        names = list(dict.fromkeys(name for stage in stages for name in stage))
        rows = [[plain(stage.get(name)) for name in names] for stage in stages]
        head = tuple(tables.capital(plain(name)) for name in names)
        shown.append(Table("Stages", head, "l" + "r" * (len(names) - 1), rows, folded=True))
    settings = run.get("settings") or ""
    code = settings if isinstance(settings, str) else "\n".join(list_settings(settings))
    version = f"proofstrip, version {run['version']}." if run.get("version") else "The version was not recorded."
    return Section("run", "What was run", [version], tables=shown, code=code.strip())


def list_settings(settings: dict[str, Any]) -> list[str]:
    """Write every setting that has a value on a line of its own, part by part.

    Parameters
    ----------
    settings : dict
        A part of the settings file -> its settings.

    Returns
    -------
    list of str

    Examples
    --------
    >>> list_settings({"trial": {"name": "x", "notes": None, "crop": {"name": "corn", "bushel_lb": 56.0}}})
    ['[trial]', 'name = "x"', 'crop = "corn"', '']
    """
    lines = []
    for part, values in settings.items():
        if isinstance(values, dict):
            told = {key: _short_value(value) for key, value in values.items() if value not in (None, "", {}, [])}
            lines += [f"[{part}]", *(f"{key} = {value}" for key, value in told.items()), ""]
    return lines


def _short_value(value: Any) -> str:
    """Write one setting: a crop by its name, money as in the trial file, all else as JSON."""
    if isinstance(value, list):
        return "[" + ", ".join(_short_value(item) for item in value) + "]"
    if isinstance(value, dict) and {"amount", "currency", "per"} <= set(value):
        return json.dumps(f"{value['amount']:g} {value['currency']}" + (f"/{value['per']}" if value["per"] else ""))
    if isinstance(value, dict) and "bushel_lb" in value:
        return json.dumps(value["name"])
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_short_value(item)}" for key, item in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def glossary_section(priced: bool) -> Section:
    """Explain the words of the page; without a part on money the caution stands here."""
    return Section("words", "The words used here", terms=GLOSSARY, notes=[] if priced else [LEGAL])
