"""Several combines: who cut what, and how their readings differ.

A combine's offset is told only by ground that had the same treatment: beside blocks and treatments in one model, or
from neighbouring strips. Nothing here scales one treatment's strips to another's.
"""

from dataclasses import dataclass
from typing import Literal

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy import linalg, special

from proofstrip.days import name_days
from proofstrip.stats import Check
from proofstrip.stats.adjusted import beyond, judge_mix
from proofstrip.stats.linear import Floats
from proofstrip.stats.table import read_strips
from proofstrip.units import log_ratio_pct

MIN_NEIGHBOURS = 3
MIN_DF = 2
# Half a strip, by which a combine must stand out after blocks and treatments.
LEAST_CELL = 0.5
Source = Literal["reference", "tickets", "model", "neighbours", "not_estimated"]


@dataclass(frozen=True)
class MachineOffset:
    """How much higher one combine reads than the one that cut most strips.

    Attributes
    ----------
    machine : str
    strips : int
        Strips that it cut, in part or whole.
    offset_pct, low_pct, high_pct : float or None
        [%]; low and high at the confidence of the comparison.
    source : str
        ``reference``: 0 by definition; ``tickets``: monitor over scale; ``model``: beside blocks and treatments;
        ``neighbours``: strips of one treatment side by side; ``not_estimated``.
    note : str
        For people.
    """

    machine: str
    strips: int
    offset_pct: float | None
    low_pct: float | None
    high_pct: float | None
    source: Source
    note: str


def list_cells(points: pd.DataFrame) -> pd.DataFrame:
    """Sum up what each combine cut of each strip on each day, over the records that count.

    Parameters
    ----------
    points : pandas.DataFrame
        Usable records in strips: strip, treatment, block, machine, time, standard_mass_kg, area_m2.

    Returns
    -------
    pandas.DataFrame
        strip, machine, day, treatment, block ("" without), area_m2, log_yield, hour (mean time, from the first [h]).
    """
    used = points[points["usable"] & points["strip"].notna()]
    used = pd.DataFrame(
        {name: used[name] for name in ("strip", "treatment", "time", "standard_mass_kg", "area_m2")}
        | {"machine": used["machine"].astype(str), "block": used["block"].fillna(""), "day": name_days(points)}
    ).loc[used.index]
    cells = (
        used.groupby(["strip", "machine", "day", "treatment", "block"], sort=True)
        .agg(area_m2=("area_m2", "sum"), mass=("standard_mass_kg", "sum"), time=("time", "mean"))
        .reset_index()
    )
    cells = cells[(cells["mass"] > 0) & (cells["area_m2"] > 0)]
    # A few metres at a strip's end say nothing about a combine.
    cells = cells[cells["area_m2"] > 0.1 * cells.groupby("strip")["area_m2"].transform("sum")].reset_index(drop=True)
    level = np.log(cells["mass"] / cells["area_m2"])
    return cells.assign(log_yield=level, hour=(cells["time"] - cells["time"].min()) / 3600).drop(
        columns=["mass", "time"]
    )


def machine_shares(cells: pd.DataFrame) -> pd.DataFrame:
    """Give the share of each strip that each combine cut.

    Parameters
    ----------
    cells : pandas.DataFrame
        From ``list_cells``.

    Returns
    -------
    pandas.DataFrame
        Strips down, combines across; rows add up to 1.
    """
    area = cells.pivot_table(index="strip", columns="machine", values="area_m2", aggfunc="sum", fill_value=0.0)
    return area.div(area.sum(axis=1), axis=0)


def check_machines(strips: pd.DataFrame, shares: pd.DataFrame, control: str, taken_out: bool) -> Check:
    """Tell whether the combines can be told apart from the treatments; failing forbids an answer.

    Parameters
    ----------
    strips : pandas.DataFrame
        The strip table of the combine.
    shares : pandas.DataFrame
        From ``machine_shares``.
    control : str
    taken_out : bool
        The comparison takes combines out; not where a scale made them alike.

    Returns
    -------
    Check
    """
    name, allowed = "machine_by_treatment", "can be told apart"
    if shares.shape[1] < 2:
        return Check(name, True, 0.0, allowed, "One combine for all strips.")
    mix = judge_mix(read_strips(strips, control, "yield_kg_ha", machines=shares).plots)
    where = "within each block" if strips["block"].notna().any() else "for all strips"
    if mix == "balanced":
        note = f"Treatments share their combines evenly {where}, so what a combine reads high or low cancels."
        return Check(name, True, 0.0, allowed, note)
    if mix == "estimable":
        said = "their readings were told apart from the treatments and made alike; the margin of error is wider for it"
        if not taken_out:
            said = "scale tickets made their readings alike"
        return Check(name, True, 0.5, allowed, f"Treatments do not share their combines evenly {where}; {said}.")
    own = strips.groupby("treatment")["machines"].agg(lambda cut: ", ".join(sorted(set(cut) - {""})))
    told = "; ".join(f"{treatment}: {names}" for treatment, names in own.items())
    note = (
        f"The combines cannot be told apart from the treatments ({told}), so the difference may be the combines' and "
        "not the treatment's. Let every combine cut strips of every treatment, best all strips of a block."
    )
    return Check(name, False, 1.0, allowed, note, True)


def estimate_offsets(
    cells: pd.DataFrame, strips: gpd.GeoDataFrame, confidence: float, against_scale: pd.DataFrame | None = None
) -> tuple[MachineOffset, ...]:
    """Estimate how the combines read against each other, from ground of the same treatment only.

    Parameters
    ----------
    cells : pandas.DataFrame
        From ``list_cells``.
    strips : geopandas.GeoDataFrame
        The trial map: strip, geometry.
    confidence : float
        Of the intervals.
    against_scale : pandas.DataFrame or None
        machine, log_ratio: monitor over scale, a row a load of one combine; where the scale tells, it goes first.

    Returns
    -------
    tuple of MachineOffset
        The reference first; empty with one combine.
    """
    count = cells.groupby("machine")["strip"].nunique().sort_values(ascending=False, kind="stable")
    if len(count) < 2:
        return ()
    reference = str(count.index[0])
    found = [
        MachineOffset(reference, int(count.iloc[0]), 0.0, 0.0, 0.0, "reference", "The others are read against it.")
    ]
    beside = _model_offsets(cells, reference)
    for machine in map(str, count.index[1:]):
        ways: tuple[tuple[Source, tuple[float, float, float] | None, str], ...] = (
            ("tickets", _scale_offset(against_scale, machine, reference), "monitor against scale tickets"),
            ("model", beside.get(machine), "strips of one block, treatments allowed for"),
            (
                "neighbours",
                _neighbour_offset(cells, strips, machine, reference),
                "strips of one treatment side by side",
            ),
        )
        way = next((way for way in ways if way[1] is not None), None)
        found.append(_state(machine, int(count[machine]), reference, way, confidence))
    return tuple(found)


def _state(
    machine: str,
    strips: int,
    reference: str,
    way: tuple[Source, tuple[float, float, float] | None, str] | None,
    confidence: float,
) -> MachineOffset:
    """Put an offset into per cent and words."""
    found = None if way is None else way[1]
    if way is None or found is None:
        note = (
            f"Not estimated: it cut no strips that would tell it apart from blocks and treatments, and fewer than "
            f"{MIN_NEIGHBOURS} lie beside a strip of the same treatment that {reference} cut."
        )
        return MachineOffset(machine, strips, None, None, None, "not_estimated", note)
    (log, se, df), source, how = found, way[0], way[2]
    reach = float(special.stdtrit(df, (1 + confidence) / 2)) * se if df > 0 else np.nan
    value, low, high = (log_ratio_pct(part) for part in (log, log - reach, log + reach))
    note = f"Reads {abs(value):.1f} % {'higher' if value > 0 else 'lower'} than {reference}: {how}."
    if not np.isfinite(reach):
        return MachineOffset(machine, strips, value, None, None, source, note)
    return MachineOffset(machine, strips, value, low, high, source, note)


def factor_columns(cells: pd.DataFrame) -> Floats:
    """Give a column for each block and for each treatment but the first.

    Parameters
    ----------
    cells : pandas.DataFrame
        block, treatment.

    Returns
    -------
    ndarray, shape (n, blocks + treatments - 1)
    """
    blocks = pd.get_dummies(cells["block"], dtype=float)
    return np.hstack([blocks, pd.get_dummies(cells["treatment"], dtype=float).iloc[:, 1:]])


def regress(y: Floats, base: Floats, columns: Floats, least: float) -> tuple[Floats, Floats, float] | None:
    """Fit columns beside a base by ordinary least squares.

    Parameters
    ----------
    y : ndarray, shape (n,)
    base : ndarray, shape (n, b)
    columns : ndarray, shape (n, a)
    least : float
        See ``beyond``.

    Returns
    -------
    tuple of ndarray, shape (a,), ndarray, shape (a,), and float, or None
        Coefficients, standard errors, degrees of freedom; none where the columns cannot be told from the base.
    """
    own = beyond(columns, base, least)
    df = len(y) - np.linalg.matrix_rank(base) - own.shape[1]
    if own.shape[1] < columns.shape[1] or df < MIN_DF:
        return None
    rest = columns - base @ linalg.lstsq(base, columns)[0]
    inverse = linalg.inv(rest.T @ rest)
    left = y - base @ linalg.lstsq(base, y)[0]
    coefficients = inverse @ rest.T @ left
    residuals = left - rest @ coefficients
    variance = float(residuals @ residuals) / df
    return coefficients, np.sqrt(variance * np.diag(inverse)), float(df)


def _model_offsets(cells: pd.DataFrame, reference: str) -> dict[str, tuple[float, float, float]]:
    """Estimate the combines beside blocks and treatments on log yields."""
    columns = pd.get_dummies(cells["machine"], dtype=float).drop(columns=reference)
    fit = regress(cells["log_yield"].to_numpy(), factor_columns(cells), columns.to_numpy(), LEAST_CELL)
    if fit is None:
        return {}
    return {str(name): (float(fit[0][k]), float(fit[1][k]), fit[2]) for k, name in enumerate(columns)}


def _neighbour_offset(
    cells: pd.DataFrame, strips: gpd.GeoDataFrame, machine: str, reference: str
) -> tuple[float, float, float] | None:
    """Compare two combines on ground of one treatment side by side, each piece of ground used once."""
    shapes = strips.set_index("strip").geometry
    mine, theirs = (cells[cells["machine"] == name] for name in (machine, reference))
    free, logs = set(theirs.index), []
    for cell in mine.itertuples():
        near = [
            place
            for place in theirs.index[theirs["treatment"] == cell.treatment]
            if place in free and shapes[theirs.loc[place, "strip"]].distance(shapes[cell.strip]) < 1.0
        ]
        # The same strip before the one beside it.
        near.sort(key=lambda place: theirs.loc[place, "strip"] != cell.strip)
        if near:
            free.discard(near[0])
            logs.append(cell.log_yield - theirs.loc[near[0], "log_yield"])
    if len(logs) < MIN_NEIGHBOURS:
        return None
    return float(np.mean(logs)), float(np.std(logs, ddof=1) / np.sqrt(len(logs))), float(len(logs) - 1)


def _scale_offset(loads: pd.DataFrame | None, machine: str, reference: str) -> tuple[float, float, float] | None:
    """Compare how two combines read against the scale (Welch); without an interval where a combine has one load."""
    if loads is None:
        return None
    one, other = (loads.loc[loads["machine"] == name, "log_ratio"] for name in (machine, reference))
    if one.empty or other.empty:
        return None
    if min(len(one), len(other)) < 2:
        return float(one.mean() - other.mean()), np.nan, 0.0
    parts = np.array([one.var() / len(one), other.var() / len(other)])
    df = parts.sum() ** 2 / (parts**2 / np.array([len(one) - 1, len(other) - 1])).sum() if parts.sum() > 0 else 1.0
    return float(one.mean() - other.mean()), float(np.sqrt(parts.sum())), float(df)
