"""What an archive says of itself: a STAC item a trial, a STAC collection, and trials.parquet, both made of the items.

References
----------
SpatioTemporal Asset Catalog (STAC) 1.1.0 with the extensions projection 2.0.0, file 2.1.0 and version 1.2.0.
"""

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import PurePosixPath
from typing import Any
from urllib.parse import quote, unquote

import geopandas as gpd
import pandas as pd
import pyproj
import pystac
import shapely
from packaging.licenses import InvalidLicenseExpression, canonicalize_license_expression
from pystac.extensions.file import FileExtension
from pystac.extensions.projection import ProjectionExtension
from pystac.extensions.version import ItemVersionExtension

from proofstrip.archive.hashes import to_multihash
from proofstrip.archive.layers import SHARED_CRS
from proofstrip.archive.names import Naming
from proofstrip.archive.runs import FinishedRun
from proofstrip.columns import ITEM_COLUMNS

COLLECTION = "collection.json"
TRIALS = "trials.parquet"
ITEM = "item.json"
# From an item's folder to the collection.
UP = "../../../"
# Seconds since 1970: a time below was counted from the start of a log, one above is no harvest.
DATED_S = (1e8, 4e9)
TITLES = {
    "points.parquet": "every raw record, cleaned: faults as flags, none dropped",
    "strips.gpkg": "strips with their yields, and the outline of all strips",
    "strips.csv": "the strip table",
    "result.json": "the answer, for programs",
    "run.json": "what was run, with which settings",
    "report.html": "the answer, for people",
    "provenance.json": "inputs, steps and people, as PROV-JSON",
    "dictionary.csv": "every column, its unit and meaning",
    "flags.csv": "every bit of the column flags",
}
MEDIA = {
    ".parquet": "application/vnd.apache.parquet",
    ".gpkg": "application/geopackage+sqlite3",
    ".tif": "image/tiff; application=geotiff; profile=cloud-optimized",
    ".json": "application/json",
    ".geojson": "application/geo+json",
    ".csv": "text/csv",
    ".html": "text/html",
    ".png": "image/png",
    ".toml": "application/toml",
    ".zip": "application/zip",
    ".xml": "application/xml",
}
DATA = ("points.parquet", "strips.gpkg", "strips.csv")


@dataclass(frozen=True)
class Item:
    """An item that stands in an archive.

    Attributes
    ----------
    folder : str
        Its place.
    data : dict
        item.json.
    sha256 : str
        Of item.json.
    """

    folder: str
    data: dict[str, Any]
    sha256: str

    @property
    def version(self) -> int:
        """Number of the version."""
        return int(self.data["properties"]["version"])

    @property
    def files(self) -> dict[str, dict[str, Any]]:
        """What it says of each other file, by its place below the folder."""
        return {unquote(asset["href"]): asset for asset in self.data["assets"].values()}

    @property
    def content(self) -> str:
        """Hash of what makes the run what it is."""
        return str(self.data["properties"]["proofstrip:content"])


def is_inside(place: str) -> bool:
    """Tell whether a place below a folder stays below it.

    Parameters
    ----------
    place : str

    Returns
    -------
    bool

    Examples
    --------
    >>> is_inside("source/harvest.csv"), is_inside("../harvest.csv")
    (True, False)
    """
    path = PurePosixPath(place)
    return not path.is_absolute() and ".." not in path.parts and "\\" not in place


@dataclass(frozen=True)
class Contents:
    """What an item is made of.

    Attributes
    ----------
    run : FinishedRun
    naming : Naming
    points, strips_map : geopandas.GeoDataFrame
    surfaces : dict of str to str
        File -> what it holds.
    rasters : dict of str to dict
        File -> shape and transform.
    """

    run: FinishedRun
    naming: Naming
    points: gpd.GeoDataFrame
    strips_map: gpd.GeoDataFrame
    surfaces: dict[str, str]
    rasters: dict[str, dict[str, Any]]


def describe_item(contents: Contents, files: dict[str, tuple[str, int]], earlier: Item | None) -> dict[str, Any]:
    """Make item.json.

    Parameters
    ----------
    contents : Contents
    files : dict of str to tuple of str and int
        Every other file of the item -> SHA-256 and size [bytes].
    earlier : Item or None
        The version before.

    Returns
    -------
    dict
    """
    naming = contents.naming
    ground = _find_ground(contents)
    start, end = _find_span(contents.points, naming.season)
    item = pystac.Item(
        naming.item,
        shapely.geometry.mapping(ground),
        list(ground.bounds),
        None,
        _describe_properties(contents),
        start_datetime=start,
        end_datetime=end,
        collection="trials",
    )
    _add_projection(ProjectionExtension.ext(item, add_if_missing=True), contents.points.crs)
    ItemVersionExtension.ext(item, add_if_missing=True).version = str(naming.version)
    for file, (sha256, size) in files.items():
        asset = pystac.Asset(quote(file), _title(file, contents.surfaces), None, _media(file), _roles(file))
        item.add_asset(file, asset)
        FileExtension.ext(asset, add_if_missing=True).apply(checksum=to_multihash(sha256), size=size)
        if file in contents.rasters:
            raster = contents.rasters[file]
            ProjectionExtension.ext(asset).shape = raster["shape"]
            ProjectionExtension.ext(asset).transform = raster["transform"]
    for rel in ("root", "collection", "parent"):
        item.add_link(pystac.Link(rel, f"{UP}{COLLECTION}", "application/json"))
    if earlier is not None:
        href = f"../{earlier.folder.rpartition('/')[2]}/{ITEM}"
        item.add_link(pystac.Link("predecessor-version", href, "application/geo+json", earlier.data["id"]))
    described: dict[str, Any] = item.to_dict(include_self_link=False, transform_hrefs=False)
    # Tuples and numpy's numbers become plain.
    plain: dict[str, Any] = json.loads(json.dumps(described))
    return plain


def _describe_properties(contents: Contents) -> dict[str, Any]:
    """Tell what the trial was, and on which terms it may be used."""
    run, naming = contents.run, contents.naming
    trial = run.result["trial"]
    licence = _spdx(run.terms.licence)
    return {
        "title": f"{trial['name']}, {trial['season']}",
        "description": f"Strip trial in {trial['crop']} ({trial['field'] or 'field not named'}), compared with "
        f"{trial['control']}. Times are UTC where the log or its trial file names the zone, else as stamped.",
        "created": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "license": licence,
        "providers": [{"name": run.terms.contact, "roles": ["producer", "licensor"]}],
        "proofstrip:licence": run.terms.licence,
        "proofstrip:contact": run.terms.contact,
        **{f"proofstrip:{name}": trial[name] for name in ("field", "season", "crop", "control", "notes")},
        "proofstrip:trial": trial["name"],
        "proofstrip:verdict": run.result["verdict"]["word"],
        "proofstrip:records": len(contents.points),
        "proofstrip:strips": len(contents.strips_map),
        "proofstrip:crs": naming.crs,
        "proofstrip:program": run.record["version"],
        "proofstrip:content": naming.content,
    }


def _spdx(licence: str) -> str:
    """Give the SPDX name of a licence, or ``other`` where its words are no SPDX expression."""
    try:
        return str(canonicalize_license_expression(licence))
    except InvalidLicenseExpression:
        return "other"


def _find_ground(contents: Contents) -> shapely.Polygon:
    """Outline strips and usable records, in degrees."""
    usable = contents.points[contents.points["usable"].to_numpy(dtype=bool)].geometry
    shapes = [*contents.strips_map.to_crs(contents.points.crs).geometry, shapely.MultiPoint(usable.to_numpy())]
    hull = gpd.GeoSeries([shapely.convex_hull(shapely.GeometryCollection(shapes))], crs=contents.points.crs)
    ground: shapely.Polygon = shapely.set_precision(hull.to_crs(SHARED_CRS).iloc[0], 1e-7)
    return ground


def _find_span(points: gpd.GeoDataFrame, season: int) -> tuple[datetime, datetime]:
    """Give the first and last time of the usable records; the year where their times name no date."""
    times = points.loc[points["usable"].to_numpy(dtype=bool), "time"]
    times = times[times.between(*DATED_S)]
    if times.empty:
        return datetime(season, 1, 1, tzinfo=UTC), datetime(season, 12, 31, 23, 59, 59, tzinfo=UTC)
    return datetime.fromtimestamp(float(times.min()), UTC), datetime.fromtimestamp(float(times.max()), UTC)


def _add_projection(projection: ProjectionExtension[pystac.Item], crs: pyproj.CRS) -> None:
    """Name the projection by its code, or write it out where it has none."""
    code = crs.to_authority()
    if code:
        projection.apply(code=":".join(code))
    else:
        projection.apply(code=None, wkt2=crs.to_wkt())


def _title(file: str, surfaces: dict[str, str]) -> str:
    """Say what a file is."""
    own = TITLES.get(file) or surfaces.get(file)
    if own:
        return own
    return "as it was read, byte for byte" if file.startswith("source/") else "picture of the report"


def _media(file: str) -> str:
    """Give the media type of a file."""
    return MEDIA.get(file[file.rfind(".") :].lower(), "application/octet-stream")


def _roles(file: str) -> list[str]:
    """Give the role of a file."""
    if file.startswith("source/"):
        return ["source"]
    if file.endswith((".html", ".png")):
        return ["overview"]
    return ["data"] if file in DATA or file.endswith(".tif") else ["metadata"]


def describe_collection(items: list[Item], trials_sha256: str) -> dict[str, Any]:
    """Make collection.json of all items.

    Parameters
    ----------
    items : list of Item
        At least one.
    trials_sha256 : str
        Of trials.parquet.

    Returns
    -------
    dict
    """
    boxes = gpd.GeoSeries([shapely.geometry.box(*item.data["bbox"]) for item in items]).total_bounds.tolist()
    spans = [[_time(item.data["properties"][f"{end}_datetime"]) for end in ("start", "end")] for item in items]
    licences = {item.data["properties"]["license"] for item in items}
    extent = pystac.Extent(
        pystac.SpatialExtent([boxes]), pystac.TemporalExtent([[min(s for s, _ in spans), max(e for _, e in spans)]])
    )
    collection = pystac.Collection(
        "trials",
        "Replicated on-farm strip trials: raw files, cleaned records, strips, surfaces and answers. README.md says how "
        "it is laid out.",
        extent,
        "Strip trials",
        license=licences.pop() if len(licences) == 1 else "other",
    )
    collection.stac_extensions.append(FileExtension.get_schema_uri())
    collection.add_link(pystac.Link("root", f"./{COLLECTION}", "application/json"))
    for item in items:
        link = pystac.Link("item", f"./{item.folder}/{ITEM}", "application/geo+json", item.data["properties"]["title"])
        link.extra_fields["file:checksum"] = to_multihash(item.sha256)
        collection.add_link(link)
    href = f"./{TRIALS}"
    asset = pystac.Asset(href, "a row an item", None, MEDIA[".parquet"], ["metadata"])
    asset.extra_fields["file:checksum"] = to_multihash(trials_sha256)
    collection.add_asset("trials", asset)
    described: dict[str, Any] = collection.to_dict(include_self_link=False, transform_hrefs=False)
    plain: dict[str, Any] = json.loads(json.dumps(described))
    return plain


def _time(text: str) -> datetime:
    """Read a time of an item."""
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def list_trials(items: list[Item]) -> gpd.GeoDataFrame:
    """Make trials.parquet of all items.

    Parameters
    ----------
    items : list of Item

    Returns
    -------
    geopandas.GeoDataFrame
        ``ITEM_COLUMNS`` and geometry.
    """
    latest: dict[str, int] = {}
    for item in items:
        trial = item.folder.rpartition("/")[0]
        latest[trial] = max(latest.get(trial, 0), item.version)
    rows = []
    for item in items:
        properties = item.data["properties"]
        own = {name.removeprefix("proofstrip:"): value for name, value in properties.items()}
        own |= {
            "item": item.data["id"],
            "version": item.version,
            "current": item.version == latest[item.folder.rpartition("/")[0]],
            "folder": item.folder,
            "item_sha256": item.sha256,
        }
        rows.append({column.name: own[column.name] for column in ITEM_COLUMNS})
    types = {column.name: "str" if column.dtype == "object" else column.dtype for column in ITEM_COLUMNS}
    table = pd.DataFrame(rows, columns=list(types)).astype(types)
    return gpd.GeoDataFrame(
        table, geometry=[shapely.geometry.shape(item.data["geometry"]) for item in items], crs=SHARED_CRS
    )
