"""Every layer of an item read again, by the libraries that others read it with."""

import json
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio
import rasterio  # type: ignore[import-untyped]

from proofstrip.columns import ARCHIVE_COLUMNS, POINT_COLUMNS

# What a reader of a damaged file raises; pyarrow and GDAL have their own kinds.
UNREADABLE = (OSError, ValueError, KeyError, pa.ArrowException, rasterio.errors.RasterioError, RuntimeError)


def read_again(folder: Path, names: Collection[str], properties: dict[str, Any]) -> dict[str, str]:
    """Read the layers of an item.

    Parameters
    ----------
    folder : pathlib.Path
    names : collection of str
        Files that should be there.
    properties : dict
        Of its item.json.

    Returns
    -------
    dict of str to str
        File -> what is wrong with it; empty: everything reads as it should.
    """
    problems = {}
    for name, check in CHECKS.items():
        if name in names:
            try:
                problem = check(folder / name, properties)
            except UNREADABLE as fault:
                problem = f"cannot be read: {fault}"
            if problem:
                problems[name] = problem
    return problems


def _check_points(path: Path, properties: dict[str, Any]) -> str:
    """Read the points; say what is wrong with them."""
    points = gpd.read_parquet(path)
    lost = [c.name for c in (*ARCHIVE_COLUMNS, *POINT_COLUMNS) if c.name not in points]
    if lost:
        return f"has no column {', '.join(lost)}"
    expected = properties["proofstrip:records"]
    return "" if len(points) == expected else f"holds {len(points):,} records, archived were {expected:,}"


def _check_strips(path: Path, properties: dict[str, Any]) -> str:
    """Read the strips and their outline."""
    layers = {str(name) for name, _ in pyogrio.list_layers(path)}
    if layers != {"strips", "boundary"}:
        return f"holds the layers {', '.join(sorted(layers))}"
    rows = {layer: len(gpd.read_file(path, layer=layer, engine="pyogrio")) for layer in ("strips", "boundary")}
    expected = properties["proofstrip:strips"]
    return "" if rows["strips"] == expected and rows["boundary"] == 1 else f"holds {rows['strips']} strips"


def _check_surface(path: Path, properties: dict[str, Any]) -> str:
    """Read a surface."""
    with rasterio.open(path) as source:
        return "" if np.isfinite(source.read(1)).any() else "holds no value"


def _check_table(path: Path, properties: dict[str, Any]) -> str:
    """Read a table."""
    return "" if len(pd.read_csv(path)) else "holds no row"


def _check_json(path: Path, properties: dict[str, Any]) -> str:
    """Read a JSON file."""
    json.loads(path.read_text(encoding="utf-8"))
    return ""


CHECKS: dict[str, Callable[[Path, dict[str, Any]], str]] = {
    "points.parquet": _check_points,
    "strips.gpkg": _check_strips,
    "yield.tif": _check_surface,
    "moisture.tif": _check_surface,
    "elevation.tif": _check_surface,
    "strips.csv": _check_table,
    "dictionary.csv": _check_table,
    "flags.csv": _check_table,
    "result.json": _check_json,
    "run.json": _check_json,
    "provenance.json": _check_json,
}
