"""A comparison as a page of text that a person reads."""

from collections.abc import Sequence
from textwrap import wrap

from proofstrip.stats.remarks import Remark
from proofstrip.stats.results import Comparison, Difference
from proofstrip.stats.verdict import Verdict
from proofstrip.stats.wording import MARGIN, YieldUnit, say_p

DESIGNS = {
    "paired": "pairs: two treatments in blocks",
    "complete_blocks": "complete blocks: every treatment in every block",
    "incomplete_blocks": "incomplete blocks: not every treatment in every block",
    "unblocked": "strips without blocks",
    "unreplicated": "unreplicated: description only",
}
ALIKE = "Treatments that share a letter do not differ"
WIDTH = 120  # of a line of prose
MANY = 20  # pairs or treatments; beyond, a text page shows the first of them


def write_page(comparison: Comparison, verdict: Verdict, unit: YieldUnit, remarks: Sequence[Remark] = ()) -> str:
    """Write the page.

    Parameters
    ----------
    comparison : Comparison
    verdict : Verdict
    unit : YieldUnit
        In which yields are said.
    remarks : sequence of Remark
        What stands beside the comparison.

    Returns
    -------
    str
    """
    parts = [
        [verdict.sentence],
        _head(comparison),
        _treatments(comparison, unit),
        _differences(comparison, unit),
        _pairs(comparison, unit),
        *[wrap(remark.text, WIDTH) for remark in remarks],
        _anova(comparison, unit),
        _checks(comparison),
        [f"Note: {notice.message}" for notice in comparison.warnings],
    ]
    return "\n\n".join("\n".join(part) for part in parts if part)


def align(rows: Sequence[Sequence[str]]) -> list[str]:
    """Set rows in columns: the first to the left, the others to the right.

    Parameters
    ----------
    rows : sequence of sequence of str

    Returns
    -------
    list of str

    Examples
    --------
    >>> align([["a", "1"], ["bcd", "10"]])
    ['  a     1', '  bcd  10']
    """
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return ["  ".join(["", row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:])]).rstrip() for row in rows]


def _head(comparison: Comparison) -> list[str]:
    """Say which design was recognised."""
    blocks = f", {comparison.blocks} blocks" if comparison.blocks else ""
    strips = sum(row.strips for row in comparison.treatments)
    return [f"Design: {DESIGNS[comparison.design]} ({strips} strips{blocks})."]


def _treatments(comparison: Comparison, unit: YieldUnit) -> list[str]:
    """Give means and letters."""
    several = len(comparison.treatments) > 2 and bool(comparison.letters)
    head = ["Treatment", "strips", unit.label or "mean", *(["Tukey", "LSD"] if several else [])]
    rows = [head]
    for row in sorted(comparison.treatments, key=lambda row: -(row.mean or 0.0)):
        name = row.treatment + (" (control)" if row.treatment == comparison.control else "")
        letters = (
            [found.get(row.treatment, "") for found in (comparison.letters, comparison.lsd_letters)] if several else []
        )
        rows.append([name, str(row.strips), "none" if row.mean is None else unit.number(row.mean), *letters])
    lines = align(rows)
    if several:
        lines.append(
            f"{ALIKE} at {100 * (1 - comparison.confidence):.0f} %: Tukey over all pairs, LSD each pair alone."
        )
    return lines


def _differences(comparison: Comparison, unit: YieldUnit) -> list[str]:
    """Give each treatment against the control."""
    rows = [
        [
            "Against " + comparison.control,
            unit.label or "difference",
            MARGIN,
            "%",
            "p",
            "exact p",
            "finds",
        ]
    ]
    rows += [_difference(row, unit) for row in comparison.differences]
    if all(row.se is None for row in comparison.differences):
        return align([row[:2] for row in rows])
    notes = [
        f"Method: {next(row.method for row in comparison.differences if row.se is not None)}.",
        f"finds: the smallest true difference that such a trial finds with a chance of {100 * comparison.power:.0f} %.",
        *_say_exact(next(row for row in comparison.differences if row.se is not None), comparison),
    ]
    return [*align(rows), *notes]


def _difference(row: Difference, unit: YieldUnit) -> list[str]:
    """Give one difference as cells."""
    if row.low is None or row.high is None or row.detectable is None:
        return [row.treatment, unit.number(row.difference, sign=True), "none", "", "none", "none", "none"]
    pct = "" if row.difference_pct is None else f"{row.difference_pct:+.1f}".replace("-", "−")
    span = f"{unit.number(row.low, True)} to {unit.number(row.high, True)}"
    found = [say_p(row.p_value), say_p(row.p_exact), unit.number(row.detectable)]
    return [row.treatment, unit.number(row.difference, sign=True), span, pct, *found]


def _say_exact(row: Difference, comparison: Comparison) -> list[str]:
    """Say what the exact p is; nothing where nothing was drawn by lot."""
    if row.p_exact is None:
        return []
    how = "swapping the two labels of each pair" if comparison.design == "paired" else "re-randomising the labels"
    count = "every way of" if row.p_exact_draws is None else f"{row.p_exact_draws:,} random ways of"
    return [f"exact p: from {count} {how}; it cannot be smaller than {row.p_exact_floor:.2g} here."]


def _pairs(comparison: Comparison, unit: YieldUnit) -> list[str]:
    """Give the pairs one by one, and what stands beside the t test."""
    if comparison.design != "paired":
        return []
    row = comparison.differences[0]
    rows = [["Block", row.treatment, row.control, "difference"]]
    rows += [
        [pair.block, *map(unit.number, (pair.treatment_yield, pair.control_yield)), unit.number(pair.difference, True)]
        for pair in row.pair_differences[:MANY]
    ]
    lines = align(rows)
    if len(row.pair_differences) > MANY:
        lines.append(f"  and {len(row.pair_differences) - MANY} more pairs")
    if row.leave_one_out is not None:
        span = unit.span(row.leave_one_out.low, row.leave_one_out.high)
        lines.append(f"With any one pair left out the difference is {span}.")
    if row.median is not None:
        found = row.median
        lines.append(
            f"Median of the pairs (Hodges-Lehmann) {unit.say(found.median, True)}, "
            f"{MARGIN} at {100 * found.confidence:.1f} %: {unit.span(found.low, found.high)}."
        )
    return lines


def _anova(comparison: Comparison, unit: YieldUnit) -> list[str]:
    """Give the table of variance, the LSD and the coefficient of variation; squares stay in the table's own unit."""
    if not comparison.anova or comparison.lsd is None or comparison.cv_pct is None:
        return []
    own = f" ({comparison.unit})" if comparison.unit else ""
    rows = [[f"Variance{own}", "df", "sum of squares", "mean square", "F", "p"]]
    for row in comparison.anova:
        figures = [_figure(value) for value in (row.ss, row.ms, row.f)]
        rows.append([row.source, f"{row.df:.4g}", *figures, "" if row.p is None else say_p(row.p)])
    sureness = f"{100 * comparison.confidence:.0f} %"
    return [
        *align(rows),
        f"Least significant difference of one comparison ({sureness}): {unit.say(comparison.lsd)}. "
        f"Coefficient of variation {comparison.cv_pct:.1f} %.",
    ]


def _figure(value: float | None) -> str:
    """Give five digits, never an exponent for a large number."""
    if value is None:
        return ""
    return f"{value:,.0f}" if abs(value) >= 99_999.5 else f"{value:,.5g}"


def _checks(comparison: Comparison) -> list[str]:
    """Say what was looked at."""
    words = {True: "ok", False: "LOOK", None: "not judged"}
    return ["Checks", *(f"  {words[check.passed]:<11}{check.note}" for check in comparison.checks)]
