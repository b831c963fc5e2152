"""Read a strip table: labels as labels, yields as numbers, everything odd said aloud."""

import difflib
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from proofstrip.errors import DataError, Notice
from proofstrip.stats.design import Floats, Plots, average_strips, recognise
from proofstrip.stats.dose import dose_column, read_doses
from proofstrip.stats.results import Design
from proofstrip.stats.split import SplitCells, read_split
from proofstrip.stats.trend import is_systematic

UNITS = {"yield_kg_ha": "kg/ha", "yield_bu_ac": "bu/ac"}
MISSING_WORDS = {"", "na", "n/a", "nan", ".", "-"}


@dataclass(frozen=True)
class StripTable:
    """A checked strip table.

    Attributes
    ----------
    plots : Plots
    design : str
    strips, missing : tuple of int
        For each of ``names``: strips used, and strips of the table that are not.
    names : tuple of str
        Every treatment of the table, the control first, also one without any yield.
    notices : tuple of Notice
    labels : tuple of str
        Names of the strips with a yield, in the order of the table: of the plots, in a design without blocks.
    split : SplitCells or None
        Where whole strips are split into sub-strips of a second factor.
    doses : tuple of dict and str, or None
        Treatment -> dose and the unit, where all treatments are amounts of one thing.
    """

    plots: Plots
    design: Design
    names: tuple[str, ...]
    strips: tuple[int, ...]
    missing: tuple[int, ...]
    notices: tuple[Notice, ...]
    labels: tuple[str, ...]
    split: SplitCells | None
    doses: tuple[dict[str, float], str] | None


def read_strips(
    strips: pd.DataFrame,
    control: str,
    yield_column: str,
    factor: str | None = None,
    machines: pd.DataFrame | None = None,
) -> StripTable:
    """Check a strip table, name its design and average strips of one treatment within a block.

    Parameters
    ----------
    strips : pandas.DataFrame
        Columns strip, treatment, ``yield_column``, and block, order, time, dose, factor and whole_strip where the
        design has them.
    control : str
    yield_column : str
    factor : str, optional
        Column of the second factor; ``factor`` where not named.
    machines : pandas.DataFrame or None
        Share of each strip that each combine cut, by strip.

    Returns
    -------
    StripTable

    Raises
    ------
    DataError
        When a column, the control or a second treatment is missing, a label is empty or used twice, or a yield is
        not a number of zero or more.
    """
    _require_columns(strips, ["strip", "treatment", yield_column])
    names = read_labels(strips["strip"], "strip")
    treatments = read_labels(strips["treatment"], "treatment")
    blocks = _read_blocks(strips)
    _refuse_duplicates(names)
    values = _read_yields(strips[yield_column], yield_column, names)
    _require_control(treatments, control)
    order, times = _read_order(strips), _read_times(strips)

    every = (control, *[name for name in dict.fromkeys(treatments) if name != control])
    used = np.isfinite(values)
    _refuse_constant(values[used], yield_column)
    notices = _note_labels(every) + _note_missing(names, treatments, values)
    notices += _note_without_yield(every, {treatments[row] for row in np.flatnonzero(used).tolist()})
    split = None
    if factor is not None or "factor" in strips.columns:
        split = read_split(strips.assign(treatment=treatments, block=blocks, value=values), every, factor)
    if split is not None:
        used, blocks = used & split.used, list(split.blocks)
        notices += split.notices
    rows = np.flatnonzero(used).tolist()
    plots, averaged = average_strips(
        values[used],
        [treatments[row] for row in rows],
        None if blocks is None else [blocks[row] for row in rows],
        control,
        None if order is None else order[used],
        None if times is None else times[used],
        None if machines is None or machines.shape[1] < 2 else _share_columns(machines, [names[row] for row in rows]),
    )
    design, plots, left_out = recognise(plots)
    plots = replace(plots, systematic=is_systematic(plots, design))
    cells = set(plots.named_cells())
    places = blocks if blocks is not None and plots.blocks else [""] * len(treatments)
    counted = Counter(treatments[row] for row in rows if (treatments[row], places[row]) in cells)
    totals = Counter(treatments)
    return StripTable(
        plots,
        design,
        every,
        tuple(counted[name] for name in every),
        tuple(totals[name] - counted[name] for name in every),
        tuple([*notices, *([] if split else averaged), *left_out]),
        tuple(names[row] for row in rows),
        None if split is None else split.cells,
        dose_column(strips, treatments) if "dose" in strips.columns else read_doses(plots.treatments),
    )


def _share_columns(machines: pd.DataFrame, names: list[str]) -> Floats:
    """Give the shares of every combine but the first; a strip without any was cut like the mean of all."""
    return machines.reindex(names).fillna(machines.mean()).to_numpy(dtype=float)[:, 1:]


def _require_columns(strips: pd.DataFrame, wanted: Sequence[str]) -> None:
    """Refuse a table without rows or without a needed column."""
    absent = [column for column in wanted if column not in strips.columns]
    if absent:
        raise DataError(
            f"strip table: no column {', '.join(map(repr, absent))}; it has {', '.join(map(repr, strips.columns))}. "
            "It needs strip, treatment and one yield column (and block, when strips are laid out in blocks)."
        )
    if strips.empty:
        raise DataError("strip table: it has no rows. It needs one row a strip, two treatments at the least.")


def read_labels(column: pd.Series, name: str) -> list[str]:
    """Read labels as text, so that block 1 is a name and never a number; an empty one is refused."""
    labels = [label_text(value) for value in column]
    empty = [row for row, label in enumerate(labels, start=1) if label == ""]
    if empty:
        rows = ", ".join(map(str, empty[:5])) + (" ..." if len(empty) > 5 else "")
        raise DataError(
            f"strip table, column {name!r}: {len(empty)} of {len(labels)} rows have no {name} (row {rows}). "
            f"Every strip needs one; write the {name} in, or take the row out."
        )
    return labels


def label_text(value: object) -> str:
    """Give a label as text: 1.0 reads as ``1``, a missing value as nothing."""
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _read_blocks(strips: pd.DataFrame) -> list[str] | None:
    """Read block labels; none where the table has no block column or an empty one."""
    if "block" not in strips.columns:
        return None
    if all(label_text(value) == "" for value in strips["block"]):
        return None
    return read_labels(strips["block"], "block")


def _refuse_duplicates(names: list[str]) -> None:
    """Refuse a strip label that stands on two rows."""
    twice = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
    if twice:
        raise DataError(
            f"strip table, column 'strip': {len(twice)} names stand on more than one row ({', '.join(twice[:5])}). "
            "Every strip is one row with its own name: where strips are numbered anew in each block, write B1-1, B2-1 "
            "and so on; where a row was copied, take it out."
        )


def _read_yields(column: pd.Series, name: str, strips: list[str]) -> Floats:
    """Read yields; an empty cell is a missing strip, anything else that is no number is refused."""
    values = np.full(len(column), np.nan)
    wrong = []
    for row, value in enumerate(column):
        text = label_text(value)
        if text.lower() in MISSING_WORDS:
            continue
        try:
            values[row] = float(text) if isinstance(value, str) else float(value)
        except (TypeError, ValueError):
            wrong.append((row, text))
            continue
        if not math.isfinite(values[row]) or values[row] < 0:
            wrong.append((row, text))
    if wrong:
        found = ", ".join(f"{text!r} (strip {strips[row]})" for row, text in wrong[:5])
        raise DataError(
            f"strip table, column {name!r}: {len(wrong)} of {len(column)} values are not yields: {found}. "
            "A yield is a number, zero or more; leave the cell empty where a strip has none."
        )
    if not np.isfinite(values).any():
        raise DataError(
            f"strip table, column {name!r}: all {len(column)} values are empty. There is nothing to compare."
        )
    return values


def _read_order(strips: pd.DataFrame) -> Floats | None:
    """Read the place of each strip across the field (or in time), where the table has a column ``order``."""
    if "order" not in strips.columns:
        return None
    order = pd.to_numeric(strips["order"], errors="coerce").to_numpy(dtype=float)
    return order if np.isfinite(order).all() else None


def _read_times(strips: pd.DataFrame) -> Floats | None:
    """Read when each strip was cut, in hours since the first, where every row of a column ``time`` says it."""
    if "time" not in strips.columns:
        return None
    times = pd.to_datetime(strips["time"], errors="coerce", utc=True, format="ISO8601")
    if times.isna().any():
        return None
    return np.asarray((times - times.min()) / pd.Timedelta(hours=1), dtype=np.float64)


def _require_control(treatments: list[str], control: str) -> None:
    """Refuse a control that no strip carries, and a table of one treatment."""
    found = list(dict.fromkeys(treatments))
    if control not in found:
        by_lower = {name.lower(): name for name in found}
        near = difflib.get_close_matches(control.lower(), list(by_lower), n=1, cutoff=0.5)
        hint = f" Did you mean {by_lower[near[0]]!r}?" if near else ""
        shown = ", ".join(map(repr, found[:12])) + (f" and {len(found) - 12} more" if len(found) > 12 else "")
        raise DataError(
            f"strip table, column 'treatment': no strip carries the control {control!r}.{hint} "
            f"Treatments of the table: {shown}. Name one of them as the control."
        )
    if len(found) == 1:
        strips = f"{len(treatments)} strip" + ("s" if len(treatments) > 1 else "")
        raise DataError(
            f"strip table, column 'treatment': the only treatment is {control!r} ({strips}). "
            "A comparison needs strips of a second treatment."
        )


def _refuse_constant(values: Floats, name: str) -> None:
    """Refuse a column in which every strip has the same yield."""
    if len(values) > 1 and np.ptp(values) == 0:
        why = "Measured yields always differ a little; this column looks like a target. Give the measured one."
        if values[0] == 0:
            why = "No grain was measured; check which column of the raw records or of the table this yield comes from."
        raise DataError(
            f"strip table, column {name!r}: all {len(values)} strips have the same yield, {values[0]:g}. {why}"
        )


def _note_labels(treatments: tuple[str, ...]) -> list[Notice]:
    """Point out treatments that differ only by capitals, spaces or punctuation."""
    alike: dict[str, list[str]] = {}
    for name in treatments:
        alike.setdefault("".join(c for c in name.lower() if c.isalnum()) or name, []).append(name)
    return [
        Notice(
            "similar_treatments",
            f"Treatments {', '.join(map(repr, group))} differ only in capitals, spaces or punctuation; they are taken "
            "as different treatments. If they are one, give them one name.",
        )
        for group in alike.values()
        if len(group) > 1
    ]


def _note_without_yield(every: tuple[str, ...], found: set[str]) -> list[Notice]:
    """Name the treatments without any yield; refuse a control without one."""
    if every[0] not in found:
        raise DataError(
            f"strip table: no strip of the control {every[0]!r} has a yield. There is nothing to compare with."
        )
    return [
        Notice("treatment_without_yield", f"No strip of {name!r} has a yield; it is left out of the comparison.")
        for name in every
        if name not in found
    ]


def _note_missing(names: list[str], treatments: list[str], values: Floats) -> list[Notice]:
    """Name the strips without a yield."""
    lost = [f"{n} ({t})" for n, t, v in zip(names, treatments, values, strict=True) if not np.isfinite(v)]
    if not lost:
        return []
    verb = "strip has" if len(lost) == 1 else "strips have"
    return [Notice("missing_yield", f"{len(lost)} {verb} no yield and cannot be compared: {', '.join(lost)}.")]
