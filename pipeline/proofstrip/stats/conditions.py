"""Under which conditions: does the difference of a pair change with something else that differs between pairs.

Only what the treatment cannot have changed tells about conditions: the condition is read from the control's strip,
never from the treated one, and yields are refused (the difference contains them).
"""

import difflib
from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy import special

from proofstrip.errors import DataError, Notice
from proofstrip.stats.design import Floats, Plots
from proofstrip.stats.further import ConditionEffect, ConditionGroup
from proofstrip.stats.linear import f_tail
from proofstrip.stats.multiple import t_tail
from proofstrip.stats.results import Difference

FEWEST_PAIRS = 4  # a slope through three pairs has one degree of freedom and says nothing
RESULTS = ("yield", "standard_mass", "wet_mass", "mass_flow")


def condition_effects(
    strips: pd.DataFrame, plots: Plots, differences: tuple[Difference, ...], column: str, confidence: float
) -> tuple[tuple[ConditionEffect, ...], list[Notice]]:
    """Look whether the difference of a pair (a block) changes with a condition.

    Parameters
    ----------
    strips : pandas.DataFrame
        The strip table, with block and treatment as labels.
    plots : Plots
    differences : tuple of Difference
        With their pair differences.
    column : str
        Numbers, dates (year-month-day) or names.
    confidence : float

    Returns
    -------
    tuple of tuple of ConditionEffect and list of Notice
        One effect for each treatment with pairs enough.

    Raises
    ------
    DataError
        When the column is missing, is a yield, or its cells are empty or mixed.

    Notes
    -----
    Numbers and dates: least squares of the pair difference on the condition, n - 2 df. Names: analysis of variance of
    the pair differences between the groups, n - g df. Nothing is adjusted: the headline stays what it is.
    """
    _require_condition(strips, column)
    if not plots.blocks:
        return (), [Notice("no_pairs", f"{column} needs pairs or blocks to be looked at; this table has none.")]
    values = _by_block(strips, plots, column)
    effects = []
    for row in differences:
        here = [pair for pair in row.pair_differences if pair.block in values]
        gaps = np.array([pair.difference for pair in here])
        own = [values[pair.block] for pair in here]
        effect = _effect(column, row.treatment, gaps, own, confidence)
        effects += [] if effect is None else [effect]
    if effects:
        return tuple(effects), []
    told = f"{column} was not looked at: it takes {FEWEST_PAIRS} pairs, and values of {column} that differ."
    return (), [Notice("condition_too_few", told)]


def _require_condition(strips: pd.DataFrame, column: str) -> None:
    """Refuse a column that is not there or that the treatment has made."""
    if column not in strips.columns:
        near = difflib.get_close_matches(column, list(map(str, strips.columns)), n=1, cutoff=0.5)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise DataError(
            f"strip table: no column {column!r} for the condition.{hint} It has {', '.join(map(repr, strips.columns))}."
        )
    if column.startswith(RESULTS) or column in ("strip", "treatment", "block"):
        raise DataError(
            f"strip table: {column!r} cannot be a condition: it is part of what is compared. Name something that the "
            "treatment cannot have changed: soil zone, date, grain moisture of the control."
        )


def _by_block(strips: pd.DataFrame, plots: Plots, column: str) -> dict[str, float | str]:
    """Give the condition of each block, from the control's strips: numbers, days, or names."""
    own = strips[(strips["treatment"] == plots.treatments[0]) & strips["block"].isin(plots.blocks)]
    texts = own[column].map(lambda value: "" if pd.isna(value) else str(value).strip())
    if (texts == "").any():
        raise DataError(
            f"strip table, column {column!r}: {int((texts == '').sum())} of {len(texts)} strips of the control have "
            f"none (block {', '.join(own['block'][texts == ''].head(5))}). Write it in, or leave the condition out."
        )
    numbers = pd.to_numeric(texts, errors="coerce")
    if numbers.isna().all():
        dates = pd.to_datetime(texts, errors="coerce", format="ISO8601", utc=True)
        if dates.notna().all():
            numbers = (dates - dates.min()) / pd.Timedelta(days=1)
    if numbers.notna().all():
        return dict(numbers.groupby(own["block"]).mean().astype(float))
    if numbers.notna().any():
        raise DataError(
            f"strip table, column {column!r}: numbers and text are mixed, {texts[numbers.isna()].iloc[0]!r} among "
            "numbers. A condition is numbers, dates (year-month-day) or names."
        )
    return dict(texts.groupby(own["block"]).first())


def _effect(
    column: str, treatment: str, gaps: Floats, values: list[float | str], confidence: float
) -> ConditionEffect | None:
    """Choose the slope or the groups."""
    if len(gaps) < FEWEST_PAIRS or len(set(values)) < 2:
        return None
    if isinstance(values[0], str):
        return _groups(column, treatment, gaps, np.array(values))
    x = np.array(values, dtype=float)
    away = x - x.mean()
    size, df = float(away @ away), float(len(x) - 2)
    slope = float(away @ gaps) / size
    rest = gaps - gaps.mean() - slope * away
    se = float(np.sqrt(rest @ rest / df / size))
    if se == 0:
        return None
    p = float(t_tail(np.array([slope / se]), df)[0])
    reach = -float(special.stdtrit(df, (1 - confidence) / 2)) * se
    span = float(x.min()), float(x.max())
    return ConditionEffect(column, treatment, len(x), df, p, slope, se, slope - reach, slope + reach, *span)


def _groups(
    column: str, treatment: str, gaps: Floats, names: "np.ndarray[tuple[int], np.dtype[np.str_]]"
) -> ConditionEffect | None:
    """Compare the mean difference of named groups of pairs."""
    means: Mapping[str, float] = {str(name): float(gaps[names == name].mean()) for name in dict.fromkeys(names)}
    df = len(gaps) - len(means)
    fitted = np.array([means[str(name)] for name in names])
    within = float(((gaps - fitted) ** 2).sum())
    if df < 1 or within == 0:
        return None
    between = float(((fitted - gaps.mean()) ** 2).sum()) / (len(means) - 1)
    p = f_tail(between / (within / df), len(means) - 1, df)
    groups = tuple(ConditionGroup(name, int((names == name).sum()), mean) for name, mean in means.items())
    return ConditionEffect(column, treatment, len(gaps), float(df), p, groups=groups)
