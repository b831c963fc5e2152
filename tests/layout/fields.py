"""Layout files and invented fields for the tests, in projected metres."""

import json
from pathlib import Path

import numpy as np
import shapely

from proofstrip.layout import LayoutSettings, load_layout

EASTING, NORTHING = 320_000.0, 4_521_000.0
CRS = "urn:ogc:def:crs:EPSG::32612"
TEXT = """
[trial]
name = "Invented layout"
season = 2025
crop = "soybean"
notes = "Invented."
[field]
boundary = "boundary.geojson"
headland = "{headland}"
[machines]
planter = "12 m"
sprayer = "24 m"
header = "{header}"
treated_with = "{tool}"
[strips]
treatments = {treatments}
control = "A"
replicates = {replicates}
seed = {seed}
heading_deg = {heading}
{strips}
[report]
units = "metric"
{more}
"""
DEFAULTS = {
    "headland": "20 m",
    "header": "6 m",
    "tool": "planter",
    "treatments": '["A", "B"]',
    "replicates": 4,
    "seed": 1,
    "heading": 0,
    "strips": "",
    "more": "",
}


def write_file(folder: Path, **changes: object) -> Path:
    """Write a layout file with some of its words changed."""
    path = folder / "LAYOUT.toml"
    path.write_text(TEXT.format(**(DEFAULTS | changes)), encoding="utf-8")
    return path


def make_settings(folder: Path, **changes: object) -> LayoutSettings:
    """Load a layout file with some of its words changed."""
    return load_layout(write_file(folder, **changes))


def write_boundary(folder: Path, shape: shapely.Geometry, name: str = "boundary.geojson") -> Path:
    """Write a boundary in metres from the corner of the invented field."""
    moved = shapely.transform(shape, lambda points: points + np.array([EASTING, NORTHING]))
    feature = {"type": "Feature", "properties": {}, "geometry": json.loads(shapely.to_geojson(moved))}
    crs = {"type": "name", "properties": {"name": CRS}}
    path = folder / name
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": [feature]}), encoding="utf-8")
    return path
