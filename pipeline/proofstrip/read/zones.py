"""A zone layer: polygons with a name each, or a raster of zone numbers."""

import difflib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import rasterio  # type: ignore[import-untyped]

from proofstrip.config import ZonesPart
from proofstrip.errors import DataError
from proofstrip.read.files import find_file, tell_format
from proofstrip.read.values import label_text
from proofstrip.read.vector import read_shapes

# Suffix -> GDAL's reader. Left to itself GDAL goes by the content: a virtual raster (VRT) called zones.tif names other
# files and addresses.
RASTERS = {".tif": "GTiff", ".tiff": "GTiff", ".asc": "AAIGrid", ".img": "HFA"}
# Cells under a field: 1,000 ha in cells of 0.5 m. A file of a few kilobytes can claim many times as many.
MOST_CELLS = 40_000_000
MOST_ZONES = 12


def read_zones(settings: ZonesPart, folder: Path, points: gpd.GeoDataFrame) -> tuple["pd.Series[str]", str]:
    """Give each record the zone that its cut lies in.

    Parameters
    ----------
    settings : ZonesPart
    folder : pathlib.Path
        The file's name starts here.
    points : geopandas.GeoDataFrame
        Geometry where the grain was cut; a projected CRS.

    Returns
    -------
    tuple of pandas.Series of str and str
        Zones on the index of the points, empty outside all of them; and the file's SHA-256.

    Raises
    ------
    DataError
        When the file cannot be read, names no coordinate system, has no such column, holds more than 12 zones, or no
        record lies in any.
    """
    path, sha256 = find_file(settings.file, folder)
    raster = path.suffix.lower() in RASTERS
    zone = _sample_raster(path, points) if raster else _ask_polygons(path, settings.zone, points)
    names = zone.dropna().unique()
    if len(names) == 0:
        raise DataError(f"{path.name}: no record lies in a zone; check that layer and records belong to one field.")
    if len(names) > MOST_ZONES:
        raise DataError(
            f"{path.name}: {len(names)} different zones hold records (such as {', '.join(map(repr, names[:3]))}), at "
            f"most {MOST_ZONES} can be compared. Put a measured quantity into classes first."
        )
    return zone, sha256


def _sample_raster(path: Path, points: gpd.GeoDataFrame) -> "pd.Series[str]":
    """Take the value of the first band under each record."""
    try:
        with rasterio.open(path, driver=RASTERS[path.suffix.lower()]) as source:
            if source.crs is None:
                raise DataError(f"{path.name}: the raster names no coordinate system; save it with one.")
            to_raster = pyproj.Transformer.from_crs(points.crs, source.crs.to_wkt(), always_xy=True)
            x, y = to_raster.transform(points.geometry.x.to_numpy(), points.geometry.y.to_numpy())
            rows, columns = rasterio.transform.rowcol(source.transform, np.nan_to_num(x), np.nan_to_num(y), op=np.floor)
            row, column = np.asarray(rows, dtype=np.int64), np.asarray(columns, dtype=np.int64)
            inside = (row >= 0) & (row < source.height) & (column >= 0) & (column < source.width) & np.isfinite(x)
            value = np.full(len(points), np.nan)
            if inside.any():
                value[inside] = _read_cells(source, path, row[inside], column[inside])
    except rasterio.errors.RasterioIOError as fault:
        raise DataError(
            f"{path.name}: cannot be read as a raster of zones ({fault}). Read are GeoTIFF, ASCII grids and IMG."
        ) from fault
    text = [f"zone {number:g}" if np.isfinite(number) else None for number in value.tolist()]
    return pd.Series(text, index=points.index, dtype="object")


def _read_cells(source: rasterio.DatasetReader, path: Path, row: np.ndarray, column: np.ndarray) -> np.ndarray:
    """Read cells of the first band, and no more of the raster than the part that holds them."""
    top, left = int(row.min()), int(column.min())
    height, width = int(row.max()) - top + 1, int(column.max()) - left + 1
    cells = max(height * width, int(np.prod(source.block_shapes[0])))
    if cells > MOST_CELLS:
        raise DataError(
            f"{path.name}: {cells:,} cells of the raster would have to be read, at most {MOST_CELLS:,} are; cut it to "
            "the field, or save it in larger cells."
        )
    band = source.read(1, masked=True, window=((top, top + height), (left, left + width)))
    found: np.ndarray = np.ma.filled(band.astype(np.float64), np.nan)[row - top, column - left]
    return found


def _ask_polygons(path: Path, name: str, points: gpd.GeoDataFrame) -> "pd.Series[str]":
    """Take the name of the polygon that each record lies in; the first where polygons overlap."""
    zones = read_shapes(path, tell_format(path), "Polygon")
    columns = [str(column) for column in zones.columns if column != zones.geometry.name]
    if name not in columns:
        near = difflib.get_close_matches(name, columns, n=1)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise DataError(
            f"{path.name}: the zone layer has no column {name!r}.{hint} Columns: {', '.join(columns)}. "
            "Set [zones] zone."
        )
    if zones.crs is None:
        raise DataError(f"{path.name}: the zone layer names no coordinate system; save it with one.")
    shapes = zones.to_crs(points.crs).geometry.make_valid()
    place, polygon = shapes.sindex.query(points.geometry.to_numpy(), predicate="within")
    first = pd.Series(polygon, index=place).groupby(level=0).min()
    labels = np.array([label_text(value) for value in zones[name]], dtype="object")
    zone = np.full(len(points), None, dtype="object")
    zone[first.index.to_numpy()] = labels[first.to_numpy()]
    return pd.Series(zone, index=points.index, dtype="object")
