"""The sensitivity of the answer: the difference had another choice been made."""

from typing import Any

from proofstrip.report.tables import Row, Table, capital, interval, plain
from proofstrip.report.words import Units, is_number


def read_choices(result: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """Bring the rows of ``sensitivity`` into one shape, by treatment, the headline first.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    dict of str to list of dict
        label, difference_kg_ha, low_kg_ha, high_kg_ha [kg/ha or None], moves (which answer), note, is_headline;
        empty when no other choice was tried.
    """
    tried = result.get("sensitivity") or []
    choices = {}
    for headline in result.get("differences") or []:
        same = [entry for entry in tried if entry.get("treatment") == headline["treatment"]]
        if same:
            rows = [_shape(entry, plain(entry.get("name")), False) for entry in same]
            choices[str(headline["treatment"])] = [_shape(headline, "The answer above", True), *rows]
    return choices


def _shape(entry: dict[str, Any], label: str, is_headline: bool) -> dict[str, Any]:
    """Shape one row."""
    keys = ("difference_kg_ha", "low_kg_ha", "high_kg_ha")
    return {
        "label": label,
        **{key: entry.get(key) if is_number(entry.get(key)) else None for key in keys},
        "moves": _say_move(entry),
        "note": "" if is_headline else str(entry.get("note") or ""),
        "is_headline": is_headline,
    }


def _say_move(entry: dict[str, Any]) -> str:
    """Say which answer a choice moves: yield, money or both; empty where none."""
    money = entry.get("money") != entry.get("money_before")
    moved = {"yield": entry.get("moves") is True, "money": money}
    return " and ".join(name for name, moves in moved.items() if moves)


def choice_table(treatment: str, choices: list[dict[str, Any]], units: Units) -> Table:
    """Set the choices of one treatment as a table.

    Parameters
    ----------
    treatment : str
    choices : list of dict
        From :func:`read_choices`.
    units : Units

    Returns
    -------
    Table
    """
    rows: list[Row] = [
        [
            entry["label"],
            units.yields(entry["difference_kg_ha"], sign=True),
            interval(entry, units),
            "" if entry["is_headline"] else (entry["moves"] or "no"),
            entry["note"],
        ]
        for entry in choices
    ]
    head = ("Choice", f"Difference, {units.yield_name}", "Margin of error", "Moves the answer", "What is changed")
    marked = [place for place, entry in enumerate(choices) if entry["is_headline"] or entry["moves"]]
    return Table(f"{capital(treatment)}: the difference under other choices", head, "lrrll", rows, marked, folded=True)
