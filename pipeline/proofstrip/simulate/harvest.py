"""One invented harvest from field to log."""

from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj

from proofstrip.simulate.counts import count_seeds
from proofstrip.simulate.crop import grow_crop
from proofstrip.simulate.cut import Pieces, cut_crop, trace_passes
from proofstrip.simulate.display import START_S, write_log
from proofstrip.simulate.drive import Drive, drive_passes
from proofstrip.simulate.layout import CRS, Ints, Layout, draw_map, lay_out
from proofstrip.simulate.scenario import Combine, Scenario
from proofstrip.simulate.sensor import Readings, sense_grain

RECORD_COLUMNS = [
    "machine",
    "time",
    "longitude",
    "latitude",
    "easting_m",
    "northing_m",
    "elevation_m",
    "heading_deg",
    "speed_m_s",
    "duration_s",
    "distance_m",
    "swath_m",
    "mass_flow_kg_s",
    "moisture_pct",
    "header_down",
    "true_delay_s",
    "true_cut_easting_m",
    "true_cut_northing_m",
    "true_width_m",
    "true_pass",
    "true_strip",
    "true_jump",
    "true_frozen",
    "true_duplicate",
    "true_spike",
    "true_stuck",
    "true_header_up",
    "true_turn",
]


@dataclass(frozen=True)
class Simulated:
    """An invented harvest and its truth.

    Attributes
    ----------
    records : pandas.DataFrame
        One row per logged record, in SI, combine after combine: machine, time (end of the record, seconds since 1970
        UTC), longitude, latitude, easting_m, northing_m (as logged, at the end of the record), elevation_m,
        heading_deg (from grid north), speed_m_s, duration_s, distance_m, swath_m, mass_flow_kg_s (wet),
        moisture_pct, header_down. And the truth: true_delay_s (from the cut of the record's grain to the middle of
        the record; NaN where the flow is under 0.2 % of the nominal), true_cut_easting_m, true_cut_northing_m (mean
        place where it was cut), true_width_m (standing width met on the record's own ground), true_pass (number, 0 in
        turns), true_strip (where the header's centre is), true_jump, true_frozen, true_duplicate, true_spike,
        true_stuck, true_header_up, true_turn.
    ground : pandas.DataFrame
        One row per step and strip in which ground was cut: machine, pass_number, time (middle of the step),
        easting_m, northing_m (of the header's centre), along_m (from the start of the strips), strip, treatment,
        block (empty outside the trial), area_m2, true_mass_kg (standard moisture), untreated_mass_kg (what the same
        ground would have given), sensed_mass_kg (the true grain with the sensor's gain, pass error, drift and curve,
        without noise), wet_mass_kg. In any window, sum(sensed) / sum(area) is what a perfect pipeline finds,
        sum(true) / sum(area) is the truth, and sum(true) / sum(untreated) is what the treatment did there.
    trial_map : geopandas.GeoDataFrame
        strip, treatment, block, geometry.
    tickets : pandas.DataFrame
        strip, machine, wet_mass_kg, moisture_pct of each load as weighed; empty when the scenario weighs none.
    counts : pandas.DataFrame
        strip, zone, frame, seeds of each frame on the ground; empty when the scenario counts none.
    scenario : Scenario
    seed : int
    """

    records: pd.DataFrame
    ground: pd.DataFrame
    trial_map: gpd.GeoDataFrame
    tickets: pd.DataFrame
    counts: pd.DataFrame
    scenario: Scenario
    seed: int


def simulate_harvest(scenario: Scenario, seed: int) -> Simulated:
    """Harvest an invented strip trial.

    Parameters
    ----------
    scenario : Scenario
    seed : int
        The same seed gives the same harvest.

    Returns
    -------
    Simulated

    Examples
    --------
    >>> harvest = simulate_harvest(Scenario(blocks=2, strip_length_m=100), seed=1)
    >>> harvest.trial_map["strip"].tolist()
    ['S01', 'S02', 'S03', 'S04']
    """
    # Own streams, so that a change in one part leaves the draws of the others.
    plan_rng, crop_rng, scale_rng, *rest = np.random.default_rng(seed).spawn(4 + 3 * len(scenario.combines))
    layout = lay_out(scenario, plan_rng)
    crop = grow_crop(scenario, layout, crop_rng)
    machines = range(len(scenario.combines))
    drives = [drive_passes(scenario, layout, machine, rest[3 * machine]) for machine in machines]
    tracks = trace_passes(scenario, layout, drives)
    logs, grounds = [], []
    for machine, (combine, drive) in enumerate(zip(scenario.combines, drives, strict=True)):
        pieces = cut_crop(scenario, crop, drive, tracks)
        readings = sense_grain(scenario, layout, combine, drive, pieces, rest[3 * machine + 1])
        log = write_log(scenario, layout, drive, readings, combine.name, rest[3 * machine + 2])
        width = np.bincount(pieces.step, pieces.width_m, len(drive.step_m))
        width = width.reshape(-1, scenario.steps_per_record).mean(axis=1)
        row = np.round((log["time"] - START_S - combine.start_s) / scenario.record_s).astype(int) - 1
        logs.append(log.assign(true_width_m=width[row])[RECORD_COLUMNS])
        grounds.append(_list_ground(scenario, layout, (combine, drive, pieces, readings)))
    if scenario.headland_first:
        logs = _cut_headlands(scenario, layout, seed) + logs
    records, ground = (_join(frames) for frames in (logs, grounds))
    tickets = weigh_loads(scenario, layout, ground, scale_rng)
    counts = count_seeds(scenario, ground, rest[-1])
    return Simulated(records, ground, draw_map(scenario, layout), tickets, counts, scenario, seed)


def _cut_headlands(scenario: Scenario, layout: Layout, seed: int) -> list[pd.DataFrame]:
    """Log one pass of the first combine across either end of the strips, before it cuts them."""
    # A field of one strip, turned by a right angle: it lies just below the start of the strips.
    across = replace(
        scenario,
        treatments=scenario.treatments[:1],
        blocks=1,
        passes_per_strip=1,
        combines=scenario.combines[:1],
        strip_length_m=float(layout.strip_edges_m[-1]),
        heading_deg=scenario.heading_deg + 90,
        headland_first=False,
        tickets=False,
        counts=False,
    )
    turn = np.deg2rad(scenario.heading_deg)
    to_degrees = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    logs = []
    for end, up_m in enumerate((0.0, scenario.strip_length_m + scenario.header_width_m)):
        log = simulate_harvest(across, seed + 1000 * (end + 1)).records
        for kind in ("", "true_cut_"):
            log[f"{kind}easting_m"] += up_m * np.sin(turn)
            log[f"{kind}northing_m"] += up_m * np.cos(turn)
        longitude, latitude = to_degrees.transform(log["easting_m"].to_numpy(), log["northing_m"].to_numpy())
        log["longitude"], log["latitude"] = np.round(longitude, 8), np.round(latitude, 8)
        number = len(layout.pass_across_m) + 1 + end
        cut = log["true_pass"] > 0
        logs.append(log.assign(time=log["time"] - (2 - end) * 1800, true_pass=np.where(cut, number, 0), true_strip=""))
    return logs


def _list_ground(scenario: Scenario, layout: Layout, cut: tuple[Combine, Drive, Pieces, Readings]) -> pd.DataFrame:
    """List what one combine cut, piece by piece."""
    combine, drive, pieces, readings = cut
    step, strip = pieces.step, pieces.strip
    across, along = ((line[:-1] + line[1:]) / 2 for line in (drive.across_m, drive.along_m))
    easting, northing = layout.frame.place(across[step], along[step])
    kind = np.append(layout.strip_treatment, len(scenario.treatments))[strip]
    block = np.append(layout.strip_block, scenario.blocks)[strip]
    mass = pieces.yield_kg_ha * pieces.area_m2 / 10_000
    return pd.DataFrame(
        {
            "machine": _named(np.zeros(len(step), dtype=np.int64), [combine.name]),
            "pass_number": layout.pass_number[drive.pass_index[step]],
            "time": START_S + (drive.edge_time_s[step] + drive.edge_time_s[step + 1]) / 2,
            "easting_m": easting,
            "northing_m": northing,
            "along_m": along[step],
            "strip": _named(strip, [*layout.strip_names, ""]),
            "treatment": _named(kind, [*(item.name for item in scenario.treatments), ""]),
            "block": _named(block, [*(f"B{number + 1}" for number in range(scenario.blocks)), ""]),
            "area_m2": pieces.area_m2,
            "true_mass_kg": mass,
            "untreated_mass_kg": pieces.untreated_kg_ha * pieces.area_m2 / 10_000,
            "sensed_mass_kg": mass * readings.sensed_share,
            "wet_mass_kg": mass * (100 - scenario.standard_moisture_pct) / (100 - pieces.moisture_pct),
        }
    )


def _named(codes: Ints, names: list[str]) -> Any:
    """Name codes; -1 is the last name."""
    return pd.Categorical.from_codes(np.where(codes < 0, len(names) - 1, codes), pd.Index(names))


def _join(frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Put the combines' tables one after the other."""
    joined = pd.concat([frame.assign(machine=frame["machine"].astype(object)) for frame in frames], ignore_index=True)
    joined["machine"] = joined["machine"].astype("category")
    return joined


def weigh_loads(scenario: Scenario, layout: Layout, ground: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Weigh the loads: all grain of the passes driven for their strips, whosever ground it stood on.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    ground : pandas.DataFrame
        See :class:`Simulated`.
    rng : numpy.random.Generator

    Returns
    -------
    pandas.DataFrame
        strip (several joined by " + "; "" where the ticket names the combine), machine, wet_mass_kg, moisture_pct;
        no rows when the scenario weighs nothing.
    """
    if not scenario.tickets:
        return pd.DataFrame({"strip": [], "machine": [], "wet_mass_kg": [], "moisture_pct": []})
    strip_of_pass = pd.Series(np.array(layout.strip_names)[layout.pass_strip], index=layout.pass_number)
    own = ground.assign(strip=ground["pass_number"].map(strip_of_pass), machine=ground["machine"].astype(str))
    strips = own.groupby(["strip", "machine"])[["wet_mass_kg", "true_mass_kg"]].sum().reset_index()
    load = strips.groupby(_name_loads(scenario, layout, strips)).agg(
        strip=("strip", lambda names: " + ".join(dict.fromkeys(names))),
        machine=("machine", "first"),
        wet_mass_kg=("wet_mass_kg", "sum"),
        true_mass_kg=("true_mass_kg", "sum"),
    )
    moisture = 100 - (100 - scenario.standard_moisture_pct) * load["true_mass_kg"] / load["wet_mass_kg"]
    weight = load["wet_mass_kg"] * rng.normal(1, scenario.scale_error_sd, len(load))
    moisture = moisture + rng.normal(0, scenario.ticket_moisture_sd_pt, len(load))
    return pd.DataFrame(
        {
            "strip": "" if scenario.load_of == "combine" else load["strip"].to_numpy(),
            "machine": load["machine"].to_numpy(),
            "wet_mass_kg": weight.round().to_numpy(),
            "moisture_pct": moisture.round(1).to_numpy(),
        }
    )


def _name_loads(scenario: Scenario, layout: Layout, strips: pd.DataFrame) -> "pd.Series[str]":
    """Name the load that each combine's share of a strip went into."""
    place = strips["strip"].map({name: number for number, name in enumerate(layout.strip_names)}).to_numpy()
    if scenario.load_of == "block":
        return pd.Series(layout.strip_block[place], index=strips.index).map("{:04d}".format)
    if scenario.load_of == "pair":
        kind = pd.Series(layout.strip_treatment[place], index=strips.index)
        return kind.astype(str) + (strips.groupby(kind).cumcount() // 2).map(" {:04d}".format)
    if scenario.load_of == "combine":
        return strips["machine"] + (strips.groupby("machine").cumcount() // 3).map(" {:04d}".format)
    return strips["strip"]
