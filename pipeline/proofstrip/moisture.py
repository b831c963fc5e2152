"""Grain at the crop's standard moisture: the same dry matter, with the water that the market allows."""

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.config import Settings
from proofstrip.errors import DataError, Notice
from proofstrip.flags import Flag, add_flag
from proofstrip.units import M2_PER_HA

LEAST_MOISTURE_SPREAD_PCT = 0.05
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


def correct_moisture(points: gpd.GeoDataFrame, settings: Settings) -> gpd.GeoDataFrame:
    """Bring each record's grain to standard moisture.

    A reading outside the crop's range is flagged and the median of its pass stands in; where a pass has no reading,
    the median of the field; where the field has none, ``[moisture] declared_pct``.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        wet_mass_kg, moisture_pct, area_m2, pass_id, flags.
    settings : Settings

    Returns
    -------
    geopandas.GeoDataFrame
        With standard_mass_kg and yield_kg_ha added and moisture_range flagged; moisture_pct stays as logged.

    Raises
    ------
    DataError
        When there is no moisture at all and none is declared.
    """
    used = settle_moisture(points, settings)
    logged = points["moisture_pct"]
    crop = settings.trial.crop
    outside = logged.notna() & ~logged.between(crop.min_moisture_pct, crop.max_moisture_pct)
    mass = standard_mass(points["wet_mass_kg"].to_numpy(), used, settings.standard_moisture_pct)
    area = points["area_m2"].to_numpy()
    rate = np.divide(mass, area, out=np.full(len(points), np.nan), where=area > 0) * M2_PER_HA
    return points.assign(
        standard_mass_kg=mass, yield_kg_ha=rate, flags=add_flag(points["flags"], outside, Flag.MOISTURE_RANGE)
    )


def settle_moisture(points: gpd.GeoDataFrame, settings: Settings) -> np.ndarray:
    """Give the moisture that each record's grain is taken to have.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        moisture_pct, pass_id.
    settings : Settings

    Returns
    -------
    array of float, shape (n,)
        [%]

    Raises
    ------
    DataError
        When there is no moisture at all and none is declared.
    """
    crop = settings.trial.crop
    logged = points["moisture_pct"].where(points["moisture_pct"].between(crop.min_moisture_pct, crop.max_moisture_pct))
    declared = settings.moisture.declared_pct
    if declared is not None and moisture_is_constant(logged.dropna()):
        logged = logged.where(logged.isna())
    stuck, distrusted = find_stuck(points) if settings.moisture.use == "auto" else (logged.isna(), [])
    logged = logged.mask(stuck)
    in_pass = points["pass_id"].where(points["pass_id"] > 0)
    by_pass = logged.groupby(in_pass).transform("median")
    stand_in = by_pass.fillna(logged.median() if logged.notna().any() else declared)
    if stand_in.isna().any():
        found = points["moisture_pct"]
        said = (
            "none is logged as a number"
            if found.isna().all()
            else f"the column runs from {found.min():g} to {found.max():g}"
        )
        raise DataError(
            f"moisture: no record has a grain moisture that {crop.name} can have ({crop.min_moisture_pct:g} to "
            f"{crop.max_moisture_pct:g} %): {said}. Set declared_pct in [moisture] from a scale ticket "
            "or a hand meter."
        )
    by_stand_in = settings.moisture.use == "pass"
    used = stand_in if by_stand_in else logged.fillna(stand_in)
    if distrusted:
        used = used.mask(points["machine"].astype(object).isin(distrusted), stand_in)
    return np.asarray(used, dtype=np.float64)


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


def note_stuck(points: pd.DataFrame, settings: Settings) -> tuple[Notice, ...]:
    """Say which combines' probes were stuck in parts, and what stands in.

    Parameters
    ----------
    points : pandas.DataFrame
        machine, time, duration_s, moisture_pct, pass_id.
    settings : Settings

    Returns
    -------
    tuple of Notice
    """
    if settings.moisture.use != "auto":
        return ()
    stuck, distrusted = find_stuck(points)
    return tuple(
        Notice(
            "moisture_stuck",
            f"The moisture probe of {name} repeated one reading for {STUCK_S:g} s and more in {own.sum():,} records"
            ". The median of its other readings in the pass stands for the whole pass; where it has none, the field's.",
        )
        for name in distrusted
        if (own := stuck & (points["machine"].astype(object) == name)).any()
    )


def moisture_is_constant(moisture_pct: pd.Series) -> bool:
    """Tell whether the moisture column holds one value: typed in, not measured.

    Examples
    --------
    >>> moisture_is_constant(pd.Series([15.0, 15.0]))
    True
    """
    return len(moisture_pct) > 1 and bool(moisture_pct.max() - moisture_pct.min() < LEAST_MOISTURE_SPREAD_PCT)
