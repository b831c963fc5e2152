"""Walk an invented harvest through cleaning, and hold its strips against what a perfect pipeline would get."""

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.clean import clean_points, estimate_delays, follow_machines
from proofstrip.config import Settings, load_settings
from proofstrip.moisture import Known, settle_moisture
from proofstrip.sensitivity import Material, walk_again
from proofstrip.simulate import SCENARIOS, Simulated, render_folder, simulate_harvest
from proofstrip.strips import make_strips, project_along


def to_points(harvest: Simulated) -> gpd.GeoDataFrame:
    """Give the logged records as the read stage would."""
    records = harvest.records
    geometry = gpd.points_from_xy(records["easting_m"], records["northing_m"], crs=harvest.trial_map.crs)
    return gpd.GeoDataFrame(records.assign(record=np.arange(len(records)), utc_offset_s=0.0), geometry=geometry)


def settings_of(harvest: Simulated, folder: Path) -> Settings:
    """Give the settings of the harvest's own trial file."""
    (folder / "trial.toml").write_text(render_folder(harvest)["trial.toml"], encoding="utf-8")
    return load_settings(folder / "trial.toml")


def gather_material(harvest: Simulated, points: gpd.GeoDataFrame, settings: Settings) -> Material:
    """Walk the points of an invented harvest as far as the strips, and keep what other choices start from."""
    track = follow_machines(points, settings.clean)
    delays = estimate_delays(points, track, settings.clean, None)
    cleaned = clean_points(points, track, delays, settings.clean)
    found = settle_moisture(cleaned, settings, Known(track, delays, harvest.trial_map))
    material = Material(points, track, delays, cleaned, harvest.trial_map, settings, found.pct)
    return replace(material, cleaned=walk_again(material))


def strip_errors(name: str, seed: int, folder: Path) -> pd.DataFrame:
    """Give, for each strip, its yield and the one of a perfect pipeline on the same stretch with the same sensor."""
    harvest = simulate_harvest(SCENARIOS[name], seed)
    settings, points = settings_of(harvest, folder), to_points(harvest)
    return errors_of(harvest, gather_material(harvest, points, settings))


def errors_of(harvest: Simulated, material: Material) -> pd.DataFrame:
    """Compare the strips of an invented harvest with a perfect pipeline on the same stretch with the same sensor."""
    cleaned = material.cleaned
    table = make_strips(cleaned, harvest.trial_map, material.settings).set_index("strip")
    ground = harvest.ground.rename(columns={"easting_m": "cut_easting_m", "northing_m": "cut_northing_m"})
    place, counted = project_along(ground, harvest.trial_map), project_along(cleaned, harvest.trial_map)
    window = counted[cleaned["usable"]].groupby(cleaned["block"]).agg(["min", "max"])
    inside = place.between(ground["block"].map(window["min"]), ground["block"].map(window["max"]))
    sums = ground[inside].groupby("strip")[["sensed_mass_kg", "area_m2"]].sum()
    table["perfect_kg_ha"] = sums["sensed_mass_kg"] / sums["area_m2"] * 10_000
    return table.assign(error_pct=100 * (table["yield_kg_ha"] / table["perfect_kg_ha"] - 1))


def delay_errors(name: str, seed: int, folder: Path) -> list[float | None]:
    """Give, for each machine, how far its delay is from the truth; None where it was not estimated."""
    scenario = SCENARIOS[name]
    harvest = simulate_harvest(scenario, seed)
    settings, points = settings_of(harvest, folder), to_points(harvest)
    track = follow_machines(points, settings.clean)
    true = {combine.name: combine.delay_s - scenario.shift_applied_s for combine in scenario.combines}
    return [
        delay.seconds - true[delay.machine] if delay.source == "estimated" else None
        for delay in estimate_delays(points, track, settings.clean, None)
    ]
