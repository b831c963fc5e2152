"""What stands beside the comparison: trend, rates, sub-strips, check strips, conditions, and what the model leaves."""

from dataclasses import replace

import numpy as np
import pandas as pd

from proofstrip.config import StatsPart
from proofstrip.stats.assumptions import SUSPICIOUS, pair_differences
from proofstrip.stats.conditions import condition_effects
from proofstrip.stats.design import Plots
from proofstrip.stats.dose import fit_doses
from proofstrip.stats.further import Residual, SplitStrips
from proofstrip.stats.linear import Fit
from proofstrip.stats.neighbours import adjust_by_checks
from proofstrip.stats.results import Check, Comparison, Design
from proofstrip.stats.split import analyse_split
from proofstrip.stats.table import StripTable, label_text
from proofstrip.stats.trend import describe_trend
from proofstrip.stats.wording import list_words


def look_beside(
    comparison: Comparison, strips: pd.DataFrame, table: StripTable, fit: Fit, settings: StatsPart
) -> Comparison:
    """Add to a comparison what its design and settings ask for.

    Parameters
    ----------
    comparison : Comparison
    strips : pandas.DataFrame
        As given.
    table : StripTable
    fit : Fit
    settings : StatsPart

    Returns
    -------
    Comparison
    """
    plots, confidence = table.plots, settings.confidence
    found = replace(
        comparison,
        trend=describe_trend(plots) if plots.systematic else None,
        dose=fit_doses(plots, fit, *table.doses, confidence) if table.doses else None,
        adjusted=adjust_by_checks(plots, table.labels, confidence),
        residuals=list_residuals(plots, fit, table.design),
    )
    split = analyse_split(table.split, confidence) if table.split else None
    if split is not None:
        found = replace(found, split=split[0], anova=split[1], checks=(*found.checks, check_interaction(split[0])))
    if settings.covariate is None:
        return found
    labelled = strips.assign(treatment=[label_text(value) for value in strips["treatment"]])
    if "block" in strips.columns:
        labelled["block"] = [label_text(value) for value in strips["block"]]
    effects, notices = condition_effects(labelled, plots, comparison.differences, settings.covariate, confidence)
    return replace(found, conditions=effects, warnings=(*found.warnings, *notices))


def list_residuals(plots: Plots, fit: Fit, design: Design) -> tuple[Residual, ...]:
    """Give what the model leaves of each strip; of pairs, what each differs from the mean difference.

    Parameters
    ----------
    plots : Plots
    fit : Fit
    design : str

    Returns
    -------
    tuple of Residual
    """
    if design == "paired":
        gaps, count = pair_differences(plots), len(plots.blocks)
        halves = [None if part is None else np.bincount(plots.block, part) / 2 for part in (plots.order, plots.times)]
        left, fitted = gaps - gaps.mean(), plots.cells().mean(axis=1)
        names, treatments = list(plots.blocks), [""] * count
    else:
        halves, left, fitted = [plots.order, plots.times], fit.residuals, fit.fitted
        treatments = [plots.treatments[place] for place in plots.treatment]
        names = [plots.blocks[place] if plots.blocks else "" for place in plots.block]
    order, times = ([None] * len(names) if part is None else part.tolist() for part in halves)
    return tuple(map(Residual, names, treatments, fitted.tolist(), left.tolist(), order, times))


def check_interaction(split: SplitStrips) -> Check:
    """Tell whether the treatments do the same at every level of the second factor.

    Parameters
    ----------
    split : SplitStrips

    Returns
    -------
    Check
    """
    passed = split.interaction_p >= SUSPICIOUS
    if passed:
        note = f"The treatments do about the same at every level of {split.factor}."
    else:
        best = {level: _best(split, level) for level in split.levels}
        told = list_words([f"{name} at {level}" for level, name in best.items()])
        note = f"What the treatments do depends on {split.factor}: one average does not fit. Highest yield: {told}."
    return Check("same_at_every_level", passed, split.interaction_p, "p above 0.05", note)


def _best(split: SplitStrips, level: str) -> str:
    """Name the treatment that gains most over the control at one level; the control where none gains."""
    top = max((row for row in split.by_level if row.level == level), key=lambda row: row.difference)
    return top.treatment if top.difference > 0 else "the control"
