"""Scale tickets: where each load is one strip, its weight over the strip's ground is the strip's yield.

A weighed load beats the monitor, whose error differs from pass to pass. Tickets count only when every strip that was
harvested has one: a trial that is half weighed and half sensed would compare the scale with the sensor.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy import special

from proofstrip.assign import find_strip
from proofstrip.clean import Track
from proofstrip.config import Settings
from proofstrip.errors import DataError, Notice
from proofstrip.moisture import mean_moisture, standard_mass
from proofstrip.stats import Check
from proofstrip.units import M2_PER_HA

# Calibrated monitors stay within 3 per cent of the scale (Darr, Iowa State University, 2015).
MAX_RATIO_APART_PCT = 3.0


def ground_by_strip(track: Track, strips: gpd.GeoDataFrame) -> "pd.Series[float]":
    """Sum up the ground that was cut in each strip, ends included; no travel delay matters here.

    Parameters
    ----------
    track : Track
        With passes and cut width.
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the track.

    Returns
    -------
    pandas.Series of float
        [m2], by strip.
    """
    place = find_strip(strips, track.easting, track.northing)
    inside = place >= 0
    area = np.bincount(place[inside], weights=(track.distance * track.cut_width)[inside], minlength=len(strips))
    return pd.Series(area, index=strips["strip"].to_numpy())


def weigh_strips(
    table: pd.DataFrame, loads: pd.DataFrame, ground: "pd.Series[float]", settings: Settings
) -> tuple[pd.DataFrame, tuple[Notice, ...]]:
    """Put weighed yields in the place of sensed ones, if every harvested strip was weighed.

    Parameters
    ----------
    table : pandas.DataFrame
        The strip table of the combine.
    loads : pandas.DataFrame
        strip, wet_mass_kg, moisture_pct: a row per load; several loads of one strip are added.
    ground : pandas.Series of float
        Ground cut [m2], by strip.
    settings : Settings

    Returns
    -------
    tuple of pandas.DataFrame and tuple of Notice
        The strip table, its source ``scale`` where tickets count.

    Raises
    ------
    DataError
        When a ticket names a strip that the trial map does not have.
    """
    known = loads[loads["strip"].notna()]
    strange = sorted(set(known["strip"]) - set(table["strip"]))
    if strange:
        raise DataError(
            f"scale: tickets name {', '.join(map(repr, strange))}, which the trial map does not have. Its strips are "
            f"{', '.join(map(repr, table['strip'].head(12)))}{' ...' if len(table) > 12 else ''}. Correct the tickets."
        )
    harvested = table.loc[table["records_used"] > 0, "strip"]
    without = harvested[~harvested.isin(known["strip"])].tolist()
    if without:
        said = f"{len(without)} of {len(harvested)} harvested strips have no ticket ({', '.join(without[:6])}"
        said += f"{' ...' if len(without) > 6 else ''}); the monitor's yields are used for all. That a "
        said += "treatment misleads the monitor is not excluded."
        return table, (Notice("tickets_incomplete", said),)
    weighed = _add_loads(known, table, settings.standard_moisture_pct)
    area = table["strip"].map(ground)
    mass = table["strip"].map(weighed["standard_mass_kg"])
    rate = mass / area.where(area > 0) * M2_PER_HA
    bushel = settings.trial.crop.kg_ha_per_bu_ac
    new = table.assign(
        source="scale",
        yield_kg_ha=rate,
        yield_bu_ac=rate / bushel if bushel else np.nan,
        moisture_pct=table["strip"].map(weighed["moisture_pct"]),
        area_m2=area,
        standard_mass_kg=mass.fillna(0.0),
    )
    return new, ()


def _add_loads(loads: pd.DataFrame, table: pd.DataFrame, standard_pct: float) -> pd.DataFrame:
    """Add up the loads of each strip; where a load has no moisture, the combine's reading in that strip stands in."""
    sensed = loads["strip"].map(table.set_index("strip")["moisture_pct"])
    moisture = loads["moisture_pct"].fillna(sensed).to_numpy(dtype=np.float64)
    wet = loads["wet_mass_kg"].to_numpy(dtype=np.float64)
    parts = pd.DataFrame(
        {
            "strip": loads["strip"],
            "wet_mass_kg": wet,
            "standard_mass_kg": standard_mass(wet, moisture, standard_pct),
        }
    )
    total = parts.groupby("strip").sum()
    return total.assign(moisture_pct=mean_moisture(total["wet_mass_kg"], total["standard_mass_kg"], standard_pct))


def check_sensor(sensed: pd.DataFrame, weighed: pd.DataFrame, control: str) -> tuple[Check, ...]:
    """Compare scale over monitor between treatments: a sensor that a treatment misleads shows here.

    Parameters
    ----------
    sensed, weighed : pandas.DataFrame
        Strip tables of the combine and of the scale, the same strips in the same order.
    control : str

    Returns
    -------
    tuple of Check
        Empty where nothing was weighed.
    """
    if not (weighed["source"] == "scale").all():
        return ()
    logs = pd.Series(np.log(weighed["yield_kg_ha"] / sensed["yield_kg_ha"]), index=weighed.index)
    by_treatment = logs.groupby(weighed["treatment"])
    ratio, counts = by_treatment.mean(), by_treatment.count()
    df = int(counts.sum() - len(counts))
    variance = float(((logs - by_treatment.transform("mean")) ** 2).sum()) / df if df > 0 else np.nan
    apart = 100 * (ratio.drop(index=control, errors="ignore") - ratio.get(control, np.nan))
    allowed = f"within {MAX_RATIO_APART_PCT:g} %"
    if apart.dropna().empty:
        return (Check("scale_against_monitor", None, None, allowed, "There is nothing to compare."),)
    treatment = str(apart.abs().idxmax())
    value = float(apart[treatment])
    se = 100 * np.sqrt(variance * (1 / counts[treatment] + 1 / counts[control]))
    sure = ""
    if np.isfinite(se):
        reach = float(special.stdtrit(df, 0.95)) * se
        sure = f" (90 % interval of scale over monitor {value - reach:+.1f} to {value + reach:+.1f} %)"
    note = (
        f"Against the scale, the monitor read {treatment} {abs(value):.1f} % {'low' if value > 0 else 'high'} compared "
        f"with the control{sure}. The answer uses the scale."
    )
    return (Check("scale_against_monitor", abs(value) <= MAX_RATIO_APART_PCT, round(value, 3), allowed, note),)


def against_scale(cells: pd.DataFrame, sensed: pd.DataFrame, weighed: pd.DataFrame) -> pd.DataFrame:
    """Set monitor against scale for each strip that one combine cut in one day.

    Parameters
    ----------
    cells : pandas.DataFrame
        From ``machines.list_cells``.
    sensed, weighed : pandas.DataFrame
        Strip tables of the combine and of the scale, the same strips in the same order.

    Returns
    -------
    pandas.DataFrame
        Cells with log_ratio, and log_yield the same: log of monitor over scale; the ground cancels, so there are no
        blocks. Empty where nothing was weighed.
    """
    if not (weighed["source"] == "scale").all():
        return cells.head(0).assign(log_ratio=0.0)
    logs = pd.Series(np.log(sensed["yield_kg_ha"].to_numpy() / weighed["yield_kg_ha"].to_numpy()), weighed["strip"])
    whole = cells[~cells["strip"].duplicated(keep=False)]
    ratio = whole["strip"].map(logs)
    return whole.assign(block="", log_yield=ratio, log_ratio=ratio)[ratio.notna()].reset_index(drop=True)
