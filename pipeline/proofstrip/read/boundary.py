"""The field before the season: its boundary, and the line that guidance follows."""

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from proofstrip.errors import DataError, Notice
from proofstrip.read.files import find_file, tell_format
from proofstrip.read.positions import WGS84, measures_metres, utm_crs
from proofstrip.read.safe_xml import parse_xml
from proofstrip.read.vector import read_shapes

# A guidance line that leaves the straight line between its ends by more than this is a curve.
MAX_BEND_M = 1.0


@dataclass(frozen=True)
class Boundary:
    """The ground of a field.

    Attributes
    ----------
    ground : shapely.MultiPolygon
        Valid, without overlaps; holes are ground that is no field [m].
    crs : pyproj.CRS
        Measures metres: the file's own where it does, else the UTM zone.
    notices : tuple of Notice
    """

    ground: shapely.MultiPolygon
    crs: pyproj.CRS
    notices: tuple[Notice, ...]


def read_boundary(file: str, folder: Path) -> Boundary:
    """Read the boundary of a field, all polygons of the file together.

    Parameters
    ----------
    file : str
        Shapefile, GeoPackage, GeoJSON, GeoParquet or KML, in any coordinate system.
    folder : pathlib.Path
        The file's name starts here.

    Returns
    -------
    Boundary

    Raises
    ------
    DataError
        When the file, its coordinate system or its polygons are missing or wrong.
    """
    path, _ = find_file(file, folder)
    table = _read(path, "Polygon")
    notices: list[Notice] = []
    shapes = []
    for number, shape in enumerate(table.geometry, start=1):
        if shape is None or shape.is_empty:
            continue
        flat = shapely.force_2d(shape)
        if not flat.is_valid:
            why = shapely.is_valid_reason(flat)
            flat = shapely.make_valid(flat)
            notices.append(Notice("boundary_mended", f"{path.name}: polygon {number} was mended ({why})."))
        # Twice: mending may give a collection that holds several polygons as one.
        areas = [part for part in shapely.get_parts(shapely.get_parts(flat)) if part.geom_type == "Polygon"]
        shapes += areas
        if not areas:
            raise DataError(
                f"{path.name}: number {number} is a {shape.geom_type} and has no area; draw the boundary as a polygon."
            )
    if not shapes:
        raise DataError(f"{path.name}: the file holds no polygon; the boundary of the field is one or more polygons.")
    whole = gpd.GeoSeries(shapes, crs=table.crs)
    crs = _metric_crs(whole, path)
    ground = shapely.union_all(whole.to_crs(crs).to_numpy())
    parts = [part for part in shapely.get_parts(ground) if part.geom_type == "Polygon" and part.area > 1.0]
    if not parts:
        raise DataError(
            f"{path.name}: the boundary encloses less than a square metre in {crs.name}; "
            "check its coordinate system (degrees saved as metres shrink a field to a point)."
        )
    return Boundary(shapely.MultiPolygon(parts), crs, tuple(notices))


def read_ab_line(file: str, folder: Path, crs: pyproj.CRS) -> tuple[np.ndarray, np.ndarray]:
    """Read a straight guidance line.

    Parameters
    ----------
    file : str
    folder : pathlib.Path
    crs : pyproj.CRS
        Of the boundary.

    Returns
    -------
    tuple of two arrays of float, shape (2,)
        Its ends, A and B: easting and northing [m].

    Raises
    ------
    DataError
        When the file holds not exactly one line, or the line bends.
    """
    path, _ = find_file(file, folder)
    lines = [shape for shape in _read(path, "Line").to_crs(crs).geometry if shape is not None and not shape.is_empty]
    parts = shapely.get_parts(lines)
    if len(parts) != 1:
        raise DataError(f"{path.name}: the file holds {len(parts)} lines; save the one AB line wanted as a file.")
    points = shapely.get_coordinates(parts[0])
    start, end = points[0], points[-1]
    length = float(np.hypot(*(end - start)))
    if not np.isfinite(points).all() or length < 1.0:
        raise DataError(f"{path.name}: the AB line is {length:.2f} m long; A and B must lie apart.")
    east, north = (end - start) / length
    bend = float(np.abs((points - start) @ np.array([north, -east])).max())
    if bend > MAX_BEND_M:
        raise DataError(
            f"{path.name}: the line leaves the straight line from A to B by {bend:.1f} m. Strips along curves or "
            "contours are not laid out here; give a straight AB line or [strips] heading_deg."
        )
    return start, end


def _read(path: Path, kind: str) -> gpd.GeoDataFrame:
    """Read the file's one layer of polygons or lines."""
    suffix = path.suffix.lower()
    form = "KML" if suffix == ".kml" else tell_format(path)
    if form == "KML" and not parse_xml(path).tag.endswith("}kml"):
        # GDAL goes by the content: a virtual data source called .kml names other files and addresses.
        raise DataError(f"{path.name}: the content is no KML; export the boundary again.")
    if form == "delimited text":
        raise DataError(f"{path.name}: a table holds no shapes; use GeoPackage, Shapefile, GeoJSON, GeoParquet or KML.")
    table = read_shapes(path, form, kind)
    if table.crs is None:
        raise DataError(
            f"{path.name}: the file names no coordinate system, so nobody knows where the field lies; "
            "save it with one (a shapefile needs its .prj file)."
        )
    return table


def _metric_crs(shapes: gpd.GeoSeries, path: Path) -> pyproj.CRS:
    """Give a coordinate system in metres: the file's own, or the UTM zone."""
    reach = np.abs(shapes.total_bounds)
    if shapes.crs.is_geographic and not (reach <= [180, 90, 180, 90]).all():
        raise DataError(
            f"{path.name}: the file says it is in degrees ({shapes.crs.name}), but its coordinates reach "
            f"{reach.max():.6g}; save it with its true coordinate system."
        )
    west, south, east, north = shapes.to_crs(WGS84).total_bounds
    if not np.isfinite([west, south, east, north]).all():
        raise DataError(f"{path.name}: the coordinates do not fit the file's coordinate system {shapes.crs.name!r}.")
    longitude, latitude = (west + east) / 2, (south + north) / 2
    own = pyproj.CRS.from_user_input(shapes.crs)
    return own if measures_metres(own, longitude, latitude) else utm_crs(longitude, latitude)
