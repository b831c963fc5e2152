"""``proofstrip inspect``: what a raw file holds, and what must be settled before it can be used."""

import dataclasses
import json
import math
import textwrap
from datetime import UTC, datetime
from pathlib import Path

import click

from proofstrip.config import config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.preview import Preview, preview_file
from proofstrip.read.choose import Question
from proofstrip.read.names import plain_name
from proofstrip.read.survey import ColumnSurvey, Survey, survey_files
from proofstrip.result import plain

WIDTH = 79
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", ".": "point"}


def _find_crop(context: click.Context, option: click.Parameter, name: str | None) -> Crop | None:
    """Look up the crop, when one is named."""
    if name is None:
        return None
    try:
        return find_crop(name, config_folder())
    except ValueError as fault:
        raise click.BadParameter(str(fault)) from None


crop_option = click.option(
    "--crop",
    metavar="NAME",
    callback=_find_crop,
    help="Crop, for bushels and for what a unit would mean as a yield.",
)


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@crop_option
@click.option("--json", "as_json", is_flag=True, help="Print only JSON.")
def inspect(files: tuple[Path, ...], crop: Crop | None, as_json: bool) -> None:
    """Show what raw harvest files, task folders and archives hold; writes nothing."""
    pairs = [pair for path in files for pair in _look_through(path, crop)]
    if as_json:
        found = [{**dataclasses.asdict(one), "preview": two and dataclasses.asdict(two)} for one, two in pairs]
        click.echo(json.dumps(plain(found), indent=2))
    else:
        click.echo("\n\n".join(write_survey(survey, preview) for survey, preview in pairs))


def _look_through(path: Path, crop: Crop | None) -> list[tuple[Survey, Preview | None]]:
    """Survey what a name means; what cleaning would find in all of it stands with the last file."""
    surveys = survey_files(path, crop)
    settled = not any(survey.questions for survey in surveys)
    previews = [None] * (len(surveys) - 1) + [preview_file(path, crop) if settled else None]
    return list(zip(surveys, previews, strict=True))


def write_survey(survey: Survey, preview: Preview | None) -> str:
    """Write the page on one file: at most 79 characters wide.

    Parameters
    ----------
    survey : Survey
    preview : Preview or None
        None while something is left to settle.

    Returns
    -------
    str
    """
    layout = ", ".join(f"{name} {DELIMITERS.get(value, value)}" for name, value in survey.layout.items())
    head = f"{survey.format}, {survey.rows:,} records" + (f" ({layout})" if layout else "")
    parts = [survey.file, _wrap(head), *(f"  {part}" for part in survey.parts), "", *_write_columns(survey), ""]
    parts += [_wrap(line, "          ") for line in _write_facts(survey)]
    if preview is not None:
        parts += ["", *(_wrap(line, "          ") for line in _write_preview(preview))]
    if survey.notices:
        parts += ["", "Notes", *(_wrap(f"- {notice}", "  ") for notice in survey.notices)]
    parts += ["", *_write_questions(survey.questions)]
    return "\n".join(parts)


def _write_columns(survey: Survey) -> list[str]:
    """Set the columns out as a table."""
    rows: list[tuple[str, ...]] = [("column", "taken as", "unit", "settled by", "min", "median", "max")]
    rows += [_column_row(column) for column in survey.columns]
    widths = [max(len(row[place]) for row in rows) for place in range(7)]
    spare = WIDTH - sum(widths) - 12
    # Long headers and reasons give way; numbers never do.
    for place in (3, 0):
        cut = min(max(-spare, 0), max(widths[place] - 12, 0))
        widths[place], spare = widths[place] - cut, spare + cut
    lines = []
    for row in rows:
        texts = [_cut(text, width).ljust(width) for text, width in zip(row[:4], widths[:4], strict=True)]
        numbers = [text.rjust(width) for text, width in zip(row[4:], widths[4:], strict=True)]
        lines.append("  ".join(texts + numbers).rstrip())
    lines.insert(1, "-" * min(sum(widths) + 12, WIDTH))
    if survey.unused:
        lines.append(_wrap("not used: " + ", ".join(survey.unused), "          "))
    return lines


def _column_row(column: ColumnSurvey) -> tuple[str, ...]:
    """Give the cells of one column."""
    numbers = ["" if value is None else _say_number(value) for value in (column.low, column.median, column.high)]
    unit = {"percent": "%", "dimensionless": "1"}.get(column.unit, column.unit)
    return column.column, plain_name(column.quantity), unit, column.settled.removeprefix("header; "), *numbers


def _write_facts(survey: Survey) -> list[str]:
    """Say when, where and by how many machines."""
    facts = []
    if survey.time is not None:
        span = survey.time
        hours = (span.end_s - span.start_s) / 3600
        between = f"{span.start_s:g} s to {span.end_s:g} s"
        if span.unix:
            start, end = (datetime.fromtimestamp(moment, UTC) for moment in (span.start_s, span.end_s))
            until = f"{end:%H:%M:%S}" if start.date() == end.date() else f"{end:%Y-%m-%d %H:%M:%S}"
            between = f"{start:%Y-%m-%d %H:%M:%S} to {until}"
        facts.append(f"time      {between} ({hours:.2f} h), every {span.interval_s:g} s")
    if survey.extent is not None:
        extent = survey.extent
        facts.append(
            f"extent    longitude {extent.west_deg:.5f} to {extent.east_deg:.5f}, "
            f"latitude {extent.south_deg:.5f} to {extent.north_deg:.5f}; "
            f"{extent.width_m:,.0f} m east-west, {extent.height_m:,.0f} m north-south ({extent.projection})"
        )
    count = len(survey.machines)
    facts.append("machines  " + (f"{count}: {', '.join(survey.machines)}" if count else "not named; taken as one"))
    return facts


def _write_preview(preview: Preview) -> list[str]:
    """Say what cleaning finds with the shipped settings."""
    lines = [f"passes    {preview.passes:,}; {preview.usable_share:.0%} of the records are usable as they are"]
    lines += [f"header    {notice.message}" for notice in preview.header]
    for delay in preview.delays:
        machine = f" (machine {delay.whose})" if len(preview.delays) > 1 else ""
        lines.append(f"delay     {delay.seconds:g} s{machine}, {delay.source}: {delay.reason}")
    named = ", ".join(f"{plain_name(name)} {count:,}" for name, count in preview.faults.items())
    lines.append(f"faults    {named or 'none'}")
    return lines


def _write_questions(questions: tuple[Question, ...]) -> list[str]:
    """Say what must be settled, and the lines that do it."""
    if not questions:
        return ["Nothing is left to settle: the file can be used as it is."]
    lines = ["To settle, in the trial file"]
    for question in questions:
        lines.append(_wrap(f"- {question.sentence}", "  "))
        if question.lines:
            choose = "add both:" if question.all_lines else "add:" if len(question.lines) == 1 else "add one of:"
            lines += [f"  {choose}", f"    {question.part}", *(f"    {line}" for line in question.lines)]
    return lines


def _wrap(text: str, indent: str = "") -> str:
    """Break a line at the width of the page; later lines are indented."""
    return textwrap.fill(text, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def _cut(text: str, width: int) -> str:
    """Shorten a text to a width."""
    return text if len(text) <= width else text[: width - 1] + "~"


def _say_number(value: float) -> str:
    """Write a number with at most eight characters or so, without losing the place of the point."""
    if value != 0 and (abs(value) >= 1e7 or abs(value) < 1e-3):
        return f"{value:.3g}"
    digits = max(0, 5 - (math.floor(math.log10(abs(value))) + 1 if abs(value) >= 1 else 1))
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
