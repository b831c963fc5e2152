"""A TOML file and its model: read whole, checked whole, every problem with its line."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from proofstrip.cells import CONTROLS
from proofstrip.errors import SettingsError
from proofstrip.units import parse_quantity


class Part(BaseModel):
    """A part of a settings file: frozen, and no key is silently ignored."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True, validate_by_name=True)


PartT = TypeVar("PartT", bound=Part)


def quantity(unit: str) -> BeforeValidator:
    """Read ``"30 ft"`` into ``unit``; a number without a unit is refused."""

    def read(value: object) -> object:
        if isinstance(value, str):
            return parse_quantity(value, unit)
        raise ValueError(f'needs a number and a unit in quotes, such as "12 {unit}"; found {value!r}')

    return BeforeValidator(read)


# What a value of the wrong kind is asked to be, by the kind of pydantic's fault; braces take the limit.
ASKED = {
    "greater_than": "must be above {gt:g}",
    "greater_than_equal": "must be {ge:g} or more",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be {le:g} or less",
    "literal_error": "must be {expected}",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "too_short": "must not be an empty list",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "tuple_type": 'must be a list, such as ["a.csv", "b.csv"]',
    "dict_type": "must be a table: its own header in square brackets, then a line for each name",
    "model_type": "must be a table: its own header in square brackets, then a line for each setting",
}


def read_toml(path: Path) -> tuple[str, dict[str, Any]]:
    """Read a TOML file.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    tuple of str and dict
        The text and what it says.

    Raises
    ------
    SettingsError
        When the file is not there, is not UTF-8, is not TOML or holds control characters.
    """
    if not path.is_file():
        raise SettingsError(path, ["there is no such file; give the path of a TOML file"])
    try:
        text = path.read_text(encoding="utf-8-sig")
        data = tomllib.loads(text)
    except UnicodeDecodeError as fault:
        raise SettingsError(path, [f"byte {fault.start} is not UTF-8; save the file as UTF-8 text"]) from fault
    except tomllib.TOMLDecodeError as fault:
        raise SettingsError(path, [f"not valid TOML: {fault}"]) from fault
    if odd := next(
        (one for one in _list_texts(data) if CONTROLS.search(one.replace("\n", "").replace("\t", ""))), None
    ):
        raise SettingsError(path, [f"the text {odd[:40]!r} holds a control character; take it out"])
    return text, data


def _list_texts(value: object) -> Iterator[str]:
    """Give every key and every text of what a file says."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from _list_texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _list_texts(inner)


def validate(model: type[PartT], data: dict[str, Any], path: Path, text: str) -> PartT:
    """Check what a file says against a model.

    Parameters
    ----------
    model : type of Part
    data : dict
    path, text : pathlib.Path, str
        The file, for the lines of the problems.

    Returns
    -------
    Part

    Raises
    ------
    SettingsError
        With every problem and its line.
    """
    try:
        return model.model_validate(data)
    except ValidationError as fault:
        lines = find_lines(text)
        problems = sorted({_describe(error, lines) for error in fault.errors()})
        raise SettingsError(path, [problem for _, problem in problems]) from None


def find_lines(text: str) -> dict[tuple[str, ...], int]:
    r"""Find the line on which each table and key of a TOML text stands.

    Parameters
    ----------
    text : str

    Returns
    -------
    dict of tuple of str to int
        Key path -> line, from 1.

    Examples
    --------
    >>> find_lines('[trial]\nname = "x"')
    {('trial',): 1, ('trial', 'name'): 2}
    """
    lines: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := re.match(r"\s*\[\[?\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$", line):
            table = _key_path(header[1])
            lines.setdefault(table, number)
        elif key := re.match(r"""\s*((?:[\w.-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""", line):
            lines.setdefault((*table, *_key_path(key[1])), number)
    return lines


def line_of(place: tuple[str, ...], lines: dict[tuple[str, ...], int]) -> int:
    """Give the line of a key, or of the nearest table around it; 0 where neither stands in the file."""
    return next((lines[place[:n]] for n in range(len(place), 0, -1) if place[:n] in lines), 0)


def _key_path(text: str) -> tuple[str, ...]:
    """Split a dotted TOML key into its parts, quotes removed."""
    return tuple(part.strip("\"'") for part in re.findall(r"""[\w-]+|"[^"]*"|'[^']*'""", text))


def _describe(error: Any, lines: dict[tuple[str, ...], int]) -> tuple[int, str]:
    """Turn one pydantic error into its line and a sentence."""
    place = tuple(str(step) for step in error["loc"])
    line = line_of(place, lines)
    name = f"[{place[0]}] {'.'.join(place[1:])}".strip() if len(place) > 1 else f"[{'.'.join(place)}]"
    kind = error["type"]
    if kind == "missing":
        said = "is missing; add it"
    elif kind == "extra_forbidden":
        said = "is not a setting; see docs/settings.md for the names"
    elif kind in ASKED:
        said = f"{ASKED[kind].format(**error.get('ctx', {}))}; found {error['input']!r}"
    else:
        said = str(error["msg"]).removeprefix("Value error, ")
        # What two settings together get wrong is found by their table; its first word names one of them.
        line = lines.get((*place, said.partition(" ")[0]), line)
    return line, (f"line {line}: " if line else "") + f"{name} {said}" if place else str(error["msg"])
