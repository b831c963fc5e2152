"""One factor for all that a combine's monitor read in a day, from scale tickets that are not one load a strip.

A factor comes from all loads of the day together and is applied to all records of the day alike. It never comes from
the loads of one treatment: what a treatment does to the sensor is shown beside, not scaled away.
"""

from collections.abc import Collection
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy import special

from proofstrip.days import name_days
from proofstrip.units import log_ratio_pct

# Poor monitors are within 10 per cent of the scale (Darr, Iowa State University, 2015). Half as much again, and a load
# is more likely missing, or another field's among them, than the monitor so wrong: nothing else would show it.
DAY_LIMITS = (0.85, 1.15)
# Where the tickets name their strips, all that they can miss is a part of those; a wrong digit or unit goes further.
LOAD_LIMITS = (0.67, 1.5)


@dataclass(frozen=True)
class Factor:
    """What the monitor's masses of one combine's day are multiplied by.

    Attributes
    ----------
    machine, day : str
        Day empty: all days of the combine together, where tickets name none.
    loads : int
    scale_kg, monitor_kg : float
        The same grain by scale and monitor, both at standard moisture [kg].
    factor : float
        scale / monitor
    low, high : float or None
        Of the factor at the confidence of the comparison, from how the loads scatter; None where they were not set
        against the monitor one by one.
    scatter_pct : float or None
        SD of the loads' own factors [%].
    note : str
        For people.
    """

    machine: str
    day: str
    loads: int
    scale_kg: float
    monitor_kg: float
    factor: float
    low: float | None
    high: float | None
    scatter_pct: float | None
    note: str


def find_factors(
    ratios: pd.DataFrame, harvested: Collection[tuple[str, str]], confidence: float
) -> "tuple[Factor, ...] | str":
    """Find the factor of each combine's day that cut strips, or say why the tickets cannot be used.

    Parameters
    ----------
    ratios : pandas.DataFrame
        From ``scale.set_against_monitor``.
    harvested : collection of tuple of str
        Machine and day of all records that count.
    confidence : float

    Returns
    -------
    tuple of Factor or str
        One for each machine and day, or for each machine where tickets name neither strip nor day. All or none:
        a scaled combine beside one that is not would differ by the scaling.
    """
    own = ratios[ratios["machine"] != ""]
    known = set(zip(own["machine"], own["day"], strict=True))
    without = sorted(pair for pair in harvested if pair not in known and (pair[0], "") not in known)
    if without:
        said = " and ".join(" on ".join(filter(None, pair)) for pair in without)
        shared = len(ratios) - len(own)
        mixes = "1 weighing mixes" if shared == 1 else f"{shared} weighings mix"
        mixed = f"; {mixes} the grain of several combines or days and tell of none" if shared else ""
        return f"none is of what {said} cut alone{mixed}. Strips that are scaled cannot be set beside others"
    wrong = [fault for row in own.itertuples() if (fault := _implausible(row))]
    if wrong:
        return wrong[0]
    return tuple(_combine(loads, confidence) for _, loads in own.groupby(["machine", "day"], sort=True))


def _implausible(row) -> str | None:  # type: ignore[no-untyped-def]
    """Say why one weighing cannot be of the grain that the monitor read."""
    low, high = LOAD_LIMITS if row.strips else DAY_LIMITS
    factor = float(np.exp(-row.log_ratio))
    if low <= factor <= high:
        return None
    what = f"strip {' and '.join(row.strips[:4])}" if row.strips else " on ".join(filter(None, (row.machine, row.day)))
    return (
        f"for {what} the scale says {factor:.2f} times what the monitor read, outside {low:g} to {high:g}: look for a "
        "load that is missing or of other ground, and at the unit"
    )


def _combine(loads: pd.DataFrame, confidence: float) -> Factor:
    """Put all loads of one combine's day together."""
    scale, monitor, count = loads["scale_kg"].sum(), loads["monitor_kg"].sum(), int(loads["loads"].sum())
    factor, one_by_one = float(scale / monitor), bool(loads["strips"].map(len).gt(0).all())
    moved = f"{abs(log_ratio_pct(np.log(factor))):.1f} % {'up' if factor > 1 else 'down'}"
    low = high = scatter = None
    if one_by_one and len(loads) > 1:
        sd = float(loads["log_ratio"].std())
        reach = float(special.stdtrit(len(loads) - 1, (1 + confidence) / 2)) * sd / np.sqrt(len(loads))
        low, high, scatter = factor * float(np.exp(-reach)), factor * float(np.exp(reach)), 100 * sd
        note = f"All its records are brought {moved}; single weighings differ from that by {scatter:.1f} % (SD)."
    elif one_by_one:
        note = f"All its records are brought {moved}, by one weighing: how well it tells cannot be said."
    else:
        note = (
            f"All its records are brought {moved}, if the tickets are all that it harvested: nothing in them tells. A "
            f"load left out would be about {100 / count:.0f} %."
        )
    key = (str(loads["machine"].iloc[0]), str(loads["day"].iloc[0]))
    return Factor(*key, count, float(scale), float(monitor), factor, low, high, scatter, note)


def spread_factors(points: pd.DataFrame, factors: tuple[Factor, ...]) -> "pd.Series[float]":
    """Give each record the factor of its combine's day.

    Parameters
    ----------
    points : pandas.DataFrame
        machine, time.
    factors : tuple of Factor

    Returns
    -------
    pandas.Series of float
        1 where there is none.
    """
    by_key = {f"{found.machine}\n{found.day}": found.factor for found in factors}
    machine = points["machine"].astype(str) + "\n"
    own = (machine + name_days(points)).map(by_key)
    return own.fillna(machine.map(by_key)).fillna(1.0).astype("float64")


def scale_points(points: gpd.GeoDataFrame, factor: "pd.Series[float] | None") -> gpd.GeoDataFrame:
    """Bring the grain of each record to the scale's level.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        wet_mass_kg, standard_mass_kg, yield_kg_ha.
    factor : pandas.Series of float or None
        None: as they are.

    Returns
    -------
    geopandas.GeoDataFrame
        With the three multiplied; the flow stays as logged.
    """
    if factor is None:
        return points
    return points.assign(**{name: points[name] * factor for name in ("wet_mass_kg", "standard_mass_kg", "yield_kg_ha")})
