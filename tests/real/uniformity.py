"""Lay a uniformity trial over a field that was harvested without one: passes become strips, labels are drawn."""

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from proofstrip.clean import Track, follow_machines
from proofstrip.config import HarvestPart, load_defaults
from proofstrip.config import config_folder as configs
from proofstrip.crops import find_crop
from proofstrip.read import read_harvest

CORN_COLUMNS = """
[harvest.columns]
mass_flow = { column = "mass", unit = "lb/s" }
distance = { column = "dist", unit = "inch" }
elevation = { column = "elev", unit = "ft" }
time = { column = "time", unit = "s" }
duration = { column = "seconds", unit = "s" }
moisture = { column = "moist", unit = "percent" }
"""
LEAST_PASS_M = 250.0


def real_data() -> Path:
    """Give the folder of real data, or skip the test and say why."""
    folder = os.environ.get("PROOFSTRIP_REAL_DATA")
    if not folder:
        pytest.skip("PROOFSTRIP_REAL_DATA names no folder of real data")
    return Path(folder).resolve()


def follow_corn(csv: Path) -> tuple[gpd.GeoDataFrame, Track]:
    """Read the corn field and find its passes."""
    import tomllib

    columns = tomllib.loads(CORN_COLUMNS)["harvest"]["columns"]
    part = HarvestPart(files=(csv.name,), swath="360 inch", columns=columns)
    points = read_harvest(part, csv.parent, find_crop("corn", configs())).points
    return points, follow_machines(points, load_defaults().clean)


def lay_strips(track: Track, crs: object, seed: int, group: int = 2) -> gpd.GeoDataFrame:
    """Make a strip of each long pass, group neighbours into blocks, and draw a label for each within its block."""
    lines = []
    for number in np.unique(track.pass_id[track.pass_id > 0]):
        mine = np.flatnonzero(track.pass_id == number)
        line = (
            shapely.LineString(np.column_stack([track.easting[mine], track.northing[mine]])) if len(mine) > 1 else None
        )
        if line is not None and line.length > LEAST_PASS_M:
            lines.append((number, line))
    across = _across([line for _, line in lines])
    order = np.argsort(across)
    width = float(np.median(track.swath))
    rng = np.random.default_rng(seed)
    rows, k = [], 0
    while k + group <= len(order):
        members = order[k : k + group]
        gaps = np.diff(across[members])
        if (gaps > 1.3 * width).any() or (gaps < 0.7 * width).any():
            k += 1
            continue
        labels = rng.permutation([f"label {letter}" for letter in "ABCDEFGH"[:group]])
        for place, label in zip(members, labels, strict=True):
            number, line = lines[place]
            shape = line.simplify(2.0).buffer(0.46 * width, cap_style="flat")
            shape = shape.difference(shapely.union_all([row["geometry"] for row in rows]))
            rows.append(
                {"strip": f"P{number}", "treatment": label, "block": f"B{len(rows) // group + 1}", "geometry": shape}
            )
        k += group
    return gpd.GeoDataFrame(rows, crs=crs)


def _across(lines: list[shapely.LineString]) -> np.ndarray:
    """Give each line's place across the direction that most of them run in."""
    ends = np.array([np.subtract(line.coords[-1], line.coords[0]) for line in lines])
    doubled = 2 * np.arctan2(ends[:, 0], ends[:, 1])
    heading = np.arctan2(np.sin(doubled).sum(), np.cos(doubled).sum()) / 2
    middle = np.array([line.interpolate(0.5, normalized=True).coords[0] for line in lines])
    return middle[:, 0] * np.cos(heading) - middle[:, 1] * np.sin(heading)


def write_trial(folder: Path, csv: pd.DataFrame, strips: gpd.GeoDataFrame) -> Path:
    """Write raw records, trial map and trial file into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    csv.to_csv(folder / "points.csv", index=False)
    strips.to_file(folder / "trial_map.gpkg")
    (folder / "trial.toml").write_text(
        f"""[trial]
name = "Uniformity trial"
season = 2011
crop = "corn"
[harvest]
files = ["points.csv"]
swath = "360 inch"
{CORN_COLUMNS}
[trial_map]
file = "trial_map.gpkg"
block = "block"
control = "label A"
""",
        encoding="utf-8",
    )
    return folder / "trial.toml"
