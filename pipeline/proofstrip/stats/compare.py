"""The front door: a strip table in, everything it says about the treatments out."""

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import special

from proofstrip.config import StatsPart
from proofstrip.errors import Notice
from proofstrip.stats.adjusted import judge_mix, take_out
from proofstrip.stats.assumptions import (
    check_assumptions,
    check_replication,
    check_scatter,
    has_scatter,
    pair_differences,
)
from proofstrip.stats.beside import look_beside
from proofstrip.stats.contrasts import (
    compare_all_pairs,
    contrast_control,
    fit_design,
    leave_one_out,
    log_ratios,
)
from proofstrip.stats.design import Plots
from proofstrip.stats.linear import Fit, Floats
from proofstrip.stats.moves import check_blocks
from proofstrip.stats.neighbours import adjust_by_checks
from proofstrip.stats.paired import hodges_lehmann, sign_flip_p
from proofstrip.stats.permutation import permutation_p
from proofstrip.stats.power import detectable_difference
from proofstrip.stats.results import Check, Comparison, Design, Difference, PairDifference, TreatmentSummary
from proofstrip.stats.table import UNITS, StripTable, read_strips

METHODS = {
    "paired": "paired t test",
    "complete_blocks": "randomised complete blocks, Dunnett's test against the control",
    "incomplete_blocks": "incomplete blocks (REML, Kenward-Roger), Dunnett's test against the control",
    "unblocked": "strips without blocks, pooled variance, Dunnett's test against the control",
    "unreplicated": "description only: no replicates, no test",
}
WELCH = "strips without blocks, Welch's t test"
MACHINES = "least squares with blocks and combines taken out, Dunnett's test against the control"


def compare_treatments(
    strips: pd.DataFrame,
    control: str,
    settings: StatsPart,
    yield_column: str = "yield_kg_ha",
    machines: pd.DataFrame | None = None,
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
    machines : pandas.DataFrame or None
        Share of each strip that each combine cut, by strip: where blocks were not cut by the same combines throughout,
        what each reads is estimated beside the treatments and taken out. None: it does not count.

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
    >>> from proofstrip.config import load_defaults
    >>> first = compare_treatments(table, "old", load_defaults().stats).differences[0]
    >>> first.treatment, first.pairs, round(first.difference, 6), first.p_exact
    ('new', 3, 100.0, 0.25)
    """
    table = read_strips(strips, control, yield_column, settings.factor, machines)
    if judge_mix(table.plots) != "estimable":
        table = replace(table, plots=replace(table.plots, machines=None))
    unit = UNITS.get(yield_column, "")
    if table.design == "unreplicated":
        return _describe(table, unit, settings)
    fit = fit_design(table.plots, table.design)
    if not has_scatter(fit, table.plots):
        blank = _describe(table, unit, settings)
        return replace(blank, checks=(*blank.checks, check_scatter(fit, table.plots)))
    return look_beside(_compare(table, fit, unit, settings), strips, table, fit, settings)


def _compare(table: StripTable, fit: Fit, unit: str, settings: StatsPart) -> Comparison:
    """Put a replicated comparison together."""
    plots, design = table.plots, table.design
    differences = _differences(table, fit, settings)
    pairwise, letters, lsd_letters = compare_all_pairs(plots, fit, settings.confidence)
    errors = fit.pooled_errors(plots)[np.triu_indices(len(plots.treatments), 1)]
    t_critical = -special.stdtrit(fit.df_residual, (1 - settings.confidence) / 2)
    checks = (
        check_replication(_replicates(plots), design),
        check_scatter(fit, plots),
        check_blocks(differences),
        _check_scales(differences),
        *check_assumptions(take_out(plots), fit, design),
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
        warnings=(*table.notices, *_note_singles(plots), *_note_few(differences)),
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


def _differences(table: StripTable, fit: Fit, settings: StatsPart) -> tuple[Difference, ...]:
    """Give each treatment against the control, with everything that stands beside it."""
    plots, design, confidence = table.plots, table.design, settings.confidence
    contrasts = contrast_control(fit, confidence)
    ratios = log_ratios(plots, design, confidence)
    p, p_alone = contrasts.p_values(), contrasts.p_alone()
    # Labels cannot be moved and combines stay: with combines taken out there is no re-randomising.
    apart = plots.machines is not None
    exact, floor, draws = (None, None, None) if apart else _rerandomise(plots, design, settings)
    left_out = leave_one_out(plots, design, contrasts, confidence)
    tested = _testable(plots)
    rows = []
    for place, own in enumerate(_plain_differences(take_out(plots), fit.means, confidence)):
        if not tested[place]:
            rows.append(own)
            continue
        se, df, critical = (float(a[place]) for a in (contrasts.se, contrasts.df, contrasts.critical))
        rows.append(
            replace(
                ratios[place].put_into(own),
                difference=float(contrasts.difference[place]),
                se=se,
                df=df,
                low=float(contrasts.difference[place] - critical * se),
                high=float(contrasts.difference[place] + critical * se),
                p_value=float(p[place]),
                p_unadjusted=float(p_alone[place]),
                p_exact=None if exact is None else float(exact[place]),
                p_exact_floor=floor,
                p_exact_draws=draws,
                method=_method(plots, design),
                detectable=detectable_difference(se, df, critical, settings.power),
                leave_one_out=left_out[place],
                median=None if apart or design != "paired" else hodges_lehmann(pair_differences(plots), confidence),
            )
        )
    return tuple(rows)


def _plain_differences(plots: Plots, means: Floats, confidence: float) -> list[Difference]:
    """Describe each treatment against the control without any test."""
    rows = []
    for place, name in enumerate(plots.treatments[1:], start=1):
        pairs = _pairs(plots, place)
        rows.append(
            Difference(
                treatment=name,
                control=plots.treatments[0],
                pairs=len(pairs) if plots.blocks else None,
                difference=float(means[place] - means[0]),
                difference_pct=_share_pct(means[place], means[0]),
                confidence=confidence,
                method=METHODS["unreplicated"],
                pair_differences=pairs,
            )
        )
    return rows


def _method(plots: Plots, design: Design) -> str:
    """Name the method of the headline."""
    if plots.machines is not None:
        return MACHINES
    if plots.systematic:
        kind = "pairs" if design == "paired" else "blocks" if plots.blocks else "strips"
        return f"{kind} in one fixed order, a straight trend along it taken out: p rests on this model, not on lots"
    return WELCH if design == "unblocked" and len(plots.treatments) == 2 else METHODS[design]


def _testable(plots: Plots) -> list[bool]:
    """Tell which treatments have strips in two places or more; one strip is a description, not a comparison."""
    counts = np.bincount(plots.treatment, minlength=len(plots.treatments))
    return [bool(counts[0] > 1 and count > 1) for count in counts[1:]]


def _note_singles(plots: Plots) -> list[Notice]:
    """Name the treatments that are described but not tested."""
    names = [name for name, tested in zip(plots.treatments[1:], _testable(plots), strict=True) if not tested]
    if not names:
        return []
    return [
        Notice(
            "single_strip",
            f"{', '.join(names)}: one strip only. The difference is shown, but one strip cannot be told apart from its "
            "piece of ground: no interval and no p-value.",
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


def _rerandomise(plots: Plots, design: Design, settings: StatsPart) -> tuple[Floats | None, float | None, int | None]:
    """Flip the signs of pairs, or move yields within blocks; nothing where the order was not drawn by lot."""
    if plots.systematic:
        return None, None, None
    if design == "paired":
        p, floor, draws = sign_flip_p(pair_differences(plots), settings.permutations, settings.seed)
        return np.array([p]), floor, draws
    return permutation_p(plots, settings.permutations, settings.seed)


def _check_scales(differences: tuple[Difference, ...]) -> Check:
    """Tell whether yields and their logarithms lead to the same decision."""
    name, allowed = "both_scales", "0 differ"
    looked = [row for row in differences if row.low_pct is not None]
    if not looked:
        return Check(name, None, None, allowed, "There are no per cent to compare with.")
    apart = [row.treatment for row in looked if _sign_of(row.low, row.high) != _sign_of(row.low_pct, row.high_pct)]
    if not apart:
        return Check(name, True, 0.0, allowed, "Yields and per cent lead to the same decision.")
    note = f"For {', '.join(apart)} yields and per cent lead to different decisions: the case is close."
    return Check(name, False, float(len(apart)), allowed, note)


def _sign_of(low: float | None, high: float | None) -> int:
    """Give the side of zero on which an interval lies; 0 when it spans it."""
    return 1 if low is not None and low > 0 else -1 if high is not None and high < 0 else 0


def _note_few(differences: tuple[Difference, ...]) -> list[Notice]:
    """Point out that so few pairs cannot reach a small exact p."""
    floors = [row.p_exact_floor for row in differences if row.p_exact_floor is not None]
    alpha = 1 - differences[0].confidence
    if not floors or max(floors) <= alpha:
        return []
    return [
        Notice(
            "few_replicates",
            f"With so few replicates re-randomising can give no p below {max(floors):.2g}, whatever the yields: a "
            f"decision at {100 * alpha:.0f} % leans on the bell shape of chance. More replicates free it of that.",
        )
    ]


def _describe(table: StripTable, unit: str, settings: StatsPart) -> Comparison:
    """Give means and differences of a trial that cannot be tested."""
    plots = table.plots
    counts = np.bincount(plots.treatment, minlength=len(plots.treatments))
    means = np.bincount(plots.treatment, plots.values, minlength=len(counts)) / counts
    return Comparison(
        design=table.design,
        control=plots.treatments[0],
        unit=unit,
        confidence=settings.confidence,
        power=settings.power,
        blocks=len(plots.blocks) or None,
        treatments=_summaries(table, means),
        differences=tuple(_plain_differences(plots, means, settings.confidence)),
        checks=(check_replication(int(counts.min()), table.design),),
        adjusted=adjust_by_checks(plots, table.labels, settings.confidence),
        warnings=table.notices,
    )
