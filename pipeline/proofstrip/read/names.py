"""Which quantity a raw column holds, told from its header text: the trade's names and the spellings of units."""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from proofstrip.config import config_folder
from proofstrip.units import UNREADABLE, registry

# The unit each quantity has inside; quantities without one are names or states.
HARVEST = {
    "time": "s",
    "date": "",
    "longitude": "deg",
    "latitude": "deg",
    "easting": "m",
    "northing": "m",
    "elevation": "m",
    "heading": "deg",
    "speed": "m/s",
    "duration": "s",
    "distance": "m",
    "swath": "m",
    "mass_flow": "kg/s",
    "moisture": "percent",
    "header": "",
    "machine": "",
    "wet_yield": "kg/m**2",
    "dry_yield": "kg/m**2",
    "yield": "kg/m**2",
}
TICKETS = {"strip": "", "machine": "", "date": "", "wet_weight": "kg", "moisture": "percent"}
COUNTS = {"strip": "", "zone": "", "frame": "", "seeds": "", "frame_area": "m^2"}
TARGETS = HARVEST | TICKETS | COUNTS
CUT_LENGTH = 10


@dataclass(frozen=True)
class Match:
    """What a header text says.

    Attributes
    ----------
    quantity : str
    unit : str or None
        As pint reads it; none when the header does not say.
    cut : bool
        The header was cut to ten characters, as shapefiles do.
    """

    quantity: str
    unit: str | None
    cut: bool = False


def squeeze(text: str) -> str:
    """Reduce a header text to what is compared: lower case, letters, digits, % and ° only.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> squeeze("Mass Flow [kg/s]")
    'massflowkgs'
    """
    return "".join(letter for letter in text.lower() if letter.isalnum() or letter in "%°")


def match_column(header: str, among: tuple[str, ...] = tuple(HARVEST)) -> Match | None:
    """Tell which quantity a column holds, and in which unit, from its header.

    Parameters
    ----------
    header : str
    among : tuple of str
        Quantities that the table can have.

    Returns
    -------
    Match or None
        None when the name is not known.

    Examples
    --------
    >>> match_column("Flow(lb/s)")
    Match(quantity='mass_flow', unit='lb/s', cut=False)
    >>> match_column("Swath Widt")
    Match(quantity='swath', unit=None, cut=True)
    """
    known, text = _known_headers(among), squeeze(header)
    # A bracket that stays open was cut in its middle: "Distance(m" may go on as mm.
    cut_unit = len(header) == CUT_LENGTH and ("(" in header) != (")" in header)
    if text in known and not cut_unit:
        return known[text]
    cut = _match_cut(text, known) if len(header) == CUT_LENGTH else None
    return cut or _match_bracket(header, known)


def spell_unit(quantity: str, text: str) -> str:
    """Turn a unit as a person writes it into what pint reads; unknown texts are given back.

    Parameters
    ----------
    quantity : str
        The spellings depend on what is measured.
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> spell_unit("mass_flow", "lbs/sec")
    'lb/s'
    """
    for unit, spellings in unit_spellings(quantity).items():
        if squeeze(text) in {squeeze(spelling) for spelling in spellings}:
            return unit
    return text.strip()


def unit_spellings(quantity: str) -> dict[str, list[str]]:
    """List the usual units of a quantity, each with its spellings.

    Parameters
    ----------
    quantity : str

    Returns
    -------
    dict of str to list of str
        Empty for names and states.
    """
    table = _load_table()
    kind: str = table[quantity].get("measures", "")
    units: dict[str, list[str]] = table["unit"].get(kind, {})
    return units


def plain_name(quantity: str) -> str:
    """Give the quantity's name for a sentence: ``mass flow``."""
    return quantity.replace("_", " ")


@cache
def _load_table() -> dict[str, dict[str, Any]]:
    """Read configs/column_names.toml."""
    return tomllib.loads((config_folder() / "column_names.toml").read_text(encoding="utf-8"))


@cache
def _known_headers(among: tuple[str, ...]) -> dict[str, Match]:
    """Write out every name with every unit spelling; a name alone goes before one with a unit: "cycles"."""
    spelled = [pair for quantity in among for pair in _spell_out(quantity)]
    return dict(sorted(spelled, key=lambda pair: pair[1].unit is None))


def _spell_out(quantity: str) -> Iterator[tuple[str, Match]]:
    """Write out the headers of one quantity."""
    entry = _load_table()[quantity]
    names, only_with_unit = list(entry["names"]), list(entry.get("names_with_unit", []))
    for name in names:
        yield squeeze(name), Match(quantity, None)
    for unit, spellings in unit_spellings(quantity).items():
        for name in names + only_with_unit:
            for spelling in spellings:
                yield squeeze(name) + squeeze(spelling), Match(quantity, unit)


def _match_cut(text: str, headers: dict[str, Match]) -> Match | None:
    """Match a name that was cut to ten characters, when it is the start of one quantity's names only."""
    matches = {match for known, match in headers.items() if known.startswith(text)}
    if len({match.quantity for match in matches}) != 1:
        return None
    units = {match.unit for match in matches}
    return Match(matches.pop().quantity, units.pop() if len(units) == 1 else None, cut=True)


def _match_bracket(header: str, headers: dict[str, Match]) -> Match | None:
    """Match a name that is followed by a unit or a remark in brackets which the spellings do not have."""
    outside, bracket, inside = header.replace("[", "(").partition("(")
    match = headers.get(squeeze(outside))
    if not bracket or match is None:
        return None
    remark = inside.rstrip(" )]")
    return Match(match.quantity, remark if _is_unit(remark) else match.unit)


def _is_unit(text: str) -> bool:
    """Tell whether a remark in brackets is a unit at all: "g/min" is, "wet basis" is not."""
    try:
        return bool(text) and not registry().Unit(text).dimensionless
    except (ValueError, *UNREADABLE):
        return False
