"""An invented harvest as the texts of a trial folder: log, trial map, trial file, tickets, truth and README."""

import json
from dataclasses import dataclass, fields

import pandas as pd
import pyproj
from shapely.geometry.polygon import orient

from proofstrip.simulate.counts import list_losses
from proofstrip.simulate.display import START_S
from proofstrip.simulate.harvest import Simulated
from proofstrip.simulate.layout import CRS, ORIGIN_M
from proofstrip.simulate.scenario import Scenario

KG_PER_LB, M_PER_FT, M_S_PER_MPH = 0.45359237, 0.3048, 0.44704


@dataclass(frozen=True)
class Story:
    """What a trial file says besides the harvest.

    Attributes
    ----------
    name, field, notes : str
        For [trial].
    economics : str
        A whole [economics] part in TOML; empty: none.
    readme : str
        Markdown put before the list of what is planted.
    """

    name: str
    field: str = "Made-up Field"
    notes: str = "Invented by the simulator; no farm, field or product is meant."
    economics: str = ""
    readme: str = ""


def render_folder(harvest: Simulated, story: Story | None = None) -> dict[str, str]:
    """Write out an invented harvest as the files of a trial.

    Parameters
    ----------
    harvest : Simulated
    story : Story, optional
        Not given: named after the scenario, without economics.

    Returns
    -------
    dict of str to str
        File name -> text. The same harvest gives the same texts.
    """
    scenario = harvest.scenario
    story = story or Story(f"invented harvest: {scenario.name}, seed {harvest.seed}")
    files = {
        "harvest.csv": format_log(harvest).to_csv(index=False, lineterminator="\n"),
        "trial_map.geojson": _format_map(harvest),
        "trial.toml": _format_trial(harvest, story),
        "truth_strips.csv": list_truth(harvest).to_csv(index=False, lineterminator="\n"),
        "README.md": _format_readme(harvest, story),
    }
    if scenario.tickets:
        files["tickets.csv"] = _format_tickets(harvest).to_csv(index=False, lineterminator="\n")
    if scenario.counts:
        files["ground_counts.csv"] = _format_counts(harvest).to_csv(index=False, lineterminator="\n")
    return files


def format_log(harvest: Simulated) -> pd.DataFrame:
    """Give the log as the display exports it: units in the headers, rounded, without any truth.

    Parameters
    ----------
    harvest : Simulated

    Returns
    -------
    pandas.DataFrame
    """
    records, us = harvest.records, harvest.scenario.units == "us"
    length, flow, speed = (M_PER_FT, KG_PER_LB, M_S_PER_MPH) if us else (1.0, 1.0, 1 / 3.6)
    length_unit, flow_unit, speed_unit = ("ft", "lb/s", "mph") if us else ("m", "kg/s", "km/h")
    log = pd.DataFrame(
        {
            "Longitude (deg)": records["longitude"].map("{:.8f}".format),
            "Latitude (deg)": records["latitude"].map("{:.8f}".format),
            f"Elevation ({length_unit})": (records["elevation_m"] / length).round(1),
            "Time (UTC)": pd.to_datetime(records["time"].mul(1000).round(), unit="ms").dt.strftime(
                "%Y-%m-%dT%H:%M:%S.%f"
            ),
            f"Mass flow ({flow_unit})": (records["mass_flow_kg_s"] / flow).round(2 if us else 3),
            "Moisture (%)": records["moisture_pct"],
            "Interval (s)": records["duration_s"],
            f"Distance ({length_unit})": (records["distance_m"] / length).round(2 if us else 3),
            f"Header width ({length_unit})": (records["swath_m"] / length).round(2),
            f"Speed ({speed_unit})": (records["speed_m_s"] / speed).round(2),
            # A receiver knows true north, the simulator's frame grid north.
            "Heading (deg)": ((records["heading_deg"] + grid_north_deg()) % 360).round(1),
            "Header": records["header_down"].map({True: "down", False: "up"}),
            "Machine": records["machine"],
        }
    )
    log["Time (UTC)"] = log["Time (UTC)"].str[:-3] + "Z"
    return log.drop(columns="Header") if harvest.scenario.header_switch == "missing" else log


def grid_north_deg() -> float:
    """Give the true direction of grid north at the invented fields, clockwise [deg]."""
    to_degrees = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    east, north = ORIGIN_M
    (from_lon, to_lon), (from_lat, to_lat) = to_degrees.transform([east, east], [north, north + 500])
    return float(pyproj.Geod(ellps="WGS84").inv(from_lon, from_lat, to_lon, to_lat)[0])


def list_truth(harvest: Simulated) -> pd.DataFrame:
    """List what each strip truly bore.

    Parameters
    ----------
    harvest : Simulated

    Returns
    -------
    pandas.DataFrame
        strip, treatment, block, area_m2 (cut), true_yield_kg_ha, untreated_yield_kg_ha (of the same ground without
        treatment), sensed_yield_kg_ha (what the sensor lets anybody find), planted_effect, realised_effect; where
        seeds are counted lost_header_kg_ha and lost_machine_kg_ha.
    """
    ground = harvest.ground[harvest.ground["strip"] != ""]
    masses = ["area_m2", "true_mass_kg", "untreated_mass_kg", "sensed_mass_kg"]
    strips = ground.groupby(["strip", "treatment", "block"], observed=True)[masses].sum().reset_index()
    planted = {kind.name: kind.effect for kind in harvest.scenario.treatments}
    truth = strips[["strip", "treatment", "block"]].assign(area_m2=strips["area_m2"].round(1))
    for name in ("true", "untreated", "sensed"):
        truth[f"{name}_yield_kg_ha"] = (strips[f"{name}_mass_kg"] / strips["area_m2"] * 10_000).round(2)
    truth["planted_effect"] = strips["treatment"].astype(str).map(planted)
    truth["realised_effect"] = (strips["true_mass_kg"] / strips["untreated_mass_kg"]).round(5)
    if harvest.scenario.counts:
        losses = list_losses(harvest.scenario, harvest.ground).round(2)
        truth = truth.join(losses[["header_kg_ha", "machine_kg_ha"]].add_prefix("lost_"), on="strip")
    return truth


def _format_tickets(harvest: Simulated) -> pd.DataFrame:
    """Give the scale tickets in the units of the log."""
    # A truck scale shows steps of 20 lb or 10 kg.
    unit, factor, shown = ("lb", KG_PER_LB, 20) if harvest.scenario.units == "us" else ("kg", 1.0, 10)
    steps = harvest.tickets["wet_mass_kg"] / factor / shown
    column = "Combine" if harvest.scenario.load_of == "combine" else "Strip"
    return pd.DataFrame(
        {
            column: harvest.tickets["machine" if column == "Combine" else "strip"],
            f"Wet weight ({unit})": steps.round().mul(shown).astype(int),
            "Moisture (%)": harvest.tickets["moisture_pct"],
        }
    )


def _format_counts(harvest: Simulated) -> pd.DataFrame:
    """Give the ground-loss counts as somebody types them in after the field day."""
    unit, factor = ("ft2", M_PER_FT**2) if harvest.scenario.units == "us" else ("m2", 1.0)
    counts = harvest.counts
    return pd.DataFrame(
        {
            "Strip": counts["strip"],
            "Zone": counts["zone"],
            "Frame": counts["frame"],
            "Seeds": counts["seeds"],
            f"Frame area ({unit})": round(harvest.scenario.frame_m2 / factor, 4),
        }
    )


def _format_map(harvest: Simulated) -> str:
    """Give the trial map as GeoJSON (RFC 7946: longitude and latitude on WGS 84)."""
    shapes = harvest.trial_map.to_crs("EPSG:4326")
    features = []
    for row in shapes.itertuples(index=False):
        ring = [[round(east, 8), round(north, 8)] for east, north in orient(row.geometry).exterior.coords]
        properties = {"strip": row.strip, "treatment": row.treatment, "block": row.block}
        geometry = {"type": "Polygon", "coordinates": [ring]}
        features.append(json.dumps({"type": "Feature", "properties": properties, "geometry": geometry}))
    return '{"type": "FeatureCollection", "features": [\n' + ",\n".join(features) + "\n]}\n"


def _format_trial(harvest: Simulated, story: Story) -> str:
    """Give a trial file that runs."""
    scenario = harvest.scenario
    season = pd.Timestamp(START_S, unit="s").year
    text = f"""# Invented trial: see README.md for what is planted in it.

[trial]
name = {json.dumps(story.name)}
field = {json.dumps(story.field)}
season = {season}
crop = {json.dumps(scenario.crop)}
notes = {json.dumps(story.notes)}

[harvest]
files = ["harvest.csv"]

[trial_map]
file = "trial_map.geojson"
strip = "strip"
treatment = "treatment"
block = "block"
control = {json.dumps(scenario.treatments[0].name)}
"""
    if scenario.tickets:
        text += '\n[scale]\nfile = "tickets.csv"\n'
    if scenario.counts:
        text += f'\n[ground_loss]\nfile = "ground_counts.csv"\nthousand_kernel_g = {scenario.thousand_kernel_g:g}\n'
    if story.economics:
        text += f"\n{story.economics.strip()}\n"
    return text


def _format_readme(harvest: Simulated, story: Story) -> str:
    """Say that all is invented, and what is planted."""
    scenario = harvest.scenario
    truth = list_truth(harvest).groupby("treatment", sort=False)["realised_effect"].mean()
    plain = Scenario()
    effects = "\n".join(
        f"- {kind.name}: yield x {kind.effect:g} (realised on its ground: x {truth[kind.name]:.4f})"
        for kind in scenario.treatments
    )
    names = [item.name for item in fields(Scenario) if item.name not in ("name", "note", "treatments", "combines")]
    knobs = "\n".join(
        f"- {name} = {value!r}" + ("" if value == getattr(plain, name) else " (not the default)")
        for name, value in ((name, getattr(scenario, name)) for name in names)
    )
    combines = "\n".join(
        f"- {item.name}: logs {item.gain:g} x the true flow; grain takes {item.delay_s:g} s to the sensor"
        for item in scenario.combines
    )
    beside = (TICKETS[scenario.load_of] if scenario.tickets else "") + (COUNTS if scenario.counts else "")
    return f"""# {story.name}

**Everything here is invented.** A simulator drove combines over a field that does not exist; the place on the map is
a salt desert where nothing grows. No farm, person or product is meant.

{(story.readme or scenario.note).strip()}

## What is planted

Treatments:

{effects}

Combines:

{combines}

Every other setting of the simulator (docs/simulate.md says what each means, and its unit):

{knobs}

Seed {harvest.seed}, {len(harvest.records)} records, {len(harvest.trial_map)} strips.

## Files

- harvest.csv: the log as the display exports it
- trial_map.geojson: the strips
- trial.toml: `proofstrip run trial.toml` works on this folder
- truth_strips.csv: the truth for each strip; nothing in the pipeline reads it{beside}
"""


TICKETS = {
    kind: f"\n- tickets.csv: {what}, weighed on an invented scale"
    for kind, what in {
        "strip": "one load a strip",
        "block": "one load a block",
        "pair": "one load for two strips of one treatment",
        "combine": "loads by combine",
    }.items()
}
COUNTS = "\n- ground_counts.csv: seeds counted in frames on the invented ground, by strip and zone"
