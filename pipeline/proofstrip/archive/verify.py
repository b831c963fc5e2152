"""An archive looked through: every hash computed again, every layer read again, what is damaged, missing or extra."""

import contextlib
import json
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pyarrow as pa

from proofstrip.archive.catalog import COLLECTION, ITEM, TRIALS, Item
from proofstrip.archive.hashes import from_multihash
from proofstrip.archive.readme import README
from proofstrip.archive.reread import UNREADABLE, read_again
from proofstrip.archive.rerun import rerun_item
from proofstrip.archive.store import Store, make_collection, make_index
from proofstrip.errors import DataError

TOP = (COLLECTION, TRIALS, README)


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
        said = "is not there: the archiving was stopped, or it was lost; archive the run again"
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
    if COLLECTION in files:
        findings += _compare_listed(store, items)
    if not items:
        return findings
    found = {place: store.read(place) for place in TOP if place in files}
    # Another version of a library writes the same table in other bytes: the collection keeps the hash of what is there.
    expected = make_index(items)
    if TRIALS in found and _same_rows(found[TRIALS], expected[TRIALS]):
        expected |= {TRIALS: found[TRIALS], COLLECTION: make_collection(items, found[TRIALS])}
    said = "does not say what the items say; `proofstrip archive` of any run in it writes it again"
    unlike = [place for place, content in found.items() if content != expected[place]]
    return [*findings, *(Finding("damaged", place, said) for place in unlike)]


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


def _same_rows(found: bytes, expected: bytes) -> bool:
    """Compare two tables by their rows."""
    try:
        one, other = (gpd.read_parquet(pa.BufferReader(content)) for content in (found, expected))
    except UNREADABLE:
        return False
    return bool(one.equals(other))


def _read_layers(store: Store, item: Item, spoilt: set[str], rerun: bool, say: Callable[[str], None]) -> list[Finding]:
    """Read every layer of an item, but those that are known to be spoilt; run it again where that is asked for."""
    findings = []
    with _on_this_machine(store, item) as folder:
        sound = [name for name in item.files if f"{item.folder}/{name}" not in spoilt]
        problems = read_again(folder, sound, item.data["properties"])
        findings += [Finding("damaged", f"{item.folder}/{name}", said) for name, said in problems.items()]
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
