"""The sensitivity of the answer: rows of the result, made readable."""

from typing import Any

from proofstrip.report.tables import Row, Table, capital, interval, plain
from proofstrip.report.words import Units, is_number

LABELS = ("label", "choice", "name", "variant", "case", "what")
MOVES = ("moves", "moved", "changes", "changed", "conclusion_moves", "conclusion_changes", "turns")


def label_of(entry: dict[str, Any]) -> str:
    """Name the other choice of a row of ``sensitivity``."""
    return next((plain(entry[key]) for key in LABELS if entry.get(key)), "another choice")


def moves_answer(entry: dict[str, Any]) -> bool:
    """Tell whether the conclusion is another one under this choice."""
    return any(entry.get(key) is True for key in MOVES)


def read_choices(result: dict[str, Any]) -> list[dict[str, Any]]:
    """Bring the rows of ``sensitivity`` into one shape, the headline first.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    list of dict
        label, difference_kg_ha, low_kg_ha, high_kg_ha [kg/ha or None], moves, note, is_headline; empty when no other
        choice was tried.
    """
    tried, headline = result.get("sensitivity") or [], result.get("differences") or []
    if not tried:
        return []
    several = len(headline) > 1
    rows = [_shape(entry, "the answer above", several, True) for entry in headline]
    return rows + [_shape(entry, label_of(entry), several, False) for entry in tried]


def _shape(entry: dict[str, Any], label: str, several: bool, is_headline: bool) -> dict[str, Any]:
    """Shape one row; the treatment joins the label where there are several."""
    keys = ("difference_kg_ha", "low_kg_ha", "high_kg_ha")
    named = several and entry.get("treatment")
    return {
        "label": f"{entry['treatment']}: {label}" if named else capital(label),
        **{key: entry.get(key) if is_number(entry.get(key)) else None for key in keys},
        "moves": moves_answer(entry),
        "note": entry.get("note") or entry.get("verdict") or entry.get("word"),
        "is_headline": is_headline,
    }


def choice_table(choices: list[dict[str, Any]], units: Units) -> Table:
    """Set the choices as a table.

    Parameters
    ----------
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
            "" if entry["is_headline"] else ("yes" if entry["moves"] else "no"),
            plain(entry["note"]) if entry["note"] else "",
        ]
        for entry in choices
    ]
    head = ("Choice", f"Difference, {units.yield_name}", "Margin of error", "Moves the answer", "Remark")
    columns = 5 if any(row[4] for row in rows) else 4
    marked = [place for place, entry in enumerate(choices) if entry["is_headline"] or entry["moves"]]
    return Table(
        "The difference under other choices", head[:columns], "lrrll"[:columns], [row[:columns] for row in rows], marked
    )
