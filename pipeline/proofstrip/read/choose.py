"""Which column is taken for which quantity: what the user says, else what the headers say; never a guess."""

import difflib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from proofstrip.config import ColumnChoice
from proofstrip.errors import DataError
from proofstrip.read.names import HARVEST, Match, match_column, plain_name, spell_unit, unit_spellings
from proofstrip.read.table import ColumnMeaning

OVERRIDES = tuple(name for name in HARVEST if name != "yield")
COLUMNS_PART = "[harvest.columns]"


@dataclass(frozen=True)
class Choice:
    """A column that is taken.

    Attributes
    ----------
    quantity, column : str
    unit : str or None
        None while it is not settled.
    settled : str
        By what, for people.
    """

    quantity: str
    column: str
    unit: str | None
    settled: str


@dataclass(frozen=True)
class Question:
    """What the file leaves open and only the user can settle.

    Attributes
    ----------
    quantity : str
    sentence : str
        What was found and what the choices are.
    lines : tuple of str
        To add to the trial file: one of them.
    part : str
        Heading in the trial file that the lines belong under.
    all_lines : bool
        All lines are needed, not one of them.
    """

    quantity: str
    sentence: str
    lines: tuple[str, ...] = ()
    part: str = COLUMNS_PART
    all_lines: bool = False


def choose_columns(
    names: Sequence[str],
    overrides: Mapping[str, ColumnChoice],
    among: Iterable[str] = HARVEST,
    meanings: Mapping[str, ColumnMeaning] | None = None,
) -> tuple[dict[str, Choice], list[Question]]:
    """Choose a column for each quantity that the file has.

    Parameters
    ----------
    names : sequence of str
        Headers of the file.
    overrides : mapping of str to ColumnChoice
        What the user says; columns that the file does not have are left to the other files.
    among : iterable of str
        Quantities that the table can have.
    meanings : mapping of str to ColumnMeaning or None
        What the format itself says; then headers are not compared with names.

    Returns
    -------
    tuple of dict of str to Choice and list of Question
        By quantity; a question for each quantity that several columns claim.
    """
    said = {quantity: choice for quantity, choice in overrides.items() if choice.column in names}
    chosen = {quantity: _choose_said(quantity, choice, meanings) for quantity, choice in said.items()}
    taken = {choice.column for choice in chosen.values()}
    claims: dict[str, list[tuple[str, Match]]] = {}
    for name in names:
        match = _match(name, tuple(among), meanings)
        if match is not None and name not in taken and match.quantity not in chosen:
            claims.setdefault(match.quantity, []).append((name, match))
    questions = []
    for quantity, claim in claims.items():
        # A whole name is a better sign than a cut one.
        best = [pair for pair in claim if not pair[1].cut] or claim
        if len(best) > 1:
            questions.append(_ask_which(quantity, best))
            continue
        name, match = best[0]
        settled = "header, cut" if match.cut else "header" if meanings is None else "format"
        unit = None if match.unit is None else spell_unit(quantity, match.unit)
        chosen[quantity] = Choice(quantity, name, unit, settled)
    return chosen, questions


def check_overrides(overrides: Mapping[str, ColumnChoice], files: Mapping[str, Sequence[str]]) -> None:
    """Refuse an override whose quantity is unknown or whose column no file has.

    Parameters
    ----------
    overrides : mapping of str to ColumnChoice
    files : mapping of str to sequence of str
        Headers of each file.

    Raises
    ------
    DataError
    """
    for quantity, choice in overrides.items():
        if quantity not in OVERRIDES:
            near = difflib.get_close_matches(quantity, OVERRIDES, n=1, cutoff=0.4)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise DataError(
                f"{COLUMNS_PART} {quantity!r} is no quantity of a harvest record.{hint} Known: {', '.join(OVERRIDES)}."
            )
        names = sorted({name for headers in files.values() for name in headers})
        if choice.column not in names:
            near = difflib.get_close_matches(choice.column, names, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise DataError(
                f"{COLUMNS_PART} {quantity}: no file has a column {choice.column!r}.{hint} "
                f"Columns of {next(iter(files))}: {', '.join(names)}."
            )


def ask_unit(choice: Choice, why: str = "has no unit", likely: Mapping[str, str] | None = None) -> Question:
    """Ask for the unit of a column.

    Parameters
    ----------
    choice : Choice
    why : str
        What is wrong, after the column's name.
    likely : mapping of str to str or None
        Units that come into question, each with what it would mean; none or empty: all usual ones.

    Returns
    -------
    Question
    """
    units = list(likely or unit_spellings(choice.quantity))
    named = [f"{unit} ({likely[unit]})" if likely else unit for unit in units]
    sentence = f"{plain_name(choice.quantity)}: column {choice.column!r} {why}; it may be {', '.join(named)}"
    return Question(choice.quantity, sentence, tuple(override_line(choice.quantity, choice.column, u) for u in units))


def ask_missing(quantity: str, why: str) -> Question:
    """Ask for a column that was not recognised."""
    return Question(quantity, f"{plain_name(quantity)}: {why}", (override_line(quantity, "...", ""),))


def override_line(quantity: str, column: str, unit: str) -> str:
    """Write the line of the trial file that settles a column."""
    quoted = json.dumps(column, ensure_ascii=False)
    return f"{quantity} = {{ column = {quoted}" + (f', unit = "{unit}"' if unit else "") + " }"


def _match(name: str, among: tuple[str, ...], meanings: Mapping[str, ColumnMeaning] | None) -> Match | None:
    """Tell what a column holds: by its format where that says it, else by its header."""
    if meanings is None:
        return match_column(name, among)
    meaning = meanings.get(name)
    return None if meaning is None else Match(meaning.quantity, meaning.unit)


def _choose_said(quantity: str, choice: ColumnChoice, meanings: Mapping[str, ColumnMeaning] | None) -> Choice:
    """Take the user's column; its unit is the user's, else the header's."""
    if choice.unit:
        return Choice(quantity, choice.column, spell_unit(quantity, choice.unit), "trial file")
    match = _match(choice.column, tuple(HARVEST), meanings)
    unit = match.unit if match is not None and match.quantity == quantity else None
    return Choice(quantity, choice.column, unit, "trial file")


def _ask_which(quantity: str, claim: list[tuple[str, Match]]) -> Question:
    """Ask which of several columns is meant."""
    columns = " and ".join(repr(name) for name, _ in claim)
    lines = tuple(override_line(quantity, name, match.unit or "") for name, match in claim)
    return Question(quantity, f"{plain_name(quantity)}: {columns} may each be it", lines)
