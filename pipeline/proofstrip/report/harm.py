"""What cleaning did to the treatments: what it took from each, and the travel delay of each."""

from typing import Any

from proofstrip.flags import FLAGS
from proofstrip.removals import ANY_REASON
from proofstrip.report.tables import Row, Table, between, capital
from proofstrip.report.words import ABSENT, Units, is_number, number, odds, percent, short
from proofstrip.sensitivity import USUAL_S

PHRASES = {meaning.name: meaning.phrase for meaning in FLAGS} | {ANY_REASON: "for any reason, within the window"}
REMOVED_SAID = (
    "Cleaning does not know the treatments. The next table shows what it took from each all the same: the share of its "
    "records and, behind it, of the grain they logged. The last column tells how often chance alone, with the labels "
    "of the strips dealt anew within their blocks, sets the treatments as far apart in some reason."
)
DELAY_SAID = (
    "One delay was applied to all strips of a combine. How soon the flow followed the combine into the crop and out of "
    "it shows the delay of each treatment apart; it is told here and corrects nothing."
)


def removals_by_treatment(result: dict[str, Any]) -> Table | None:
    """Set what each reason took from each treatment as a table.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    Table or None
        None where a run did not count it.
    """
    entries = result.get("removals") or []
    if not entries:
        return None
    names = list(dict.fromkeys(str(row["treatment"]) for row in entries))
    by_reason: dict[str, dict[str, dict[str, Any]]] = {}
    for row in entries:
        by_reason.setdefault(str(row["reason"]), {})[str(row["treatment"])] = row
    reasons = sorted(by_reason, key=lambda reason: reason == ANY_REASON)
    rows: list[Row] = []
    for reason in reasons:
        own = by_reason[reason]
        first = next(iter(own.values()))
        p = first.get("p_value") if reason == ANY_REASON else first.get("p_adjusted") or first.get("p_value")
        within = "window" if first.get("within") == "window" else "whole strip"
        shares = [_shares(own.get(name)) for name in names]
        rows.append([capital(PHRASES.get(reason, reason)), within, *shares, odds(p) if is_number(p) else ABSENT])
    head = ("Reason", "Share of the", *(f"{short(name, 24)}: records; grain" for name in names), "Luck alone does that")
    align = "ll" + "r" * len(names) + "l"
    return Table("What cleaning took from each treatment", head, align, rows, [len(rows) - 1], folded=True)


def _shares(row: dict[str, Any] | None) -> str:
    """Write the shares of records and grain."""
    if row is None:
        return ABSENT
    return f"{percent(row.get('share_records'))}; {percent(row.get('share_mass'))}"


def delays_by_treatment(result: dict[str, Any]) -> Table | None:
    """Set the travel delay of each combine and treatment as a table.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    Table or None
        None where a run did not look, or no combine could tell.
    """
    entries = result.get("delay_by_treatment") or []
    if not any(is_number(row.get("seconds")) for row in entries):
        return None
    rows: list[Row] = []
    for row in entries:
        keys = ("low", "high", "difference_low_s", "difference_high_s")
        low, high, least, most = (number(row.get(key), 1, sign=key.startswith("d")) for key in keys)
        apart = number(row.get("difference_s"), 1, sign=True)
        known = is_number(row.get("difference_s"))
        rows.append(
            [
                f"{row['machine']}, {row['treatment']}",
                number(row.get("strips")),
                number(row.get("seconds"), 1),
                between(low, high) if is_number(row.get("seconds")) else ABSENT,
                f"{apart} ({between(least, most)})" if known else ABSENT,
                odds(row.get("p_value")) if known else ABSENT,
            ]
        )
    head = (
        "Combine, treatment",
        "Strips",
        "Delay, s",
        "Margin of error",
        "Minus the control, s",
        "Luck alone does that",
    )
    return Table("The travel delay of each treatment", head, "lrrrrl", rows)


def say_usual_delays(result: dict[str, Any], units: Units) -> list[str]:
    """Say what the difference would be with the usual delays, where the delay was refused.

    Parameters
    ----------
    result : dict
        result.json.
    units : Units

    Returns
    -------
    list of str
        A sentence a treatment; empty where no delay was refused.
    """
    wanted = [f"Travel delay {seconds:g} s" for seconds in USUAL_S]
    said = []
    for entry in result.get("differences") or []:
        rows = [row for row in result.get("sensitivity") or [] if row.get("treatment") == entry["treatment"]]
        found = {str(row.get("name")): row.get("difference_kg_ha") for row in rows}
        if not all(name in found for name in wanted):
            continue
        gaps = [units.yield_text(found[name], sign=True) for name in wanted]
        times = [f"{seconds:g}" for seconds in USUAL_S]
        said.append(
            f"The records cannot tell the delay. Were it {times[0]}, {times[1]} or {times[2]} seconds, "
            f"{entry['treatment']} would differ from {entry['control']} by {gaps[0]}, {gaps[1]} or {gaps[2]}; the "
            f"answer above says {units.yield_text(entry.get('difference_kg_ha'), sign=True)}."
        )
    return said
