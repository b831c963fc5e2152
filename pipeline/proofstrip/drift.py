"""A sensor that drifts over the day: how fast, and whether the order of the harvest would make an effect of it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy import special

from proofstrip.machines import factor_columns, regress
from proofstrip.stats import Check
from proofstrip.stats.adjusted import beyond

MIN_CELLS = 4
# Strips of one combine's day that differ by less than this in the hour, after blocks and treatments, tell no drift.
LEAST_HOURS = 0.1
MIN_ORDER_BLOCKS = 4
# A rate known no better says nothing of a sensor that drifts by 1 or 2 % an hour: judgement, no source.
MAX_INTERVAL_PCT_H = 10.0
# For saying what the order could do: a judgement of what a sensor drifts by at most when it is in order, no source.
USUAL_DRIFT_PCT_H = 1.0

Source = Literal["blocks", "tickets"]


@dataclass(frozen=True)
class Drift:
    """How fast one combine's reading rose in one day, compared within blocks.

    Attributes
    ----------
    machine, day : str
    strips : int
    pct_per_h, low_pct_per_h, high_pct_per_h : float or None
        [%/h]; None where its strips cannot tell.
    source : str
        ``blocks``: from yields, after blocks and treatments; ``tickets``: from monitor over scale.
    note : str
        For people.
    """

    machine: str
    day: str
    strips: int
    pct_per_h: float | None
    low_pct_per_h: float | None
    high_pct_per_h: float | None
    source: Source
    note: str


def estimate_drift(cells: pd.DataFrame, confidence: float, source: Source = "blocks") -> tuple[Drift, ...]:
    """Estimate how fast each combine's reading rose in each day, after blocks, treatments and combines.

    Parameters
    ----------
    cells : pandas.DataFrame
        From ``list_cells``.
    confidence : float
        Of the intervals.
    source : str
        ``tickets`` where log_yield is monitor over scale.

    Returns
    -------
    tuple of Drift
        One a combine and day. Ground that changes across the field in the order of the harvest looks the same; blocks
        take out most of it.

    Notes
    -----
    log yield = block + treatment + combine + slope of the day x hour + error, by ordinary least squares.
    """
    base, hours = factor_columns(cells), cells["hour"].to_numpy()
    machines = pd.get_dummies(cells["machine"], dtype=float).iloc[:, 1:].to_numpy()
    base = np.hstack([base, machines])
    keys = cells["machine"] + "\n" + cells["day"]
    days = {name: np.flatnonzero(keys == name) for name in sorted(set(keys))}
    columns = {}
    for day, rows in days.items():
        column = np.zeros((len(cells), 1))
        column[rows, 0] = hours[rows] - hours[rows].mean()
        if len(rows) >= MIN_CELLS and beyond(column, base, LEAST_HOURS).shape[1]:
            columns[day] = column
    fit = None
    if columns:
        fit = regress(cells["log_yield"].to_numpy(), base, np.hstack(list(columns.values())), LEAST_HOURS)
    found = {} if fit is None else {day: (fit[0][k], fit[1][k], fit[2]) for k, day in enumerate(columns)}
    return tuple(_state(day.split("\n"), len(rows), found.get(day), confidence, source) for day, rows in days.items())


Slope = tuple[float, float, float]


def _state(key: list[str], strips: int, slope: Slope | None, confidence: float, source: Source) -> Drift:
    """Put a drift into per cent an hour and words."""
    if slope is None:
        note = "Its strips lie too near in time, or are too few, to tell a drift."
        return Drift(key[0], key[1], strips, None, None, None, source, note)
    log, se, df = slope
    reach = float(special.stdtrit(df, (1 + confidence) / 2)) * se
    value, low, high = (float(100 * part) for part in (log, log - reach, log + reach))
    if not high - low <= MAX_INTERVAL_PCT_H:
        note = f"Its strips lie too near in time to tell a drift: it would be known only to {high - low:.0f} % an hour."
        return Drift(key[0], key[1], strips, None, None, None, source, note)
    how = "Strips of one block compared by the hour" if source == "blocks" else "Monitor over scale, by the hour"
    seen = "no drift shows; a smaller one than the interval allows cannot be told"
    if not low <= 0 <= high:
        seen = f"the reading {'rose' if value > 0 else 'fell'}"
    return Drift(key[0], key[1], strips, value, low, high, source, f"{how}: {seen}.")


def check_order(cells: pd.DataFrame, control: str) -> Check:
    """Tell whether a treatment was always cut before, or after, the control: a drift would look like an effect.

    Parameters
    ----------
    cells : pandas.DataFrame
        From ``list_cells``.
    control : str

    Returns
    -------
    Check
        The value is the mean time from the control to the treatment furthest from it, in minutes.
    """
    name, allowed = "order_by_treatment", "before and after"
    times = cells.pivot_table(index="block", columns="treatment", values="hour", aggfunc="mean")
    if control not in times or times.shape[1] < 2:
        return Check(name, None, None, allowed, "There is nothing to compare.")
    apart = 60 * times.drop(columns=control).sub(times[control], axis=0)
    mean = apart.mean().dropna()
    if mean.empty:
        return Check(name, None, None, allowed, "There is nothing to compare.")
    fixed = [own for own in mean.index if _same_side(apart[own].dropna()) or _parted(cells, str(own), control)]
    worst = str((mean[fixed] if fixed else mean).abs().idxmax())
    value = float(mean[worst])
    word = "after" if value > 0 else "before"
    effect = abs(value) / 60 * USUAL_DRIFT_PCT_H
    makes = f"A sensor that drifts by {USUAL_DRIFT_PCT_H:g} % an hour would turn that into {effect:.1f} % of yield."
    if fixed:
        note = f"{worst} was always cut {word} the control, by {abs(value):.0f} minutes on average. {makes}"
        return Check(name, False, round(value, 1), allowed, note)
    note = f"{worst} was cut {abs(value):.0f} minutes {word} the control on average, but not always. {makes}"
    return Check(name, True, round(value, 1), allowed, note)


def _same_side(minutes: "pd.Series[float]") -> bool:
    """Tell whether a treatment came on one side of the control in every block; few blocks are so by chance."""
    return len(minutes) >= MIN_ORDER_BLOCKS and bool((minutes > 0).all() or (minutes < 0).all())


def _parted(cells: pd.DataFrame, treatment: str, control: str) -> bool:
    """Tell whether all strips of a treatment were cut before, or after, all of the control's."""
    own, rest = (cells.loc[cells["treatment"] == name, "hour"] for name in (treatment, control))
    return min(len(own), len(rest)) > 1 and bool(own.min() > rest.max() or own.max() < rest.min())
