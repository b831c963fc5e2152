"""The strips as pictures, each a function from tables to a Figure: pairs, or a row a treatment."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure, FigureBase
from matplotlib.lines import Line2D

from proofstrip.report.sheet import ACCENT, FAINT, SOFT, TINT, Sheet, drawing, new_figure, number_axis
from proofstrip.report.words import Units, is_number, number, short

MAX_HEIGHT_IN = 8.2  # a figure must fit on a printed page
LABELLED_ROWS = 40  # more rows than this have no room for their values


def natural_key(name: object) -> tuple[tuple[int, float, str], ...]:
    """Sort "B2" before "B10".

    Parameters
    ----------
    name : object

    Returns
    -------
    tuple

    Examples
    --------
    >>> sorted(["B10", "B2"], key=natural_key)
    ['B2', 'B10']
    """
    text, parts, digits = str(name), [], ""
    for character in text + "\0":
        if character.isascii() and character.isdigit():
            digits += character
            continue
        if digits:
            parts.append((0, float(digits), ""))
            digits = ""
        parts.append((1, 0.0, character))
    return tuple(parts)


def find_pairs(strips: pd.DataFrame, control: str) -> pd.DataFrame | None:
    """Give one row a block with the yield of control and treatment, where the design is one of pairs.

    Parameters
    ----------
    strips : pandas.DataFrame
        The strip table: treatment, block, yield_kg_ha [kg/ha].
    control : str

    Returns
    -------
    pandas.DataFrame or None
        Index block; columns control, treatment [kg/ha]; None for another design.
    """
    table = (
        strips.assign(block=strips["block"].fillna("").astype(str)) if "block" in strips else strips.assign(block="")
    )
    table = table[table["yield_kg_ha"].notna()]
    others = [name for name in table["treatment"].unique() if name != control]
    if len(others) != 1 or (table["block"] == "").any() or table.duplicated(["block", "treatment"]).any():
        return None
    wide = table.set_index(["block", "treatment"])["yield_kg_ha"].unstack().reindex(columns=[control, others[0]])  # noqa: PD010 - a value a cell
    if wide.dropna().empty:
        return None
    wide.columns = pd.Index(["control", "treatment"])
    return wide.loc[sorted(wide.index, key=natural_key)]


def draw_pairs(
    pairs: pd.DataFrame,
    names: tuple[str, str],
    mean: dict[str, Any],
    units: Units,
    sheet: Sheet,
    what: str = "Yield",
) -> Figure:
    """Draw each pair as two dots with a line between, and the difference beside it.

    Parameters
    ----------
    pairs : pandas.DataFrame
        From :func:`find_pairs`.
    names : tuple of str
        Control and treatment.
    mean : dict
        The entry of ``differences``: difference_kg_ha, low_kg_ha, high_kg_ha [kg/ha]; may be empty.
    units : Units
    sheet : Sheet
    what : str
        Is drawn.

    Returns
    -------
    matplotlib.figure.Figure
    """
    values = pairs / units.kg_ha_per_yield
    rows = len(values)
    pitch = min(0.34, (MAX_HEIGHT_IN - 1.2) / (rows + 1))
    with drawing():
        figure, body = new_figure(sheet, max(1.9, 1.15 + pitch * (rows + 1)))
        grid = body.add_gridspec(1, 2, width_ratios=(2.3, 1) if sheet.is_wide else (3.2, 1), wspace=0.02)
        left = body.add_subplot(grid[0])
        right = body.add_subplot(grid[1], sharey=left)
        _draw_dumbbells(left, values, units, sheet, rows <= LABELLED_ROWS)
        gaps = values["treatment"] - values["control"]
        if sheet.is_wide or rows > LABELLED_ROWS:
            _draw_differences(right, gaps, mean, units, sheet)
        else:
            _write_differences(right, gaps, mean, units)
        left.set_xlabel(f"{what}, {units.yield_name}")
        _label_rows(left, [str(name) for name in values.index], 22 if sheet.is_wide else 11)
        left.axhline(rows - 0.5, color=FAINT, linewidth=0.8)
        right.axhline(rows - 0.5, color=FAINT, linewidth=0.8)
        _legend(body, names, sheet)
    return figure


def _draw_dumbbells(axes: Axes, values: pd.DataFrame, units: Units, sheet: Sheet, labelled: bool) -> None:
    """Two dots a pair, their values outside them; the means in the last row."""
    complete = values.dropna()
    table = pd.concat([values, complete.mean().to_frame("mean").T])
    low, high = np.nanmin(values.to_numpy()), np.nanmax(values.to_numpy())
    pad = max(high - low, 0.02 * abs(high), 1e-6) * (0.17 if sheet.is_wide else 0.34)
    axes.set_xlim(low - pad, high + pad)
    size = 42 if labelled else 12
    for row, (control, treatment) in enumerate(table.itertuples(index=False)):
        axes.plot([control, treatment], [row, row], color=TINT, linewidth=4 if labelled else 2, zorder=1)
        axes.scatter(control, row, s=size, facecolor="white", edgecolor=SOFT, linewidth=1.4, zorder=2)
        axes.scatter(treatment, row, s=size, color=ACCENT, zorder=3)
        if labelled:
            _label_ends(axes, row, (control, treatment), units)
    number_axis(axes.xaxis, 5 if sheet.is_wide else 3)
    axes.grid(axis="x", color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)


def _label_ends(axes: Axes, row: int, ends: tuple[float, float], units: Units) -> None:
    """Write the lower value to the left of its dot and the higher one to the right."""
    control, treatment = ends
    treatment_right = not (treatment < control)
    for value, is_treatment in ((control, False), (treatment, True)):
        if not is_number(value):
            continue
        to_right = is_treatment == treatment_right
        axes.annotate(
            number(value, units.yield_decimals),
            (value, row),
            xytext=(7 if to_right else -7, 0),
            textcoords="offset points",
            ha="left" if to_right else "right",
            va="center",
            fontsize=8,
            color=ACCENT if is_treatment else SOFT,
        )


def _draw_differences(axes: Axes, gaps: pd.Series, mean: dict[str, Any], units: Units, sheet: Sheet) -> None:
    """One bar a pair from zero, and the mean with its interval in the last row."""
    rows, labelled = len(gaps), len(gaps) <= LABELLED_ROWS
    middle = units.from_kg_ha(mean.get("difference_kg_ha"))
    ends = [units.from_kg_ha(mean.get(key)) for key in ("low_kg_ha", "high_kg_ha")]
    reach = [0.0, *gaps.dropna(), *(value for value in (middle, *ends) if value is not None)]
    span = max(max(reach) - min(reach), 1e-6)
    room = 0.42 if sheet.is_wide else 0.1
    axes.set_xlim(min(reach) - room * span * (min(reach) < 0) - 0.05 * span, max(reach) + room * span + 0.05 * span)
    axes.axvline(0, color=SOFT, linewidth=0.8)
    axes.hlines(range(rows), 0, gaps, color=ACCENT, linewidth=5 if labelled else 2, alpha=0.35)
    if middle is not None:
        if None not in ends:
            axes.hlines(rows, ends[0], ends[1], color=ACCENT, linewidth=1.6)  # type: ignore[arg-type]
        axes.scatter(middle, rows, marker="D", s=34, color=ACCENT, zorder=3)
    if labelled:
        for row, gap in enumerate([*gaps, middle]):
            if not is_number(gap):
                continue
            beyond = gap if row < rows or None in ends else (ends[1] if gap >= 0 else ends[0])
            _write_beside(axes, row, float(gap), float(beyond), units)  # type: ignore[arg-type]
    axes.set_xlabel(f"Difference, {units.yield_name}" if sheet.is_wide else "Difference")
    number_axis(axes.xaxis, 4 if sheet.is_wide else 2, sign=True)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", left=False, labelleft=False)


def _write_differences(axes: Axes, gaps: pd.Series, mean: dict[str, Any], units: Units) -> None:
    """Write the differences as a column of numbers, where there is no room for bars."""
    for row, gap in enumerate([*gaps, units.from_kg_ha(mean.get("difference_kg_ha"))]):
        weight = "bold" if row == len(gaps) else "normal"
        if is_number(gap):
            text = number(gap, units.yield_decimals, sign=True)
            axes.text(1.0, row, text, ha="right", va="center", fontsize=8.5, fontweight=weight)
    axes.set_xlim(0, 1.05)
    axes.set_xlabel("Difference")
    axes.set_xticks([])
    axes.spines[["left", "bottom"]].set_visible(False)
    axes.tick_params(axis="y", left=False, labelleft=False)


def _write_beside(axes: Axes, row: int, gap: float, beyond: float, units: Units) -> None:
    """Write a difference outside its bar."""
    axes.annotate(
        number(gap, units.yield_decimals, sign=True),
        (beyond, row),
        xytext=(8 if gap >= 0 else -8, 0),
        textcoords="offset points",
        ha="left" if gap >= 0 else "right",
        va="center",
        fontsize=8,
    )


def _label_rows(axes: Axes, names: Sequence[str], length: int) -> None:
    """Name the rows, the last one being the mean; every fifth where they are many."""
    step = 1 if len(names) <= LABELLED_ROWS else 5
    ticks = [row for row in range(len(names)) if row % step == 0]
    axes.set_yticks([*ticks, len(names)], [*(short(names[row], length) for row in ticks), "Mean"])
    axes.get_yticklabels()[-1].set_fontweight("bold")
    axes.set_ylim(len(names) + 0.6, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)


def _legend(body: FigureBase, names: tuple[str, str], sheet: Sheet) -> None:
    """Name the two kinds of dots above the panels."""
    length = 42 if sheet.is_wide else 36
    hollow = Line2D([], [], marker="o", linestyle="", color=SOFT, markerfacecolor="white", markeredgewidth=1.4)
    filled = Line2D([], [], marker="o", linestyle="", color=ACCENT)
    labels = [short(name, length) for name in names]
    beside = sheet.is_wide or sum(map(len, labels)) <= 30
    body.legend([hollow, filled], labels, loc="outside upper left", ncols=2 if beside else 1, handletextpad=0.3)


def draw_strips(
    strips: pd.DataFrame, treatments: list[dict[str, Any]], units: Units, sheet: Sheet, what: str = "Yield"
) -> Figure:
    """Draw a dot a strip in a row a treatment, with the means; a line joins the strips of a block.

    Parameters
    ----------
    strips : pandas.DataFrame
        treatment, block, yield_kg_ha [kg/ha].
    treatments : list of dict
        In the order of the rows: treatment, mean_kg_ha [kg/ha], letters (may be empty).
    units : Units
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    names = [str(row["treatment"]) for row in treatments]
    table = strips[strips["yield_kg_ha"].notna()]
    rows = table["treatment"].astype(str).map({name: row for row, name in enumerate(names)})
    values = table["yield_kg_ha"] / units.kg_ha_per_yield
    pitch = min(0.5 if sheet.is_wide else 0.62, (MAX_HEIGHT_IN - 1.0) / max(len(names), 1))
    with drawing():
        figure, body = new_figure(sheet, max(1.7, 0.95 + pitch * len(names)))
        axes = body.add_subplot()
        joined = _join_blocks(axes, table, rows, values)
        offset = 0.0 if joined else _spread(values, rows)
        axes.scatter(values, rows + offset, s=26, facecolor="white", edgecolor=SOFT, linewidth=1.1, zorder=2)
        for row, entry in enumerate(treatments):
            _mark_mean(axes, row, entry, units)
        axes.set_yticks(range(len(names)), [wrap_name(name, sheet) for name in names])
        axes.set_ylim(len(names) - 0.4, -0.6)
        axes.tick_params(axis="y", length=0)
        axes.spines["left"].set_visible(False)
        axes.margins(x=0.06)
        axes.set_xlabel(f"{what}, {units.yield_name}")
        number_axis(axes.xaxis, 7 if sheet.is_wide else 3)
        axes.grid(axis="x", color=FAINT, linewidth=0.5)
        axes.set_axisbelow(True)
    return figure


def _join_blocks(axes: Axes, table: pd.DataFrame, rows: pd.Series, values: pd.Series) -> bool:
    """Join the strips of each block by a thin line, where each treatment stands in it once."""
    if "block" not in table:
        return False
    blocks = table["block"].fillna("").astype(str)
    if (blocks == "").any() or pd.DataFrame({"b": blocks, "r": rows}).duplicated().any():
        return False
    for _, index in blocks.groupby(blocks).groups.items():
        order = rows.loc[index].sort_values().index
        axes.plot(values.loc[order], rows.loc[order], color=FAINT, linewidth=0.9, zorder=1)
    return True


def _spread(values: pd.Series, rows: pd.Series) -> np.ndarray:
    """Set dots of a row apart in a fixed pattern, so that equal yields stay visible."""
    rank = values.groupby(rows).rank(method="first").fillna(1).to_numpy()
    return np.asarray(((rank % 3) - 1) * 0.13)


def _mark_mean(axes: Axes, row: int, entry: dict[str, Any], units: Units) -> None:
    """Mark the mean with a bar, its value and letters at the right margin."""
    mean = units.from_kg_ha(entry.get("mean_kg_ha"))
    if mean is None:
        return
    axes.plot([mean, mean], [row - 0.3, row + 0.3], color=ACCENT, linewidth=2.6, zorder=3, solid_capstyle="butt")
    text = f"{number(mean, units.yield_decimals)}  {entry.get('letters') or ''}".rstrip()
    axes.text(1.02, row, text, transform=axes.get_yaxis_transform(), va="center", color=ACCENT, fontweight="bold")


def wrap_name(name: str, sheet: Sheet) -> str:
    """Break a long row name into at most two lines."""
    length = 24 if sheet.is_wide else 13
    words, first = name.split(), ""
    while words and len(f"{first} {words[0]}".strip()) <= length:
        first = f"{first} {words.pop(0)}".strip()
    if not first:
        return short(name, length)
    return first + ("\n" + short(" ".join(words), length) if words else "")
