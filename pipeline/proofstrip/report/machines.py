"""The part of the page on combines: what one reads against another, and how the reading drifts."""

from typing import Any

from proofstrip.report.tables import Table, between
from proofstrip.report.words import ABSENT, number, percent

SAID = (
    "Yield monitors differ, and a monitor's reading can drift over the day. Neither matters while it is the same for "
    "all strips that are compared with each other; the checks say whether it was."
)


def describe_machines(result: dict[str, Any]) -> tuple[list[str], list[Table]]:
    """Say how the combines read, where there is anything to say.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    tuple of list
        Paragraphs and tables; both empty where nothing could be told.
    """
    offsets, drifts = result.get("machines") or [], result.get("drift") or []
    told = [row for row in drifts if row.get("pct_per_h") is not None]
    if not offsets and not told:
        return [], []
    confidence = percent(result.get("confidence"), 0)
    tables: list[Table] = []
    if offsets:
        rows = [
            [str(row["machine"]), number(row["strips"]), *_span(row, "offset_pct", ""), row["note"]] for row in offsets
        ]
        head = ("Combine", "Strips", "Reads, %", f"Margin of error, {confidence}", "How it was told")
        tables.append(Table("How the combines read against each other", head, "lrrrl", rows))
    if told:
        rows = [
            [
                f"{row['machine']}, {row['day']}",
                number(row["strips"]),
                *_span(row, "pct_per_h", "_per_h"),
                str(row["note"]),
            ]
            for row in told
        ]
        head = ("Combine and day", "Strips", "Drift, % an hour", f"Margin of error, {confidence}", "How it was told")
        tables.append(Table("How the reading drifted", head, "lrrrl", rows))
    return [SAID], tables


def _span(row: dict[str, Any], key: str, end: str) -> list[str]:
    """Write a figure and its interval; the combine that others are read against has none."""
    if row.get("source") == "reference":
        return ["0", ABSENT]
    low, high = row.get(f"low_pct{end}"), row.get(f"high_pct{end}")
    return [number(row.get(key), 1, sign=True), between(number(low, 1, sign=True), number(high, 1, sign=True))]
