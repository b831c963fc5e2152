"""Scale tickets: the strips' yields where each load is one strip, else one factor for a combine's day.

A weighed load beats the monitor, whose error differs from pass to pass. Tickets are the strips' yields only when every
strip that was harvested was weighed alone: a trial that is half weighed and half sensed would compare the scale with
the sensor.
"""

from dataclasses import dataclass
from typing import Literal

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy import special

from proofstrip.config import Settings
from proofstrip.errors import Notice
from proofstrip.factor import Factor, find_factors
from proofstrip.loads import MOSTLY
from proofstrip.moisture import mean_moisture, standard_mass
from proofstrip.stats import Check
from proofstrip.units import M2_PER_HA

# Calibrated monitors stay within 3 per cent of the scale (Darr, Iowa State University, 2015).
MAX_RATIO_APART_PCT = 3.0
# A treatment of which less is left beside combines and the others cannot be told from them.
LEAST_ALONE = 1e-6
# What ``set_against_monitor`` gives.
RATIO_COLUMNS = (
    *("strips", "treatment", "block", "machine", "day", "hour", "loads"),
    *("wet_kg", "scale_kg", "monitor_kg", "log_ratio", "log_yield"),
)


@dataclass(frozen=True)
class Weighed:
    """What the tickets are good for.

    Attributes
    ----------
    use : str
        ``strips``: they are the strips' yields; ``factor``: they scale the combine; ``none``.
    factors : tuple of Factor
        Empty unless they scale.
    note : str
        For people: what was done, or why not.
    mean_before_kg_ha, mean_after_kg_ha : float or None
        Mean yield of the strips by the monitor as it read, and as compared [kg/ha].
    """

    use: Literal["strips", "factor", "none"]
    factors: tuple[Factor, ...]
    note: str
    mean_before_kg_ha: float | None = None
    mean_after_kg_ha: float | None = None


def set_against_monitor(
    loads: pd.DataFrame, monitor: pd.DataFrame, strips: gpd.GeoDataFrame, standard_pct: float
) -> pd.DataFrame:
    """Set what went over the scale together against what the monitor read of the same grain.

    Parameters
    ----------
    loads : pandas.DataFrame
        From ``loads.match_loads``.
    monitor : pandas.DataFrame
        From ``loads.weigh_by_monitor``.
    strips : geopandas.GeoDataFrame
        The trial map: strip, treatment.
    standard_pct : float
        [%]

    Returns
    -------
    pandas.DataFrame
        A row for each weighing: strips (tuple), treatment ("" for several), block (""), machine and day ("" for
        several), hour, loads (their number), wet_kg, scale_kg and monitor_kg (at standard moisture), log_ratio and
        log_yield (both log of monitor over scale: the ground cancels).
    """
    treatment = strips.set_index("strip")["treatment"]
    rows = [_weigh(own, monitor, treatment, standard_pct) for _, own in loads.groupby("group", sort=False)]
    table = pd.DataFrame(rows, columns=list(RATIO_COLUMNS))
    return table[(table["monitor_kg"] > 0) & (table["scale_kg"] > 0)].reset_index(drop=True)


def _weigh(
    loads: pd.DataFrame, monitor: pd.DataFrame, treatment: "pd.Series[str]", standard_pct: float
) -> tuple[object, ...]:
    """Set one weighing against the monitor; a load without moisture takes the combine's for the same grain."""
    strips = tuple(sorted({name for names in loads["strips"] for name in names}))
    if strips:
        part = monitor[monitor["strip"].isin(strips)]
        machine, day = _main_day(part)
    else:
        machine, day = str(loads["machine"].iloc[0]), str(loads["day"].fillna("").iloc[0])
        part = monitor[(monitor["machine"] == machine) & ((monitor["day"] == day) | (day == ""))]
    sensed, mass = part["wet_mass_kg"].sum(), part["standard_mass_kg"].sum()
    own_pct = 100 - (100 - standard_pct) * mass / sensed if sensed > 0 else standard_pct
    wet = loads["wet_mass_kg"].to_numpy(dtype=np.float64)
    moisture = loads["moisture_pct"].fillna(own_pct).to_numpy(dtype=np.float64)
    scale_kg = float(standard_mass(wet, moisture, standard_pct).sum())
    kinds = set(treatment.reindex(list(strips)).dropna())
    hour = float((part["hour"] * part["standard_mass_kg"]).sum() / mass) if mass > 0 else np.nan
    log = float(np.log(mass / scale_kg)) if mass > 0 else np.nan
    kind = kinds.pop() if len(kinds) == 1 else ""
    return (strips, kind, "", machine, day, hour, len(loads), float(wet.sum()), scale_kg, float(mass), log, log)


def _main_day(part: pd.DataFrame) -> tuple[str, str]:
    """Give the combine and day that cut nearly all of it; empty names where several did."""
    mass = part.groupby(["machine", "day"])["standard_mass_kg"].sum()
    if mass.empty or mass.max() < MOSTLY * mass.sum():
        return "", ""
    machine, day = mass.index[int(mass.argmax())]
    return str(machine), str(day)


def use_tickets(
    table: pd.DataFrame, ratios: pd.DataFrame, monitor: pd.DataFrame, cells: pd.DataFrame, settings: Settings
) -> tuple[Weighed, pd.DataFrame, tuple[Notice, ...]]:
    """Decide what the tickets are good for, and put them in the place of sensed yields where they are the strips'.

    Parameters
    ----------
    table : pandas.DataFrame
        The strip table of the combine.
    ratios : pandas.DataFrame
        From ``set_against_monitor``.
    monitor : pandas.DataFrame
        From ``loads.weigh_by_monitor``.
    cells : pandas.DataFrame
        From ``machines.list_cells``: machine and day of what counts.
    settings : Settings

    Returns
    -------
    tuple of Weighed, pandas.DataFrame and tuple of Notice
        The table with source ``scale`` where every harvested strip was weighed alone, else as it was.
    """
    harvested = table.loc[table["records_used"] > 0, "strip"]
    alone = ratios[ratios["strips"].map(len) == 1]
    by_strip = alone.set_index(alone["strips"].map(lambda names: names[0]))
    without = harvested[~harvested.isin(by_strip.index)]
    if without.empty:
        weighed = _weigh_strips(table, by_strip, monitor, settings)
        note = "Every harvested strip was weighed alone: the strips' yields are the scale's."
        return Weighed("strips", (), note, mean_yield(table), mean_yield(weighed)), weighed, ()
    pairs = set(zip(cells["machine"], cells["day"], strict=True))
    found = find_factors(ratios, pairs, settings.stats.confidence)
    if isinstance(found, str):
        note = f"The scale tickets are not used: {found}. The monitor's yields stand as they are."
        return Weighed("none", (), note), table, (Notice("tickets_not_used", note),)
    note = "The tickets are not one load a strip; they scale all that a combine's monitor read, every strip alike."
    if len(alone):
        note = f"{len(without)} of {len(harvested)} harvested strips were not weighed alone, so the tickets are not "
        note += "the strips' yields; they scale all that a combine's monitor read, every strip alike."
    return Weighed("factor", found, note), table, ()


def mean_yield(table: pd.DataFrame) -> float:
    """Give the mean yield of the strips [kg/ha].

    Parameters
    ----------
    table : pandas.DataFrame
        yield_kg_ha.

    Returns
    -------
    float
    """
    return float(table["yield_kg_ha"].mean())


def _weigh_strips(
    table: pd.DataFrame, by_strip: pd.DataFrame, monitor: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Put weighed yields in the place of sensed ones: the load at standard moisture over all ground cut."""
    area = table["strip"].map(monitor.groupby("strip")["ground_m2"].sum())
    wet, mass = (table["strip"].map(by_strip[name]) for name in ("wet_kg", "scale_kg"))
    rate = mass / area.where(area > 0) * M2_PER_HA
    bushel = settings.trial.crop.kg_ha_per_bu_ac
    return table.assign(
        source="scale",
        yield_kg_ha=rate,
        yield_bu_ac=rate / bushel if bushel else np.nan,
        moisture_pct=mean_moisture(wet, mass, settings.standard_moisture_pct),
        area_m2=area,
        standard_mass_kg=mass.fillna(0.0),
    )


def check_sensor(ratios: pd.DataFrame, use: str, control: str) -> tuple[Check, ...]:
    """Compare scale over monitor between treatments: a sensor that a treatment misleads shows here.

    Parameters
    ----------
    ratios : pandas.DataFrame
        From ``set_against_monitor``.
    use : str
        Of ``Weighed``.
    control : str

    Returns
    -------
    tuple of Check
        Empty where nothing was weighed.
    """
    if ratios.empty:
        return ()
    name, allowed = "scale_against_monitor", f"within {MAX_RATIO_APART_PCT:g} %"
    own = ratios[ratios["treatment"] != ""]
    apart, df = _compare_within_combines(own, control)
    if not apart:
        note = "No treatment was weighed apart from the control: that one misleads the monitor is not excluded."
        if {control} < set(own["treatment"]):
            note = (
                "No combine's loads of the control and of a treatment can be compared, so whether a treatment misleads "
            )
            note += "the monitor cannot be told from what one combine reads higher than another."
        return (Check(name, None, None, allowed, note),)
    treatment = max(apart, key=lambda kind: abs(apart[kind][0]))
    value, se = apart[treatment]
    sure = ""
    if np.isfinite(se):
        reach = float(special.stdtrit(df, 0.95)) * se
        sure = f" (margin of error of scale over monitor: {value - reach:+.1f} to {value + reach:+.1f} %)"
    answer = "The answer uses the scale." if use == "strips" else "The answer uses the monitor, so it holds that error."
    within = " within each combine" if len(set(own["machine"])) > 1 else ""
    note = (
        f"Against the scale, the monitor read {treatment} {abs(value):.1f} % {'low' if value > 0 else 'high'} compared "
        f"with the control{within}{sure}. {answer}"
    )
    return (Check(name, abs(value) <= MAX_RATIO_APART_PCT, round(value, 3), allowed, note),)


def _compare_within_combines(own: pd.DataFrame, control: str) -> tuple[dict[str, tuple[float, float]], int]:
    """Give how far each treatment's scale over monitor lies from the control's, combines taken out first [%].

    By ordinary least squares on combine and treatment: a combine that reads high, and cut more of one treatment, is no
    treatment. Values and standard errors, with their degrees of freedom; a treatment that no combine weighed beside
    the control is left out.
    """
    combines = pd.get_dummies(own["machine"], dtype=float).to_numpy()
    kinds = pd.get_dummies(own["treatment"], dtype=float).drop(columns=control, errors="ignore")
    design, logs = np.hstack([combines, kinds.to_numpy()]), -own["log_ratio"].to_numpy()
    if not len(own) or not kinds.shape[1]:
        return {}, 0
    fit, df = np.linalg.lstsq(design, logs, rcond=None)[0], len(own) - int(np.linalg.matrix_rank(design))
    variance = float(((logs - design @ fit) ** 2).sum()) / df if df > 0 else np.nan
    apart = {}
    for k, kind in enumerate(kinds.columns, start=combines.shape[1]):
        others = np.delete(design, k, axis=1)
        alone = design[:, k] - others @ np.linalg.lstsq(others, design[:, k], rcond=None)[0]
        length = float(np.linalg.norm(alone))
        if length > LEAST_ALONE:
            apart[str(kind)] = (100 * float(fit[k]), 100 * float(variance) ** 0.5 / length)
    return apart, df
