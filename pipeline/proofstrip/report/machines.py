"""The part of the page on combines: what one reads against another, and how the reading drifts."""

from typing import Any

from proofstrip.report.tables import Table, between
from proofstrip.report.words import ABSENT, Units, is_number, number, percent

SAID = (
    "Yield monitors differ, and a monitor's reading can drift over the day. Neither matters while it is the same for "
    "all strips that are compared with each other; the checks say whether it was."
)


def describe_machines(result: dict[str, Any], units: Units) -> tuple[list[str], list[Table]]:
    """Say how the combines read, where there is anything to say.

    Parameters
    ----------
    result : dict
        result.json.
    units : Units

    Returns
    -------
    tuple of list
        Paragraphs and tables; both empty where nothing could be told.
    """
    offsets, drifts = result.get("machines") or [], result.get("drift") or []
    told = [row for row in drifts if row.get("pct_per_h") is not None]
    weighed = result.get("scale") or {}
    if not offsets and not told and not weighed:
        return [], []
    confidence = percent(result.get("confidence"), 0)
    tables: list[Table] = []
    if weighed.get("factors"):
        tables.append(_factor_table(weighed["factors"], confidence, units))
    if offsets:
        rows = [
            [str(row["machine"]), number(row["strips"]), *_span(row, "offset_pct", ""), row["note"]] for row in offsets
        ]
        head = ("Combine", "Strips", "Reads, %", f"Margin of error, {confidence}", "How it was told")
        title = "How the combines read against each other"
        title += ", before the scale tickets" if weighed.get("factors") else ""
        tables.append(Table(title, head, "lrrrl", rows))
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
    return [SAID, *_say_scale(weighed, units)], tables


def _say_scale(weighed: dict[str, Any], units: Units) -> list[str]:
    """Say what the scale tickets did, and which number moved."""
    if not weighed:
        return []
    said = str(weighed.get("note") or "")
    before, after = weighed.get("mean_before_kg_ha"), weighed.get("mean_after_kg_ha")
    if is_number(before) and is_number(after):
        said += f" The mean yield of the strips went from {units.yields(before)} to {units.yields(after)} "
        said += f"{units.yield_name}."
        if weighed.get("use") == "factor":
            said += " A factor that is the same for all strips leaves the difference in per cent where it was."
    return [said]


def _factor_table(factors: list[dict[str, Any]], confidence: str, units: Units) -> Table:
    """Set out what each combine's day was multiplied by."""
    rows = [
        [
            ", ".join(filter(None, (str(row["machine"]), str(row["day"])))),
            number(row["loads"]),
            units.mass(row["scale_kg"]),
            units.mass(row["monitor_kg"]),
            number(row["factor"], 3),
            between(number(row["low"], 3), number(row["high"], 3)),
            str(row["note"]),
        ]
        for row in factors
    ]
    masses = (f"Scale, {units.mass_name}", f"Monitor, {units.mass_name}")
    head = ("Combine and day", "Loads", *masses, "Factor", f"Margin of error, {confidence}", "How it was told")
    return Table("What the scale tickets make of the monitor, at standard moisture", head, "lrrrrrl", rows)


def _span(row: dict[str, Any], key: str, end: str) -> list[str]:
    """Write a figure and its interval; the combine that others are read against has none."""
    if row.get("source") == "reference":
        return ["0", ABSENT]
    low, high = row.get(f"low_pct{end}"), row.get(f"high_pct{end}")
    return [number(row.get(key), 1, sign=True), between(number(low, 1, sign=True), number(high, 1, sign=True))]
