"""Where a season lies: a folder here, or any address that fsspec knows, such as an object store's."""

import posixpath
from pathlib import Path
from typing import Any

from fsspec.utils import get_protocol

from proofstrip.address import open_address
from proofstrip.errors import DataError

TRIAL = "trial.toml"


def is_local(address: str) -> bool:
    """Tell a folder of this machine from an address elsewhere.

    Examples
    --------
    >>> is_local("/home/trials"), is_local("s3://bucket/trials")
    (True, False)
    """
    return str(get_protocol(address)) == "file" and "://" not in address


def find_trials(place: str, out: str) -> dict[str, str]:
    """Find every trial file below a place.

    Parameters
    ----------
    place, out : str
        Addresses; what lies below ``out`` is left aside.

    Returns
    -------
    dict of str to str
        Folder below ``place`` -> its address, sorted by name; the place itself is ".".

    Raises
    ------
    DataError
        When there is no such place, or no trial file below it.
    """
    files, root = _open(place)
    if not files.isdir(root):
        raise DataError(f"{place} is not a folder that can be read. Name the folder that the trials lie in.")
    found = {}
    for path in files.find(root):
        folder, name = posixpath.split(path)
        if name == TRIAL and not _is_below(files.unstrip_protocol(folder), out):
            found[posixpath.relpath(folder, root)] = join(place, posixpath.relpath(folder, root))
    if not found:
        raise DataError(
            f"There is no {TRIAL} below {place}. Each trial has a folder with its {TRIAL}; "
            "proofstrip start writes a first one."
        )
    return dict(sorted(found.items()))


def _open(address: str) -> tuple[Any, str]:
    """Open the store of an address, its path without a slash at the end."""
    files, root = open_address(address)
    return files, root.rstrip("/") or "/"


def _is_below(folder: str, place: str) -> bool:
    """Tell whether a folder is a place or lies below it."""
    files, root = _open(place)
    own = files.unstrip_protocol(root)
    return folder == own or folder.startswith(own.rstrip("/") + "/")


def join(place: str, name: str) -> str:
    """Give the address of a name below a place.

    Examples
    --------
    >>> join("s3://bucket/season/", "north/forty"), join("/data", ".")
    ('s3://bucket/season/north/forty', '/data')
    """
    return place if name == "." else f"{place.rstrip('/')}/{name}"


def fetch(address: str, folder: Path, missing_ok: bool = False) -> None:
    """Copy all that lies below an address into a new folder.

    Parameters
    ----------
    address : str
    folder : pathlib.Path
    missing_ok : bool
        Whether there may be nothing.

    Raises
    ------
    DataError
        When there is nothing, or it cannot be read.
    """
    files, root = _open(address)
    try:
        names = files.find(root) if files.exists(root) else []
        if not names and not missing_ok:
            raise DataError(f"{address} is empty or not there.")
        for name in names:
            target = folder / posixpath.relpath(name, root)
            target.parent.mkdir(parents=True, exist_ok=True)
            files.get_file(name, str(target))
    except OSError as fault:
        raise DataError(f"{address} cannot be read: {fault}.") from fault


def put(folder: Path, address: str) -> None:
    """Copy a run folder to an address, run.json last: until it stands there the run is not whole.

    Parameters
    ----------
    folder : pathlib.Path
    address : str

    Raises
    ------
    DataError
        When it cannot be written.
    """
    files, root = _open(address)
    try:
        if files.exists(root):
            files.rm(root, recursive=True)
        own = sorted(path for path in folder.rglob("*") if path.is_file())
        for path in sorted(own, key=lambda path: path.name == "run.json"):
            target = posixpath.join(root, path.relative_to(folder).as_posix())
            files.makedirs(posixpath.dirname(target), exist_ok=True)
            files.put_file(str(path), target)
    except OSError as fault:
        raise DataError(f"{address} cannot be written: {fault}. Name another place with --out.") from fault


def write_text(address: str, text: str) -> None:
    """Write one text file at an address, whole or not at all where the store can do that.

    Parameters
    ----------
    address, text : str

    Raises
    ------
    DataError
        When it cannot be written.
    """
    files, root = _open(address)
    try:
        files.makedirs(posixpath.dirname(root), exist_ok=True)
        with files.transaction, files.open(root, "wb") as stream:
            stream.write(text.encode("utf-8"))
    except OSError as fault:
        raise DataError(f"{address} cannot be written: {fault}. Name another place with --out.") from fault
