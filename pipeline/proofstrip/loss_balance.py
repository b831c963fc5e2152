"""What treatments leave on the ground, and whether it accounts for the difference in yield.

A treatment that works at the harvest grows nothing: what it adds to the tank it must take from the ground. So yield
and loss together are the same in both strips of a pair, and where they are not, a measure is wrong.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from proofstrip.config import StatsPart
from proofstrip.ground_loss import StripLosses
from proofstrip.stats import Check, Comparison, compare_treatments
from proofstrip.stats.results import Difference
from proofstrip.stats.wording import YieldUnit

Word = Literal["agrees", "too_large", "too_small", "too_rough"]
COMPARED = ("header", "machine", "harvest")
ALLOWED = "0 within the margin of error"


@dataclass(frozen=True)
class LossDifference:
    """The loss of one treatment minus the control's.

    Attributes
    ----------
    loss : str
        header, machine or harvest (both).
    treatment, control : str
    pairs : int or None
    difference_kg_ha, se_kg_ha, low_kg_ha, high_kg_ha : float or None
    confidence : float
    p_value, p_exact : float or None
    method : str
    """

    loss: str
    treatment: str
    control: str
    pairs: int | None
    difference_kg_ha: float
    se_kg_ha: float | None
    low_kg_ha: float | None
    high_kg_ha: float | None
    confidence: float
    p_value: float | None
    p_exact: float | None
    method: str


@dataclass(frozen=True)
class Balance:
    """The gain in yield against the grain that was saved from the ground.

    Attributes
    ----------
    treatment, control : str
    loss : str
        The loss that is set against the gain: harvest; header where nothing was counted behind the machine.
    gain_kg_ha, saved_kg_ha : float
        In the strips that were counted.
    unexplained_kg_ha, low_kg_ha, high_kg_ha : float or None
        Gain minus saved, which is the difference of yield and loss together, and its interval.
    most_kg_ha : float
        The control's loss: more cannot be saved.
    over_most_low_kg_ha : float or None
        Low end of the interval of the gain minus that.
    word : str or None
        agrees; too_large: more gain than the counts leave room for; too_small: the counts saved more than the yield
        shows; too_rough: counts scatter too much to confirm a gain or deny it. None: nothing was repeated.
    """

    treatment: str
    control: str
    loss: str
    gain_kg_ha: float
    saved_kg_ha: float
    unexplained_kg_ha: float
    low_kg_ha: float | None
    high_kg_ha: float | None
    most_kg_ha: float
    over_most_low_kg_ha: float | None
    word: Word | None


def compare_losses(
    losses: StripLosses, strips: pd.DataFrame, control: str, settings: StatsPart
) -> tuple[LossDifference, ...]:
    """Compare the losses of the treatments with the statistics of the yields.

    Parameters
    ----------
    losses : StripLosses
    strips : pandas.DataFrame
        The strip table, in the order of the losses.
    control : str
    settings : StatsPart

    Returns
    -------
    tuple of LossDifference
        Header, machine, harvest; none of a loss that was not counted in strips of both treatments.
    """
    return tuple(
        LossDifference(
            loss,
            row.treatment,
            row.control,
            row.pairs,
            row.difference,
            row.se,
            row.low,
            row.high,
            row.confidence,
            row.p_value,
            row.p_exact,
            row.method,
        )
        for loss in COMPARED
        for row in _compare(strips, losses.table[f"{loss}_kg_ha"], control, settings).values()
    )


def balance_gain(
    losses: StripLosses, strips: pd.DataFrame, comparison: Comparison, settings: StatsPart
) -> tuple[Balance, ...]:
    """Set the gain in yield against the grain saved, strip by strip.

    Parameters
    ----------
    losses : StripLosses
    strips : pandas.DataFrame
        The strip table, in the order of the losses: yield_kg_ha.
    comparison : Comparison
        Of the yields.
    settings : StatsPart

    Returns
    -------
    tuple of Balance
        Empty where neither harvest nor header loss was counted.
    """
    loss = next((name for name in ("harvest", "header") if losses.table[f"{name}_kg_ha"].notna().any()), None)
    if loss is None:
        return ()
    control = comparison.control
    lost = losses.table[f"{loss}_kg_ha"].set_axis(strips.index)
    tank = strips["yield_kg_ha"].where(lost.notna())
    grown = _compare(strips, tank + lost, control, settings)
    most = _compare(strips, (tank + lost).where(strips["treatment"] == control, tank), control, settings)
    gains, saved = _compare(strips, tank, control, settings), _compare(strips, lost, control, settings)
    settled = {row.treatment: _beyond_chance(row) for row in comparison.differences}
    whole = float(lost[(strips["treatment"] == control) & tank.notna()].mean())
    return tuple(
        Balance(
            name,
            control,
            loss,
            gains[name].difference,
            -saved[name].difference,
            row.difference,
            row.low,
            row.high,
            whole,
            most[name].low,
            _judge(row, gains[name].difference, settled.get(name, False)),
        )
        for name, row in grown.items()
        if name in gains and name in saved and name in most
    )


def _compare(
    strips: pd.DataFrame, values: "pd.Series[float]", control: str, settings: StatsPart
) -> dict[str, Difference]:
    """Compare a column as yields are compared; empty where strips of two treatments have no differing values."""
    column = values.set_axis(strips.index).astype(float)
    found = strips.loc[column.notna(), "treatment"]
    if control not in set(found) or found.nunique() < 2 or np.ptp(column.dropna()) == 0:
        return {}
    # A mean of counts can be below zero, a yield cannot: the same amount on every strip leaves the differences.
    table = strips.assign(loss_kg_ha=column - min(column.min(), 0.0))
    return {row.treatment: row for row in compare_treatments(table, control, settings, "loss_kg_ha").differences}


def _beyond_chance(row: Difference) -> bool:
    """Tell whether the interval of a difference leaves zero out."""
    return row.low is not None and row.high is not None and not row.low <= 0 <= row.high


def _judge(row: Difference, gain: float, settled: bool) -> Word | None:
    """Say in a word whether yield and counts agree."""
    if row.low is None or row.high is None:
        return None
    if row.low > 0:
        return "too_large"
    if row.high < 0:
        return "too_small"
    # Counts that would as well agree with no grain saved at all confirm no gain.
    return "too_rough" if settled and row.low <= gain <= row.high else "agrees"


def check_balance(balances: tuple[Balance, ...], acts_on: str, weighed: bool, unit: YieldUnit) -> tuple[Check, ...]:
    """Judge whether the grain counted on the ground accounts for the difference in yield.

    Parameters
    ----------
    balances : tuple of Balance
    acts_on : {'harvest', 'crop'}
        What the treatment works on; one that works on the crop grows grain, and is not judged.
    weighed : bool
        The yields are the scale's.
    unit : YieldUnit

    Returns
    -------
    tuple of Check
        Empty where there is no balance.
    """
    name = "gain_against_ground_loss"
    if not balances:
        return ()
    if acts_on == "crop":
        said = "The treatment works on the crop, so its gain need not come from the ground."
        return (Check(name, None, None, ALLOWED, said),)
    worst = max(balances, key=lambda one: abs(one.unexplained_kg_ha))
    value = round(unit.factor * worst.unexplained_kg_ha, 3)
    words = {one.word for one in balances}
    passed = False if words & {"too_large", "too_small"} else True if words == {"agrees"} else None
    shown = [one for one in balances if passed is not False or one.word in ("too_large", "too_small")]
    note = " ".join(say_balance(one, weighed, unit) for one in shown)
    return (Check(name, passed, value, ALLOWED, note),)


def say_balance(balance: Balance, weighed: bool, unit: YieldUnit) -> str:
    """Say what the counts make of the gain.

    Parameters
    ----------
    balance : Balance
    weighed : bool
        The yields are the scale's.
    unit : YieldUnit

    Returns
    -------
    str
    """
    measure = "scale" if weighed else "monitor"
    gain, saved = unit.say(balance.gain_kg_ha, sign=True), unit.say(balance.saved_kg_ha, sign=True)
    said = f"{balance.treatment} against {balance.control}: {gain} by the {measure}, "
    said += f"{saved} saved from the ground by the counts"
    if balance.low_kg_ha is None or balance.high_kg_ha is None:
        return f"{said}. Without several strips of each the two cannot be held against each other."
    said += f"; between them {unit.say(balance.unexplained_kg_ha, sign=True)}"
    said += f" (margin of error {unit.span(balance.low_kg_ha, balance.high_kg_ha)}). "
    if balance.word == "too_large":
        return said + _say_too_large(balance, weighed, unit)
    return said + {
        "too_small": f"More was saved than the {measure} shows: grain went elsewhere, or a measure is wrong.",
        "too_rough": "The counts scatter too much to confirm the gain or to deny it: count more frames.",
        "agrees": "They agree.",
    }.get(balance.word or "", "")


def _say_too_large(balance: Balance, weighed: bool, unit: YieldUnit) -> str:
    """Say that there is more gain than grain."""
    most = ""
    if balance.over_most_low_kg_ha is not None and balance.over_most_low_kg_ha > 0:
        most = f"Even all that {balance.control} lost, {unit.say(balance.most_kg_ha)}, is less than the gain. "
    if weighed:
        return f"{most}That is more than was saved: frames missed grain, or the strips differed before the harvest."
    return f"{most}That is more than was saved, and likely the sensor's doing: the treatment may mislead it."
