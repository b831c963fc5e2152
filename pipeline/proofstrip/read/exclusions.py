"""Records that a person excluded: polygons or record numbers in a GeoJSON file, each with reason, author and date."""

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import shapely
import shapely.geometry

from proofstrip.errors import DataError
from proofstrip.read.files import find_file
from proofstrip.read.positions import WGS84

USUAL_NAME = "exclusions.geojson"
NEEDED = ("reason", "author", "date")
MOST_TOLD = 8


@dataclass(frozen=True)
class Exclusion:
    """One feature of the file.

    Attributes
    ----------
    number : int
        Place in the file, from 1.
    reason, author, date : str
        The date as YYYY-MM-DD.
    ground : shapely.Geometry or None
        Polygon in the projection of the records; none where record numbers are given.
    rows : tuple of tuple of int
        First and last row of each run, both included; rows as in ``source_row``.
    source_file : str or None
        The raw file that is meant; none: any.
    """

    number: int
    reason: str
    author: str
    date: str
    ground: shapely.Geometry | None
    rows: tuple[tuple[int, int], ...]
    source_file: str | None


@dataclass(frozen=True)
class Exclusions:
    """The exclusions of a trial.

    Attributes
    ----------
    file : str
        Its name, for messages.
    items : tuple of Exclusion
    sha256 : str
    path : pathlib.Path
    """

    file: str
    items: tuple[Exclusion, ...]
    sha256: str
    path: Path


def read_exclusions(name: str | None, folder: Path, crs: pyproj.CRS) -> Exclusions | None:
    """Read the exclusions of a trial, where it has any.

    Parameters
    ----------
    name : str or None
        As in ``[clean] exclusions``; none: ``exclusions.geojson`` beside the trial file, if it is there.
    folder : pathlib.Path
        The file's name starts here.
    crs : pyproj.CRS
        Projection of the records; polygons are brought to it.

    Returns
    -------
    Exclusions or None

    Raises
    ------
    DataError
        When the file is no FeatureCollection, or a feature lacks its place, reason, author or date: names every
        feature by its number.

    References
    ----------
    RFC 7946, The GeoJSON Format (2016): section 3.3 FeatureCollection, section 4 coordinates in WGS 84. The member
    ``crs`` is the older GeoJSON specification's (2008), section 3.
    """
    if name is None and not (folder / USUAL_NAME).is_file():
        return None
    path, sha256 = find_file(name or USUAL_NAME, folder)
    content = _load(path)
    source = _find_crs(content, path.name)
    items, problems = [], []
    for number, feature in enumerate(content["features"], start=1):
        found = _read_feature(number, feature, source, crs)
        if isinstance(found, Exclusion):
            items.append(found)
        else:
            problems.append(f"feature {number}: {'; '.join(found)}")
    if problems:
        more = f" ... and {len(problems) - MOST_TOLD} more features" if len(problems) > MOST_TOLD else ""
        raise DataError(f"{path.name}: {'. '.join(_capital(text) for text in problems[:MOST_TOLD])}{more}.")
    return Exclusions(path.name, tuple(items), sha256, path)


def _capital(text: str) -> str:
    """Start a sentence."""
    return text[:1].upper() + text[1:]


def _load(path: Path) -> dict[str, Any]:
    """Read the file as a FeatureCollection."""
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (json.JSONDecodeError, UnicodeDecodeError) as fault:
        raise DataError(
            f"{path.name}: this is no GeoJSON ({fault}); save it again from the program it was drawn in."
        ) from fault
    kind = content.get("type") if isinstance(content, dict) else type(content).__name__
    if kind != "FeatureCollection" or not isinstance(content.get("features"), list):
        raise DataError(
            f"{path.name}: exclusions are a GeoJSON FeatureCollection with a list of features; found {kind!r}."
        )
    return dict(content)


def _find_crs(content: dict[str, Any], file: str) -> pyproj.CRS:
    """Take the coordinate system that the file names the old way; WGS 84 where it names none, as RFC 7946 has it."""
    member = content.get("crs")
    if member is None:
        return pyproj.CRS(WGS84)
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    try:
        return pyproj.CRS.from_user_input(name)
    except pyproj.exceptions.CRSError as fault:
        raise DataError(
            f'{file}: the member "crs" names no coordinate system that is known (found {json.dumps(member)}); '
            'leave it out for degrees of WGS 84, or write a name such as "urn:ogc:def:crs:EPSG::32614".'
        ) from fault


def _read_feature(number: int, feature: Any, source: pyproj.CRS, target: pyproj.CRS) -> Exclusion | list[str]:
    """Read one feature, or say everything that is wrong with it."""
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        return [f"it is no GeoJSON Feature (found {_quote(feature)})"]
    properties = feature.get("properties") or {}
    if not isinstance(properties, dict):
        return [f'"properties" must be an object with reason, author and date; found {_quote(properties)}']
    problems = [_missing(key, properties.get(key)) for key in NEEDED if not _is_text(properties.get(key))]
    when = properties.get("date")
    day = _read_date(when) if _is_text(when) else None
    if _is_text(when) and day is None:
        problems.append(f"the date must be a day written as 2024-10-31; found {_quote(when)}")
    source_file = properties.get("source_file")
    if source_file is not None and not _is_text(source_file):
        problems.append(f'"source_file" must be the name of a raw file; found {_quote(source_file)}')
    rows = _read_rows(properties.get("records"), problems)
    ground = _read_ground(feature.get("geometry"), source, target, problems)
    if ground is None and not rows and not problems:
        problems.append('it has neither a polygon nor "records"; draw a polygon, or number the records: [[12, 40], 77]')
    if ground is not None and rows:
        problems.append("it has a polygon and record numbers; make two features of it")
    if problems:
        return problems
    told = {key: str(properties[key]).strip() for key in ("reason", "author")}
    return Exclusion(number, told["reason"], told["author"], str(day), ground, rows, source_file)


def _quote(value: Any) -> str:
    """Show what was found, shortened."""
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "..."


def _missing(key: str, value: Any) -> str:
    """Say that a property is not there, or is no text."""
    if value is None or (isinstance(value, str) and not value.strip()):
        return f'"{key}" is missing'
    return f'"{key}" must be text; found {_quote(value)}'


def _is_text(value: Any) -> bool:
    """Tell whether a property holds words."""
    return isinstance(value, str) and bool(value.strip())


def _read_date(text: Any) -> date | None:
    """Read a day; nothing where the text is none."""
    try:
        return date.fromisoformat(str(text).strip())
    except ValueError:
        return None


def _read_rows(value: Any, problems: list[str]) -> tuple[tuple[int, int], ...]:
    """Read record numbers: single ones, and runs as [first, last]."""
    if value is None:
        return ()
    if not isinstance(value, list) or not value:
        problems.append(f'"records" must be a list of record numbers, such as [[12, 40], 77]; found {_quote(value)}')
        return ()
    runs = [tuple(part) if isinstance(part, list) else (part, part) for part in value]
    for part, run in zip(value, runs, strict=True):
        whole = len(run) == 2 and all(isinstance(end, int) and not isinstance(end, bool) for end in run)
        if not whole or not 1 <= run[0] <= run[1]:
            problems.append(
                f'"records" holds {_quote(part)}; a record is a whole number from 1, a run is [first, last] with the '
                "first not above the last"
            )
            return ()
    return tuple((int(first), int(last)) for first, last in runs)


def _read_ground(value: Any, source: pyproj.CRS, target: pyproj.CRS, problems: list[str]) -> shapely.Geometry | None:
    """Read a polygon and bring it to the projection of the records."""
    if value is None:
        return None
    kind = value.get("type") if isinstance(value, dict) else None
    if kind not in ("Polygon", "MultiPolygon"):
        problems.append(f"its geometry must be a Polygon, a MultiPolygon or null; found {_quote(kind or value)}")
        return None
    try:
        shape = shapely.force_2d(shapely.geometry.shape(value))
    except (ValueError, TypeError, KeyError, IndexError, shapely.errors.ShapelyError) as fault:
        problems.append(f"its coordinates make no polygon ({fault})")
        return None
    if shape.is_empty or not shape.is_valid:
        why = "it is empty" if shape.is_empty else shapely.is_valid_reason(shape)
        problems.append(f"its polygon is not sound ({why}); draw it again")
        return None
    if source.is_geographic and not (np.abs(shape.bounds) <= [180, 90, 180, 90]).all():
        problems.append(
            f"its coordinates reach {np.abs(shape.bounds).max():,.6g}, which are no degrees of longitude and latitude; "
            'GeoJSON is in WGS 84 (RFC 7946) unless the file names another system in "crs"'
        )
        return None
    moved: shapely.Geometry = gpd.GeoSeries([shape], crs=source).to_crs(target).iloc[0]
    if not np.isfinite(shapely.bounds(moved)).all():
        problems.append(f"its coordinates do not fit the coordinate system {source.name!r}")
        return None
    return moved
