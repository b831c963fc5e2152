"""What stands beside the comparison: records for rates, sub-strips, check strips, conditions, odds and what is left."""

from dataclasses import dataclass
from typing import Literal

End = Literal["lowest", "highest"]


@dataclass(frozen=True)
class BestDose:
    """The dose at which something is largest, within the range that was tried.

    Attributes
    ----------
    dose, low, high : float
        In the unit of the doses; ``low`` and ``high`` hold every dose that the trial cannot tell from the best.
    end : str or None
        ``lowest`` or ``highest`` where the best lies at an end of what was tried: what lies beyond is not known.
    gain, gain_low, gain_high : float or None
        At this dose against the control's: yield in the unit of the comparison, or money an acre.
    """

    dose: float
    low: float
    high: float
    end: End | None
    gain: float
    gain_low: float
    gain_high: float


@dataclass(frozen=True)
class DoseResponse:
    """Yield as a curve of the dose, where all treatments are amounts of one thing.

    Attributes
    ----------
    unit : str
        Of the doses: ``seeds/ac``; empty where a column of plain numbers gave them.
    doses : dict of str to float
        Treatment -> dose, the control first.
    linear_p, quadratic_p : float
        Of the straight part, and of the bend beside it, each of one degree of freedom.
    lack_of_fit_p : float or None
        Of what the curve leaves between the means; none with three doses, which a curve always fits.
    slope : float
        Of the straight line alone: yield of the comparison a unit of dose.
    coefficients : tuple of float
        Of yield = c0 + c1 dose + c2 dose^2.
    covariance : tuple of tuple of float
        Of the coefficients; that of c0 without what all means share.
    df, confidence : float
    most_yield : BestDose
        Where the curve is highest.
    pays_best : BestDose or None
        Where yield less the cost of the dose is highest; none without prices.
    currency : str
        Of ``pays_best``.
    """

    unit: str
    doses: dict[str, float]
    linear_p: float
    quadratic_p: float
    lack_of_fit_p: float | None
    slope: float
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    df: float
    confidence: float
    most_yield: BestDose
    pays_best: BestDose | None = None
    currency: str = ""


@dataclass(frozen=True)
class LevelDifference:
    """Treatment against control where the second factor has one level.

    Attributes
    ----------
    level, treatment : str
    difference, se, df, low, high : float
        In the unit of the comparison; of this comparison alone.
    """

    level: str
    treatment: str
    difference: float
    se: float
    df: float
    low: float
    high: float


@dataclass(frozen=True)
class SplitStrips:
    """Whole strips split into sub-strips of a second factor, each with its own error.

    Attributes
    ----------
    factor : str
        Name of its column.
    levels : tuple of str
    means : dict of str to float
        Level of the factor -> mean yield.
    whole : str
        ``treatment`` or ``factor``: which of the two was laid out in whole strips.
    whole_variance, sub_variance : float
        Mean squares of the error of whole strips and of sub-strips.
    factor_p, interaction_p : float
    by_level : tuple of LevelDifference
    """

    factor: str
    levels: tuple[str, ...]
    means: dict[str, float]
    whole: Literal["treatment", "factor"]
    whole_variance: float
    sub_variance: float
    factor_p: float
    interaction_p: float
    by_level: tuple[LevelDifference, ...]


@dataclass(frozen=True)
class AdjustedStrip:
    """A single strip against what the check strips on both sides say its ground would have yielded.

    Attributes
    ----------
    strip, treatment : str
    expected : float
        Of the control on this ground, between the nearest check strips.
    difference, se, df, low, high : float
        In the unit of the comparison. They rest on a model (the ground changes evenly between two check strips), not
        on replicates.
    """

    strip: str
    treatment: str
    expected: float
    difference: float
    se: float
    df: float
    low: float
    high: float


@dataclass(frozen=True)
class Trend:
    """A straight trend along the order of the strips that was taken out.

    Attributes
    ----------
    slope, se, df, p : float
        Yield a step of the order.
    plain : dict of str to float
        Treatment -> its difference from the control with the trend left in.
    """

    slope: float
    se: float
    df: float
    p: float
    plain: dict[str, float]


@dataclass(frozen=True)
class ConditionGroup:
    """The difference under one named condition."""

    name: str
    pairs: int
    difference: float


@dataclass(frozen=True)
class ConditionEffect:
    """How the difference of a pair changes with a condition of the pair.

    Attributes
    ----------
    column : str
        What was looked at; of the control's strip where the two strips of a pair differ in it.
    treatment : str
    pairs : int
    slope, se, low, high : float or None
        Yield difference a unit of the condition (a day, of dates); none where the condition is a name.
    df, p : float
    lowest, highest : float or None
        Of the condition.
    groups : tuple of ConditionGroup
        Where the condition is a name.
    """

    column: str
    treatment: str
    pairs: int
    df: float
    p: float
    slope: float | None = None
    se: float | None = None
    low: float | None = None
    high: float | None = None
    lowest: float | None = None
    highest: float | None = None
    groups: tuple[ConditionGroup, ...] = ()


@dataclass(frozen=True)
class Probability:
    """How likely it is that the true effect exceeds zero and what it must earn.

    Attributes
    ----------
    above_zero, above_break_even : float
        With the prior of the settings; ``above_break_even`` is none without prices.
    flat_above_zero, flat_above_break_even : float
        With no prior at all.
    low_pct, high_pct : float
        90 % interval of the effect, with the prior.
    break_even_pct : float or None
        What the effect must be to pay.
    next_year_above : float
        Chance that it pays (without prices: that it yields more) in another year, by the assumed scatter of years.
    loss_if_adopted_per_ac, loss_if_left_per_ac : float or None
        What each choice costs on average: where it is the wrong one its loss, else nothing. Per hectare beside it.
    """

    treatment: str
    above_zero: float
    above_break_even: float | None
    flat_above_zero: float
    flat_above_break_even: float | None
    low_pct: float
    high_pct: float
    break_even_pct: float | None
    next_year_above: float
    loss_if_adopted_per_ac: float | None
    loss_if_left_per_ac: float | None
    loss_if_adopted_per_ha: float | None
    loss_if_left_per_ha: float | None
    currency: str = ""


@dataclass(frozen=True)
class Residual:
    """What the model leaves of one strip (or of one pair).

    Attributes
    ----------
    name, treatment : str
        Strip's block and treatment; ``treatment`` is empty for a pair.
    fitted, residual : float
        In the unit of the comparison; of a pair, its mean yield and its difference less the mean difference.
    order, time : float or None
        Place across the field, and hours since the first strip was cut.
    """

    name: str
    treatment: str
    fitted: float
    residual: float
    order: float | None
    time: float | None
