"""Read a strip table into plots: one yield for each treatment in each block, everything odd said aloud."""

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from proofstrip.errors import DataError, Notice
from proofstrip.stats.results import Design

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

UNITS = {"yield_kg_ha": "kg/ha", "yield_bu_ac": "bu/ac"}
MISSING_WORDS = {"", "na", "n/a", "nan", ".", "-"}


@dataclass(frozen=True)
class Plots:
    """What is compared: one value for a treatment in a block (or a strip, without blocks).

    Attributes
    ----------
    values : ndarray, shape (n,)
        Yields.
    treatment, block : ndarray of int, shape (n,)
        Places in ``treatments`` and ``blocks``; ``block`` is all 0 in a design without blocks.
    order : ndarray, shape (n,), or None
        Place across the field or in time, where the table gives one.
    treatments, blocks : tuple of str
        The control comes first; ``blocks`` is empty in a design without blocks.
    """

    values: Floats
    treatment: Codes
    block: Codes
    order: Floats | None
    treatments: tuple[str, ...]
    blocks: tuple[str, ...]

    def keep(self, mask: NDArray[np.bool_]) -> "Plots":
        """Give the plots where ``mask`` is true."""
        order = None if self.order is None else self.order[mask]
        return replace(
            self, values=self.values[mask], treatment=self.treatment[mask], block=self.block[mask], order=order
        )

    def without_block(self, block: int) -> "Plots":
        """Give the plots of all other blocks, numbered anew."""
        rest = self.keep(self.block != block)
        names = (*self.blocks[:block], *self.blocks[block + 1 :])
        return replace(rest, block=rest.block - (rest.block > block), blocks=names)

    def cells(self) -> Floats:
        """Give blocks x treatments, empty where a treatment is absent."""
        table = np.full((max(len(self.blocks), 1), len(self.treatments)), np.nan)
        table[self.block, self.treatment] = self.values
        return table


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
    """

    plots: Plots
    design: Design
    names: tuple[str, ...]
    strips: tuple[int, ...]
    missing: tuple[int, ...]
    notices: tuple[Notice, ...]


def read_strips(strips: pd.DataFrame, control: str, yield_column: str) -> StripTable:
    """Check a strip table, name its design and average strips of one treatment within a block.

    Parameters
    ----------
    strips : pandas.DataFrame
        Columns strip, treatment, ``yield_column``, and block and order where the design has them.
    control : str
    yield_column : str

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
    order = _read_order(strips)

    every = (control, *[name for name in dict.fromkeys(treatments) if name != control])
    notices = _note_labels(every) + _note_missing(names, treatments, values)
    used = np.isfinite(values)
    _refuse_constant(values[used], yield_column)
    plots, more = _average(values, treatments, blocks, order, every)
    design, plots, dropped = _recognise(plots)
    used_counts = {t: int(used[[name == t for name in treatments]].sum()) for t in every}
    for treatment, count in _count_dropped(dropped, treatments, blocks, used).items():
        used_counts[treatment] -= count
    totals = {t: treatments.count(t) for t in every}
    return StripTable(
        plots,
        design,
        every,
        tuple(used_counts[t] for t in every),
        tuple(totals[t] - used_counts[t] for t in every),
        tuple([*notices, *more, *_note_dropped(dropped)]),
    )


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
        raise DataError(
            f"strip table, column {name!r}: all {len(values)} strips have the same yield, {values[0]:g}. "
            "Measured yields always differ a little; this column looks like a target. Give the measured one."
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


def _note_missing(names: list[str], treatments: list[str], values: Floats) -> list[Notice]:
    """Name the strips without a yield."""
    lost = [f"{n} ({t})" for n, t, v in zip(names, treatments, values, strict=True) if not np.isfinite(v)]
    if not lost:
        return []
    verb = "strip has" if len(lost) == 1 else "strips have"
    return [Notice("missing_yield", f"{len(lost)} {verb} no yield and cannot be compared: {', '.join(lost)}.")]


def _average(
    values: Floats,
    treatments: list[str],
    blocks: list[str] | None,
    order: Floats | None,
    every: tuple[str, ...],
) -> tuple[Plots, list[Notice]]:
    """Give one value for each treatment in each block; without blocks every strip stays a value of its own."""
    used = np.isfinite(values)
    names = tuple(t for t in every if any(u and t == name for u, name in zip(used, treatments, strict=True)))
    if every[0] not in names:
        raise DataError(
            f"strip table: no strip of the control {every[0]!r} has a yield. There is nothing to compare with."
        )
    notices = [
        Notice("treatment_without_yield", f"No strip of {t!r} has a yield; it is left out of the comparison.")
        for t in every
        if t not in names
    ]
    places = {name: place for place, name in enumerate(names)}
    rows = np.flatnonzero(used)
    treatment = np.array([places[treatments[row]] for row in rows], dtype=np.intp)
    own_order = None if order is None else order[rows]
    if blocks is None or len({blocks[row] for row in rows}) == 1:
        if blocks is not None:
            notices.append(
                Notice(
                    "one_block",
                    f"All strips carry the block {blocks[0]!r}; they are compared as strips without blocks.",
                )
            )
        return Plots(values[rows], treatment, np.zeros(len(rows), dtype=np.intp), own_order, names, ()), notices
    block_names = tuple(dict.fromkeys(blocks[row] for row in rows))
    block_places = {name: place for place, name in enumerate(block_names)}
    block = np.array([block_places[blocks[row]] for row in rows], dtype=np.intp)
    cell = block * len(names) + treatment
    kept, inverse, counts = np.unique(cell, return_inverse=True, return_counts=True)
    if counts.max() > 1:
        notices.append(
            Notice(
                "strips_averaged",
                f"{int((counts > 1).sum())} times a treatment has several strips in one block; their mean counts once. "
                "Strips of one treatment in one block are not replicates.",
            )
        )
    means = np.bincount(inverse, values[rows]) / counts
    mean_order = None if own_order is None else np.bincount(inverse, own_order) / counts
    return Plots(means, kept % len(names), kept // len(names), mean_order, names, block_names), notices


def _recognise(plots: Plots) -> tuple[Design, Plots, Plots]:
    """Name the design; give the plots it uses and those it cannot use."""
    nothing = plots.keep(np.zeros(len(plots.values), dtype=bool))
    sizes = np.bincount(plots.block)
    if plots.blocks and sizes.max() == 1:  # no block compares anything: the blocks are the strips themselves
        plots = replace(plots, block=np.zeros_like(plots.block), blocks=())
    if not plots.blocks:
        counts = np.bincount(plots.treatment)
        replicated = len(counts) > 1 and counts[0] > 1 and counts[1:].max() > 1
        return ("unblocked" if replicated else "unreplicated"), plots, nothing
    if len(plots.treatments) == 2:
        whole = sizes[plots.block] == 2
        if whole.sum() >= 4:
            return "paired", _recode(plots.keep(whole)), plots.keep(~whole)
        return "unreplicated", plots, nothing
    if len(plots.treatments) < 2 or len(plots.blocks) < 2:
        return "unreplicated", plots, nothing
    if len(plots.values) == len(plots.blocks) * len(plots.treatments):
        return "complete_blocks", plots, nothing
    residual_df = len(plots.values) - len(plots.blocks) - len(plots.treatments) + 1
    return ("incomplete_blocks" if residual_df > 0 else "unreplicated"), plots, nothing


def _recode(plots: Plots) -> Plots:
    """Renumber the blocks after some were taken out."""
    present, block = np.unique(plots.block, return_inverse=True)
    return replace(plots, block=block, blocks=tuple(plots.blocks[place] for place in present))


def _count_dropped(
    dropped: Plots, treatments: list[str], blocks: list[str] | None, used: NDArray[np.bool_]
) -> dict[str, int]:
    """Count the strips behind plots that the design cannot use."""
    counts: dict[str, int] = {}
    for treatment, block in zip(dropped.treatment, dropped.block, strict=True):
        name, label = dropped.treatments[treatment], dropped.blocks[block]
        here = [u and t == name and b == label for u, t, b in zip(used, treatments, blocks or [], strict=True)]
        counts[name] = counts.get(name, 0) + sum(here)
    return counts


def _note_dropped(dropped: Plots) -> list[Notice]:
    """Name the halves of broken pairs."""
    if not len(dropped.values):
        return []
    lost = ", ".join(
        f"{dropped.treatments[t]} in block {dropped.blocks[b]}"
        for t, b in zip(dropped.treatment, dropped.block, strict=True)
    )
    return [Notice("broken_pair", f"Without its partner a strip says nothing about the difference; not used: {lost}.")]
