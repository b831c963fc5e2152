"""Scale tickets: the weight and moisture of each load, by strip, or by machine and day."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from proofstrip.config import TablePart
from proofstrip.errors import DataError, Notice
from proofstrip.read.choose import Choice, choose_columns
from proofstrip.read.delimited import load_delimited, look_at_delimited
from proofstrip.read.files import find_file, tell_format
from proofstrip.read.names import TICKETS, plain_name, unit_spellings
from proofstrip.read.table import Head, Loaded
from proofstrip.read.values import to_labels, to_numbers
from proofstrip.units import factor_to

DAY = re.compile(r"\d{4}-\d{2}-\d{2}|day \d+")
HINT = "columns are recognised by name and unit, such as: Strip, Wet weight (lb), Moisture (%)"


@dataclass(frozen=True)
class Tickets:
    """The loads that went over the scale.

    Attributes
    ----------
    loads : pandas.DataFrame
        A row per load: strip (or several, as written), machine, day (each None where the table has no such column;
        day also where it has strips), wet_mass_kg, moisture_pct (NaN where none was taken).
    notices : tuple of Notice
    sha256 : str
    """

    loads: pd.DataFrame
    notices: tuple[Notice, ...]
    sha256: str


def read_tickets(settings: TablePart, folder: Path) -> Tickets:
    """Read the scale tickets of a trial.

    Parameters
    ----------
    settings : TablePart
    folder : pathlib.Path
        The file's name starts here.

    Returns
    -------
    Tickets

    Raises
    ------
    DataError
        When the table, a column, a unit, a label or a weight is missing or wrong.
    """
    path, sha256 = find_file(settings.file, folder)
    notices: list[Notice] = []
    if tell_format(path) != "delimited text":
        raise DataError(f"{path.name}: scale tickets are read from CSV or other delimited text; save the table as CSV.")
    head = look_at_delimited(path)
    choices = _choose(head)
    loaded = load_delimited(head, {choice.column: pa.string() for choice in choices.values()})
    loads = pd.DataFrame(
        {
            "strip": _labels(loaded, choices, "strip", path.name),
            "machine": _labels(loaded, choices, "machine", path.name),
            "day": _days(loaded, choices, path.name),
            "wet_mass_kg": _numbers(loaded, head, choices["wet_weight"]),
            "moisture_pct": np.nan,
        }
    )
    _check_weights(loads, path.name, choices["wet_weight"].column)
    if "moisture" in choices:
        loads["moisture_pct"] = _moistures(loaded, head, choices["moisture"], notices)
    else:
        notices.append(Notice("ticket_moisture_missing", f"{path.name}: no column for moisture; {HINT}."))
    return Tickets(loads, (*notices, *loaded.notices), sha256)


def _choose(head: Head) -> dict[str, Choice]:
    """Find the columns; the weight must name its unit."""
    choices, questions = choose_columns(head.names, {}, TICKETS)
    if questions:
        said = "; ".join(question.sentence for question in questions)
        raise DataError(f"{head.path.name}: {said}. Keep one of them.")
    listed = f"Columns: {', '.join(head.names)}; {HINT}."
    if "strip" not in choices and "machine" not in choices:
        raise DataError(f"{head.path.name}: no column says which strip or machine a load came from. {listed}")
    if "wet_weight" not in choices:
        raise DataError(f"{head.path.name}: no column for the wet weight. {listed}")
    weight = choices["wet_weight"]
    units = [unit for unit in unit_spellings("wet_weight") if unit != "bu"]
    if weight.unit not in units:
        said = "names no unit" if weight.unit is None else f"says {weight.unit!r}"
        raise DataError(
            f"{head.path.name}: weight column {weight.column!r} {said}; write it into the header, one of "
            f"{', '.join(units)}: '{weight.column} (lb)'. Bushels are not a weight here: their moisture is not known."
        )
    return choices


def _labels(loaded: Loaded, choices: dict[str, Choice], role: str, file: str) -> list[str | None]:
    """Read the names of strips or machines; one must stand in every row."""
    if role not in choices:
        return [None] * loaded.columns.num_rows
    labels = to_labels(loaded.columns[choices[role].column])
    if labels.isna().any():
        row = int(np.flatnonzero(labels.isna())[0]) + 1
        raise DataError(
            f"{file}: column {choices[role].column!r} is empty in row {row}; name the {role} of every load."
        )
    return [str(label) for label in labels]


def _days(loaded: Loaded, choices: dict[str, Choice], file: str) -> list[str | None]:
    """Read the days of loads by machine; one way of writing only: 10/07 is October in one country, July in the next."""
    if "strip" in choices:
        return [None] * loaded.columns.num_rows
    days = _labels(loaded, choices, "date", file)
    for row, day in enumerate(days, start=1):
        if day is not None and not DAY.fullmatch(day):
            raise DataError(
                f"{file}: the date in row {row} is {day!r}; write year, month and day with hyphens, such as "
                "2024-10-07, or 'day 1' where the harvest log names no date."
            )
    return days


def _numbers(loaded: Loaded, head: Head, choice: Choice) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Read a column in the unit of its header; a text in it is an error: no load may get lost."""
    numbers = to_numbers(loaded.columns[choice.column], head.layout["decimal"])
    if numbers.texts:
        row, text = numbers.first_text
        raise DataError(
            f"{head.path.name}: {plain_name(choice.quantity)} column {choice.column!r} holds {text!r} in row {row}, "
            "which is no number; write it without unit and without separators of thousands."
        )
    target = TICKETS[choice.quantity]
    return numbers.values * (1.0 if choice.unit is None else factor_to(choice.unit, target))


def _check_weights(loads: pd.DataFrame, file: str, column: str) -> None:
    """Refuse a load without a weight."""
    bad = ~(loads["wet_mass_kg"] > 0)
    if bad.any():
        row = int(np.flatnonzero(bad)[0]) + 1
        raise DataError(
            f"{file}: weight column {column!r} is empty, zero or negative in {int(bad.sum())} rows (first: row {row}); "
            "give each load its weight or take the row out."
        )


def _moistures(
    loaded: Loaded, head: Head, choice: Choice, notices: list[Notice]
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Read the moistures; without a unit they are per cent unless they look like fractions."""
    moisture = _numbers(loaded, head, choice)
    name = head.path.name
    given = moisture[~np.isnan(moisture)]
    if len(given) and (given.min() <= 1.0 or given.max() >= 100.0):
        worst = given.min() if given.min() <= 1.0 else given.max()
        raise DataError(
            f"{name}: moisture column {choice.column!r} holds {worst:g}, which is no grain moisture in per cent; say "
            f"the unit in the header, '{choice.column} (fraction)' or '{choice.column} (%)', or mend the value."
        )
    empty = len(moisture) - len(given)
    if empty:
        notices.append(Notice("ticket_moisture_missing", f"{name}: {empty} of {len(moisture)} loads have no moisture."))
    return moisture
