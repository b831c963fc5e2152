"""The trial map: the polygons of the strips with their treatment and block."""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from proofstrip.config import TrialMapPart
from proofstrip.errors import DataError, Notice
from proofstrip.read.files import find_file, tell_format
from proofstrip.read.positions import WGS84, looks_like_degrees, measures_metres, utm_crs
from proofstrip.read.values import label_text
from proofstrip.read.vector import read_shapes

MAX_OVERLAP = 0.01
# Share of a mended strip about which its outline is of two minds.
MAX_CROSSED = 0.05


@dataclass(frozen=True)
class TrialMap:
    """The strips of a trial.

    Attributes
    ----------
    strips : geopandas.GeoDataFrame
        strip, treatment, block (None where the design has none) and geometry; projected, in metres.
    notices : tuple of Notice
    sha256 : str
    """

    strips: gpd.GeoDataFrame
    notices: tuple[Notice, ...]
    sha256: str


def read_trial_map(settings: TrialMapPart, folder: Path, beside: Sequence[str] = ()) -> TrialMap:
    """Read the strips.

    Parameters
    ----------
    settings : TrialMapPart
    folder : pathlib.Path
        The file's name starts here.
    beside : sequence of str
        Further columns that the comparison uses, kept as they are where the map has them.

    Returns
    -------
    TrialMap
        A row per strip, in the order of the file.

    Raises
    ------
    DataError
        When the file, its coordinate system, a column, a label or a polygon is missing or wrong, strips overlap, or the
        control is no treatment of the map.
    """
    path, sha256 = find_file(settings.file, folder)
    notices: list[Notice] = []
    raw = _read_polygons(path)
    table = _pick_columns(raw, settings, path.name)
    _refuse_spellings(table, path.name)
    for name in beside:
        if name in raw.columns and name not in table.columns:
            table[name] = raw[name].to_numpy()
    _check_control(table, settings.control, path.name)
    table["geometry"] = _mend(table, path.name, notices)
    table = _project(_merge_parts(table, path.name, notices), path.name, notices)
    _refuse_overlap(table, path.name)
    return TrialMap(table, tuple(notices), sha256)


def read_map_columns(path: Path) -> dict[str, list[object]]:
    """Read the columns of a trial map, before anything is known of it.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    dict of str to list
        Values by name of column; the geometry is left out.

    Raises
    ------
    DataError
        When the file is no map.
    """
    raw = _read_polygons(path)
    return {str(name): raw[name].tolist() for name in raw.columns if name != raw.geometry.name}


def _read_polygons(path: Path) -> gpd.GeoDataFrame:
    """Read the file's one layer of polygons."""
    kind = tell_format(path)
    if kind == "delimited text":
        raise DataError(f"{path.name}: a trial map holds polygons: use GeoPackage, Shapefile, GeoJSON or GeoParquet.")
    raw = read_shapes(path, kind, "Polygon")
    if not len(raw):
        raise DataError(f"{path.name}: the map holds no strip.")
    if raw.crs is None:
        raise DataError(
            f"{path.name}: the map names no coordinate system, so its strips lie nowhere; "
            "save it with one (a shapefile needs its .prj file)."
        )
    return raw


def _pick_columns(raw: gpd.GeoDataFrame, settings: TrialMapPart, file: str) -> gpd.GeoDataFrame:
    """Take the columns named in the settings, as labels."""
    wanted = {"strip": settings.strip, "treatment": settings.treatment, "block": settings.block}
    there = [str(name) for name in raw.columns if name != raw.geometry.name]
    labels: dict[str, list[str | None]] = {}
    for role, name in wanted.items():
        if name is None:
            labels[role] = [None] * len(raw)
            continue
        if name not in there:
            near = difflib.get_close_matches(name, there, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise DataError(
                f"{file}: the map has no column {name!r} for the {role}.{hint} Columns: {', '.join(there)}. "
                f"Set [trial_map] {role}."
            )
        labels[role] = [label_text(value) for value in raw[name]]
        empty = [number for number, label in enumerate(labels[role], start=1) if label is None]
        if empty:
            raise DataError(f"{file}: column {name!r} is empty in {len(empty)} polygons (first: number {empty[0]}).")
    table = pd.DataFrame(labels, dtype="object")
    return gpd.GeoDataFrame(table, geometry=raw.geometry.to_numpy(), crs=raw.crs)


def _check_control(table: gpd.GeoDataFrame, control: str, file: str) -> None:
    """Refuse a control that is no treatment; name the nearest."""
    treatments = sorted(set(table["treatment"]))
    if control in treatments:
        return
    folded = {name.casefold(): name for name in treatments}
    near = difflib.get_close_matches(control.casefold(), folded, n=1)
    hint = f" Did you mean {folded[near[0]]!r}?" if near else ""
    raise DataError(
        f"{file}: [trial_map] control = {control!r} is no treatment of the map.{hint} "
        f"Treatments: {', '.join(map(repr, treatments))}; set control to one of them."
    )


def _refuse_spellings(table: gpd.GeoDataFrame, file: str) -> None:
    """Refuse names that differ only in capitals: one treatment or block would be taken for two."""
    for role in ("treatment", "block"):
        names = [name for name in pd.unique(table[role]) if name is not None]
        for name in names:
            twins = [other for other in names if other.casefold() == name.casefold()]
            if len(twins) > 1:
                raise DataError(
                    f"{file}: {role}s {' and '.join(map(repr, twins))} differ only in capitals; give each {role} one "
                    "spelling in the map."
                )


def _mend(table: gpd.GeoDataFrame, file: str, notices: list[Notice]) -> list[object]:
    """Flatten the polygons and make invalid ones valid; refuse what has no area."""
    mended = []
    for strip, shape in zip(table["strip"], table.geometry, strict=True):
        if shape is None or shape.is_empty:
            raise DataError(f"{file}: strip {strip!r} has no polygon.")
        flat = shapely.force_2d(shape)
        if not flat.is_valid:
            why = shapely.is_valid_reason(flat)
            drawn, flat = shapely.area(flat), _only_polygons(shapely.make_valid(flat))
            # Loops that run the other way count negative: then the outline does not say which ground is meant.
            if abs(drawn - shapely.area(flat)) > MAX_CROSSED * shapely.area(flat):
                raise DataError(
                    f"{file}: the outline of strip {strip!r} crosses itself so that it does not say which ground is "
                    f"meant ({why}); draw it again."
                )
            notices.append(Notice("polygon_mended", f"{file}: the polygon of strip {strip!r} was mended ({why})."))
        if flat.geom_type not in ("Polygon", "MultiPolygon") or flat.area <= 0 or not np.isfinite(flat.bounds).all():
            raise DataError(f"{file}: strip {strip!r} is a {shape.geom_type} and has no area; draw it as a polygon.")
        mended.append(flat)
    return mended


def _only_polygons(shape: shapely.Geometry) -> shapely.Geometry:
    """Keep the areas of a mended polygon; lines and points that mending leaves have none."""
    parts = shapely.get_parts(shape)
    areas = [part for part in parts if part.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.union_all(areas) if areas else shape


def _merge_parts(table: gpd.GeoDataFrame, file: str, notices: list[Notice]) -> gpd.GeoDataFrame:
    """Make one row of the several polygons of a strip; refuse parts of different treatments or blocks."""
    if table["strip"].is_unique:
        return table
    rows = []
    for strip, parts in table.groupby("strip", sort=False):
        for role in ("treatment", "block"):
            found = parts[role].drop_duplicates().tolist()
            if len(found) > 1:
                raise DataError(
                    f"{file}: strip {strip!r} stands {len(parts)} times with {role}s {', '.join(map(repr, found))}; "
                    "give each strip its own name."
                )
        if len(parts) > 1:
            notices.append(
                Notice("strip_merged", f"{file}: {len(parts)} polygons named {strip!r} are taken as one strip.")
            )
        first = parts.iloc[0]
        rows.append({**first.to_dict(), "strip": strip, "geometry": shapely.union_all(parts.geometry.to_numpy())})
    merged = pd.DataFrame(rows, dtype="object")
    return gpd.GeoDataFrame(merged, geometry="geometry", crs=table.crs)


def _project(table: gpd.GeoDataFrame, file: str, notices: list[Notice]) -> gpd.GeoDataFrame:
    """Bring the map to a projection that measures metres on the ground: its own where it does, else its UTM zone."""
    size = np.abs(table.total_bounds)
    if table.crs.is_geographic and not (size <= [180, 90, 180, 90]).all():
        hint = "longitude and latitude are swapped, exchange them." if (size <= [90, 180, 90, 180]).all() else ""
        raise DataError(
            f"{file}: the map says it is in degrees ({table.crs.name}), but its coordinates reach {size.max():.6g}"
            + (f" to the north: {hint}" if hint else "; save it with its true coordinate system.")
        )
    if table.crs.is_projected and looks_like_degrees(shapely.get_coordinates(table.geometry.to_numpy())):
        raise DataError(
            f"{file}: the map says it is in {table.crs.name}, which counts metres, but its coordinates (about "
            f"{table.total_bounds[0]:.6g}, {table.total_bounds[1]:.6g}) look like degrees; save it with its true "
            "coordinate system, WGS 84 where they are longitude and latitude."
        )
    west, south, east, north = table.to_crs(WGS84).total_bounds
    if not np.isfinite([west, south, east, north]).all():
        raise DataError(f"{file}: the coordinates do not fit the map's coordinate system {table.crs.name!r}.")
    longitude, latitude = (west + east) / 2, (south + north) / 2
    if measures_metres(table.crs, longitude, latitude):
        return table
    target = utm_crs(longitude, latitude)
    if not table.crs.is_geographic:
        said = f"{file}: {table.crs.name} does not measure metres on the ground; taken to {target.name}."
        notices.append(Notice("map_projected", said))
    return table.to_crs(target)


def _refuse_overlap(table: gpd.GeoDataFrame, file: str) -> None:
    """Refuse two strips that share more ground than a drawing error explains."""
    shapes = table.geometry.to_numpy()
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pairs = first < second
    first, second = first[pairs], second[pairs]
    smaller = np.minimum(shapely.area(shapes[first]), shapely.area(shapes[second]))
    shared = shapely.area(shapely.intersection(shapes[first], shapes[second])) / smaller
    for one, two, share in zip(first, second, shared, strict=True):
        if share > MAX_OVERLAP:
            raise DataError(
                f"{file}: strips {table['strip'].iloc[one]!r} and {table['strip'].iloc[two]!r} overlap by {share:.1%} "
                f"of the smaller one; at most {MAX_OVERLAP:.0%} is allowed. Redraw the map."
            )
