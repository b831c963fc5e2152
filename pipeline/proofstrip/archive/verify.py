"""An archive looked through: every hash computed again, every layer read again, what is damaged, missing or extra."""

import contextlib
import json
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio
import rasterio  # type: ignore[import-untyped]

from proofstrip.archive.catalog import COLLECTION, ITEM, TRIALS, Item
from proofstrip.archive.hashes import from_multihash
from proofstrip.archive.readme import README
from proofstrip.archive.rerun import rerun_item
from proofstrip.archive.store import Store, make_index
from proofstrip.columns import ARCHIVE_COLUMNS, POINT_COLUMNS
from proofstrip.errors import DataError

TOP = (COLLECTION, TRIALS, README)
# What a reader of a damaged file raises; pyarrow and GDAL have their own kinds.
UNREADABLE = (OSError, ValueError, KeyError, pa.ArrowException, rasterio.errors.RasterioError, RuntimeError)


@dataclass(frozen=True)
class Finding:
    """Something that is not as it was archived.

    Attributes
    ----------
    kind : str
        damaged, missing, extra, not listed, or differs (when it is run again).
    file : str
        Its place in the archive.
    said : str
        What was found.
    """

    kind: str
    file: str
    said: str

    def __str__(self) -> str:
        """Give the line that a person reads."""
        return f"{self.kind}: {self.file}: {self.said}"


@dataclass(frozen=True)
class Verified:
    """What was looked at.

    Attributes
    ----------
    items, files : int
    findings : tuple of Finding
    """

    items: int
    files: int
    findings: tuple[Finding, ...]


def verify_archive(store: Store, rerun: bool = False, say: Callable[[str], None] = lambda text: None) -> Verified:
    """Look through an archive.

    Parameters
    ----------
    store : Store
    rerun : bool
        Run each trial again from its own raw files and settings, and compare.
    say : callable
        Told each item as its turn comes.

    Returns
    -------
    Verified

    Raises
    ------
    DataError
        When there is no archive, or it cannot be reached.
    """
    try:
        files = store.list_files() if store.fs.exists(store.root) else []
        if not any(place in files for place in TOP) and not any(place.startswith("trials/") for place in files):
            raise DataError(f"{store.address} is no archive: it has no {COLLECTION} and no trials. Check the address.")
        folders = sorted({"/".join(place.split("/")[:3]) for place in files if _is_of_item(place)})
        findings = [Finding("extra", place, "belongs to no item") for place in files if _is_stray(place)]
        items = []
        for folder in folders:
            say(folder)
            own = [place for place in files if place.startswith(f"{folder}/")]
            item, found = _look_at_item(store, folder, own)
            findings += found
            if item is not None:
                items.append(item)
                findings += _read_layers(store, item, {finding.file for finding in found}, rerun, say)
        return Verified(len(folders), len(files), (*findings, *_look_at_index(store, items, files)))
    except OSError as fault:
        raise DataError(f"{store.address} cannot be read: {fault}.") from fault


def _is_of_item(place: str) -> bool:
    """Tell whether a file belongs to an item by its place."""
    return place.startswith("trials/") and place.count("/") >= 3


def _is_stray(place: str) -> bool:
    """Tell whether a file belongs nowhere."""
    return place not in TOP and not _is_of_item(place)


def _look_at_item(store: Store, folder: str, places: list[str]) -> tuple[Item | None, list[Finding]]:
    """Compare the files of an item with what its item.json says of them."""
    manifest = f"{folder}/{ITEM}"
    if manifest not in places:
        said = (
            "an archive that was stopped left this; archive the run again" if store.folder is None else "is not there"
        )
        return None, [Finding("missing", manifest, said)]
    try:
        item = store.read_item(manifest)
    except DataError:
        return None, [Finding("damaged", manifest, "is no STAC item of a trial")]
    findings = []
    known = {f"{folder}/{name}": asset for name, asset in item.files.items()}
    for place, asset in known.items():
        if place not in places:
            findings.append(Finding("missing", place, "item.json names it"))
            continue
        sha256, size = store.hash(place)
        if sha256 != from_multihash(str(asset.get("file:checksum"))):
            said = f"{size:,} bytes with SHA-256 {sha256[:12]}...; archived were {asset.get('file:size', 0):,} bytes"
            findings.append(Finding("damaged", place, said))
    extra = [place for place in places if place not in known and place != manifest]
    findings += [Finding("extra", place, "item.json does not name it") for place in extra]
    return item, findings


def _look_at_index(store: Store, items: list[Item], files: list[str]) -> list[Finding]:
    """Compare the files at the top with what they should say of the items."""
    findings = [
        Finding("missing", place, "`proofstrip archive` writes it again") for place in TOP if place not in files
    ]
    if not items:
        return findings
    if COLLECTION in files:
        findings += _compare_listed(store, items)
    expected = make_index(items)
    for place in TOP:
        if place in files and not _says_the_same(place, store.read(place), expected[place]):
            said = "does not say what the items say; `proofstrip archive` of any run in it writes it again"
            findings.append(Finding("damaged", place, said))
    return findings


def _compare_listed(store: Store, items: list[Item]) -> list[Finding]:
    """Find items that changed since the collection named them, that it does not name, or that are gone."""
    try:
        links = [link for link in json.loads(store.read(COLLECTION))["links"] if link["rel"] == "item"]
        listed = {link["href"].removeprefix("./"): from_multihash(link["file:checksum"]) for link in links}
    except (ValueError, KeyError, TypeError, AttributeError):
        return [Finding("damaged", COLLECTION, "is no STAC collection")]
    there = {f"{item.folder}/{ITEM}": item.sha256 for item in items}
    unlike = [place for place in there if listed.get(place) not in (None, there[place])]
    return [
        *(Finding("not listed", place, f"{COLLECTION} does not name it") for place in there if place not in listed),
        *(Finding("missing", place, f"{COLLECTION} names it") for place in listed if place not in there),
        *(Finding("damaged", place, f"{COLLECTION} names another SHA-256") for place in unlike),
    ]


def _says_the_same(place: str, found: bytes, expected: bytes) -> bool:
    """Compare a file at the top with what it should say; a table by its rows, which other versions write otherwise."""
    if place != TRIALS:
        return found == expected
    try:
        one, other = (gpd.read_parquet(pa.BufferReader(content)) for content in (found, expected))
    except UNREADABLE:
        return False
    return bool(one.equals(other))


def _read_layers(store: Store, item: Item, spoilt: set[str], rerun: bool, say: Callable[[str], None]) -> list[Finding]:
    """Read every layer of an item, but those that are known to be spoilt; run it again where that is asked for."""
    findings = []
    with _on_this_machine(store, item) as folder:
        for name, check in CHECKS.items():
            place = f"{item.folder}/{name}"
            if name not in item.files or place in spoilt:
                continue
            try:
                problem = check(folder / name, item.data["properties"])
            except UNREADABLE as fault:
                problem = f"cannot be read: {fault}"
            if problem:
                findings.append(Finding("damaged", place, problem))
        if rerun and not spoilt:
            findings += [Finding("differs", item.folder, said) for said in rerun_item(folder, say)]
        elif rerun:
            findings.append(Finding("differs", item.folder, "not run again: it is not whole"))
    return findings


@contextlib.contextmanager
def _on_this_machine(store: Store, item: Item) -> Iterator[Path]:
    """Give the folder of an item; fetch it first from an object store."""
    if store.folder is not None:
        yield store.folder / item.folder
        return
    with tempfile.TemporaryDirectory(prefix="proofstrip-") as room:
        for name in item.files:
            target = Path(room) / name
            target.parent.mkdir(parents=True, exist_ok=True)
            with contextlib.suppress(FileNotFoundError):
                target.write_bytes(store.read(f"{item.folder}/{name}"))
        yield Path(room)


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
