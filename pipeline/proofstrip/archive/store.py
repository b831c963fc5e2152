"""Where an archive stands: a folder, or an address of an object store; items are put there whole or not at all."""

import contextlib
import json
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from fsspec.implementations.local import LocalFileSystem

from proofstrip.address import open_address
from proofstrip.archive.catalog import COLLECTION, ITEM, TRIALS, Item, describe_collection, is_inside, list_trials
from proofstrip.archive.hashes import hash_stream
from proofstrip.archive.readme import README, README_TEXT
from proofstrip.errors import DataError
from proofstrip.whole import clear_leftovers, name_beside, replace_file, sync, sync_folder

# What a writer of an item works in, at the top of the archive: ``.item.new-...``.
ITEM_BEGUN = "item"
# Writers that end in the same moment write the index again until it names every item.
ATTEMPTS = 20


@dataclass(frozen=True)
class Store:
    """An archive's place.

    Attributes
    ----------
    fs : fsspec.AbstractFileSystem
    root : str
        Path in it.
    address : str
        As the user gave it.
    """

    fs: Any
    root: str
    address: str

    @property
    def folder(self) -> Path | None:
        """The folder, where the archive stands on a disk of this machine."""
        return Path(self.root) if isinstance(self.fs, LocalFileSystem) else None

    def path(self, place: str) -> str:
        """Give the path of a place in the archive."""
        return f"{self.root.rstrip('/')}/{place}"

    def read(self, place: str) -> bytes:
        """Read a file."""
        content: bytes = self.fs.cat_file(self.path(place))
        return content

    def hash(self, place: str) -> tuple[str, int]:
        """Give SHA-256 and size of a file."""
        with self.fs.open(self.path(place), "rb") as stream:
            return hash_stream(stream)

    def list_files(self) -> list[str]:
        """List every file of the archive by its place; leave out what a writer has only begun."""
        start = self.root.rstrip("/") + "/"
        self.fs.invalidate_cache()
        found = (str(path).removeprefix(start) for path in self.fs.find(self.root))
        return sorted(place for place in found if not place.startswith("."))

    def list_items(self) -> list[Item]:
        """Read the item.json of every item, in the order of their places."""
        places = [place for place in self.list_files() if place.startswith("trials/") and place.count("/") == 3]
        return [self.read_item(place) for place in places if place.endswith(f"/{ITEM}")]

    def read_item(self, place: str) -> Item:
        """Read one item.json.

        Parameters
        ----------
        place : str

        Returns
        -------
        Item

        Raises
        ------
        DataError
            When it is damaged.
        """
        content = self.read(place)
        try:
            data = json.loads(content)
            known = {"version", "title", "license", "start_datetime", "end_datetime", "proofstrip:content"}
            sound = known <= data["properties"].keys() and {"id", "bbox", "geometry"} <= data.keys()
            item = Item(place.rpartition("/")[0], data, hash_stream(BytesIO(content))[0])
            sound = sound and item.version > 0 and all(is_inside(file) for file in item.files)
        except (ValueError, KeyError, TypeError, AttributeError):
            sound = False
        if not sound:
            raise DataError(
                f"{self.address}: {place} is damaged, so that nothing can be added to this archive; put it back from a "
                "copy. `proofstrip verify` names everything that is damaged."
            )
        return item

    def write_whole(self, place: str, content: bytes) -> None:
        """Write one file so that a reader finds the old or the new one whole."""
        if self.folder is None:
            self.fs.pipe_file(self.path(place), content)
            return
        replace_file(self.folder / place, content)

    @contextlib.contextmanager
    def new_item(self, place: str) -> Iterator[Path]:
        """Give a folder to write an item into, and put it in its place at the end: on an object store, item.json last.

        Parameters
        ----------
        place : str

        Yields
        ------
        pathlib.Path
        """
        if self.folder is None:
            with tempfile.TemporaryDirectory(prefix="proofstrip-") as room:
                yield Path(room)
                files = sorted(path for path in Path(room).rglob("*") if path.is_file())
                for file in sorted(files, key=lambda file: file.relative_to(room).as_posix() == ITEM):
                    self.fs.put_file(str(file), self.path(f"{place}/{file.relative_to(room).as_posix()}"))
            return
        fresh, target = name_beside(self.folder / ITEM_BEGUN, "new"), self.folder / place
        try:
            fresh.mkdir(parents=True)
            yield fresh
            sync_folder(fresh)
            target.parent.mkdir(parents=True, exist_ok=True)
            fresh.rename(target)
            sync(target.parent)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)

    def write_index(self) -> None:
        """Write collection.json and trials.parquet of the items that are there, and README.md."""
        for _ in range(ATTEMPTS):
            items = self.list_items()
            files = make_index(items)
            if all(self._holds(place, content) for place, content in files.items()):
                return
            for place, content in files.items():
                self.write_whole(place, content)
            if [item.sha256 for item in self.list_items()] == [item.sha256 for item in items]:
                return
        raise DataError(
            f"{self.address}: the item is archived, but others archive so often at this time that {COLLECTION} may not "
            "list it yet; archive it again when they are done."
        )

    def clear_leftovers(self) -> None:
        """Remove what killed writers on this machine had begun, once it is old; an object store holds none."""
        if self.folder is not None:
            for name in (ITEM_BEGUN, TRIALS, COLLECTION, README):
                clear_leftovers(self.folder / name)

    def _holds(self, place: str, content: bytes) -> bool:
        """Tell whether a file says this already."""
        return bool(self.fs.exists(self.path(place))) and self.read(place) == content


def make_index(items: list[Item]) -> dict[str, bytes]:
    """Make the files at the top of an archive.

    Parameters
    ----------
    items : list of Item

    Returns
    -------
    dict of str to bytes
        Place -> content; the same items give the same bytes.
    """
    table = BytesIO()
    list_trials(items).to_parquet(table, index=False, schema_version="1.1.0", write_covering_bbox=True)
    content = table.getvalue()
    return {TRIALS: content, COLLECTION: make_collection(items, content), README: README_TEXT.encode()}


def make_collection(items: list[Item], trials: bytes) -> bytes:
    """Make collection.json.

    Parameters
    ----------
    items : list of Item
    trials : bytes
        trials.parquet.

    Returns
    -------
    bytes
    """
    sha256, _ = hash_stream(BytesIO(trials))
    return (json.dumps(describe_collection(items, sha256), indent=1, ensure_ascii=False) + "\n").encode()


def open_store(address: str) -> Store:
    """Find the file system of an address.

    Parameters
    ----------
    address : str
        A folder, or an address such as ``s3://bucket/trials``.

    Returns
    -------
    Store

    Raises
    ------
    DataError
        When the address is of an unknown kind, or its package is not installed.
    """
    fs, root = open_address(address)
    return Store(fs, root, address)
