"""What tests of the stages vary: settings, records, a track; and the sample field, run once."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from proofstrip.clean import Track
from proofstrip.clean.track import find_headings, find_logs, find_spans, sum_within
from proofstrip.config import Defaults, Settings, load_defaults, load_settings
from proofstrip.run import run_trial

CRS = "EPSG:32614"
EASTING, NORTHING = 500_000.0, 4_400_000.0
SAMPLE = Path(__file__).resolve().parents[1] / "sample_fields" / "sorghum_lifters"
TRIAL = """
[trial]
name = "Invented trial"
season = 2024
crop = "{crop}"
[harvest]
files = ["harvest.csv"]
[trial_map]
file = "map.geojson"
control = "control"
"""


@pytest.fixture(scope="session")
def defaults() -> Defaults:
    """Give the shipped settings."""
    return load_defaults()


@pytest.fixture
def make_settings(tmp_path: Path) -> Callable[..., Settings]:
    """Load a small trial file, with more parts as TOML text."""

    def build(more: str = "", crop: str = "soybean") -> Settings:
        path = tmp_path / "trial.toml"
        path.write_text(TRIAL.format(crop=crop) + more, encoding="utf-8")
        return load_settings(path)

    return build


@pytest.fixture
def make_points() -> Callable[..., gpd.GeoDataFrame]:
    """Build records: one combine to the north at 2 m/s, a record a second, a 6 m header, 4 kg/s; any column varied."""

    def build(rows: int, **columns: Any) -> gpd.GeoDataFrame:
        second = 1.0 + np.arange(rows)
        straight = {
            "record": np.arange(rows),
            "source_file": "log.csv",
            "source_row": np.arange(1, rows + 1),
            "machine": "combine 1",
            "time": second,
            "easting_m": EASTING,
            "northing_m": NORTHING + 2.0 * second,
            "elevation_m": np.nan,
            "heading_deg": np.nan,
            "speed_m_s": 2.0,
            "duration_s": 1.0,
            "distance_m": 2.0,
            "swath_m": 6.0,
            "mass_flow_kg_s": 4.0,
            "moisture_pct": 13.0,
            "header_down": pd.NA,
        }
        frame = pd.DataFrame(straight | columns, index=np.arange(rows))
        frame = frame.astype({"machine": "category", "source_file": "category", "header_down": "boolean"})
        return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(frame["easting_m"], frame["northing_m"]), crs=CRS)

    return build


@pytest.fixture
def make_track() -> Callable[..., Track]:
    """Build a track along positions, a record a second; one pass unless ``pass_id`` says otherwise."""

    def build(easting: Any, northing: Any, **arrays: Any) -> Track:
        east, north = np.broadcast_arrays(np.asarray(easting, dtype=float), np.asarray(northing, dtype=float))
        rows = len(east)
        one, none = np.ones(rows), np.zeros(rows, dtype=np.int64)
        time = np.asarray(arrays.get("time", np.arange(rows) + 1.0), dtype=float)
        duration = np.asarray(arrays.get("duration", one))
        machine = np.asarray(arrays.get("machine", none))
        log = np.asarray(arrays.get("log", find_logs(time, machine, duration, 10.0)))
        way = np.hypot(np.diff(east), np.diff(north))
        distance = np.asarray(arrays.get("distance", np.r_[way[:1] if len(way) else 1.0, way][:rows]))
        parts = {
            "row": np.arange(rows),
            "machine": machine,
            "log": log,
            "time": time,
            "duration": duration,
            "span": find_spans(time, duration, log),
            "easting": np.array(east),
            "northing": np.array(north),
            "distance": distance,
            "odometer": sum_within(distance, log),
            "swath": 6 * one,
            "heading": 0 * one,
            "header_up": none.astype(bool),
            "turn": none.astype(bool),
            "pass_id": none + 1,
            "cut_width": 6 * one,
            **dict.fromkeys(("jumped", "frozen", "beside"), none.astype(bool)),
        }
        track = Track(**(parts | {name: np.asarray(values) for name, values in arrays.items()}))
        if "heading" in arrays or rows == 0:
            return track
        return Track(**(track.__dict__ | {"heading": find_headings(track, 6.0)}))

    return build


@pytest.fixture(scope="session")
def copy_sample() -> Callable[[Path], Path]:
    """Copy the sample field into a folder of the test; gives its trial file."""

    def copy(folder: Path) -> Path:
        shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("runs"))
        return folder / "trial.toml"

    return copy


@pytest.fixture(scope="session")
def sample_run(tmp_path_factory: pytest.TempPathFactory, copy_sample: Callable[[Path], Path]) -> Path:
    """Run the sample field; gives its run folder, to be read only."""
    trial = copy_sample(tmp_path_factory.mktemp("sample") / "field")
    run_trial(load_settings(trial), trial.parent / "run")
    return trial.parent / "run"
