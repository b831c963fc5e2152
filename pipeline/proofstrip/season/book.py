"""The season's own files: a page over all trials, as a research farm publishes its year, and the same as tables."""

import csv
import io
import json
from collections import Counter
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from proofstrip import __version__
from proofstrip.cells import guard
from proofstrip.config import config_folder, load_defaults
from proofstrip.crops import load_crops
from proofstrip.pool.words import an_area, money_text
from proofstrip.report.answer import VERDICTS, Answer
from proofstrip.report.page import Head, set_page
from proofstrip.report.sections import CAUTION, Section
from proofstrip.report.tables import Table, between, capital
from proofstrip.report.words import ABSENT, Units, count, is_number, make_units, number
from proofstrip.season.outcome import STATES, Outcome
from proofstrip.season.store import join, write_text
from proofstrip.stats.verdict import judge
from proofstrip.tier import evidence_word

COLUMNS = (
    *("folder", "state", "name", "field", "season", "crop", "verdict", "evidence"),
    *("records_read", "seconds", "message"),
)


def write_book(outcomes: Sequence[Outcome], out: str, system: str | None = None) -> None:
    """Write season.csv, season.json and index.html.

    Parameters
    ----------
    outcomes : sequence of Outcome
    out : str
        Address of the folder.
    system : str, optional
        ``us`` or ``metric``; the shipped setting where not given.
    """
    rows = [_row(outcome) for outcome in outcomes]
    write_text(join(out, "season.csv"), _format_csv(rows))
    entries = [row | {"result": outcome.entry or None} for row, outcome in zip(rows, outcomes, strict=True)]
    book = {"schema_version": 1, "version": __version__, "trials": entries}
    write_text(join(out, "season.json"), json.dumps(book, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    write_text(join(out, "index.html"), set_book(outcomes, system or load_defaults().report.units))


def _row(outcome: Outcome) -> dict[str, Any]:
    """Give one trial's line of the tables."""
    trial = outcome.entry.get("trial", {})
    return {
        "folder": outcome.name,
        "state": outcome.state,
        "name": trial.get("name"),
        "field": trial.get("field"),
        "season": trial.get("season"),
        "crop": trial.get("crop"),
        "verdict": outcome.entry.get("verdict", {}).get("word"),
        "evidence": (outcome.entry.get("evidence") or {}).get("tier"),
        "records_read": outcome.entry.get("records_read"),
        "seconds": round(outcome.seconds, 1),
        "message": outcome.message or None,
    }


def _format_csv(rows: Sequence[dict[str, Any]]) -> str:
    """Write the lines as CSV."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({key: guard(value) if isinstance(value, str) else value for key, value in row.items()})
    return text.getvalue()


def set_book(outcomes: Sequence[Outcome], system: str) -> str:
    """Set the page over all trials.

    Parameters
    ----------
    outcomes : sequence of Outcome
    system : str
        ``us`` or ``metric``.

    Returns
    -------
    str
        HTML, self-contained.
    """
    told = [outcome for outcome in outcomes if outcome.entry]
    seasons = sorted({outcome.entry["trial"]["season"] for outcome in told})
    span = " to ".join(str(season) for season in dict.fromkeys((*seasons[:1], *seasons[-1:])))
    crops = sorted({outcome.entry["trial"]["crop"] for outcome in told})
    parts = [_crop_section(crop, [row for row in told if row.entry["trial"]["crop"] == crop], system) for crop in crops]
    parts += [_left_section(outcomes)] if len(told) < len(outcomes) else []
    parts.append(Section("reading", "How to read this page", notes=[READING, CAUTION]))
    name = f"Strip trials {span}".strip()
    place = " · ".join([*(crop.replace("_", " ") for crop in crops), count(len(outcomes), "trial")])
    invented = bool(told) and all("invented" in (outcome.entry["trial"]["notes"] or "").lower() for outcome in told)
    head = Head(name, "Strip trials of a season", name, place, footing=name, invented=invented, wide=True)
    return set_page(head, _first_screen(outcomes), parts, __version__)


READING = (
    "Each line is one treatment against its control in one trial; the name opens that trial's report. Trials differ in "
    "ground, weather and crop: lines are there to be read, not to be averaged by eye. To put trials of one question "
    "together, pool their run folders. The margin of error is of one line alone; among many lines some stand out by "
    "chance. What an answer rests on: scale tickets of every strip, counts of grain on the ground that agree with the "
    "gain, both, or the yield monitor only, which a treatment can mislead."
)


def _first_screen(outcomes: Sequence[Outcome]) -> Answer:
    """Say how many treatments did what."""
    words = Counter(row_word(outcome.entry, difference) for outcome in outcomes for difference in _differences(outcome))
    said = [f"{words[word]} {phrase}" for word, phrase in PHRASES.items() if words[word]]
    total = sum(words.values())
    told = sum(1 for outcome in outcomes if outcome.entry)
    found = f"{capital(count(total, 'comparison'))} in {count(told, 'trial')}"
    sentence = f"{found}: {', '.join(said)}." if said else "No trial has an answer."
    missing = len(outcomes) - told
    flags = [("Not here", f"{count(missing, 'trial')} without an answer; the reasons stand below.")] if missing else []
    return Answer("The season", sentence, "", [], None, flags)


PHRASES = {
    "pays": "where the treatment pays",
    "does_not_pay": "where it does not pay",
    "higher": "with a higher yield",
    "lower": "with a lower yield",
    "not_settled": "not settled yet",
    "refused": "without an answer",
}


def _differences(outcome: Outcome) -> list[dict[str, Any]]:
    """Give the comparisons of a trial."""
    found: list[dict[str, Any]] = outcome.entry.get("differences", [])
    return found


def row_word(entry: dict[str, Any], difference: dict[str, Any]) -> str:
    """Give the answer for one treatment by the rule of a single trial: the whole interval on one side of zero.

    Parameters
    ----------
    entry : dict
        As ``shorten`` gives it.
    difference : dict
        One of its differences.

    Returns
    -------
    str
        A key of ``VERDICTS``.
    """
    if entry["verdict"]["word"] == "refused":
        return "refused"
    own = _money_of(entry, difference) or {}
    money = own.get("net_gain_per_ac_low"), own.get("net_gain_per_ac_high")
    return judge((difference["low_pct"], difference["high_pct"]), money)


def _money_of(entry: dict[str, Any], difference: dict[str, Any]) -> dict[str, Any] | None:
    """Find what a treatment earned."""
    return next((row for row in entry["economics"] if row["treatment"] == difference["treatment"]), None)


def _crop_section(crop: str, outcomes: Sequence[Outcome], system: str) -> Section:
    """List the trials of one crop, treatment by treatment."""
    known = load_crops(config_folder())
    units = make_units(system, known[crop].kg_ha_per_bu_ac if crop in known else None)
    pairs = [(outcome, difference) for outcome in outcomes for difference in _differences(outcome)]
    pairs.sort(key=lambda pair: (pair[1]["treatment"], pair[1]["control"], pair[0].name))
    priced = any(outcome.entry["economics"] for outcome in outcomes)
    dated = len({outcome.entry["trial"]["season"] for outcome in outcomes}) > 1
    head = ["Trial", "Treatment, against", "Answer"]
    head += [f"Difference, {units.yield_name} (margin of error)", "Difference, %"]
    head += [f"Gain {an_area(units)}, outlay included (margin of error)"] if priced else []
    head += ["Rests on", "Pairs"] + (["Season"] if dated else [])
    align = "lllrr" + "r" * priced + "lr" + "r" * dated
    rows = [_line(outcome, difference, units, priced, dated) for outcome, difference in pairs]
    title = capital(crop.replace("_", " "))
    table = Table(f"{title}, each treatment against its control", tuple(head), align, rows, sortable=True)
    return Section(f"crop-{crop}", title, tables=[table])


def _line(outcome: Outcome, difference: dict[str, Any], units: Units, priced: bool, dated: bool) -> list[str]:
    """Write one comparison."""
    entry, trial = outcome.entry, outcome.entry["trial"]
    folder = "trial" if outcome.name == "." else outcome.name
    place = f", {trial['field']}" if trial["field"] else ""
    middle, *ends = (units.yields(difference[f"{key}_kg_ha"], sign=True) for key in ("difference", "low", "high"))
    cells = [
        Markup('<a href="{}">{}</a>{}').format(quote(f"{folder}/report.html"), trial["name"], place),
        f"{difference['treatment']}, against {difference['control']}",
        VERDICTS[row_word(entry, difference)],
        _with_margin(middle, *ends),
        number(difference["difference_pct"], 1, sign=True),
    ]
    cells += [_gain(_money_of(entry, difference), units)] if priced else []
    cells += [evidence_word(entry.get("evidence")), number(difference["pairs"])]
    return cells + ([str(trial["season"])] if dated else [])


def _gain(own: dict[str, Any] | None, units: Units) -> str:
    """Write the gain that the answer goes by, with its margin, in the page's area and the trial's own currency."""
    if own is None or not is_number(own["net_gain_per_ac"]):
        return ABSENT
    middle, *ends = (
        money_text(own[key], own["currency"], units) if is_number(own[key]) else ABSENT
        for key in ("net_gain_per_ac", "net_gain_per_ac_low", "net_gain_per_ac_high")
    )
    cell = _with_margin(middle, *(end.split("\N{NO-BREAK SPACE}")[0] for end in ends))
    without = own["investment"] and own["area_ac"] is None  # no area was given to spread the outlay over
    return Markup("{}<br>before the outlay").format(cell) if without else cell


def _with_margin(middle: str, low: str, high: str) -> str:
    """Write a figure and, below it, its interval."""
    span = between(low, high)
    return middle if span == ABSENT else Markup("{}<br>({})").format(middle, span)


def _left_section(outcomes: Sequence[Outcome]) -> Section:
    """Say which trials have no answer, and why."""
    rows = [
        [outcome.name, STATES[outcome.state], outcome.message.strip().splitlines()[-1] if outcome.message else ABSENT]
        for outcome in outcomes
        if not outcome.entry
    ]
    table = Table("Trials without an answer", ("Folder", "What became of it", "Why"), "lll", rows)
    return Section("left", "Not here, and why", tables=[table])
