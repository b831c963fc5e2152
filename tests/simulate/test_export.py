"""An invented harvest as a trial folder: it says what was simulated, and that it is invented."""

import io
import json
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
from click.testing import CliRunner
from shapely.geometry import shape

from proofstrip.cli.main import main
from proofstrip.config import load_settings
from proofstrip.simulate import SCENARIOS, Scenario, Simulated, render_folder, simulate_harvest
from proofstrip.simulate.export import grid_north_deg

SHORT = replace(SCENARIOS["one_per_load"], blocks=2, strip_length_m=80)


def log_of(harvest: Simulated) -> pd.DataFrame:
    return pd.read_csv(io.StringIO(render_folder(harvest)["harvest.csv"]))


@pytest.mark.parametrize(
    ("units", "factors"),
    # NIST SP 811: 1 lb = 0.45359237 kg, 1 ft = 0.3048 m, 1 mph = 0.44704 m/s.
    [
        ("us", {"Mass flow (lb/s)": 0.45359237, "Distance (ft)": 0.3048, "Speed (mph)": 0.44704}),
        ("metric", {"Mass flow (kg/s)": 1.0, "Distance (m)": 1.0, "Speed (km/h)": 1 / 3.6}),
    ],
)
def test_the_log_says_the_records_in_its_units(units, factors):
    harvest = simulate_harvest(replace(SHORT, units=units), 1)
    log, records = log_of(harvest), harvest.records
    for (name, factor), column in zip(factors.items(), ["mass_flow_kg_s", "distance_m", "speed_m_s"], strict=True):
        assert np.allclose(log[name] * factor, records[column], atol=0.006 * factor), name
    seconds = pd.to_datetime(log["Time (UTC)"]).map(pd.Timestamp.timestamp)
    assert np.allclose(seconds, records["time"], atol=2e-3)
    assert (log["Header"].eq("down") == records["header_down"]).all()
    assert not [name for name in log if "true" in name.lower()]


def test_grid_north_is_off_true_north_by_the_convergence_of_the_projection():
    # PROJ's own meridian convergence is the outside reference; its sign is that of grid north seen from true north.
    lon, lat = pyproj.Transformer.from_crs("EPSG:32612", "EPSG:4326", always_xy=True).transform(319_700, 4_520_250)
    convergence = pyproj.Proj("EPSG:32612").get_factors(lon, lat).meridian_convergence
    assert np.isclose(abs(grid_north_deg()), abs(convergence), atol=1e-4)
    # West of the central meridian grid north points west of true north.
    assert grid_north_deg() < 0


def test_the_place_has_a_projection_scale_of_one():
    lon, lat = pyproj.Transformer.from_crs("EPSG:32612", "EPSG:4326", always_xy=True).transform(319_700, 4_520_250)
    assert np.isclose(pyproj.Proj("EPSG:32612").get_factors(lon, lat).meridional_scale, 1.0, atol=5e-5)


def test_the_map_is_the_trial_map():
    harvest = simulate_harvest(SHORT, 1)
    features = json.loads(render_folder(harvest)["trial_map.geojson"])["features"]
    drawn = harvest.trial_map.to_crs("EPSG:4326")
    for feature, row in zip(features, drawn.itertuples(), strict=True):
        assert feature["properties"] == {"strip": row.strip, "treatment": row.treatment, "block": row.block}
        assert shape(feature["geometry"]).symmetric_difference(row.geometry).area < 1e-3 * row.geometry.area
        assert shape(feature["geometry"]).exterior.is_ccw  # RFC 7946, 3.1.6


def test_a_display_without_header_switch_writes_no_header_column():
    harvest = simulate_harvest(replace(SHORT, header_switch="missing"), 1)
    assert "Header" not in log_of(harvest)


def test_the_trial_file_loads(tmp_path: Path):
    for name, text in render_folder(simulate_harvest(SHORT, 1)).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    settings = load_settings(tmp_path / "trial.toml")
    assert settings.trial_map.control == "control"
    assert (tmp_path / settings.harvest.files[0]).is_file()
    assert settings.scale is not None
    assert (tmp_path / settings.scale.file).is_file()


def test_the_readme_says_that_all_is_invented_and_lists_every_knob():
    text = render_folder(simulate_harvest(SHORT, 7))["README.md"]
    assert "**Everything here is invented.**" in text
    assert "- tried: yield x 1.04" in text
    assert "- strip_length_m = 80 (not the default)" in text
    assert "Seed 7," in text
    for item in fields(Scenario):
        if item.name not in ("name", "note", "treatments", "combines"):
            assert f"- {item.name} = " in text


def test_the_command_writes_the_same_bytes_for_a_seed(tmp_path: Path):
    folders = [tmp_path / name for name in ("one", "two", "other")]
    for folder, seed in zip(folders, ["3", "3", "4"], strict=True):
        done = CliRunner().invoke(main, ["simulate", "short_strips", "--seed", seed, "--to", str(folder)])
        assert done.exit_code == 0, done.output
    names = sorted(path.name for path in folders[0].iterdir())
    assert names == ["README.md", "harvest.csv", "trial.toml", "trial_map.geojson", "truth_strips.csv"]
    one, two, other = ({name: (folder / name).read_bytes() for name in names} for folder in folders)
    assert one == two
    assert one["harvest.csv"] != other["harvest.csv"]


def test_the_command_overwrites_nothing(tmp_path: Path):
    (tmp_path / "mine.txt").write_text("mine")
    done = CliRunner().invoke(main, ["simulate", "flat", "--to", str(tmp_path)])
    assert done.exit_code == 2
    assert "holds files already" in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_the_command_names_its_scenarios():
    done = CliRunner().invoke(main, ["simulate", "nonsense", "--to", "x"])
    assert done.exit_code == 2
    assert "one_per_load" in done.output


def test_trials_of_two_seeds_have_two_names():
    # Pooled, trials of one name in one season would count as the same trial twice.
    names = [render_folder(simulate_harvest(SHORT, seed))["trial.toml"].splitlines() for seed in (1, 2)]
    first, second = (next(line for line in lines if line.startswith("name")) for lines in names)
    assert "seed 1" in first
    assert "seed 2" in second
