"""docs/accuracy.md: the measured parts are written here, the words around them by hand."""

import re
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from tests.accuracy.harvests import WAYS
from tests.accuracy.scores import FLAG_NAMES, Score, Target, add_up, hold_targets

PAGE = Path(__file__).resolve().parents[2] / "docs" / "accuracy.md"
NONE = "-"


def replace_part(text: str, part: str, fresh: str) -> str:
    """Put a measured part into the page, between its two marks.

    Parameters
    ----------
    text : str
        The page.
    part : str
        Name in the marks.
    fresh : str
        Markdown.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        When the page has no such part.

    Examples
    --------
    >>> replace_part("a\\n<!-- x: measured -->\\nold\\n<!-- x: end -->\\nb", "x", "new")
    'a\\n<!-- x: measured -->\\n\\nnew\\n\\n<!-- x: end -->\\nb'
    """
    start, end = f"<!-- {part}: measured -->", f"<!-- {part}: end -->"
    found = re.search(f"{re.escape(start)}.*?{re.escape(end)}", text, flags=re.DOTALL)
    if not found:
        raise ValueError(f"{PAGE.name} has no part {part!r}: it needs the lines {start} and {end}")
    return text[: found.start()] + f"{start}\n\n{fresh.strip()}\n\n{end}" + text[found.end() :]


def write_part(part: str, fresh: str) -> None:
    """Write a measured part of the page."""
    PAGE.write_text(replace_part(PAGE.read_text(encoding="utf-8"), part, fresh), encoding="utf-8", newline="\n")


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Make a Markdown table."""
    head = list(head)
    lines = [head, ["---"] * len(head), *(list(row) for row in rows)]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def number(value: float, digits: int = 2, sign: bool = False) -> str:
    """Write a number; a dash where there is none."""
    if not np.isfinite(value):
        return NONE
    return f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"


def _signed(value: float) -> str:
    """Write a number with its sign."""
    return number(value, sign=True)


def render_cleaning(scores: list[Score], seeds: int, command: str) -> str:
    """Write all tables of the cleaning part.

    Parameters
    ----------
    scores : list of Score
    seeds : int
    command : str
        That measured them.

    Returns
    -------
    str
        Markdown.
    """
    runs = sum(score.runs for score in scores)
    parts = [
        f"`{command}`: {len(scores)} scenarios, {seeds} seeds, {runs} harvests.",
        "### Targets",
        table(("target", "wanted", "measured", "met", "missed by"), (_row(t) for t in hold_targets(scores))),
        "### Strip yields",
        _strips(scores),
        "### Effects",
        _effects(scores),
        "### Delays and widths",
        _delays(scores),
        "### Flags",
        _flags(scores),
        "### Good records lost",
        _lost(scores),
    ]
    return "\n\n".join(parts)


def _row(target: Target) -> tuple[str, ...]:
    """Write one target."""
    met = "yes" if target.met else "**no**"
    return target.what, target.wanted, target.measured, met, "; ".join(target.missed) or ""


def _strips(scores: list[Score]) -> str:
    """Write bias and RMSE of the strips of all three ways."""
    head = (
        "scenario",
        "harvests",
        *(f"{way}: {figure} %" for way in WAYS for figure in ("bias", "RMSE")),
        "noise alone %",
        *(f"{way} beyond noise: RMSE %" for way in WAYS),
        "stopped",
    )
    rows = [
        (
            f"`{s.name}`" + (" (hard)" if s.hard else ""),
            str(s.runs),
            *(cell for way in WAYS for cell in (_signed(s.ways[way].bias), number(s.ways[way].rmse))),
            number(s.noise_rms),
            *(number(s.ways[way].beyond_rms) for way in WAYS),
            f"{s.stopped} of {s.runs}" if s.stopped else "",
        )
        for s in scores
    ]
    return table(head, rows)


def _effects(scores: list[Score]) -> str:
    """Write slope, bias and RMS error of the effects of all three ways."""
    head = (
        "scenario",
        *(f"{way}: slope" for way in WAYS),
        "perfect: slope",
        *(f"{way}: {figure}" for way in WAYS for figure in ("bias", "RMS")),
        "noise alone: RMS",
        *(f"{way} beyond noise: RMS" for way in WAYS),
    )
    rows = [
        (
            f"`{s.name}`",
            *(number(s.ways[way].slope, 3) for way in WAYS),
            number(s.perfect_slope, 3),
            *(cell for way in WAYS for cell in (_signed(s.ways[way].effect_bias), number(s.ways[way].effect_rms))),
            number(s.noise_effect_rms),
            *(number(s.ways[way].beyond_effect_rms) for way in WAYS),
        )
        for s in scores
    ]
    return table(head, rows)


def _delays(scores: list[Score]) -> str:
    """Write delays and widths."""
    head = (
        "scenario",
        "estimated",
        "refused",
        "refused %",
        "bias s",
        "RMSE s",
        "wrong by more than 2 s",
        "width bias m",
        "width RMSE m",
    )
    rows = [
        (
            f"`{s.name}`",
            str(s.estimated),
            str(s.refused),
            number(100 * s.refused / max(s.estimated + s.refused, 1), 0),
            _signed(s.delay_bias_s),
            number(s.delay_rms_s),
            str(s.wrong),
            number(s.width_bias_m, 3, sign=True),
            number(s.width_rms_m, 3),
        )
        for s in scores
    ]
    return table(head, rows)


def _flags(scores: list[Score]) -> str:
    """Write precision and recall of every flag, pooled, then by scenario."""
    kinds = (("ordinary", [s for s in scores if not s.hard]), ("hard", [s for s in scores if s.hard]))
    head = ("flag", *(f"{kind}: {what}" for kind, _ in kinds for what in ("planted", "precision", "recall", "caught")))
    rows = []
    for flag in FLAG_NAMES:
        cells = []
        for _, own in kinds:
            total = add_up(s.tallies[flag] for s in own)
            caught = total.caught / total.planted if total.planted else float("nan")
            cells += [str(total.planted), number(total.precision), number(total.recall), number(caught)]
        rows.append((f"`{flag}`", *cells))
    by_scenario = [
        (f"`{s.name}`", *(f"{number(s.tallies[f].precision)}, {number(s.tallies[f].recall)}" for f in FLAG_NAMES))
        for s in scores
    ]
    return (
        table(head, rows)
        + "\n\nPrecision and recall by scenario:\n\n"
        + table(("scenario", *(f"`{flag}`" for flag in FLAG_NAMES)), by_scenario)
    )


def _lost(scores: list[Score]) -> str:
    """Write the share of good records lost."""
    rows = [
        (f"`{s.name}`", *(number(share) for share in s.lost_pct), _signed(s.lost_pct[-1] - s.lost_pct[0]))
        for s in scores
        if s.lost_pct
    ]
    return table(("scenario", "control %", "tried %", "difference, points"), rows)
