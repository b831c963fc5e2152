"""The front door: a strip table in, everything it says about the treatments out."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import special

from proofstrip.config import StatsPart
from proofstrip.errors import Notice
from proofstrip.stats.assumptions import (
    check_assumptions,
    check_replication,
    check_scatter,
    has_scatter,
    pair_differences,
)
from proofstrip.stats.letters import assign_letters
from proofstrip.stats.linear import Fit, Floats, fit_blocks, fit_unblocked
from proofstrip.stats.mixed import fit_mixed
from proofstrip.stats.multiple import dunnett_critical, dunnett_tail, t_tail, tukey_tail
from proofstrip.stats.paired import hodges_lehmann, sign_flip_p
from proofstrip.stats.permutation import permutation_p
from proofstrip.stats.power import detectable_difference
from proofstrip.stats.results import (
    Check,
    Comparison,
    Design,
    Difference,
    LeaveOneOut,
    PairDifference,
    PairwiseDifference,
    TreatmentSummary,
)
from proofstrip.stats.table import UNITS, Plots, StripTable, read_strips

FITS = {
    "paired": fit_blocks,
    "complete_blocks": fit_blocks,
    "incomplete_blocks": fit_mixed,
    "unblocked": fit_unblocked,
}
METHODS = {
    "paired": "paired t test",
    "complete_blocks": "randomised complete blocks, Dunnett's test against the control",
    "incomplete_blocks": "incomplete blocks (REML, Kenward-Roger), Dunnett's test against the control",
    "unblocked": "strips without blocks, pooled variance, Dunnett's test against the control",
    "unreplicated": "description only: no replicates, no test",
}
WELCH = "strips without blocks, Welch's t test"


def compare_treatments(
    strips: pd.DataFrame, control: str, settings: StatsPart, yield_column: str = "yield_kg_ha"
) -> Comparison:
    """Compare every treatment with the control, the strip being the unit.

    Parameters
    ----------
    strips : pandas.DataFrame
        One row a strip: strip, treatment, ``yield_column``; block where strips lie in blocks; order (place across the
        field or in time) where it is known. A strip with an empty yield is reported as missing.
    control : str
        Name of the treatment that the others are compared with.
    settings : StatsPart
        Confidence of intervals, power of the detectable difference, number and seed of random arrangements.
    yield_column : str
        ``yield_kg_ha``, ``yield_bu_ac``, or any other column; of another one the unit is not known.

    Returns
    -------
    Comparison
        The design is recognised from the table: pairs, complete or incomplete blocks, no blocks, no replicates.

    Raises
    ------
    DataError
        When the table cannot be compared: says which rows, what was found and what to do.

    Examples
    --------
    >>> table = pd.DataFrame({"strip": list("abcdef"), "block": [1, 1, 2, 2, 3, 3], "treatment": ["new", "old"] * 3,
    ...                       "yield_kg_ha": [4100.0, 4000.0, 4230.0, 4100.0, 4060.0, 3990.0]})
    >>> part = StatsPart(confidence=0.9, power=0.8, permutations=10000, seed=1)
    >>> first = compare_treatments(table, "old", part).differences[0]
    >>> first.treatment, first.pairs, round(first.difference, 6), first.p_exact
    ('new', 3, 100.0, 0.25)
    """
    table = read_strips(strips, control, yield_column)
    unit = UNITS.get(yield_column, "")
    if table.design == "unreplicated":
        return _describe(table, unit, settings)
    fit = FITS[table.design](table.plots)
    if not has_scatter(fit, table.plots):
        blank = _describe(table, unit, settings)
        return replace(blank, checks=(*blank.checks, check_scatter(fit, table.plots)))
    return _compare(table, fit, unit, settings)


def _compare(table: StripTable, fit: Fit, unit: str, settings: StatsPart) -> Comparison:
    """Put a replicated comparison together."""
    plots, design = table.plots, table.design
    differences = _differences(table, fit, settings)
    pairwise, letters, lsd_letters = _all_pairs(plots, fit, settings.confidence)
    errors = fit.standard_errors()[np.triu_indices(len(plots.treatments), 1)]
    t_critical = -special.stdtrit(fit.df_residual, (1 - settings.confidence) / 2)
    checks = (
        check_replication(_replicates(plots), design),
        check_scatter(fit, plots),
        _check_fragile(differences),
        *check_assumptions(plots, fit, design),
    )
    return Comparison(
        design=design,
        control=plots.treatments[0],
        unit=unit,
        confidence=settings.confidence,
        power=settings.power,
        blocks=len(plots.blocks) or None,
        treatments=_summaries(table, fit.means),
        differences=differences,
        pairwise=pairwise,
        anova=fit.anova,
        df_residual=fit.df_residual,
        residual_variance=fit.variance,
        block_variance=fit.block_variance,
        lsd=float(t_critical * np.sqrt(np.mean(errors**2))),
        cv_pct=float(100 * np.sqrt(fit.variance) / plots.values.mean()),
        letters=letters,
        lsd_letters=lsd_letters,
        checks=checks,
        warnings=(*table.notices, *_note_singles(plots)),
    )


def _replicates(plots: Plots) -> int:
    """Count blocks, or the strips of the least replicated treatment."""
    return len(plots.blocks) or int(np.bincount(plots.treatment).min())


def _summaries(table: StripTable, means: Floats) -> tuple[TreatmentSummary, ...]:
    """Describe each treatment."""
    by_name = dict(zip(table.plots.treatments, means.tolist(), strict=True))
    return tuple(
        TreatmentSummary(name, strips, missing, by_name.get(name))
        for name, strips, missing in zip(table.names, table.strips, table.missing, strict=True)
    )


@dataclass(frozen=True)
class _Contrasts:
    """Every treatment against the control, by one model: arrays of shape (k - 1,)."""

    difference: Floats
    se: Floats
    df: Floats
    p: Floats
    p_alone: Floats
    critical: Floats


def _contrast(fit: Fit, confidence: float, critical: bool = True) -> _Contrasts:
    """Compare with the control: t test for one treatment, Dunnett's test for several."""
    difference = fit.means[1:] - fit.means[0]
    se, df = fit.standard_errors()[0, 1:], fit.df[0, 1:]
    correlation = fit.control_correlation()
    t = difference / se
    p, limits = np.empty(len(t)), np.full(len(t), np.nan)
    for value in np.unique(df):
        same = df == value
        p[same] = dunnett_tail(t[same], float(value), correlation)
        if critical:
            limits[same] = dunnett_critical(confidence, float(value), correlation)
    return _Contrasts(difference, se, df, p, np.array([t_tail(a, b) for a, b in zip(t, df, strict=True)]), limits)


def _differences(table: StripTable, fit: Fit, settings: StatsPart) -> tuple[Difference, ...]:
    """Give each treatment against the control, with everything that stands beside it."""
    plots, design = table.plots, table.design
    contrasts = _contrast(fit, settings.confidence)
    percent = _percent(plots, design, settings.confidence)
    exact, floor, draws = _exact(plots, design, settings)
    leave = _leave_one_out(plots, design, contrasts, settings.confidence)
    tested = _testable(plots)
    rows = []
    for place, name in enumerate(plots.treatments[1:]):
        pairs = _pairs(plots, place + 1)
        difference, se, critical = (float(a[place]) for a in (contrasts.difference, contrasts.se, contrasts.critical))
        row = Difference(
            treatment=name,
            control=plots.treatments[0],
            pairs=len(pairs) if plots.blocks else None,
            difference=difference,
            difference_pct=percent[place][0],
            low_pct=percent[place][1],
            high_pct=percent[place][2],
            se=se,
            df=float(contrasts.df[place]),
            low=difference - critical * se,
            high=difference + critical * se,
            confidence=settings.confidence,
            p_value=float(contrasts.p[place]),
            p_unadjusted=float(contrasts.p_alone[place]),
            p_exact=float(exact[place]),
            p_exact_floor=floor,
            p_exact_draws=draws,
            method=_method(plots, design),
            detectable=detectable_difference(se, float(contrasts.df[place]), critical, settings.power),
            pair_differences=pairs,
            leave_one_out=leave[place],
            median=hodges_lehmann(pair_differences(plots), settings.confidence) if design == "paired" else None,
        )
        rows.append(row if tested[place] else _untested(row))
    return tuple(rows)


def _method(plots: Plots, design: Design) -> str:
    """Name the method of the headline."""
    return WELCH if design == "unblocked" and len(plots.treatments) == 2 else METHODS[design]


def _testable(plots: Plots) -> list[bool]:
    """Tell which treatments have strips in two places or more; one strip is a description, not a comparison."""
    counts = np.bincount(plots.treatment, minlength=len(plots.treatments))
    return [bool(counts[0] > 1 and count > 1) for count in counts[1:]]


def _untested(row: Difference) -> Difference:
    """Take everything off that needs replicates."""
    return replace(
        row,
        se=None,
        df=None,
        low=None,
        high=None,
        low_pct=None,
        high_pct=None,
        p_value=None,
        p_unadjusted=None,
        p_exact=None,
        p_exact_floor=None,
        p_exact_draws=None,
        method=METHODS["unreplicated"],
        detectable=None,
        leave_one_out=None,
        median=None,
    )


def _note_singles(plots: Plots) -> list[Notice]:
    """Name the treatments that are described but not tested."""
    names = [name for name, tested in zip(plots.treatments[1:], _testable(plots), strict=True) if not tested]
    if not names:
        return []
    return [
        Notice(
            "single_strip",
            f"{', '.join(names)}: one strip only, or only one of the control. The difference is shown, but one strip "
            "cannot be told apart from its piece of ground: no interval and no p-value.",
        )
    ]


def _pairs(plots: Plots, treatment: int) -> tuple[PairDifference, ...]:
    """Give treatment and control block by block, where both are there."""
    if not plots.blocks:
        return ()
    cells = plots.cells()
    return tuple(
        PairDifference(block, float(own), float(control), float(own - control), _share_pct(own, control))
        for block, own, control in zip(plots.blocks, cells[:, treatment], cells[:, 0], strict=True)
        if np.isfinite(own) and np.isfinite(control)
    )


def _share_pct(own: float, control: float) -> float | None:
    """Give a difference in per cent of the control."""
    return float(100 * (own / control - 1)) if control > 0 else None


def _percent(plots: Plots, design: Design, confidence: float) -> list[tuple[float | None, float | None, float | None]]:
    """Give per cent and interval from the same model on log yields; a yield of zero has no log."""
    if plots.values.min() <= 0:
        return [(None, None, None)] * (len(plots.treatments) - 1)
    fit = FITS[design](replace(plots, values=np.log(plots.values)))
    if not fit.variance > 0:
        return [(float(100 * np.expm1(d)), None, None) for d in fit.means[1:] - fit.means[0]]
    logs = _contrast(fit, confidence)
    reach = logs.critical * logs.se
    table = 100 * np.expm1(np.stack([logs.difference, logs.difference - reach, logs.difference + reach]))
    return [(float(a), float(b), float(c)) for a, b, c in table.T]


def _exact(plots: Plots, design: Design, settings: StatsPart) -> tuple[Floats, float, int | None]:
    """Re-randomise: flip signs of pairs, or move yields within blocks."""
    if design == "paired":
        p, floor, draws = sign_flip_p(pair_differences(plots), settings.permutations, settings.seed)
        return np.array([p]), floor, draws
    return permutation_p(plots, settings.permutations, settings.seed)


def _leave_one_out(plots: Plots, design: Design, contrasts: _Contrasts, confidence: float) -> list[LeaveOneOut | None]:
    """Fit again without each block in turn: does the sign or the decision hang on one of them."""
    count = len(plots.treatments) - 1
    if len(plots.blocks) < 3:
        return [None] * count
    values = np.full((len(plots.blocks), count), np.nan)
    decided = np.zeros(values.shape, dtype=bool)
    for block in range(len(plots.blocks)):
        rest = plots.keep(plots.block != block)
        rest = replace(rest, block=rest.block - (rest.block > block), blocks=rest.blocks[:-1])
        if len(np.unique(rest.treatment)) <= count:
            continue  # without this block a treatment is gone altogether
        fit = FITS[design](rest)
        values[block] = fit.means[1:] - fit.means[0]
        decided[block] = _contrast(fit, confidence, critical=False).p < 1 - confidence if fit.variance > 0 else True
    before = contrasts.p < 1 - confidence
    flips = (np.sign(values) != np.sign(contrasts.difference)) | (decided != before)
    flips &= np.isfinite(values)
    return [
        LeaveOneOut(
            float(np.nanmin(values[:, j])),
            float(np.nanmax(values[:, j])),
            bool(flips[:, j].any()),
            tuple(plots.blocks[block] for block in np.flatnonzero(flips[:, j])),
        )
        if np.isfinite(values[:, j]).any()
        else None
        for j in range(count)
    ]


def _check_fragile(differences: tuple[Difference, ...]) -> Check:
    """Tell whether a conclusion hangs on a single block."""
    hanging = [d for d in differences if d.leave_one_out is not None and d.leave_one_out.fragile]
    if all(d.leave_one_out is None for d in differences):
        return Check("one_block_left_out", None, None, "0 changes", "There are too few blocks to leave one out.")
    if not hanging:
        return Check("one_block_left_out", True, 0.0, "0 changes", "Leaving any one block out changes no conclusion.")
    told = "; ".join(
        f"{d.treatment} without block {' or '.join(d.leave_one_out.blocks)}" for d in hanging if d.leave_one_out
    )
    note = f"The conclusion hangs on single blocks and is fragile: it changes for {told}."
    return Check("one_block_left_out", False, float(len(hanging)), "0 changes", note)


def _all_pairs(
    plots: Plots, fit: Fit, confidence: float
) -> tuple[tuple[PairwiseDifference, ...], dict[str, str], dict[str, str]]:
    """Compare every two treatments: Tukey (Tukey-Kramer where replication differs) and the unadjusted LSD."""
    names, k = plots.treatments, len(plots.treatments)
    first, second = np.triu_indices(k, 1)
    difference = fit.means[first] - fit.means[second]
    se, df = fit.standard_errors()[first, second], fit.df[first, second]
    t = np.abs(difference / se)
    alone = np.array([float(t_tail(a, b)) for a, b in zip(t, df, strict=True)])
    tukey = np.empty(len(t))
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


def _describe(table: StripTable, unit: str, settings: StatsPart) -> Comparison:
    """Give means and differences of a trial that cannot be tested."""
    plots = table.plots
    counts = np.bincount(plots.treatment, minlength=len(plots.treatments))
    means = np.bincount(plots.treatment, plots.values, minlength=len(counts)) / counts
    rows = []
    for place, name in enumerate(plots.treatments[1:], start=1):
        pairs = _pairs(plots, place)
        difference = float(np.mean([p.difference for p in pairs])) if pairs else float(means[place] - means[0])
        rows.append(
            Difference(
                treatment=name,
                control=plots.treatments[0],
                pairs=len(pairs) if plots.blocks else None,
                difference=difference,
                difference_pct=_share_pct(means[place], means[0]),
                low_pct=None,
                high_pct=None,
                se=None,
                df=None,
                low=None,
                high=None,
                confidence=settings.confidence,
                p_value=None,
                p_unadjusted=None,
                p_exact=None,
                p_exact_floor=None,
                p_exact_draws=None,
                method=METHODS["unreplicated"],
                detectable=None,
                pair_differences=pairs,
                leave_one_out=None,
                median=None,
            )
        )
    return Comparison(
        design=table.design,
        control=plots.treatments[0],
        unit=unit,
        confidence=settings.confidence,
        power=settings.power,
        blocks=len(plots.blocks) or None,
        treatments=_summaries(table, means),
        differences=tuple(rows),
        pairwise=(),
        anova=(),
        df_residual=None,
        residual_variance=None,
        block_variance=None,
        lsd=None,
        cv_pct=None,
        letters={},
        lsd_letters={},
        checks=(check_replication(int(counts.min()), table.design),),
        warnings=table.notices,
    )
