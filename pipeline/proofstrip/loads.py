"""Loads over the scale: which grain each one was, and what the monitor made of the same grain."""

import re
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.assign import find_strip
from proofstrip.clean import Track
from proofstrip.days import name_days
from proofstrip.errors import DataError
from proofstrip.flags import Flag, has_flag

# "S1+S2", "S1, S2", "S1; S2", "S1 & S2", "S1 and S2": one load of several strips.
BETWEEN_STRIPS = re.compile(r"\s*[+,;&]\s*|\s+and\s+")
# Grain whose flow was not measured; and what a person does not believe.
NOT_SENSED = Flag.MISSING | Flag.DUPLICATE | Flag.FLOW_RANGE | Flag.STUCK_SENSOR | Flag.SPIKE | Flag.EXCLUDED_BY_HAND
# A pass, or a load, that belongs to one strip, or one combine's day, by this share is wholly its own.
MOSTLY = 0.9


def match_loads(loads: pd.DataFrame, strips: Sequence[str], points: pd.DataFrame) -> pd.DataFrame:
    """Find out which strips, or which combine's day, each load came from.

    Parameters
    ----------
    loads : pandas.DataFrame
        strip, machine, day, wet_mass_kg, moisture_pct: a row per load.
    strips : sequence of str
        Strips of the trial map.
    points : pandas.DataFrame
        machine, time of the harvest.

    Returns
    -------
    pandas.DataFrame
        With ``strips`` added, a tuple of names, empty where all counts that a combine cut; and ``group``: loads of one
        group went over the scale for the same strips, or the same combine's day.

    Raises
    ------
    DataError
        When a ticket names a strip, a combine or a day that does not exist.
    """
    if loads["strip"].notna().all():
        named = [_split_strips(text, strips) for text in loads["strip"]]
        strange = sorted({name for names in named for name in names} - set(strips))
        if strange:
            raise DataError(
                f"scale: tickets name {', '.join(map(repr, strange))}, which the trial map does not have. Its strips "
                f"are {', '.join(map(repr, strips[:12]))}{' ...' if len(strips) > 12 else ''}. Correct the tickets; a "
                "load of several strips names them with + between: 'S1 + S2'."
            )
        return loads.assign(strips=pd.Series(named, index=loads.index), group=_join_sharing(named))
    days = pd.DataFrame({"machine": points["machine"].astype(str), "day": name_days(points)}).drop_duplicates()
    machine = _match_machines(loads["machine"].astype(str), sorted(set(days["machine"])))
    _check_days(machine, loads["day"], days)
    key = machine + "\n" + loads["day"].fillna("")
    everything = pd.Series([()] * len(loads), index=loads.index)
    return loads.assign(machine=machine, strips=everything, group=pd.factorize(key)[0])


def _split_strips(text: str, strips: Sequence[str]) -> tuple[str, ...]:
    """Read the strips of one load; a strip may have a plus in its own name."""
    if text in strips:
        return (text,)
    return tuple(dict.fromkeys(part for part in BETWEEN_STRIPS.split(text) if part))


def _join_sharing(named: list[tuple[str, ...]]) -> list[int]:
    """Give loads that share a strip, directly or by others, the same number."""
    number: dict[str, int] = {}
    for place, names in enumerate(named):
        shared = {number[name] for name in names if name in number}
        own = min(shared, default=place)
        number = {name: own if group in shared else group for name, group in number.items()}
        number |= dict.fromkeys(names, own)
    return [number[names[0]] for names in named]


def _match_machines(named: "pd.Series[str]", logged: list[str]) -> "pd.Series[str]":
    """Take the tickets' names of combines for the log's; where either has one only, it is the same."""
    strange = sorted(set(named) - set(logged))
    if strange and len(logged) == len(set(named)) == 1:
        return named.map(lambda _: logged[0])
    if strange:
        raise DataError(
            f"scale: tickets name combine {', '.join(map(repr, strange))}, which the harvest does not have. Its "
            f"combines are {', '.join(map(repr, logged))}. Name them in the tickets as the log does."
        )
    return named


def _check_days(machine: "pd.Series[str]", day: pd.Series, days: pd.DataFrame) -> None:
    """Refuse a ticket for a day on which its combine logged nothing."""
    if day.isna().all():
        return
    known = set(days["machine"] + "\n" + days["day"])
    bad = ~(machine + "\n" + day.astype(str)).isin(known)
    if bad.any():
        name = machine[bad].iloc[0]
        own = sorted(days.loc[(days["machine"] == name) & (days["day"] != ""), "day"])
        raise DataError(
            f"scale: a ticket of {name} is dated {day[bad].iloc[0]}, when it logged nothing: it worked on "
            f"{', '.join(own)} by the log's own clock, which may be UTC where [harvest] time_zone is not set. Correct "
            "the date, or leave the column out to add up all days."
        )


def weigh_by_monitor(points: gpd.GeoDataFrame, track: Track, strips: gpd.GeoDataFrame) -> pd.DataFrame:
    """Sum up the grain that the monitor read in each strip, ends included, for each combine's day.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        strip, machine, time, pass_id, flags, standard_mass_kg, wet_mass_kg, area_m2.
    track : Track
        Of the same points.
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the points.

    Returns
    -------
    pandas.DataFrame
        strip ("" outside all), machine, day, standard_mass_kg, wet_mass_kg, ground_m2, hour (from the first record).

    Notes
    -----
    mass = sum of mass x ground cut / ground whose grain was read. Grain that the log has not, because it was lost or
    came after the log was switched off, is taken to be like the rest of its strip.
    """
    own = points["strip"].fillna("").astype(object)
    frame = pd.DataFrame(
        {
            "own": own,
            "strip": _follow_grain(points, own),
            "machine": points["machine"].astype(str),
            "day": name_days(points),
            "standard_mass_kg": points["standard_mass_kg"],
            "wet_mass_kg": points["wet_mass_kg"],
            "area_m2": points["area_m2"],
            "time": points["time"],
        }
    )
    ground = _sum_ground(track, strips, frame)
    good = frame[~has_flag(points["flags"], NOT_SENSED)]
    keys = ["strip", "machine", "day"]
    sums = good.groupby(keys).agg(
        standard_mass_kg=("standard_mass_kg", "sum"), wet_mass_kg=("wet_mass_kg", "sum"), time=("time", "mean")
    )
    read = good.groupby(["own", "machine", "day"])["area_m2"].sum().rename_axis(keys)
    table = sums.join(ground, how="outer").join(read)
    share = table["ground_m2"] / table["area_m2"].where(table["area_m2"] > 0)
    for name in ("standard_mass_kg", "wet_mass_kg"):
        # Grain that comes when no ground is cut is there all the same.
        table[name] = (table[name] * share.fillna(1.0)).fillna(0.0)
    table["hour"] = (table["time"] - table["time"].min()) / 3600
    return table.drop(columns=["area_m2", "time"]).fillna({"ground_m2": 0.0}).reset_index()


def _follow_grain(points: pd.DataFrame, own: "pd.Series[str]") -> "pd.Series[str]":
    """Give each record the strip that its grain is weighed with: what runs out of the machine after a pass is its."""
    frame = pd.DataFrame({"own": own, "pass_id": points["pass_id"], "area_m2": points["area_m2"]})
    frame = frame[frame["pass_id"] > 0]
    area = frame.groupby(["pass_id", "own"])["area_m2"].sum()
    share = area / area.groupby("pass_id").transform("sum")
    main = share[share >= MOSTLY].reset_index().set_index("pass_id")["own"]
    strip = points["pass_id"].map(main).fillna(own).where(points["pass_id"] > 0)
    order = points.sort_values(["machine", "time"], kind="stable").index
    return strip.loc[order].groupby(points["machine"].astype(str)).ffill().fillna("").reindex(points.index)


def _sum_ground(track: Track, strips: gpd.GeoDataFrame, frame: pd.DataFrame) -> "pd.Series[float]":
    """Sum up the ground cut [m2] by strip, machine and day; no travel delay matters here."""
    place = find_strip(strips, track.easting, track.northing)
    name = np.array([*strips["strip"], ""], dtype=object)[place]
    cut = pd.DataFrame(
        {
            "strip": name,
            "machine": frame["machine"].to_numpy()[track.row],
            "day": frame["day"].to_numpy()[track.row],
            "ground_m2": track.distance * track.cut_width,
        }
    )
    return cut.groupby(["strip", "machine", "day"])["ground_m2"].sum()


def name_strips(points: pd.DataFrame, strips: gpd.GeoDataFrame) -> "pd.Series[str]":
    """Name the strip on which each record's grain was cut.

    Parameters
    ----------
    points : pandas.DataFrame
        cut_easting_m, cut_northing_m.
    strips : geopandas.GeoDataFrame
        The trial map, in the CRS of the points.

    Returns
    -------
    pandas.Series of str
        "" outside.
    """
    place = find_strip(strips, points["cut_easting_m"].to_numpy(), points["cut_northing_m"].to_numpy())
    return pd.Series(np.array([*strips["strip"], ""], dtype=object)[place], index=points.index)


def moisture_by_ticket(loads: pd.DataFrame, points: pd.DataFrame, strip: "pd.Series[str]") -> "pd.Series[float] | None":
    """Give the moisture that the tickets know of each record's grain.

    Parameters
    ----------
    loads : pandas.DataFrame
        From ``match_loads``.
    points : pandas.DataFrame
        machine, time.
    strip : pandas.Series of str
        Strip of each record; "" outside.

    Returns
    -------
    pandas.Series of float or None
        [%]; by strip where every strip with records was weighed alone, else by combine and day, or by combine, where
        all that were harvested have tickets; none where the tickets do not reach.
    """
    known = loads[loads["moisture_pct"].notna()]
    alone = known[known["strips"].map(len) == 1]
    present = set(strip) - {""}
    whole = _mean_by(known, pd.Series(0, index=known.index))
    if known.empty:
        return None
    if present and present <= {names[0] for names in alone["strips"]}:
        by_strip = _mean_by(alone, alone["strips"].map(lambda names: names[0]))
        return strip.map(by_strip).fillna(float(whole.iloc[0])).astype("float64")
    machine, day = points["machine"].astype(str), name_days(points)
    cut = pd.DataFrame({"strip": strip, "key": machine + "\n" + day})
    if known["strips"].map(len).gt(0).any():
        # A load counts for the combine's day on which most of its first strip was cut.
        home = cut[cut["strip"] != ""].groupby("strip")["key"].agg(lambda keys: keys.value_counts().index[0])
        by_day = _mean_by(known, known["strips"].map(lambda names: home.get(names[0], "")))
        found = cut["key"].map(by_day)
    else:
        by_day = _mean_by(known, known["machine"] + "\n" + known["day"].fillna(""))
        found = cut["key"].map(by_day).fillna((machine + "\n").map(by_day))
    # Elsewhere in the field a combine's day without a ticket makes no difference between treatments.
    return None if found[strip != ""].isna().any() else found.fillna(float(whole.iloc[0])).astype("float64")


def _mean_by(loads: pd.DataFrame, key: pd.Series) -> "pd.Series[float]":
    """Give the mean moisture of loads by a key, weighted by weight."""
    water = (loads["moisture_pct"] * loads["wet_mass_kg"]).groupby(key).sum()
    return water / loads["wet_mass_kg"].groupby(key).sum()
