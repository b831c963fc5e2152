"""The sensitivity of the answer: the difference had another choice been made."""

from typing import Any

from proofstrip.report.tables import Row, Table, interval, plain
from proofstrip.report.words import Units, is_number


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
    several = len(headline) > 1
    rows = []
    for first in headline if tried else []:
        rows.append(_shape(first, "The answer above", several, True))
        same = [entry for entry in tried if entry.get("treatment") == first["treatment"]]
        rows += [_shape(entry, plain(entry.get("name")), several, False) for entry in same]
    return rows


def _shape(entry: dict[str, Any], label: str, several: bool, is_headline: bool) -> dict[str, Any]:
    """Shape one row; the treatment joins the label where there are several."""
    keys = ("difference_kg_ha", "low_kg_ha", "high_kg_ha")
    return {
        "label": f"{entry['treatment']}: {label[:1].lower()}{label[1:]}" if several else label,
        **{key: entry.get(key) if is_number(entry.get(key)) else None for key in keys},
        "moves": entry.get("moves") is True,
        "note": "" if is_headline else str(entry.get("note") or ""),
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
            entry["note"],
        ]
        for entry in choices
    ]
    head = ("Choice", f"Difference, {units.yield_name}", "Margin of error", "Moves the answer", "What is changed")
    marked = [place for place, entry in enumerate(choices) if entry["is_headline"] or entry["moves"]]
    return Table("The difference under other choices", head, "lrrll", rows, marked)
