"""Shapefile, GeoPackage, GeoJSON through GDAL; GeoParquet and plain Parquet through pyarrow."""

import json
import warnings
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet
import pyogrio
import pyproj
import shapely

from proofstrip.errors import DataError, Notice
from proofstrip.read.table import Floats, Head, Loaded

# Where a file holds several layers of polygons, the one of this name is the trial map: a layout writes it so.
STRIP_LAYER = "strips"
# What a damaged file makes its reader raise.
GDAL_FAULTS = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyproj.exceptions.CRSError,
    pa.ArrowException,
    ValueError,
    OSError,
    # pyogrio 0.13 meets a coordinate system that is no UTF-8 with this fault of its own.
    UnboundLocalError,
)
# Beyond this size features are not counted a second time: it would take several times as much memory.
MAX_COUNTED_BYTES = 300_000_000
PARQUET_FAULTS = (pa.ArrowException, ValueError, OSError)


def look_at_vector(path: Path, kind: str) -> Head:
    """Find layer, headers and coordinate system of a Shapefile, GeoPackage or GeoJSON.

    Parameters
    ----------
    path : pathlib.Path
    kind : str
        Format, for people.

    Returns
    -------
    Head

    Raises
    ------
    DataError
        When GDAL cannot read the file, or it has not exactly one layer of points.
    """
    # What GDAL warns of here ends in an error, or is said again when the rows are read.
    with warnings.catch_warnings(action="ignore"):
        try:
            layer = pick_layer(path, "Point")
            info = pyogrio.read_info(path, layer=layer)
            crs = pyproj.CRS.from_user_input(info["crs"]) if info["crs"] else None
        except GDAL_FAULTS as fault:
            raise unreadable(path, kind, fault) from fault
    if not info["features"]:
        raise DataError(f"{path.name}: layer {layer!r} has columns and no record; export the file again.")
    geometry = info["geometry_name"] or "wkb_geometry"
    return Head(path, kind, tuple(info["fields"]), {"layer": layer}, geometry=geometry, crs=crs)


def load_vector(head: Head, types: dict[str, pa.DataType]) -> Loaded:
    """Read the columns wanted and the points; rows keep their order."""
    with warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("always")
        try:
            _, table = pyogrio.read_arrow(head.path, layer=head.layout["layer"], columns=list(types))
            # Texts that are no UTF-8 would fail only where they are looked at.
            table.validate(full=True)
        except GDAL_FAULTS as fault:
            raise unreadable(head.path, head.format, fault) from fault
    notices = tuple(Notice("format_warning", f"{head.path.name}: {warning.message}.") for warning in warned)
    if head.format == "GeoJSON":
        _check_features(head.path, table.num_rows)
    geometry = head.geometry if head.geometry in table.column_names else "wkb_geometry"
    points = _read_wkb(table[geometry].to_numpy(), head)
    return Loaded(table.select(list(types)), point_coordinates(points, head.path), notices)


def look_at_parquet(path: Path) -> Head:
    """Find headers and, where it is GeoParquet, the points and their coordinate system.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    Head

    Raises
    ------
    DataError
        When the file is damaged or has no row.
    """
    try:
        metadata = pa.parquet.read_metadata(path)
        names = metadata.schema.to_arrow_schema().names
    except PARQUET_FAULTS as fault:
        raise unreadable(path, "Parquet", fault) from fault
    if not metadata.num_rows:
        raise DataError(f"{path.name}: the file has columns and no record; export it again.")
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise DataError(f"{path.name}: column {twice!r} stands twice; give each column its own name.")
    try:
        geo = json.loads((metadata.metadata or {}).get(b"geo", b"{}"))
        if not geo:
            return Head(path, "Parquet", tuple(names))
        column, others = str(geo["primary_column"]), set(geo["columns"])
        # GeoParquet 1.1: an absent "crs" means longitude and latitude on WGS 84, a null one means unknown.
        said = geo["columns"][column].get("crs", "OGC:CRS84")
        crs = None if said is None else pyproj.CRS.from_user_input(said)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, pyproj.exceptions.CRSError) as fault:
        raise unreadable(path, "GeoParquet", fault) from fault
    if column not in names:
        raise unreadable(path, "GeoParquet", ValueError(f"its column of points {column!r} is not there"))
    return Head(path, "GeoParquet", tuple(name for name in names if name not in others), geometry=column, crs=crs)


def load_parquet(head: Head, types: dict[str, pa.DataType]) -> Loaded:
    """Read the columns wanted and the points; rows keep their order."""
    wanted = list(types) + ([head.geometry] if head.geometry else [])
    try:
        table = pa.parquet.read_table(head.path, columns=wanted)
        table.validate(full=True)
    except PARQUET_FAULTS as fault:
        raise unreadable(head.path, head.format, fault) from fault
    if not head.geometry:
        return Loaded(table, None)
    points = table[head.geometry].combine_chunks()
    if pa.types.is_struct(points.type):
        xy = np.column_stack([pc.struct_field(points, name).to_numpy(zero_copy_only=False) for name in ("x", "y")])
    else:
        xy = point_coordinates(_read_wkb(points.to_numpy(zero_copy_only=False), head), head.path)
    return Loaded(table.select(list(types)), xy)


def _check_features(path: Path, rows: int) -> None:
    """Refuse a GeoJSON of which GDAL left features out without a word, such as those of a mistyped type."""
    if path.stat().st_size > MAX_COUNTED_BYTES:
        return
    try:
        found = json.loads(path.read_bytes())
    except (ValueError, RecursionError) as fault:
        raise unreadable(path, "GeoJSON", fault) from fault
    listed = len(found.get("features", ())) if isinstance(found, dict) else 0
    if listed > rows:
        raise DataError(
            f"{path.name}: the file lists {listed:,} features and {rows:,} of them can be read; look for those whose "
            "type is not 'Feature', or export the file again."
        )


def _read_wkb(points: Any, head: Head) -> Any:
    """Read points as they are stored."""
    try:
        return shapely.from_wkb(points)
    except (shapely.errors.GEOSException, TypeError, ValueError) as fault:
        raise unreadable(head.path, head.format, fault) from fault


def pick_layer(path: Path, kind: str) -> str:
    """Name the only layer whose geometry is of ``kind``, or of several the one called ``strips``; else an error.

    Parameters
    ----------
    path : pathlib.Path
    kind : str
        ``Point`` or ``Polygon``.

    Returns
    -------
    str
    """
    layers = {str(name): str(geometry) for name, geometry in pyogrio.list_layers(path)}
    fitting = [
        name for name, geometry in layers.items() if kind in geometry or geometry in ("Unknown", "GeometryCollection")
    ]
    if len(fitting) == 1:
        return fitting[0]
    if STRIP_LAYER in fitting:
        return STRIP_LAYER
    listed = ", ".join(f"{name!r} ({geometry})" for name, geometry in layers.items()) or "none"
    problem = "several layers" if fitting else "no layer"
    raise DataError(f"{path.name}: {problem} of type {kind}; found: {listed}. Save the one layer wanted as a file.")


def point_coordinates(points: Any, path: Path) -> Floats:
    """Give x and y of an array of points; NaN where there is none, an error where the geometry is no point."""
    points = np.where(shapely.is_empty(points), None, points)
    kinds = shapely.get_type_id(points)
    wrong = ~np.isin(kinds, [-1, shapely.GeometryType.POINT])
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise DataError(
            f"{path.name}: {int(wrong.sum())} records are no points (first: row {row + 1}, a {points[row].geom_type}); "
            "harvest records must be points."
        )
    return np.column_stack([shapely.get_x(points), shapely.get_y(points)]).astype("float64")


def read_shapes(path: Path, form: str, kind: str) -> gpd.GeoDataFrame:
    """Read a layer of shapes whole.

    Parameters
    ----------
    path : pathlib.Path
    form : str
        As ``tell_format`` names it.
    kind : str
        Of geometry: ``Polygon`` or ``LineString``.

    Returns
    -------
    geopandas.GeoDataFrame

    Raises
    ------
    DataError
        When the format's own reader refuses the file, or it has not exactly one fitting layer.
    """
    try:
        if form == "Parquet":
            return gpd.read_parquet(path)
        return gpd.read_file(path, layer=pick_layer(path, kind), engine="pyogrio")
    except (*GDAL_FAULTS, shapely.errors.GEOSException) as fault:
        raise unreadable(path, form, fault) from fault


def unreadable(path: Path, kind: str, fault: Exception) -> DataError:
    """Make the sentence for a file that its own format's reader refuses."""
    said = (str(fault).splitlines() or [type(fault).__name__])[0][:200].rstrip(".")
    return DataError(f"{path.name}: cannot be read as {kind} ({said}); is the file complete? Export it again.")
