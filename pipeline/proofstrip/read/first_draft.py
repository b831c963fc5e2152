"""The first draft of a trial file: what the raw files and the trial map say, and what is left to the user."""

import json
import os
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from proofstrip.crops import Crop
from proofstrip.read.choose import COLUMNS_PART, Question
from proofstrip.read.names import plain_name
from proofstrip.read.survey import Survey
from proofstrip.read.trial_map import read_map_columns
from proofstrip.read.values import label_text

SHOWN = 12
MONEY = """\
# [economics]                   # does it pay? docs/economics.md says more of every line; take what applies
# price = "0.00 USD/bu"         # of the grain; unsure: { low = "0.00 USD/bu", likely = ..., high = ... }
# investment = "0 USD"          # bought once, such as an attachment
# years = 1                     # in how many it should have paid back
# area = "0 ac"                 # that it is used on in a year
# interest_pct = 0              # cost of capital
# life_years = 10               # how long it lasts
# salvage = "0 USD"             # what it can be sold for then
# fuel = "0.00 USD/ac"          # extra against the control, as the next three are
# labour = "0.00 h/ac"
# wage = "0 USD/h"              # for these hours
# repairs = "0.00 USD/ac"       # or "0 USD/year"
# savings = "0.00 USD/ac"       # operating costs saved; or by the year
#
# [economics.cost]              # of each treatment, a year; the control may have one too
# "a treatment" = "0.00 USD/ac"
#
# [economics.delivery]          # how the buyer settles grain that is not at standard moisture
# moisture_pct = 15             # that the buyer pays at
# shrink_pct = 1.4              # off the weight, for each point above it
# drying = "0.05 USD/bu"        # for each point above it
# discount = [{ above_pct = 18, off = "0.04 USD/bu" }]
#
# [economics.delivery.dockage_pct]   # foreign matter, of the weight
# "a treatment" = 0.0
"""


def write_first_draft(surveys: Sequence[Survey], map_file: Path | None, crop: Crop | None, folder: Path) -> str:
    """Write a commented trial file for raw files that were surveyed.

    Parameters
    ----------
    surveys : sequence of Survey
    map_file : pathlib.Path or None
        The trial map, when it is there.
    crop : Crop or None
    folder : pathlib.Path
        Where the trial file will stand; names of files are relative to it.

    Returns
    -------
    str
        TOML. What only the user knows is empty, and is asked for by line when the file is run.
    """
    sources = dict.fromkeys(survey.source for survey in surveys)
    files = "".join(f"\n    {quote(_relative(Path(source), folder))}," for source in sources)
    lines = [
        "# First draft. Fill in what is empty; a line that starts with # counts once the # is taken away.",
        "",
        "[trial]",
        'name = ""                       # what was tried',
        'field = ""',
        f"season = {_season(surveys)}",
        f"crop = {quote(crop.name if crop else '')}",
        'notes = ""',
        "",
        "[harvest]",
        *(line for survey in surveys for line in _describe(survey)),
        f"files = [{files}\n]",
        *_write_questions(_gather(surveys)),
        "",
        *_write_map(map_file, folder),
        "",
        "# [scale]                       # a row a load: strip, wet weight (its unit in the header), moisture",
        '# file = "tickets.csv"',
        "",
        "# [ground_loss]                 # a row a frame on the ground, from the sheet of proofstrip counting-sheet",
        '# file = "ground_counts.csv"',
        "",
        MONEY,
    ]
    return "\n".join(lines)


def quote(text: str) -> str:
    r"""Write a TOML string.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> quote('30" rows')
    '"30\\" rows"'
    """
    # JSON writes the same escapes; TOML forbids one character more.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    """Write a comment of one line: names from files may hold line breaks and other control characters."""
    return "# " + "".join(letter if letter.isprintable() else "?" for letter in " ".join(text.split()))


def _describe(survey: Survey) -> list[str]:
    """Say what was recognised in a file, and what was noted."""
    when = ""
    if survey.time is not None and survey.time.unix:
        start, end = (datetime.fromtimestamp(moment, UTC) for moment in (survey.time.start_s, survey.time.end_s))
        when = f", {start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}"
    lines = [f"{survey.file}: {survey.format}, {survey.rows:,} records{when}", *survey.parts]
    if len(survey.parts) > 1:
        lines.append("Of several fields or trials in it, name the logs that are wanted instead of the folder.")
    for column in survey.columns:
        unit = f" in {column.unit}" if column.unit else ""
        lines.append(f"  {plain_name(column.quantity)}: {column.column}{unit} ({column.settled})")
    return [_comment(line) for line in [*lines, *(f"Note: {notice}" for notice in survey.notices)]]


def _relative(path: Path, folder: Path) -> str:
    """Name a file from the trial file's folder."""
    return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()


def _season(surveys: Sequence[Survey]) -> str:
    """Give the year of the records, where they carry a date."""
    dated = [survey.time for survey in surveys if survey.time is not None and survey.time.unix]
    years = {datetime.fromtimestamp(span.start_s, UTC).year for span in dated}
    return str(years.pop()) if len(years) == 1 else "0                      # the year"


def _gather(surveys: Sequence[Survey]) -> list[Question]:
    """Collect the questions of all files, each once."""
    return list(dict.fromkeys(question for survey in surveys for question in survey.questions))


def _write_questions(questions: Sequence[Question]) -> list[str]:
    """Write each question with its choices, commented out; [harvest] before [harvest.columns]."""
    lines: list[str] = []
    for part in ("[harvest]", COLUMNS_PART):
        asked = [question for question in questions if question.part == part]
        if part == COLUMNS_PART and asked:
            lines += ["", part]
        for question in asked:
            lines += [_comment(f"To settle: {question.sentence}."), *(_comment(line) for line in question.lines)]
    return lines


def _write_map(map_file: Path | None, folder: Path) -> list[str]:
    """Write the part of the trial map, with the columns that are there."""
    if map_file is None:
        return [
            "[trial_map]",
            'file = ""',
            'strip = "strip"',
            'treatment = "treatment"',
            '# block = "block"',
            'control = ""',
        ]
    columns = read_map_columns(map_file)
    folded = {name.casefold(): name for name in columns}
    lines = [
        _comment(f"Columns of the map: {', '.join(columns)}"),
        "[trial_map]",
        f"file = {quote(_relative(map_file, folder))}",
        f"strip = {quote(folded.get('strip', ''))}",
        f"treatment = {quote(folded.get('treatment', ''))}",
        f"block = {quote(folded['block'])}" if "block" in folded else '# block = ""',
    ]
    treatments: list[str] = []
    if "treatment" in folded:
        labels = {label_text(value) for value in columns[folded["treatment"]]}
        treatments = sorted(label for label in labels if label is not None)
    shown = ", ".join(map(quote, treatments[:SHOWN]))
    return [*lines, 'control = ""' + (f"                    # one of {shown}" if shown else "")]
