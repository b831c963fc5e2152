"""How far treatments lie apart in something else than yield: the strip is the unit, compared within blocks."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from proofstrip.config import StatsPart
from proofstrip.stats.design import average_strips, recognise
from proofstrip.stats.paired import Floats, sign_flip_p
from proofstrip.stats.permutation import family_p, permutation_p

# Measured: docs/checks.md says how often harmless trials fail with it.
SELDOM = 0.10


@dataclass(frozen=True)
class Balance:
    """One treatment minus the control.

    Attributes
    ----------
    treatment : str
    difference : float
        Mean over pairs; without blocks of means.
    low, high : float or None
        Confidence interval by Student's t; none where nothing was repeated.
    p_value : float or None
        How often the labels of the strips, dealt anew within their blocks, lie as far apart: counted where there are
        few enough ways, else drawn with a seed.
    """

    treatment: str
    difference: float
    low: float | None
    high: float | None
    p_value: float | None

    def say(self, unit: str) -> str:
        """Say interval and chance in a sentence; empty where nothing was repeated."""
        if self.low is None or self.high is None or self.p_value is None:
            return ""
        places = 2 if max(abs(self.low), abs(self.high)) < 1 else 1
        span = f"{self.low:+.{places}f} to {self.high:+.{places}f} {unit}".replace("-", "\N{MINUS SIGN}")
        return f" Margin of error: {span}.{say_chance(self.p_value)}"


def compare_column(
    strips: pd.DataFrame, values: "pd.Series[float]", control: str, settings: StatsPart
) -> list[Balance]:
    """Compare a column of the strip table between each treatment and the control.

    Parameters
    ----------
    strips : pandas.DataFrame
        treatment, block.
    values : pandas.Series of float
        On the index of the strips.
    control : str
    settings : StatsPart
        Confidence, number and seed of random arrangements.

    Returns
    -------
    list of Balance
        A treatment without a strip beside the control is left out.

    Examples
    --------
    Six pairs that all lie 1 apart: both orders of all six labels of 64 do as much (Fisher 1935).

    >>> table = pd.DataFrame({"treatment": ["a", "b"] * 6, "block": [str(k // 2) for k in range(12)]})
    >>> from proofstrip.config import load_defaults
    >>> (found,) = compare_column(table, pd.Series([1.0, 2.0] * 6), "a", load_defaults().stats)
    >>> found.difference, found.p_value
    (1.0, 0.03125)
    """
    table = strips[["treatment", "block"]].assign(value=values).dropna(subset=["value"])
    found = []
    for treatment in table["treatment"].unique():
        if treatment == control:
            continue
        two = table[table["treatment"].isin([treatment, control])]
        one = _in_blocks(two, str(treatment), control, settings)
        one = _without_blocks(two, str(treatment), control, settings) if one is None else one
        if one is not None:
            found.append(one)
    return found


def say_chance(p: float) -> str:
    """Say how often luck alone sets them as far apart, as a sentence to go on with.

    Parameters
    ----------
    p : float

    Returns
    -------
    str

    Examples
    --------
    >>> say_chance(0.0312), say_chance(0.004)
    (' Luck alone does that in 3 % of cases.', ' Luck alone does that in 0.4 % of cases.')
    """
    cases = f"{100 * p:.0f}" if p >= 0.01 else f"{max(100 * p, 0.1):.1f}"
    return f" Luck alone does that in {cases} % of cases."


@dataclass(frozen=True)
class Chances:
    """How often labels dealt anew within blocks set any treatment as far from the control, in one thing after another.

    Attributes
    ----------
    alone, together : ndarray, shape (questions,)
        p of each thing, and with an allowance for asking about them all.
    least : float
        The least that p can be: with three pairs 0.25.
    """

    alone: Floats
    together: Floats
    least: float

    def seldom(self, p: float) -> bool:
        """Tell whether chance does as much in at most 10 % of cases, or as seldom as so few strips can show."""
        return p <= max(SELDOM, self.least) * (1 + 1e-9)


def deal_labels(strips: pd.DataFrame, questions: pd.DataFrame, control: str, settings: StatsPart) -> Chances | None:
    """Ask how often labels dealt anew within blocks set any treatment as far from the control.

    Parameters
    ----------
    strips : pandas.DataFrame
        treatment, block.
    questions : pandas.DataFrame
        A column for each thing asked about, on the index of the strips; strips without a value are left out.
    control : str
    settings : StatsPart
        Number and seed of random arrangements.

    Returns
    -------
    Chances or None
        None where the design repeats nothing.
    """
    if questions.empty:
        return None
    known = questions.notna().all(axis=1).to_numpy()
    table = strips.loc[known, ["treatment", "block"]]
    treatments = table["treatment"].astype(str).tolist()
    if control not in treatments or len(set(treatments)) < 2:
        return None
    blocks = table["block"].astype(str).tolist() if table["block"].notna().all() else None
    family = []
    for values in questions[known].to_numpy(dtype=np.float64).T:
        plots, _ = average_strips(values, treatments, blocks, control)
        design, plots, _ = recognise(plots)
        if design == "unreplicated":
            return None
        family.append(plots.values)
    return Chances(*family_p(plots, np.array(family), settings.permutations, settings.seed))


@dataclass(frozen=True)
class Shift:
    """How much further another way of working moves the strips of one treatment than the control's.

    Attributes
    ----------
    percent : float
    p_value : float or None
        How often chance does as much to any treatment, with an allowance for several ways.
    seldom : bool or None
        See ``Chances.seldom``.
    """

    percent: float
    p_value: float | None
    seldom: bool | None


def measure_shifts(
    own: pd.DataFrame, others: dict[str, pd.DataFrame], control: str, settings: StatsPart
) -> dict[tuple[str, str], Shift]:
    """Measure how far other ways of working move the treatments apart.

    What is done to all records alike moves strips by chance only. So the labels, dealt anew within the blocks, tell
    exactly how often it would move the treatments as far apart.

    Parameters
    ----------
    own : pandas.DataFrame
        The strip table: treatment, block, yield_kg_ha.
    others : dict of str to pandas.DataFrame
        Tables of the same strips in the same order, by the name of the way.
    control : str
    settings : StatsPart

    Returns
    -------
    dict of tuple of str to Shift
        By way and treatment.
    """
    shifts = pd.DataFrame({name: _log_ratio(table, own) for name, table in others.items()})
    chances = deal_labels(own, shifts, control, settings)
    found = {}
    for place, name in enumerate(others):
        p = None if chances is None else float(chances.together[place])
        seldom = None if chances is None or p is None else chances.seldom(p)
        for row in compare_column(own, shifts[name], control, settings):
            found[name, row.treatment] = Shift(row.difference, p, seldom)
    return found


def _log_ratio(table: pd.DataFrame, own: pd.DataFrame) -> "pd.Series[float]":
    """Compare the yields of the same strips [%]; empty where one has none."""
    yields, before = (part["yield_kg_ha"].where(part["yield_kg_ha"] > 0) for part in (table, own))
    return pd.Series(100 * np.log(yields / before))


def _in_blocks(two: pd.DataFrame, treatment: str, control: str, settings: StatsPart) -> Balance | None:
    """Compare within blocks; nothing where no block holds both."""
    cells = two.dropna(subset=["block"]).pivot_table(index="block", columns="treatment", values="value")
    if treatment not in cells or control not in cells:
        return None
    apart = (cells[treatment] - cells[control]).dropna().to_numpy(dtype=np.float64)
    if not len(apart):
        return None
    if len(apart) == 1:
        return Balance(treatment, float(apart[0]), None, None, None)
    p, _, _ = sign_flip_p(apart, settings.permutations, settings.seed)
    error = float(apart.std(ddof=1) / np.sqrt(len(apart)))
    return _with_interval(treatment, float(apart.mean()), error, len(apart) - 1, p, settings)


def _without_blocks(two: pd.DataFrame, treatment: str, control: str, settings: StatsPart) -> Balance | None:
    """Compare the strips of two treatments that lie in no blocks together."""
    own, other = (
        two.loc[two["treatment"] == name, "value"].to_numpy(dtype=np.float64) for name in (treatment, control)
    )
    if not len(own) or not len(other):
        return None
    difference = float(own.mean() - other.mean())
    if min(len(own), len(other)) < 2:
        return Balance(treatment, difference, None, None, None)
    values: Floats = two["value"].to_numpy(dtype=np.float64)
    plots, _ = average_strips(values, two["treatment"].astype(str).tolist(), None, control)
    p = float(permutation_p(plots, settings.permutations, settings.seed)[0][0])
    df = len(own) + len(other) - 2
    pooled = (own.var(ddof=1) * (len(own) - 1) + other.var(ddof=1) * (len(other) - 1)) / df
    error = float(np.sqrt(pooled * (1 / len(own) + 1 / len(other))))
    return _with_interval(treatment, difference, error, df, p, settings)


def _with_interval(treatment: str, difference: float, error: float, df: int, p: float, settings: StatsPart) -> Balance:
    """Put the interval around a difference."""
    reach = -float(special.stdtrit(df, (1 - settings.confidence) / 2)) * error
    return Balance(treatment, difference, difference - reach, difference + reach, float(p))
