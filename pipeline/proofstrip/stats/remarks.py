"""What stands beside the comparison, in sentences: the same ones on the text page, in result.json and in the report."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from proofstrip.config import StatsPart
from proofstrip.stats.further import BestDose, ConditionEffect, DoseResponse, Probability, SplitStrips, Trend
from proofstrip.stats.money_words import say_ends
from proofstrip.stats.results import Comparison
from proofstrip.stats.wording import MARGIN, YieldUnit, first_margin, list_words, say_money, say_p
from proofstrip.units import HA_PER_ACRE

MOST_TREATMENTS = 6  # the odds of more would bury the page; result.json has them all


@dataclass(frozen=True)
class Remark:
    """Some sentences on one topic.

    Attributes
    ----------
    topic : str
        rate, sub_strips, check_strips, order, condition, odds or last_odds.
    text : str
    """

    topic: str
    text: str


def make_remarks(
    comparison: Comparison, probabilities: Sequence[Probability], unit: YieldUnit, settings: StatsPart
) -> tuple[Remark, ...]:
    """Say everything that stands beside the comparison.

    Parameters
    ----------
    comparison : Comparison
    probabilities : sequence of Probability
    unit : YieldUnit
    settings : StatsPart

    Returns
    -------
    tuple of Remark
    """
    found = []
    if comparison.dose is not None:
        found.append(Remark("rate", tell_response(comparison.dose, unit)))
    if comparison.split is not None:
        found.append(Remark("sub_strips", tell_split(comparison.split, comparison.control, unit)))
    if comparison.adjusted:
        found.append(Remark("check_strips", tell_adjusted(comparison, unit)))
    if comparison.trend is not None:
        found.append(Remark("order", tell_trend(comparison.trend, comparison, unit)))
    found += [Remark("condition", tell_condition(effect, comparison, unit)) for effect in comparison.conditions]
    found += [Remark("odds", tell_odds(row, comparison.control, unit)) for row in probabilities[:MOST_TREATMENTS]]
    if probabilities:
        found.append(Remark("last_odds", tell_prior(settings)))
    return tuple(found)


def say_dose(amount: float, dose: DoseResponse, *, bare: bool = False) -> str:
    """Say a dose, rounded to a hundredth or so of the range that was tried.

    Parameters
    ----------
    amount : float
    dose : DoseResponse
    bare : bool
        Without the unit.

    Returns
    -------
    str
    """
    span = max(dose.doses.values()) - min(dose.doses.values())
    decimals = -math.floor(math.log10(span / 50))
    text = f"{round(amount, decimals):,.{max(decimals, 0)}f}"
    return text if bare else f"{text} {dose.unit}".strip()


def tell_response(dose: DoseResponse, unit: YieldUnit) -> str:
    """Say how yield goes with the dose, and where it is highest.

    Parameters
    ----------
    dose : DoseResponse
    unit : YieldUnit

    Returns
    -------
    str
    """
    low, high = min(dose.doses.values()), max(dose.doses.values())
    alpha = 1 - dose.confidence
    step = 10 ** math.floor(math.log10(high - low))
    each = f"{step:,.6g} {dose.unit}".strip()
    tried = f"Over the rates tried, {say_dose(low, dose, bare=True)} to {say_dose(high, dose)},"
    ps = f"straight line p {say_p(dose.linear_p)}, bend p {say_p(dose.quadratic_p)}"
    if min(dose.linear_p, dose.quadratic_p) >= alpha:
        said = f"{tried} yield does not visibly change with the rate ({ps})."
    elif dose.quadratic_p >= alpha:
        verb = "rises" if dose.slope > 0 else "falls"
        said = (
            f"{tried} yield {verb} by {unit.say(abs(dose.slope) * step)} for each {each} more, without a bend ({ps})."
        )
    else:
        bend = "bends over" if dose.coefficients[2] < 0 else "bends upwards"
        said = f"{tried} yield follows a curve that {bend} ({ps})."
    if dose.lack_of_fit_p is not None and dose.lack_of_fit_p < alpha:
        said += f" The means stray from any smooth curve (p {say_p(dose.lack_of_fit_p)}): compare the rates one by one."
    said += f" Yield alone is highest at {_say_place(dose.most_yield, dose)}."
    if dose.pays_best is not None:
        said += " " + tell_best(dose, unit)
    return said


def tell_best(dose: DoseResponse, unit: YieldUnit) -> str:
    """Say which dose pays best.

    Parameters
    ----------
    dose : DoseResponse
        With ``pays_best``.
    unit : YieldUnit
        Money is said an acre or a hectare, as the yields are.

    Returns
    -------
    str
        Empty without prices.
    """
    best = dose.pays_best
    if best is None:
        return ""
    control = next(iter(dose.doses.values()))
    said = f"The rate that pays best is {_say_place(best, dose)}"
    if say_dose(best.dose, dose) == say_dose(control, dose):
        return f"{said}: the control's own rate."
    metric = unit.label.endswith("ha")
    place, per = ("a hectare", 1 / HA_PER_ACRE) if metric else ("an acre", 1.0)
    margin = f"({MARGIN}: {say_ends(per * best.gain_low, per * best.gain_high, dose.currency)})"
    amount, than = say_money(per * abs(best.gain), dose.currency), f"staying at {say_dose(control, dose)}"
    more = "more" if best.gain >= 0 else "less"
    if best.gain_low <= 0 <= best.gain_high:
        said = f"No rate clearly beats {than}. The best by the curve is {_say_place(best, dose)}"
        return f"{said}: it earns only {amount} {place} {more}, too little to tell apart {margin}."
    return f"{said}. It earns {amount} {place} {more} than {than} {margin}."


def _say_place(best: BestDose, dose: DoseResponse) -> str:
    """Say where the best lies, how sure that is, and that nothing is known beyond the ends."""
    low, high = min(dose.doses.values()), max(dose.doses.values())
    span = f"{first_margin(dose.confidence)} {say_dose(best.low, dose, bare=True)} to {say_dose(best.high, dose)}"
    if best.low <= low and best.high >= high:
        span = "the trial does not narrow it down: any rate tried may be the best"
    if best.end is None:
        planted = say_dose(best.dose, dose) in [say_dose(amount, dose) for amount in dose.doses.values()]
        between = "" if planted else ", worked out between the rates planted"
        return f"about {say_dose(best.dose, dose)}{between} ({span})"
    beyond = "lower" if best.end == "lowest" else "higher"
    narrow = "no other rate tried comes near" if best.low == best.high else span
    return f"{say_dose(best.dose, dose)}, the {best.end} rate tried ({narrow}; {beyond} ones are not known)"


def tell_split(split: SplitStrips, control: str, unit: YieldUnit) -> str:
    """Say what the second factor does, alone and together with the treatments.

    Parameters
    ----------
    split : SplitStrips
    control : str
    unit : YieldUnit

    Returns
    -------
    str
    """
    means = list_words([f"{level} {unit.number(mean)}" for level, mean in split.means.items()])
    laid = f"The treatments lie in whole strips, {split.factor} in sub-strips of them"
    if split.whole == "factor":
        laid = f"{split.factor} lies in whole strips, the treatments in sub-strips of them"
    said = (
        f"{laid}; each is judged by the error of its own size of strip. Mean yields by {split.factor}: {means} "
        f"{unit.label}".rstrip()
        + f" (p {say_p(split.factor_p)}). That the treatments do not do the same everywhere: "
        f"p {say_p(split.interaction_p)}."
    )
    rows = [
        f"{row.treatment} at {row.level} {unit.number(row.difference, True)} ({unit.span(row.low, row.high)})"
        for row in split.by_level[:12]
    ]
    return f"{said} Against {control}: {'; '.join(rows)}."


def tell_adjusted(comparison: Comparison, unit: YieldUnit) -> str:
    """Say what the check strips make of strips that stand once.

    Parameters
    ----------
    comparison : Comparison
    unit : YieldUnit

    Returns
    -------
    str
    """
    rows = [
        f"{row.treatment} {unit.number(row.difference, True)} ({unit.span(row.low, row.high)})"
        for row in comparison.adjusted[:20]
    ]
    more = len(comparison.adjusted) - len(rows)
    return (
        f"Strips that stand once, against what the strips of {comparison.control} on both sides say of their ground, "
        f"with the {first_margin(comparison.confidence)} {'; '.join(rows)}"
        + (f"; and {more} more" if more else "")
        + ". "
        "This rests on a model (the ground changes evenly between two check strips) and not on replicates: use it to "
        "choose what to repeat, not as proof."
    )


def tell_trend(trend: Trend, comparison: Comparison, unit: YieldUnit) -> str:
    """Say what was taken out of strips in one fixed order.

    Parameters
    ----------
    trend : Trend
    comparison : Comparison
    unit : YieldUnit

    Returns
    -------
    str
    """
    plain = list_words([f"{name} {unit.say(value, sign=True)}" for name, value in trend.plain.items()])
    return (
        "The treatments follow each other in one fixed order, so a slope of the ground would look like an effect. A "
        f"straight trend along the order (p {say_p(trend.p)}) was taken out of every difference; with the trend left "
        f"in they are: {plain}. The p-values rest on this model, because no order was drawn by lot."
    )


def tell_condition(effect: ConditionEffect, comparison: Comparison, unit: YieldUnit) -> str:
    """Say whether the difference changes with a condition.

    Parameters
    ----------
    effect : ConditionEffect
    comparison : Comparison
    unit : YieldUnit

    Returns
    -------
    str
    """
    shown = effect.p < 1 - comparison.confidence
    verdict = "depends" if shown else "is not shown to depend"
    said = f"The gain of {effect.treatment} {verdict} on {effect.column} ({effect.pairs} pairs, p {say_p(effect.p)})"
    if effect.slope is not None and effect.low is not None and effect.high is not None:
        span = f"{MARGIN}: {unit.span(effect.low, effect.high)}"
        said += (
            f": {unit.say(effect.slope, sign=True)} for each unit more ({span}), seen from {effect.lowest:g} to "
            f"{effect.highest:g}"
        )
    else:
        parts = [f"{row.name} {unit.say(row.difference, sign=True)} ({row.pairs})" for row in effect.groups]
        said += f": {list_words(parts)}, pairs in brackets"
    return said + f". {effect.column} is that of the strip of {comparison.control}."


def say_chance(share: float) -> str:
    """Say a chance in a hundred, never as certain.

    Parameters
    ----------
    share : float

    Returns
    -------
    str

    Examples
    --------
    >>> say_chance(0.934), say_chance(0.9999), say_chance(0.001)
    ('93 in 100', 'more than 99 in 100', 'less than 1 in 100')
    """
    if share > 0.995:
        return "more than 99 in 100"
    return "less than 1 in 100" if share < 0.005 else f"{100 * share:.0f} in 100"


def tell_odds(row: Probability, control: str, unit: YieldUnit) -> str:
    """Say how likely a treatment yields more, and pays.

    Parameters
    ----------
    row : Probability
    control : str
    unit : YieldUnit
        Money is said an acre or a hectare, as the yields are.

    Returns
    -------
    str
    """
    name, sure = row.treatment, say_chance(row.above_zero)
    alone, goal = say_chance(row.flat_above_zero), "yields more"
    said = [f"With {name}, the chance of more yield than with {control} is {sure}"]
    if row.above_break_even is not None and row.flat_above_break_even is not None and row.break_even_pct is not None:
        goal = "pays"
        said[0] += f", and that it pays {say_chance(row.above_break_even)}"
        needed = f"To pay, it must yield {_pct(row.break_even_pct)} more"
        if row.break_even_pct <= 0:
            needed = f"It pays even with {_pct(-row.break_even_pct)} less"
        said.append(f"{needed} than {control}")
        alone += f" and {say_chance(row.flat_above_break_even)}"
    said.append(f"The effect lies between {_signed(row.low_pct)} and {_signed(row.high_pct)}, 9 times in 10")
    said.append(f"In another year the chance that it {goal} is {say_chance(row.next_year_above)}")
    adopted, left, place = row.loss_if_adopted_per_ac, row.loss_if_left_per_ac, "an acre"
    if unit.label.endswith("ha"):
        adopted, left, place = row.loss_if_adopted_per_ha, row.loss_if_left_per_ha, "a hectare"
    if adopted is not None and left is not None:
        risk, gone = say_money(adopted, row.currency), say_money(left, row.currency)
        said.append(f"On average, adopting it risks {risk} {place}, and leaving it gives up {gone}")
    said.append(f"This trial's strips alone, with nothing assumed beforehand, say {alone}")
    return ". ".join(said) + "."


def _pct(value: float) -> str:
    """Say a percentage."""
    return f"{value:.1f} %".replace("-", "−")


def _signed(value: float) -> str:
    """Say a percentage with its sign."""
    return f"{value:+.1f} %".replace("-", "−")


def tell_prior(settings: StatsPart) -> str:
    """Say what the odds take for granted.

    Parameters
    ----------
    settings : StatsPart

    Returns
    -------
    str
    """
    return (
        "What these chances take for granted: before the trial, effects scatter about zero with a standard deviation "
        f"of {settings.prior_effect_pct:g} %, and neighbouring strips differ by about {settings.prior_sd_pct:g} %. "
        "Both can be set. One season cannot tell how much an effect changes from year to year: for another year a "
        f"standard deviation of {settings.between_years_pct:g} % is assumed. The answer goes by the margin "
        "of error instead."
    )
