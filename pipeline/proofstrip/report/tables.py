"""The tables of the report: rows of text, ready to be set."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from markupsafe import Markup

from proofstrip.checks import NOT_JUDGED
from proofstrip.flags import FLAGS
from proofstrip.report.words import ABSENT, Units, is_number, number, p_value, percent

Row = Sequence[str]
CHECKS = {
    "machine_by_treatment": "Combine, by treatment",
    "direction_by_treatment": "Direction of travel, by treatment",
    "order_by_treatment": "Order of the harvest, by treatment",
    "speed_by_treatment": "Speed, by treatment",
    "moisture_by_treatment": "Moisture, by treatment",
    "removed_by_treatment": "Records removed, by treatment",
    "scale_against_monitor": "Scale against monitor, by treatment",
    "gain_against_ground_loss": "Gain against ground loss",
    "width_by_treatment": "Cut width, by treatment",
    "time_by_treatment": "Time of harvest, by treatment",
    "uneven_direction": "Share of each direction, by treatment",
    "flow_by_treatment": "Grain flow, by treatment",
    "stops_by_treatment": "Time stood still, by treatment",
    "ramps_by_treatment": "Filling and emptying, by treatment",
    "excluded_by_treatment": "Records excluded by hand, by treatment",
    "depends_on_cleaning": "Depends on cleaning",
    "straddling_cuts": "Cuts over two treatments",
    "replication": "Strips repeated",
    "scatter": "Scatter between strips",
    "one_block_left_out": "Depends on one part of the field",
    "other_choices": "Depends on how the data was taken",
    "outlying_pair": "One pair unlike the others",
    "outlying_strip": "One strip unlike the others",
    "even_difference": "Same difference at low and high yield",
    "equal_scatter": "Same scatter in all treatments",
    "drift": "Drift along the field",
}


@dataclass(frozen=True)
class Table:
    """One table.

    Attributes
    ----------
    caption : str
    head : tuple of str
    align : str
        A letter a column: l for text, r for numbers.
    rows : list of sequence of str
        The first cell names the row.
    strong : list of int
        Rows that are set in bold.
    sortable : bool
        On a phone each row is a card, and a click on a column sorts where the page has the script. No row is bold.
    folded : bool
        Only the caption shows until a reader opens it; print shows all of it.
    """

    caption: str
    head: tuple[str, ...]
    align: str
    rows: Sequence[Row]
    strong: list[int] = field(default_factory=list)
    sortable: bool = False
    folded: bool = False

    @property
    def kind(self) -> str:
        """Say how the table is set: slim, roomy for long names, short enough to stay on one printed page."""
        long_names = len(self.head) > 4 and any(len(row[0]) > 20 for row in self.rows)
        kinds = {
            "slim": len(self.head) < 4,
            "roomy": long_names,
            "short": len(self.rows) < 9,
            "sortable": self.sortable,
        }
        return " ".join(kind for kind, holds in kinds.items() if holds)


def between(low: str, high: str) -> str:
    """Write an interval; empty where an end is missing.

    Parameters
    ----------
    low, high : str
        As :func:`~proofstrip.report.words.number` writes them.

    Returns
    -------
    str

    Examples
    --------
    >>> between("+1.2", "+5.0"), between("–", "+5.0")
    ('+1.2 to +5.0', '–')
    """
    return ABSENT if ABSENT in (low, high) else f"{low} to {high}"


def with_margin(figure: str, span: str) -> str:
    """Write a figure and, below it in brackets, its margin of error; the figure alone where there is none."""
    return figure if span == ABSENT else Markup("{}<br>({})").format(figure, span)


def treatment_table(result: dict[str, Any], units: Units) -> Table:
    """Mean yield of each treatment.

    Parameters
    ----------
    result : dict
        result.json.
    units : Units

    Returns
    -------
    Table
    """
    letters = result.get("letters") or {}
    head: tuple[str, ...] = ("Treatment", "Strips", f"Mean yield, {units.yield_name}")
    rows: list[Row] = []
    for entry in result.get("treatments") or []:
        row = [str(entry["treatment"]), number(entry.get("strips")), units.yields(entry.get("mean_kg_ha"))]
        rows.append([*row, str(letters.get(entry["treatment"], ABSENT))] if letters else row)
    if letters:
        head = (*head, "Letters")
    return Table("Mean yield of each treatment", head, "lrrl"[: len(head)], rows)


def difference_table(result: dict[str, Any], units: Units) -> Table:
    """Difference of each treatment from its control: one or two stand in columns, more in rows.

    Parameters
    ----------
    result : dict
    units : Units

    Returns
    -------
    Table
    """
    entries, name = result.get("differences") or [], units.yield_name
    finer = units.yield_decimals + (1 if units.yield_decimals else 0)
    lines: list[Row] = [
        ["Pairs", *(number(entry.get("pairs")) for entry in entries)],
        [f"Difference, {name}", *(units.yields(entry.get("difference_kg_ha"), sign=True) for entry in entries)],
        [f"Margin of error, {name}", *(interval(entry, units) for entry in entries)],
        ["Confidence", *(percent(entry.get("confidence"), 0) for entry in entries)],
        ["Difference, %", *(number(entry.get("difference_pct"), 1, sign=True) for entry in entries)],
        [f"Standard error, {name}", *(number(units.from_kg_ha(entry.get("se_kg_ha")), finer) for entry in entries)],
        ["p-value", *(p_value(entry.get("p_value")) for entry in entries)],
        ["Exact p", *(p_value(entry.get("p_exact")) for entry in entries)],
        ["Lowest that the exact p can be", *(p_value(entry.get("p_exact_floor")) for entry in entries)],
        [
            f"Smallest difference it could find, {name}",
            *(units.yields(entry.get("detectable_kg_ha")) for entry in entries),
        ],
        ["Method", *(plain(entry.get("method")) for entry in entries)],
    ]
    lines = [line for line in lines if any(cell != ABSENT for cell in line[1:])]
    heads = [f"{entry['treatment']} against {entry['control']}" for entry in entries]
    caption = "Difference from the control"
    if len(entries) <= 2:
        return Table(caption, ("", *heads), "l" + "r" * len(heads), lines, folded=True)
    rows = [[head, *(line[place] for line in lines)] for place, head in enumerate(heads, start=1)]
    return Table(caption, ("Comparison", *(line[0] for line in lines)), "l" + "r" * (len(lines) - 1) + "l", rows)


def interval(entry: dict[str, Any], units: Units) -> str:
    """Write the interval of a difference, without its unit."""
    return between(units.yields(entry.get("low_kg_ha"), sign=True), units.yields(entry.get("high_kg_ha"), sign=True))


def plain(value: object) -> str:
    """Write a value of any kind for a reader; codes lose their underscores."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or (isinstance(value, float) and not is_number(value)):
        return ABSENT
    if isinstance(value, (list, tuple)):
        return ", ".join(plain(item) for item in value) or ABSENT
    if isinstance(value, dict):
        return "; ".join(f"{plain(key)}: {plain(item)}" for key, item in value.items()) or ABSENT
    if is_number(value):
        return significant(float(value))  # type: ignore[arg-type]
    return str(value).replace("_", " ").strip() or ABSENT


def significant(value: float) -> str:
    """Write a number to three significant digits at most, whole numbers in full.

    Parameters
    ----------
    value : float

    Returns
    -------
    str

    Examples
    --------
    >>> significant(0.012345), significant(1234.0), significant(0.5)
    ('0.0123', '1,234', '0.5')
    """
    if value == int(value):
        return number(value)
    size = f"{abs(value):e}".partition("e")[2]
    written = number(value, max(0, 2 - int(size)))
    return written.rstrip("0").rstrip(".") if "." in written else written


def removal_table(result: dict[str, Any]) -> Table:
    """Count the records by reason.

    Parameters
    ----------
    result : dict

    Returns
    -------
    Table
        Reasons that no record carries are left out.
    """
    records = result.get("records") or {}
    read, counts = records.get("read") or 0, records.get("flags") or {}
    rows: list[Row] = []
    for meaning in FLAGS:
        amount = counts.get(meaning.name, 0)
        if amount:
            done = "removed" if meaning.excludes else "kept, noted"
            rows.append([capital(meaning.phrase), done, number(amount), percent(amount / read)])
    gone = read - records.get("used", read)
    rows.append(["Removed for any reason", "", number(gone), percent(gone / read) if read else ABSENT])
    head = ("Reason", "What was done", "Records", "Share of all")
    return Table("Records set aside, by reason", head, "llrr", rows, [len(rows) - 1], folded=True)


def capital(text: str) -> str:
    """Start a phrase with a capital, leaving the rest as it is."""
    return text[:1].upper() + text[1:]


def strip_table(strips: pd.DataFrame, units: Units) -> Table:
    """Every strip as it entered the statistics.

    Parameters
    ----------
    strips : pandas.DataFrame
        strips.csv.
    units : Units

    Returns
    -------
    Table
    """
    writers: dict[str, tuple[str, str, Callable[[Any], str]]] = {
        "strip": ("Strip", "l", text),
        "treatment": ("Treatment", "l", text),
        "block": ("Block", "l", text),
        "source": ("From", "l", text),
        "yield_kg_ha": (f"Yield, {units.yield_name}", "r", units.yields),
        "moisture_pct": ("Moisture, %", "r", lambda value: number(value, 1)),
        "area_m2": (f"Area, {units.area_name}", "r", units.area),
        "standard_mass_kg": (f"Grain, {units.mass_name}", "r", units.mass),
        "length_m": (f"Length, {units.length_name}", "r", units.length),
        "records_used": ("Records counted", "r", number),
        "share_removed": ("Removed", "r", percent),
        "speed_m_s": (f"Speed, {units.speed_name}", "r", units.speed),
        "direction": ("Direction", "l", text),
        "machines": ("Combine", "l", text),
    }
    shown = [name for name in writers if name in strips and _tells(strips[name])]
    rows = [[writers[name][2](row[name]) for name in shown] for row in strips.to_dict("records")]
    align = "".join(writers[name][1] for name in shown)
    return Table("Each strip as it was counted", tuple(writers[name][0] for name in shown), align, rows, folded=True)


def _tells(column: pd.Series) -> bool:
    """Tell whether a column is worth its room: it holds something, and source and combine only where they vary."""
    values = set(column.dropna())
    return len(values) > 1 or (len(values) == 1 and column.name not in ("source", "machines"))


def text(value: Any) -> str:
    """Write a name; a missing one as a dash."""
    return str(value) or ABSENT if pd.notna(value) else ABSENT


def anova_table(result: dict[str, Any], units: Units) -> Table | None:
    """Analysis of variance, squares in the page's unit of yield.

    Parameters
    ----------
    result : dict
    units : Units

    Returns
    -------
    Table or None
    """
    lines = result.get("anova") or []
    if not lines:
        return None
    square = units.kg_ha_per_yield**2
    places = 4 if units.system == "metric" else 1 if units.yield_decimals else 0
    rows: list[Row] = [
        [
            capital(plain(line.get("source"))),
            number(line.get("df")),
            *(number(line[key] / square if is_number(line.get(key)) else None, places) for key in ("ss", "ms")),
            number(line.get("f"), 2),
            p_value(line.get("p")),
        ]
        for line in lines
    ]
    name = f"({units.yield_name})²"
    head = ("Source", "Degrees of freedom", f"Sum of squares, {name}", f"Mean square, {name}", "F", "p-value")
    return Table("Analysis of variance", head, "lrrrrr", rows, folded=True)


def check_title(check: dict[str, Any]) -> str:
    """Name a check for people; one that is not known here by its own name."""
    name = str(check.get("name"))
    return CHECKS.get(name, capital(plain(name)))


def check_tables(checks: list[dict[str, Any]]) -> list[Table]:
    """List the checks: those that failed or could not be made, then, folded, those passed.

    Parameters
    ----------
    checks : list of dict
        name, passed, value, allowed, note.

    Returns
    -------
    list of Table
    """
    told = {False: 0, None: 1, True: 2}
    order = sorted(checks, key=lambda one: 3 if one.get("allowed") == NOT_JUDGED else told[one.get("passed")])
    said = {True: "passed", False: "FAILED", None: "could not be checked"}
    rows: list[Row] = [
        [
            check_title(check),
            NOT_JUDGED if check.get("allowed") == NOT_JUDGED else said[check.get("passed")],
            plain(check.get("value")),
            plain(check.get("allowed")),
            capital(text(check.get("note"))),
        ]
        for check in order
    ]
    failed = [row for row, check in enumerate(order) if check.get("passed") is False]
    head, open_rows = (
        ("Check", "Outcome", "Found", "Allowed", "What it means"),
        sum(row[1] not in (said[True], NOT_JUDGED) for row in rows),
    )
    parts = [
        Table("Checks that failed or could not be made", head, "lllll", rows[:open_rows], failed),
        Table("Checks passed", head, "lllll", rows[open_rows:], folded=True),
    ]
    return [part for part in parts if part.rows]
