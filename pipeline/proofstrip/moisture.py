"""Grain at the crop's standard moisture: the same dry matter, with the water that the market allows."""

from dataclasses import dataclass
from typing import NoReturn

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.clean import Delay, Track
from proofstrip.clean.track import Floats
from proofstrip.config import Settings
from proofstrip.errors import DataError, Notice
from proofstrip.flags import Flag, add_flag
from proofstrip.loads import moisture_by_ticket, name_strips
from proofstrip.probe import ProbeLag, estimate_lags, move_readings
from proofstrip.units import M2_PER_HA
from proofstrip.unmeasured import LEAST_MOISTURE_SPREAD_PCT, UNSEEN, StandIns, fill_unmeasured, find_unmeasured

# A probe repeats a reading for 10 to 30 s by design (common practice, no source); grain is not alike for this long.
STUCK_S = 120.0
STUCK_RUNS = 5.0
# Share of a combine's records in passes, from which its single readings are not trusted.
STUCK_SHARE = 0.02


def standard_mass(wet_mass_kg: np.ndarray, moisture_pct: np.ndarray, standard_pct: float) -> np.ndarray:
    """Convert wet grain to grain at standard moisture.

    Parameters
    ----------
    wet_mass_kg : array of float
        [kg]
    moisture_pct : array of float
        Wet basis [%].
    standard_pct : float
        Wet basis [%].

    Returns
    -------
    array of float
        wet x (100 - moisture) / (100 - standard) [kg]

    References
    ----------
    Mulvaney and Devkota 2020, "Adjusting crop yield to a standard moisture content", University of Florida, AG442.

    Examples
    --------
    10,000 lb of corn at 20 % is 9,467.5 lb at 15.5 % (AG442):

    >>> round(float(standard_mass(np.array(10_000.0), np.array(20.0), 15.5)), 1)
    9467.5
    """
    return wet_mass_kg * (100.0 - moisture_pct) / (100.0 - standard_pct)


def mean_moisture(
    wet_mass_kg: "pd.Series[float]", standard_mass_kg: "pd.Series[float]", standard_pct: float
) -> "pd.Series[float]":
    """Give back the moisture of grain from its wet and its standard mass.

    Parameters
    ----------
    wet_mass_kg, standard_mass_kg : pandas.Series of float
        Sums over any number of records or loads [kg].
    standard_pct : float
        Wet basis [%].

    Returns
    -------
    pandas.Series of float
        100 - (100 - standard) x standard mass / wet mass [%]; NaN where there is no grain.

    Examples
    --------
    >>> round(float(mean_moisture(pd.Series([10_000.0]), pd.Series([9467.456]), 15.5)[0]), 3)
    20.0
    """
    return 100.0 - (100.0 - standard_pct) * standard_mass_kg / wet_mass_kg.where(wet_mass_kg > 0)


@dataclass(frozen=True)
class Moisture:
    """The moisture that each record's grain is taken to have, and how it was had.

    Attributes
    ----------
    pct : array of float, shape (n,)
        In the order of the frame [%].
    lags : tuple of ProbeLag
        How late each combine's probe reads; empty where readings were not moved.
    notices : tuple of Notice
    """

    pct: Floats
    lags: tuple[ProbeLag, ...] = ()
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class Known:
    """What is known beside the readings.

    Attributes
    ----------
    track : Track
    delays : tuple of Delay
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the points.
    loads : pandas.DataFrame or None
        Scale tickets, from ``loads.match_loads``.
    """

    track: Track
    delays: tuple[Delay, ...]
    strips: gpd.GeoDataFrame
    loads: pd.DataFrame | None = None


def correct_moisture(points: gpd.GeoDataFrame, moisture_pct: Floats, settings: Settings) -> gpd.GeoDataFrame:
    """Bring each record's grain to standard moisture, and flag readings that the crop cannot have.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        wet_mass_kg, moisture_pct, area_m2, flags.
    moisture_pct : array of float, shape (n,)
        What each record's grain is taken to have, from ``settle_moisture`` [%].
    settings : Settings

    Returns
    -------
    geopandas.GeoDataFrame
        With standard_mass_kg and yield_kg_ha added and moisture_range flagged; moisture_pct stays as logged.
    """
    outside = points["moisture_pct"].notna() & believed(points, settings).isna()
    mass = standard_mass(points["wet_mass_kg"].to_numpy(), moisture_pct, settings.standard_moisture_pct)
    area = points["area_m2"].to_numpy()
    rate = np.divide(mass, area, out=np.full(len(points), np.nan), where=area > 0) * M2_PER_HA
    return points.assign(
        standard_mass_kg=mass, yield_kg_ha=rate, flags=add_flag(points["flags"], outside, Flag.MOISTURE_RANGE)
    )


def believed(points: pd.DataFrame, settings: Settings) -> "pd.Series[float]":
    """Give the readings that the crop can have; NaN elsewhere [%].

    Parameters
    ----------
    points : pandas.DataFrame
        moisture_pct.
    settings : Settings

    Returns
    -------
    pandas.Series of float
    """
    crop = settings.trial.crop
    logged: pd.Series[float] = points["moisture_pct"]
    return logged.where(logged.between(crop.min_moisture_pct, crop.max_moisture_pct))


def settle_moisture(points: gpd.GeoDataFrame, settings: Settings, known: Known | None = None) -> Moisture:
    """Decide which moisture each record's grain had.

    The reading that the record's own grain got, where the probe's lag can be told, else the reading beside it. Where
    there is none to believe: the median of the same pass in the same strip, then the scale tickets, then the median of
    the field. Where a combine, or one file of it, measured none: the tickets, then
    ``[moisture] declared_pct``.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        machine, source_file, time, duration_s, moisture_pct, pass_id.
    settings : Settings
    known : Known, optional
        Not given: readings are taken as they stand, a pass is taken to lie in one strip, and there are no tickets.

    Returns
    -------
    Moisture

    Raises
    ------
    DataError
        When there is no moisture at all, no ticket has one and none is declared.
    """
    logged = believed(points, settings)
    weighed = _ask_tickets(points, known)
    parts = find_unmeasured(points, logged)
    lacking = parts[0] | parts[1]
    odd = points["moisture_pct"][points["moisture_pct"].notna() & logged.isna() & ~lacking]
    logged, notices = fill_unmeasured(logged, points, parts, StandIns(weighed, settings.moisture.declared_pct))
    if logged.isna().all():
        _refuse(points["moisture_pct"], settings)
    notices += _say_range(odd)
    lags: tuple[ProbeLag, ...] = ()
    whole = pd.Series(settings.moisture.use == "pass", index=points.index)
    if settings.moisture.use == "auto":
        stuck, distrusted = find_stuck(points.assign(moisture_pct=points["moisture_pct"].mask(lacking)))
        logged = logged.mask(stuck & ~lacking)
        whole |= points["machine"].astype(object).isin(distrusted)
        notices += _say_stuck(stuck, distrusted, points)
        if known is not None:
            logged, lags = _move(logged, known, settings, lacking)
    middle = _middle_of_pass(logged, points, known, whole | logged.isna())
    empty = middle.isna() & (whole | logged.isna()) & (points["pass_id"] > 0) & ~lacking
    if empty.any():
        notices += _say_empty_pass(points.loc[empty, "pass_id"].nunique(), weighed is not None)
    stand_in = middle if weighed is None else middle.fillna(weighed)
    used = logged.mask(whole & ~lacking).fillna(stand_in.fillna(logged.median()))
    return Moisture(np.asarray(used, dtype=np.float64), lags, tuple(notices))


def _move(
    logged: "pd.Series[float]", known: Known, settings: Settings, lacking: "pd.Series[bool]"
) -> "tuple[pd.Series[float], tuple[ProbeLag, ...]]":
    """Give each record the reading that its own grain got, where there are readings and the lag can be told."""
    reading: Floats = np.asarray(logged, dtype=np.float64)
    measured, track = np.where(lacking, np.nan, reading), known.track
    there = np.isfinite(measured[track.row])
    silent = {name for code, name in enumerate(track.names) if not there[track.machine == code].any()}
    lags = tuple(lag for lag in estimate_lags(measured, track, settings.clean) if lag.machine not in silent)
    moved = move_readings(reading, track, known.delays, lags)
    return pd.Series(np.where(lacking, reading, moved), index=logged.index), lags


def _ask_tickets(points: gpd.GeoDataFrame, known: Known | None) -> "pd.Series[float] | None":
    """Give the tickets' moisture of each record's grain, where they know it."""
    if known is None or known.loads is None:
        return None
    return moisture_by_ticket(known.loads, points, name_strips(points, known.strips))


def _middle_of_pass(
    logged: "pd.Series[float]", points: gpd.GeoDataFrame, known: Known | None, wanted: "pd.Series[bool]"
) -> "pd.Series[float]":
    """Give the median of each pass that is asked for, strip by strip: no treatment's moisture stands for another's."""
    in_pass = points["pass_id"].where(points["pass_id"] > 0)
    touched = in_pass.isin(in_pass[wanted].unique()) & in_pass.notna()
    middle = pd.Series(np.nan, index=points.index)
    if not touched.any():
        return middle
    own = points[touched]
    strip = "" if known is None else name_strips(own, known.strips)
    middle[touched] = logged[touched].groupby([in_pass[touched], pd.Series(strip, index=own.index)]).transform("median")
    return middle


def _refuse(found: "pd.Series[float]", settings: Settings) -> NoReturn:
    """Stop where no moisture is known."""
    crop = settings.trial.crop
    said = "none is logged as a number"
    if found.notna().any():
        said = f"the column runs from {found.min():g} to {found.max():g}"
    raise DataError(
        f"moisture: no record has a grain moisture that {crop.name} can have ({crop.min_moisture_pct:g} to "
        f"{crop.max_moisture_pct:g} %): {said}. Set declared_pct in [moisture] from a scale ticket or a hand meter, or "
        "give scale tickets with a moisture in [scale]."
    )


def _say_range(odd: "pd.Series[float]") -> list[Notice]:
    """Say that there are readings that the crop cannot have."""
    if odd.empty:
        return []
    said = f"{len(odd):,} records have a moisture that the crop cannot have ({odd.min():g} to {odd.max():g} %); the "
    return [Notice("moisture_range", said + "median of their pass stands in.")]


def _say_stuck(stuck: "pd.Series[bool]", distrusted: list[str], points: pd.DataFrame) -> list[Notice]:
    """Say which combines' probes were stuck in parts, and what stands in."""
    return [
        Notice(
            "moisture_stuck",
            f"The moisture probe of {name} repeated one reading for {STUCK_S:g} s and more in {own.sum():,} records"
            ". The median of its other readings in the pass stands for the whole pass.",
        )
        for name in distrusted
        if (own := stuck & (points["machine"].astype(object) == name)).any()
    ]


def _say_empty_pass(count: int, weighed: bool) -> list[Notice]:
    """Say that the moisture of whole passes is not their own."""
    who = "1 pass has" if count == 1 else f"{count} passes have"
    what = "the scale tickets' moisture stands in" if weighed else f"the median of the field stands in. {UNSEEN}"
    return [Notice("moisture_pass_empty", f"{who} no moisture reading to believe in parts of it or all; {what}")]


def find_stuck(points: pd.DataFrame) -> "tuple[pd.Series[bool], list[str]]":
    """Find readings that a probe repeats for far longer than it does by design.

    Parameters
    ----------
    points : pandas.DataFrame
        machine, time, duration_s, moisture_pct, pass_id.

    Returns
    -------
    tuple of pandas.Series of bool and list of str
        Records in such spells, and the combines with so many of them that their single readings are not trusted. A
        column that is constant throughout is typed in, not stuck: nothing is marked.
    """
    none = pd.Series(False, index=points.index)
    logged = points["moisture_pct"]
    if logged.notna().sum() < 2 or moisture_is_constant(logged.dropna()):
        return none, []
    order = points.sort_values(["machine", "time"], kind="stable")
    machine, value = order["machine"].astype(object), order["moisture_pct"]
    run = ((value != value.shift()) | (machine != machine.shift())).cumsum()
    lasting = order["duration_s"].groupby(run).sum()
    usual = lasting.groupby(machine.groupby(run).first()).median()
    limit = (STUCK_RUNS * machine.map(usual)).clip(lower=STUCK_S)
    stuck = (run.map(lasting) >= limit) & (order["pass_id"] > 0) & value.notna()
    share = stuck[order["pass_id"] > 0].groupby(machine[order["pass_id"] > 0]).mean()
    return stuck.reindex(points.index), [str(name) for name in share.index[share > STUCK_SHARE]]


def moisture_is_constant(moisture_pct: pd.Series) -> bool:
    """Tell whether the moisture column holds one value: typed in, not measured.

    Examples
    --------
    >>> moisture_is_constant(pd.Series([15.0, 15.0]))
    True
    """
    return len(moisture_pct) > 1 and bool(moisture_pct.max() - moisture_pct.min() < LEAST_MOISTURE_SPREAD_PCT)
