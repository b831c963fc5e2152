"""What a comparison of treatments says: plain frozen records that map one to one on result.json."""

from dataclasses import dataclass, field
from typing import Literal

from proofstrip.errors import Notice
from proofstrip.stats.further import AdjustedStrip, ConditionEffect, DoseResponse, Residual, SplitStrips, Trend

Design = Literal["paired", "complete_blocks", "incomplete_blocks", "unblocked", "unreplicated"]


@dataclass(frozen=True)
class TreatmentSummary:
    """One treatment.

    Attributes
    ----------
    treatment : str
    strips : int
        Strips with a yield that the comparison uses.
    missing : int
        Strips of the table that it does not use; each is named in a warning.
    mean : float or None
        Mean yield, in the unit of the comparison; in incomplete blocks the estimated mean, as if it stood in every
        block. None when no strip of it has a yield.
    """

    treatment: str
    strips: int
    missing: int
    mean: float | None


@dataclass(frozen=True)
class PairDifference:
    """Treatment against control in one block.

    Attributes
    ----------
    block : str
    treatment_yield, control_yield, difference : float
        In the unit of the comparison.
    difference_pct : float or None
        Of the control; none where the control yielded nothing.
    """

    block: str
    treatment_yield: float
    control_yield: float
    difference: float
    difference_pct: float | None


@dataclass(frozen=True)
class MedianDifference:
    """The Hodges-Lehmann median of the pair differences, with the interval of the signed-rank test.

    Attributes
    ----------
    median, low, high : float
    confidence : float
        What the interval really covers: ranks come in steps, so it is rarely exactly what was asked for.
    """

    median: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True)
class BlockLeftOut:
    """The difference without one block.

    Attributes
    ----------
    block : str
    difference, low, high : float
    df : float
    """

    block: str
    difference: float
    low: float
    high: float
    df: float


@dataclass(frozen=True)
class LeaveOneOut:
    """The difference when one block at a time is left out.

    Attributes
    ----------
    low, high : float
        Smallest and largest difference.
    fragile : bool
        True when the decision changes with one block.
    blocks : tuple of str
        The blocks whose absence changes it.
    without : tuple of BlockLeftOut
        Without each block that can be spared.
    """

    low: float
    high: float
    fragile: bool
    blocks: tuple[str, ...]
    without: tuple[BlockLeftOut, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One treatment minus the control.

    Attributes
    ----------
    pairs : int or None
        Blocks that hold both; none in a design without blocks.
    difference, se, low, high, detectable : float or None
        In the unit of the comparison. ``detectable`` is the smallest true difference that a trial of this design and
        scatter finds with the chosen power.
    difference_pct, low_pct, high_pct : float or None
        From the mean log ratio, so that it stays the same whichever machine calibration multiplies both yields.
    log_ratio, se_log_ratio, sd_log_ratio, df_log_ratio : float or None
        Mean log ratio of treatment to control, its standard error (with its degrees of freedom what pooling with
        other trials needs), and the standard deviation of the log ratio of two strips.
    df : float or None
        Degrees of freedom of ``se``.
    p_value : float or None
        Of the headline method, adjusted for several treatments where there are several.
    p_unadjusted : float or None
        Of this comparison alone.
    p_exact, p_exact_floor : float or None
        From re-randomising the design, and the smallest value that it could have given; none where the strips lie in
        one fixed order, for nothing was drawn by lot.
    p_exact_draws : int or None
        Random draws behind ``p_exact``; none where every arrangement was counted.
    method : str
        How the headline was computed, for people.
    """

    treatment: str
    control: str
    pairs: int | None
    difference: float
    difference_pct: float | None = None
    low_pct: float | None = None
    high_pct: float | None = None
    log_ratio: float | None = None
    se_log_ratio: float | None = None
    sd_log_ratio: float | None = None
    df_log_ratio: float | None = None
    se: float | None = None
    df: float | None = None
    low: float | None = None
    high: float | None = None
    confidence: float
    p_value: float | None = None
    p_unadjusted: float | None = None
    p_exact: float | None = None
    p_exact_floor: float | None = None
    p_exact_draws: int | None = None
    method: str
    detectable: float | None = None
    pair_differences: tuple[PairDifference, ...]
    leave_one_out: LeaveOneOut | None = None
    median: MedianDifference | None = None


@dataclass(frozen=True)
class PairwiseDifference:
    """First minus second, of any two treatments.

    Attributes
    ----------
    p_unadjusted : float
        Of this comparison alone (least significant difference).
    p_tukey : float
        Adjusted for all pairs of treatments.
    """

    first: str
    second: str
    difference: float
    se: float
    p_unadjusted: float
    p_tukey: float


@dataclass(frozen=True)
class AnovaRow:
    """One row of the analysis of variance; none where a row has no such figure."""

    source: str
    df: float
    ss: float | None
    ms: float | None
    f: float | None
    p: float | None


@dataclass(frozen=True)
class Check:
    """One thing that was looked at before the answer is believed.

    Attributes
    ----------
    name : str
    passed : bool or None
        None when it could not be judged.
    value : float or None
        What was found.
    allowed : str
        What passes.
    note : str
        A sentence for people.
    forbids : bool
        True when failing it forbids an answer.
    """

    name: str
    passed: bool | None
    value: float | None
    allowed: str
    note: str
    forbids: bool = False


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Everything that the strip yields say about the treatments.

    Attributes
    ----------
    design : str
        paired, complete_blocks, incomplete_blocks, unblocked or unreplicated.
    unit : str
        ``kg/ha``, ``bu/ac`` or empty: of every yield and difference here.
    df_residual : float or None
        Degrees of freedom of the residual.
    residual_variance, block_variance : float or None
        ``block_variance`` only where blocks are random (incomplete blocks).
    lsd : float or None
        Least significant difference of one comparison at ``confidence``, not adjusted for several.
    cv_pct : float or None
        Residual standard deviation as a share of the mean [%].
    letters, lsd_letters : dict of str to str
        Treatments that share a letter do not differ: by Tukey's test over all pairs, and by the unadjusted LSD.
    trend : Trend or None
        Where strips lie in one fixed order: what was taken out of the differences.
    dose : DoseResponse or None
        Where the treatments are amounts of one thing.
    split : SplitStrips or None
        Where whole strips are split into sub-strips of a second factor.
    adjusted : tuple of AdjustedStrip
        Single strips between check strips.
    conditions : tuple of ConditionEffect
        Where a condition was named.
    residuals : tuple of Residual
        What the model leaves, for looking at.
    """

    design: Design
    control: str
    unit: str
    confidence: float
    power: float
    blocks: int | None
    treatments: tuple[TreatmentSummary, ...]
    differences: tuple[Difference, ...]
    pairwise: tuple[PairwiseDifference, ...] = ()
    anova: tuple[AnovaRow, ...] = ()
    df_residual: float | None = None
    residual_variance: float | None = None
    block_variance: float | None = None
    lsd: float | None = None
    cv_pct: float | None = None
    letters: dict[str, str] = field(default_factory=dict)
    lsd_letters: dict[str, str] = field(default_factory=dict)
    trend: Trend | None = None
    dose: DoseResponse | None = None
    split: SplitStrips | None = None
    adjusted: tuple[AdjustedStrip, ...] = ()
    conditions: tuple[ConditionEffect, ...] = ()
    residuals: tuple[Residual, ...] = ()
    checks: tuple[Check, ...]
    warnings: tuple[Notice, ...]

    def mean_of(self, treatment: str) -> float | None:
        """Give the mean yield of a treatment."""
        return next(row.mean for row in self.treatments if row.treatment == treatment)
