"""What a person excluded, as a table of the report."""

from typing import Any

from proofstrip.report.tables import Table
from proofstrip.report.words import number, short

SAID = (
    "The records below were excluded by hand, each with a reason on file. Whoever excludes records may know the "
    "treatments, so look at how they fall on them; “Would other choices change the answer?” shows the difference with "
    "these records put back."
)


def exclusion_table(result: dict[str, Any]) -> Table | None:
    """List the exclusions by hand: reason, who and when, and how many records of each treatment.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    Table or None
        None where nothing was excluded by hand.
    """
    entries = result.get("exclusions") or []
    if not entries:
        return None
    names = [str(row["treatment"]) for row in result.get("treatments") or []]
    rows = [
        [
            str(entry["reason"]),
            str(entry["author"]),
            str(entry["date"]),
            number(entry["records"]),
            number(entry["otherwise_used"]),
            *(number((entry.get("by_treatment") or {}).get(name, 0)) for name in names),
        ]
        for entry in entries
    ]
    head = ("Reason", "By", "Date", "Records", "Counted otherwise", *(short(name, 24) for name in names))
    return Table("Records excluded by hand", head, "lllrr" + "r" * len(names), rows)
