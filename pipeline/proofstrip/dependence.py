"""Whether the difference depends on how the records were cleaned, or moves by no more than chance often does."""

from proofstrip.balance import say_chance
from proofstrip.sensitivity import JUDGED, Alternative
from proofstrip.stats import Check, Comparison, Difference

# How far a level of cleaning may move the difference: in its standard errors, and in per cent of the yield. Without any
# cleaning the ends of the strips count too, which differ more. Measured: docs/checks.md.
MARGINS = {"Causes only": (0.25, 0.5), "No cleaning": (float("inf"), 1.0)}
WITHOUT = {"No cleaning": "Without any cleaning", "Causes only": "With the short spikes of the flow left in"}


def check_cleaning(headline: Comparison, alternatives: tuple[Alternative, ...]) -> Check:
    """Fail when cleaning moves the difference by more than it may, and by more than chance often does.

    Parameters
    ----------
    headline : Comparison
    alternatives : tuple of Alternative

    Returns
    -------
    Check
        Its value is the larger move, as a share of the difference's standard error.
    """
    name = "depends_on_cleaning"
    allowed = "within 0.25 standard errors and 0.5 % (1 % without any cleaning), or as chance often moves it"
    by_treatment = {row.treatment: row for row in headline.differences}
    found = [(row, _move(by_treatment[row.treatment], row)) for row in alternatives if row.name in JUDGED]
    known = [(row, move) for row, move in found if move is not None]
    if not known:
        return Check(name, None, None, allowed, "There are no differences under other cleaning to compare with.")
    failed = [(row, move) for row, move in known if _is_beyond(row, move)]
    worst, (errors, _) = max(failed or known, key=lambda pair: pair[1])
    note = _say_move(by_treatment[worst.treatment], worst, headline)
    return Check(name, not failed, round(errors, 3), allowed, note)


def _is_beyond(row: Alternative, move: tuple[float, float]) -> bool:
    """Tell whether a move is beyond its margin, and more than chance often does where chance can be told."""
    errors, points = MARGINS[row.name]
    return (move[0] > errors or move[1] > points) and not (row.shift and row.shift.seldom is False)


def _move(headline: Difference, other: Alternative) -> tuple[float, float] | None:
    """Give how far one level of cleaning moves one difference, in standard errors and in per cent of the yield."""
    if other.difference_kg_ha is None or other.difference_pct is None or not headline.se:
        return None
    errors = abs(other.difference_kg_ha - headline.difference) / headline.se
    return errors, abs(other.difference_pct - (headline.difference_pct or 0.0))


def _say_move(row: Difference, other: Alternative, headline: Comparison) -> str:
    """Say how far one level of cleaning moves a difference, and how often chance does as much."""
    said = (
        f"{WITHOUT[other.name]}, {row.treatment} differs from {headline.control} by "
        f"{other.difference_pct:+.1f} % instead of {row.difference_pct or 0.0:+.1f} %."
    ).replace("-", "\N{MINUS SIGN}")
    return said + (say_chance(other.shift.p_value) if other.shift and other.shift.p_value is not None else "")
