"""What the sensors make of the grain: errors that belong to the grain, noise, curvature and a lazy moisture probe."""

from dataclasses import dataclass

import numpy as np

from proofstrip.simulate import machine
from proofstrip.simulate.cut import Pieces
from proofstrip.simulate.drive import Drive, remember
from proofstrip.simulate.layout import Floats, Layout
from proofstrip.simulate.scenario import Combine, Scenario

EMPTYING_S = 90.0
EMPTY_KG = 1e-9


@dataclass(frozen=True)
class Readings:
    """What passes the sensors, step by step; longer than the drive, until the combine is empty.

    Attributes
    ----------
    flow_kg_s : Floats
        Wet flow as sensed, noise included.
    moisture_pct : Floats
        As the probe says.
    cut_time_s, cut_easting_m, cut_northing_m : Floats
        When and where the grain was cut, on average by mass; NaN where there is none.
    weight_kg : Floats
        Grain at standard moisture behind these averages.
    sensed_share : Floats
        Per piece of ground: sensed mass per true mass, without noise.
    """

    flow_kg_s: Floats
    moisture_pct: Floats
    cut_time_s: Floats
    cut_easting_m: Floats
    cut_northing_m: Floats
    weight_kg: Floats
    sensed_share: Floats


def sense_grain(
    scenario: Scenario, layout: Layout, combine: Combine, drive: Drive, pieces: Pieces, rng: np.random.Generator
) -> Readings:
    """Send the grain cut by one combine past its sensors.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    combine : Combine
    drive : Drive
    pieces : Pieces
    rng : numpy.random.Generator

    Returns
    -------
    Readings
    """
    step_s, steps = scenario.step_length_s, len(drive.step_m)
    standard = pieces.yield_kg_ha * pieces.area_m2 / 10_000
    wet = standard * (100 - scenario.standard_moisture_pct) / (100 - pieces.moisture_pct)
    pass_error = rng.normal(1, scenario.pass_error_sd, len(layout.pass_across_m))
    hours = (drive.edge_time_s[:-1] - drive.edge_time_s[0]) / 3600
    error = combine.gain * pass_error[drive.pass_index] * (1 + scenario.drift_pct_h / 100 * hours)
    error = error[pieces.step]
    middle = (drive.edge_time_s[:-1] + drive.edge_time_s[1:]) / 2
    across, along = ((line[:-1] + line[1:]) / 2 for line in (drive.across_m, drive.along_m))
    easting, northing = layout.frame.place(across, along)
    amounts = np.stack([np.bincount(pieces.step, part, steps) for part in (standard, wet, wet * error)])
    moments = amounts[0] * np.stack([middle, easting - easting[0], northing - northing[0]])
    mixing = (combine.mixing_s / step_s, scenario.tailings_share, scenario.tailings_s / step_s)
    pure_s = scenario.pure_delay_s(combine)
    transit = machine.transit_steps(
        amounts[1] / step_s, step_s, pure_s, (scenario.nominal_flow_kg_s, scenario.delay_flow_power)
    )
    extra = int((1.8 * pure_s + EMPTYING_S) / step_s) + 2
    out = machine.mix(machine.carry(np.vstack([amounts, moments]), transit, extra), *mixing)
    out[:3] = np.where(out[0] > EMPTY_KG, out[:3], 0)
    curve = np.ones(out.shape[1])
    if scenario.sensor_power != 1:
        flow = np.maximum(out[2] / step_s / scenario.nominal_flow_kg_s, 1e-6)
        curve = flow ** (scenario.sensor_power - 1)
    sensed_share = error * machine.carry_back(curve, transit, mixing)[pieces.step]
    clean = out[2] * curve / step_s
    with np.errstate(invalid="ignore", divide="ignore"):
        when, east, north = np.where(out[0] > 0, out[3:] / out[0], np.nan)
        water = np.where(out[0] > 0, 100 - (100 - scenario.standard_moisture_pct) * out[0] / out[1], np.nan)
    return Readings(
        np.maximum(clean + _flow_noise(scenario, clean, rng), 0),
        probe_moisture(scenario, _carry_over(water, combine.moisture_carry_s / step_s), rng),
        when,
        east + easting[0],
        north + northing[0],
        out[0],
        sensed_share,
    )


def _flow_noise(scenario: Scenario, clean_kg_s: Floats, rng: np.random.Generator) -> Floats:
    """Draw noise whose one-second means have the SD and memory asked for; an empty machine is silent."""
    step_s = scenario.step_length_s
    memory = scenario.noise_memory**step_s if scenario.noise_memory > 0 else 0.0
    count = max(round(1 / step_s), 1)
    lags = np.arange(1, count)
    variance = (count + 2 * np.sum((count - lags) * memory**lags)) / count**2
    noise = remember(rng.standard_normal(len(clean_kg_s)), memory) * scenario.noise_kg_s / np.sqrt(variance)
    noise *= np.minimum(clean_kg_s / (0.1 * scenario.nominal_flow_kg_s), 1)
    return np.asarray(noise, dtype=np.float64)


def _carry_over(water_pct: Floats, stay_steps: float) -> Floats:
    """Mix what reaches the probe with the older grain in its chamber, the last strip's too."""
    known = np.isfinite(water_pct)
    if stay_steps == 0 or not known.any():
        return water_pct
    first = water_pct[known][0]
    mixed = water_pct.copy()
    mixed[known] = first + machine.lag(water_pct[known] - first, stay_steps)
    return mixed


def probe_moisture(scenario: Scenario, water_pct: Floats, rng: np.random.Generator) -> Floats:
    """Read moisture every few seconds and repeat it in between, and for as long as no grain comes.

    Parameters
    ----------
    scenario : Scenario
    water_pct : Floats
        Moisture of the grain at the probe per step, NaN where there is none [%].
    rng : numpy.random.Generator

    Returns
    -------
    Floats
        As read per step [%].
    """
    every = max(round(scenario.moisture_hold_s / scenario.step_length_s), 1)
    sampled = water_pct[::every] + rng.normal(0, scenario.moisture_noise_pt, len(water_pct[::every]))
    known = np.flatnonzero(np.isfinite(sampled))
    if not len(known):
        return np.full(len(water_pct), scenario.moisture_pct)
    latest = np.maximum(np.searchsorted(known, np.arange(len(sampled)), side="right") - 1, 0)
    held: Floats = np.repeat(sampled[known[latest]], every)[: len(water_pct)]
    return held
