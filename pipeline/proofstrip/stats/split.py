"""Whole strips split into sub-strips of a second factor: two sizes of strip, two errors.

References
----------
Yates, F. (1935). Complex experiments. Supplement to the J. R. Statist. Soc. 2, 181-247.
Gomez, K. A. and Gomez, A. A. (1984). Statistical Procedures for Agricultural Research, 2nd ed., section 3.4.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from proofstrip.errors import DataError, Notice
from proofstrip.stats.design import Floats
from proofstrip.stats.further import LevelDifference, SplitStrips
from proofstrip.stats.linear import f_tail
from proofstrip.stats.results import AnovaRow

Whole = Literal["treatment", "factor"]


@dataclass(frozen=True)
class SplitCells:
    """Yields of every treatment with every level of the factor in every block.

    Attributes
    ----------
    values : ndarray, shape (blocks, treatments, levels)
    factor : str
        Name of its column.
    treatments, levels : tuple of str
        The control first.
    whole : str
        Which of the two lies in whole strips.
    """

    values: Floats
    factor: str
    treatments: tuple[str, ...]
    levels: tuple[str, ...]
    whole: Whole


@dataclass(frozen=True)
class ReadSplit:
    """What a table says about sub-strips.

    Attributes
    ----------
    cells : SplitCells
    used : ndarray of bool
        Rows of whole blocks.
    blocks : tuple of str
        Of each row, for the comparison of treatments: the whole strip, where treatments are sub-strips of it.
    notices : tuple of Notice
    """

    cells: SplitCells
    used: NDArray[np.bool_]
    blocks: tuple[str, ...]
    notices: list[Notice]


def read_split(strips: pd.DataFrame, treatments: Sequence[str], factor: str | None) -> ReadSplit | None:
    """Read the second factor of a table, where it has one that changes within blocks.

    Parameters
    ----------
    strips : pandas.DataFrame
        treatment, block (None without blocks), value, the factor's column, and whole_strip where treatments are the
        sub-strips.
    treatments : sequence of str
        The control first.
    factor : str or None
        Name of the factor's column; none looks for ``factor``.

    Returns
    -------
    ReadSplit or None

    Raises
    ------
    DataError
        When the column is missing, or sub-strips cannot be told or compared.
    """
    name = factor or "factor"
    if name not in strips.columns:
        if factor is not None:
            raise DataError(
                f"strip table: no column {factor!r} for the second factor; it has "
                f"{', '.join(repr(c) for c in strips.columns if c != 'value')}."
            )
        return None
    level = strips[name].map(lambda value: "" if pd.isna(value) else str(value).strip())
    table = pd.DataFrame({"block": strips["block"], "treatment": strips["treatment"], "level": level})
    if table["block"].isna().any() or (level == "").any() or table.groupby("block")["level"].nunique().max() < 2:
        return None
    whole = _find_whole(table, strips.get("whole_strip"), name)
    table["value"] = strips["value"]
    levels, blocks = tuple(dict.fromkeys(level)), tuple(dict.fromkeys(table["block"]))
    wide = table.dropna(subset="value").groupby(["block", "treatment", "level"])["value"].mean()
    cells = wide.reindex(pd.MultiIndex.from_product([blocks, treatments, levels]))
    full = cells.to_numpy(dtype=float).reshape(len(blocks), len(treatments), len(levels))
    complete = np.isfinite(full).all(axis=(1, 2))
    lost = [block for block, kept in zip(blocks, complete, strict=True) if not kept]
    if complete.sum() < 2:
        raise DataError(
            f"strip table, column {name!r}: {int(complete.sum())} of {len(blocks)} blocks hold every treatment with "
            f"every level of {name} ({', '.join(levels)}); sub-strips need two such blocks. Complete the table, or "
            f"take the column {name!r} out to compare the treatments alone."
        )
    notices = []
    if lost:
        told = f"Blocks {', '.join(lost)} lack a treatment with a level of {name}; they are not used."
        notices.append(Notice("split_incomplete", told))
    own = table["block"] if whole == "treatment" else table["block"] + ", " + table["level"]
    whole_cells = SplitCells(full[complete], name, tuple(treatments), levels, whole)
    return ReadSplit(whole_cells, (~table["block"].isin(lost)).to_numpy(), tuple(own), notices)


def _find_whole(table: pd.DataFrame, whole_strips: "pd.Series[Any] | None", factor: str) -> Whole:
    """Tell which of treatment and factor lies in whole strips: without a column that says it, the treatment."""
    if whole_strips is None:
        return "treatment"
    within = table.groupby([table["block"], whole_strips.astype(str)])[["treatment", "level"]].nunique().max()
    if within["treatment"] == 1:
        return "treatment"
    if within["level"] == 1:
        return "factor"
    raise DataError(
        f"strip table, column 'whole_strip': both the treatment and {factor!r} change within a whole strip. One of "
        "them must be the same along each whole strip; give strips that were laid out singly names of their own."
    )


def analyse_split(cells: SplitCells, confidence: float) -> tuple[SplitStrips, tuple[AnovaRow, ...]] | None:
    """Analyse a split-strip trial, the errors of whole strips and of sub-strips kept apart.

    Parameters
    ----------
    cells : SplitCells
    confidence : float

    Returns
    -------
    tuple of SplitStrips and tuple of AnovaRow, or None
        None where sub-strips show no scatter at all.
    """
    names = ("treatment", cells.factor) if cells.whole == "treatment" else (cells.factor, "treatment")
    y = cells.values if cells.whole == "treatment" else cells.values.transpose(0, 2, 1)
    rows, errors, tails = _strata(y, names)
    if not errors[1].variance > 0:
        return None
    means = dict(zip(cells.levels, cells.values.mean(axis=(0, 1)).tolist(), strict=True))
    return (
        SplitStrips(
            factor=cells.factor,
            levels=cells.levels,
            means=means,
            whole=cells.whole,
            whole_variance=errors[0].variance,
            sub_variance=errors[1].variance,
            factor_p=tails[1 if cells.whole == "treatment" else 0],
            interaction_p=tails[2],
            by_level=_by_level(cells, errors, confidence),
        ),
        rows,
    )


@dataclass(frozen=True)
class _Error:
    """One of the two errors."""

    variance: float
    df: float


def _strata(
    y: Floats, names: Sequence[str]
) -> tuple[tuple[AnovaRow, ...], tuple[_Error, _Error], tuple[float, float, float]]:
    """Give the table of variance, the two errors, and the p of whole factor, sub factor and interaction."""
    r, a, b = y.shape
    y = y - y.mean()
    block, whole, sub = y.mean(axis=(1, 2)), y.mean(axis=(0, 2)), y.mean(axis=(0, 1))
    whole_rest = y.mean(axis=2) - block[:, None] - whole[None, :]
    both = y.mean(axis=0) - whole[:, None] - sub[None, :]
    sub_rest = y - y.mean(axis=2, keepdims=True) - sub[None, None, :] - both[None, :, :]
    sums = [a * b * block @ block, r * b * whole @ whole, b * (whole_rest**2).sum()]
    sums += [r * a * sub @ sub, r * (both**2).sum(), (sub_rest**2).sum()]
    dfs = [r - 1, a - 1, (r - 1) * (a - 1), b - 1, (a - 1) * (b - 1), a * (r - 1) * (b - 1)]
    squares = [float(ss / df) for ss, df in zip(sums, dfs, strict=True)]
    labels = ("block", names[0], "whole-strip error", names[1], f"{names[0]} x {names[1]}", "sub-strip error")
    rows, tails = [], []
    for place, label in enumerate(labels):
        error = {1: 2, 3: 5, 4: 5}.get(place)
        f = p = None
        if error is not None:
            f = squares[place] / squares[error] if squares[error] > 0 else None
            p = None if f is None else f_tail(f, dfs[place], dfs[error])
            tails.append(0.0 if p is None else p)
        rows.append(AnovaRow(label, float(dfs[place]), float(sums[place]), squares[place], f, p))
    rows.append(AnovaRow("total", float(r * a * b - 1), float((y**2).sum()), None, None, None))
    errors = _Error(squares[2], dfs[2]), _Error(squares[5], dfs[5])
    return tuple(rows), errors, (tails[0], tails[1], tails[2])


def _by_level(cells: SplitCells, errors: tuple[_Error, _Error], confidence: float) -> tuple[LevelDifference, ...]:
    """Compare treatments with the control at each level of the factor.

    Two whole strips at one level differ by both errors, mixed as 1 to b - 1, with Satterthwaite's df.
    """
    r, b = len(cells.values), len(cells.levels)
    large, small = errors
    if cells.whole == "treatment":
        mixed = ((b - 1) * small.variance + large.variance) / b
        parts = ((b - 1) * small.variance / b) ** 2 / small.df + (large.variance / b) ** 2 / large.df
        df = mixed**2 / parts
    else:
        mixed, df = small.variance, small.df
    se = float(np.sqrt(2 * mixed / r))
    reach = -float(special.stdtrit(df, (1 - confidence) / 2)) * se
    table = cells.values.mean(axis=0)
    return tuple(
        LevelDifference(level, name, float(d), se, float(df), float(d - reach), float(d + reach))
        for column, level in enumerate(cells.levels)
        for name, d in zip(cells.treatments[1:], table[1:, column] - table[0, column], strict=True)
    )
