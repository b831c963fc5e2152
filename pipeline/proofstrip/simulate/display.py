"""What the display writes down: means over its interval, rounded, with its own faults; the truth stands beside."""

import numpy as np
import pandas as pd
import pyproj
from numpy.typing import NDArray

from proofstrip.simulate.drive import Drive, remember
from proofstrip.simulate.layout import CRS, Floats, Layout, find_end
from proofstrip.simulate.scenario import Scenario
from proofstrip.simulate.sensor import Readings

Bools = NDArray[np.bool_]

START_S = 1_728_307_200.0  # 2024-10-07T13:20:00Z
FLOW_UNIT_KG_S = 0.01 * 0.45359237
SPEED_UNIT_M_S = 0.01 * 1609.344 / 3600
DISTANCE_UNIT_M = 0.01 * 0.3048
SPEED_NOISE_M_S = 0.02
HEADING_NOISE_DEG = 0.3
TRICKLE = 0.002


def write_log(
    scenario: Scenario, layout: Layout, drive: Drive, readings: Readings, machine: str, rng: np.random.Generator
) -> pd.DataFrame:
    """Write one combine's log.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    drive : Drive
    readings : Readings
    machine : str
    rng : numpy.random.Generator

    Returns
    -------
    pandas.DataFrame
        One row per record, in SI; see :class:`proofstrip.simulate.Simulated`.
    """
    per = scenario.steps_per_record
    ends = np.arange(per, len(drive.step_m) + 1, per)
    shift = round(scenario.shift_applied_s / scenario.step_length_s)
    time = drive.edge_time_s[ends]
    log = pd.DataFrame({"machine": machine, "time": START_S + time}, index=range(len(ends)))
    _log_travel(scenario, drive, log, rng)
    _log_position(scenario, layout, drive, log, rng)
    _log_grain(scenario, readings, log, shift, rng)
    down = drive.header_down
    late = np.clip(ends - 1 - round(scenario.header_late_s / scenario.step_length_s), 0, None)
    said = {"good": down[late], "inverted": ~down[late], "stuck": np.ones(len(ends), bool), "missing": down[late]}
    known = said[scenario.header_switch]
    log["header_down"] = pd.array(known, dtype="boolean")
    if scenario.header_switch == "missing":
        log["header_down"] = pd.array([pd.NA] * len(ends), dtype="boolean")
    log["true_header_up"] = ~down[ends - 1]
    log["true_turn"] = drive.pass_index[ends - 1] < 0
    return _lose_and_repeat(scenario, log if scenario.log_through_turns else log[known], rng)


def _log_travel(scenario: Scenario, drive: Drive, log: pd.DataFrame, rng: np.random.Generator) -> None:
    """Add interval, distance, speed and header width as set."""
    travelled = drive.step_m.reshape(-1, scenario.steps_per_record).sum(axis=1)
    speed = np.maximum(travelled / scenario.record_s + rng.normal(0, SPEED_NOISE_M_S, len(log)), 0)
    log["duration_s"] = scenario.record_s
    log["distance_m"] = _rounded(travelled, DISTANCE_UNIT_M)
    log["speed_m_s"] = _rounded(np.where(travelled > 0, speed, 0), SPEED_UNIT_M_S)
    log["swath_m"] = scenario.header_width_m if scenario.swath_set_m is None else scenario.swath_set_m


def _log_position(
    scenario: Scenario, layout: Layout, drive: Drive, log: pd.DataFrame, rng: np.random.Generator
) -> None:
    """Add position and heading at the end of each record, with the receiver's errors."""
    per, rows = scenario.steps_per_record, len(log)
    ends = np.arange(1, rows + 1) * per
    easting, northing = layout.frame.place(drive.across_m, drive.along_m)
    course = np.arctan2(np.diff(easting), np.diff(northing))
    moving = np.flatnonzero(drive.step_m > 1e-6)
    # A combine that stands keeps the heading it had.
    latest = moving[np.maximum(np.searchsorted(moving, ends - 1, side="right") - 1, 0)]
    heading = course[latest]
    index = drive.pass_index[ends - 1]
    sideways = rng.normal(0, scenario.pass_offset_m, len(layout.pass_across_m))[index] * (index >= 0)
    sideways = sideways + scenario.antenna_right_m
    slow = remember(rng.standard_normal((2, rows)), float(np.exp(-scenario.record_s / scenario.position_memory_s)))
    east = easting[ends] + scenario.position_noise_m * slow[0] + sideways * np.cos(heading)
    north = northing[ends] + scenario.position_noise_m * slow[1] - sideways * np.sin(heading)
    jump = rng.random(rows) < scenario.jump_share
    reach, bearing = rng.uniform(2, 30, rows), rng.uniform(0, 2 * np.pi, rows)
    east, north = east + jump * reach * np.sin(bearing), north + jump * reach * np.cos(bearing)
    kept, frozen = _spells(scenario, scenario.frozen_per_h, scenario.frozen_s, rows, rng)
    log["easting_m"], log["northing_m"] = east[kept], north[kept]
    to_degrees = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(log["easting_m"].to_numpy(), log["northing_m"].to_numpy())
    log["longitude"], log["latitude"] = np.round(longitude, 8), np.round(latitude, 8)
    log["elevation_m"] = np.round(1285 + 0.01 * drive.along_m[ends] + 1.5 * np.sin(drive.across_m[ends] / 80), 2)
    log["heading_deg"] = np.round(np.rad2deg(heading) + rng.normal(0, HEADING_NOISE_DEG, rows), 1) % 360
    log["true_jump"], log["true_frozen"] = jump & ~frozen, frozen
    log["true_pass"] = np.where(index >= 0, layout.pass_number[index], 0)
    strip = np.searchsorted(layout.strip_edges_m, drive.across_m[ends], side="right") - 1
    inside = (strip >= 0) & (strip < len(layout.strip_block))
    inside &= (drive.along_m[ends] >= 0) & (drive.along_m[ends] <= find_end(scenario, drive.across_m[ends]))
    inside &= index >= 0
    log["true_strip"] = np.where(inside, np.append(layout.strip_names, "")[np.where(inside, strip, -1)], "")


def _log_grain(scenario: Scenario, readings: Readings, log: pd.DataFrame, shift: int, rng: np.random.Generator) -> None:
    """Add flow and moisture, and where the grain of each record truly came from."""
    per, rows = scenario.steps_per_record, len(log)

    def shifted(series: Floats) -> Floats:
        padded = np.append(series, np.zeros(max(shift + rows * per - len(series), 0)))
        return padded[shift : shift + rows * per].reshape(rows, per)

    weight = shifted(readings.weight_kg)
    total = weight.sum(axis=1)
    # A trickle left over from long ago has no place worth naming.
    total = np.where(total > TRICKLE * scenario.nominal_flow_kg_s * scenario.record_s, total, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        when, east, north = (
            np.where(total > 0, (np.nan_to_num(shifted(part)) * weight).sum(axis=1) / total, np.nan)
            for part in (readings.cut_time_s, readings.cut_easting_m, readings.cut_northing_m)
        )
    flow = shifted(readings.flow_kg_s).mean(axis=1)
    spike = (rng.random(rows) < scenario.spike_share) & (flow > 0)
    flow = np.where(spike, flow * rng.uniform(2, 5, rows), flow)
    kept, stuck = _spells(scenario, scenario.stuck_per_h, scenario.stuck_s, rows, rng)
    log["mass_flow_kg_s"] = _rounded(flow[kept], FLOW_UNIT_KG_S)
    log["moisture_pct"] = np.round(shifted(readings.moisture_pct)[:, -1], 1)
    log["true_delay_s"] = log["time"] - START_S - scenario.record_s / 2 - when
    log["true_cut_easting_m"], log["true_cut_northing_m"] = east, north
    log["true_spike"], log["true_stuck"] = spike & ~stuck, stuck


def _spells(
    scenario: Scenario, per_hour: float, mean_s: float, rows: int, rng: np.random.Generator
) -> tuple[NDArray[np.int64], Bools]:
    """Choose spells in which a value repeats; give for each row the row whose value stands, and which rows repeat."""
    kept = np.arange(rows)
    spell = np.zeros(rows, dtype=bool)
    for start in rng.integers(1, rows, rng.poisson(per_hour * rows * scenario.record_s / 3600)):
        length = max(round(rng.uniform(0.5, 1.5) * mean_s / scenario.record_s), 2)
        spell[start : start + length] = True
    kept[spell] = 0
    return np.maximum.accumulate(kept), spell


def _lose_and_repeat(scenario: Scenario, log: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Lose records in bursts of about five and write some twice."""
    starts = np.flatnonzero(rng.random(len(log)) < scenario.lost_share / 5)
    lost = (starts[:, None] + np.arange(5)).ravel()
    log = log.drop(log.index[np.unique(lost[lost < len(log)])])
    twice = rng.random(len(log)) < scenario.duplicate_share
    rows = np.repeat(np.arange(len(log)), 1 + twice)
    written = log.iloc[rows].reset_index(drop=True)
    written["true_duplicate"] = np.diff(rows, prepend=-1) == 0
    return written


def _rounded(values: Floats, unit: float) -> Floats:
    """Round to whole units."""
    return np.asarray(np.round(values / unit) * unit, dtype=np.float64)
