"""Differences from the control by one model: their tests, their per cent, and what one block left out does to them."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from proofstrip.stats.adjusted import fit_adjusted, judge_mix
from proofstrip.stats.design import Plots
from proofstrip.stats.letters import assign_letters
from proofstrip.stats.linear import Fit, Floats, fit_blocks, fit_unblocked
from proofstrip.stats.mixed import fit_mixed
from proofstrip.stats.multiple import dunnett_criticals, dunnett_tail, t_tail, tukey_tail
from proofstrip.stats.results import BlockLeftOut, Design, Difference, LeaveOneOut, PairwiseDifference
from proofstrip.stats.trend import fit_trend

FITS = {
    "paired": fit_blocks,
    "complete_blocks": fit_blocks,
    "incomplete_blocks": fit_mixed,
    "unblocked": fit_unblocked,
}


def fit_design(plots: Plots, design: Design) -> Fit:
    """Fit the model of the design, the combines beside it where they must be taken out.

    Parameters
    ----------
    plots : Plots
    design : str

    Returns
    -------
    Fit
    """
    if plots.machines is not None:
        return fit_adjusted(plots)
    return fit_trend(plots) if plots.systematic else FITS[design](plots)


@dataclass(frozen=True)
class Contrasts:
    """Every treatment against the control: arrays of shape (k - 1,).

    Attributes
    ----------
    difference, se, df : ndarray
    correlation : ndarray, shape (k - 1, k - 1)
    confidence : float
    """

    difference: Floats
    se: Floats
    df: Floats
    correlation: Floats
    confidence: float

    @cached_property
    def critical(self) -> Floats:
        """What |t| must exceed: Student's for one treatment, Dunnett's for several."""
        return dunnett_criticals(self.confidence, self.df, self.correlation)

    @property
    def t(self) -> Floats:
        """Difference over its standard error."""
        return np.asarray(self.difference / self.se)

    @property
    def decided(self) -> Floats:
        """Tell which intervals leave zero out."""
        return np.asarray(np.abs(self.difference) > self.critical * self.se)

    def p_values(self) -> Floats:
        """Give p adjusted for all comparisons with the control."""
        p = np.empty(len(self.df))
        for df in np.unique(self.df):
            same = self.df == df
            p[same] = dunnett_tail(self.t[same], float(df), self.correlation)
        return p

    def p_alone(self) -> Floats:
        """Give p of each comparison by itself."""
        return t_tail(self.t, self.df)


def contrast_control(fit: Fit, confidence: float) -> Contrasts:
    """Compare every treatment with the control.

    Parameters
    ----------
    fit : Fit
    confidence : float

    Returns
    -------
    Contrasts
    """
    difference, se = fit.means[1:] - fit.means[0], fit.standard_errors()[0, 1:]
    return Contrasts(difference, se, fit.df[0, 1:], fit.control_correlation(), confidence)


@dataclass(frozen=True)
class Ratio:
    """A difference in per cent and the log ratio behind it, as the fields of ``Difference``; empty without logs."""

    difference_pct: float | None = None
    low_pct: float | None = None
    high_pct: float | None = None
    log_ratio: float | None = None
    se_log_ratio: float | None = None
    df_log_ratio: float | None = None
    sd_log_ratio: float | None = None

    def put_into(self, row: Difference) -> Difference:
        """Give the difference with these fields."""
        return replace(row, **vars(self))


def log_ratios(plots: Plots, design: Design, confidence: float) -> list[Ratio]:
    """Give each difference and its interval in per cent, and the log ratio behind it, by the same model on log yields.

    Parameters
    ----------
    plots : Plots
    design : str
    confidence : float

    Returns
    -------
    list of Ratio
        Empty where a yield is zero and has no log.

    Notes
    -----
    100 (exp(d) - 1), d being the mean difference of log yields: a factor on both yields of a block cancels.
    """
    if plots.values.min() <= 0:
        return [Ratio()] * (len(plots.treatments) - 1)
    fit = fit_design(replace(plots, values=np.log(plots.values)), design)
    if not fit.variance > 0:
        return [Ratio(float(100 * np.expm1(d))) for d in fit.means[1:] - fit.means[0]]
    logs = contrast_control(fit, confidence)
    reach = logs.critical * logs.se
    table = 100 * np.expm1(np.stack([logs.difference, logs.difference - reach, logs.difference + reach]))
    sd = float(np.sqrt(2 * fit.variance))
    own = np.stack([logs.difference, logs.se, logs.df, np.full(len(logs.se), sd)])
    return [Ratio(*row) for row in np.vstack([table, own]).T.tolist()]


def leave_one_out(plots: Plots, design: Design, contrasts: Contrasts, confidence: float) -> list[LeaveOneOut | None]:
    """Fit again without each block in turn: does a decision hang on one of them.

    Parameters
    ----------
    plots : Plots
    design : str
    contrasts : Contrasts
        With all blocks.
    confidence : float

    Returns
    -------
    list of LeaveOneOut or None
        For each treatment; none with fewer than three blocks.
    """
    count = len(plots.treatments) - 1
    if len(plots.blocks) < 3:
        return [None] * count
    found: list[list[BlockLeftOut]] = [[] for _ in range(count)]
    for place, block in enumerate(plots.blocks):
        rest = plots.without_block(place)
        if len(np.unique(rest.treatment)) <= count or len(rest.values) <= len(rest.blocks) + count:
            continue  # without this block a treatment, or the residual, is gone altogether
        if judge_mix(rest) == "confounded":
            continue
        fit = fit_design(rest, design)
        reach = np.zeros(count)
        if fit.variance > 0:
            own = contrast_control(fit, confidence)
            reach = own.critical * own.se
        for rows, middle, half, df in zip(found, fit.means[1:] - fit.means[0], reach, fit.df[0, 1:], strict=True):
            rows.append(BlockLeftOut(block, *(float(part) for part in (middle, middle - half, middle + half, df))))
    sides = contrasts.decided * np.sign(contrasts.difference)
    return [_sum_up(tuple(rows), side) for rows, side in zip(found, sides.tolist(), strict=True)]


def _sum_up(rows: tuple[BlockLeftOut, ...], side: float) -> LeaveOneOut | None:
    """Say how far one difference moves and which blocks change its side of zero."""
    if not rows:
        return None
    names = tuple(row.block for row in rows if int(row.low > 0) - int(row.high < 0) != side)
    middles = [row.difference for row in rows]
    return LeaveOneOut(min(middles), max(middles), bool(names), names, rows)


def compare_all_pairs(
    plots: Plots, fit: Fit, confidence: float
) -> tuple[tuple[PairwiseDifference, ...], dict[str, str], dict[str, str]]:
    """Compare every two treatments: Tukey (Tukey and Kramer where replication differs) and the unadjusted LSD.

    Parameters
    ----------
    plots : Plots
    fit : Fit
    confidence : float

    Returns
    -------
    tuple of tuple of PairwiseDifference, dict and dict
        The comparisons, the letters by Tukey's test, the letters by the LSD.
    """
    names, k = plots.treatments, len(plots.treatments)
    first, second = np.triu_indices(k, 1)
    difference = fit.means[first] - fit.means[second]
    se, df = fit.standard_errors()[first, second], fit.df[first, second]
    t = np.abs(difference / se)
    alone, tukey = t_tail(t, df), np.empty(len(t))
    for value in np.unique(df):
        same = df == value
        tukey[same] = tukey_tail(np.sqrt(2) * t[same], k, float(value))
    rows = tuple(
        PairwiseDifference(names[i], names[j], *map(float, rest))
        for i, j, *rest in zip(first, second, difference, se, alone, tukey, strict=True)
    )
    letters = []
    for p in (tukey, alone):
        differ = np.zeros((k, k), dtype=bool)
        differ[first, second] = differ[second, first] = p < 1 - confidence
        letters.append(assign_letters(list(names), fit.means.tolist(), differ))
    return rows, letters[0], letters[1]
