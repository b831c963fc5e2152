"""Which files are meant, and what they are: told by their first bytes, not by their names."""

import glob
import hashlib
import os
from collections.abc import Iterable
from pathlib import Path

from proofstrip.cells import CONTROLS
from proofstrip.errors import DataError, Notice
from proofstrip.read.task_log.places import is_log, is_task_file, task_file_beside, task_parts

HEAD_BYTES = 262_144
# Format by suffix; a file whose content says otherwise is refused.
SUFFIXES = {
    ".shp": "Shapefile",
    ".gpkg": "GeoPackage",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".parquet": "Parquet",
    ".geoparquet": "Parquet",
    ".csv": "delimited text",
    ".tsv": "delimited text",
    ".txt": "delimited text",
}
# First bytes: SQLite file header; Parquet magic; shapefile file code 9994 (big-endian).
MAGIC = {b"SQLite format 3\x00": "GeoPackage", b"PAR1": "Parquet", b"\x00\x00\x27\x0a": "Shapefile"}
FOREIGN = {
    b"\x89PNG": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    b"%PDF": "a PDF document",
    b"PK\x03\x04": "a ZIP archive or spreadsheet, which is opened only for [harvest] files; unpack it, or save the "
    "sheet as CSV",
    b"\x1f\x8b": "a gzip archive; unpack it",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet; save the sheet as CSV",
}
COMPANIONS = {".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qpj", ".qmd", ".xml"}
TASK_DATA = "ISO 11783-10 task data"
TASK_ROOT = b"<ISO11783_TaskData"
READ = (
    "Read are CSV and other delimited text, Shapefile, GeoPackage, GeoJSON, GeoParquet and ISO 11783-10 task data, and "
    "raw files of these in a ZIP archive"
)


def find_files(patterns: Iterable[str], folder: Path) -> tuple[dict[Path, str], list[Notice]]:
    """Find the files that a list of names and globs means, sorted; each file once.

    Parameters
    ----------
    patterns : iterable of str
        Relative to ``folder``, or absolute.
    folder : pathlib.Path

    Returns
    -------
    tuple of dict of pathlib.Path to str and list of Notice
        Each file with the SHA-256 of its bytes; a notice for each that was named twice or has the bytes of another.

    Raises
    ------
    DataError
        When a name or glob finds nothing, or names a virtual path.
    """
    notices: list[Notice] = []
    first: dict[str, Path] = {}
    for path in expand_names(patterns, folder):
        known = first.setdefault(hash_file(path), path)
        if known is not path:
            same = "named twice" if known == path else f"the same, byte by byte, as {known.name}"
            notices.append(Notice("file_twice", f"{path.name} is {same}; it is read once."))
    return {path: digest for digest, path in first.items()}, notices


def expand_names(patterns: Iterable[str], folder: Path) -> list[Path]:
    """List every file that names and globs mean, sorted; a file that is named twice stands there twice.

    Parameters
    ----------
    patterns : iterable of str
        Relative to ``folder``, or absolute.
    folder : pathlib.Path

    Returns
    -------
    list of pathlib.Path

    Raises
    ------
    DataError
        When a name or glob finds nothing, or names a virtual path.
    """
    return sorted(path for pattern in patterns for path in _expand(pattern, folder))


def find_file(name: str, folder: Path) -> tuple[Path, str]:
    """Find the one file that a name or glob means.

    Parameters
    ----------
    name : str
    folder : pathlib.Path

    Returns
    -------
    tuple of pathlib.Path and str
        With the SHA-256 of its bytes.

    Raises
    ------
    DataError
        When it finds none or several.
    """
    found, _ = find_files([name], folder)
    if len(found) > 1:
        raise DataError(
            f"{name!r} means {len(found)} files ({', '.join(path.name for path in found)}); name one of them."
        )
    return next(iter(found.items()))


def hash_file(path: Path) -> str:
    """Give the SHA-256 of a file's bytes in hexadecimal; of files that belong together: of their hashes, joined."""
    digests = [hash_alone(part) for part in _parts_hashed(path)]
    return digests[0] if len(digests) == 1 else hashlib.sha256("".join(digests).encode()).hexdigest()


def hash_alone(path: Path) -> str:
    """Give the SHA-256 of the bytes of one file, whatever belongs to it."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def refuse_changed(inputs: dict[str, str], folder: Path) -> None:
    """Refuse to go on when a file is no longer what it was when the run began to read it.

    Parameters
    ----------
    inputs : dict of str to str
        Name, from ``folder``, and SHA-256 of each file.
    folder : pathlib.Path

    Raises
    ------
    DataError
    """
    for name, digest in inputs.items():
        path = folder / name
        if not path.is_file() or hash_file(path) != digest:
            what = "changed" if path.is_file() else "went away"
            raise DataError(
                f"{name}: the file {what} while it was being read, so the answer would belong to no file; "
                "nothing was written. Wait until it is complete, then run again."
            )


def list_parts(path: Path) -> list[Path]:
    """List all files that belong to a raw file: the companions of a shapefile, the logs of a task file.

    A single log is read with its other half and its task file, but not with the other logs.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    list of pathlib.Path
        The file itself first.
    """
    if is_task_file(path):
        return task_parts(path)
    if is_log(path):
        task_file = task_file_beside(path.parent)
        beside = task_parts(task_file) if task_file is not None else []
        own = [
            one for one in beside if one != path and (one.stem.casefold() == path.stem.casefold() or not is_log(one))
        ]
        return [path, *own]
    if path.suffix.lower() != ".shp":
        return [path]
    beside = sorted(one for one in path.parent.iterdir() if one.stem == path.stem and one != path)
    return [path, *(one for one in beside if one.suffix.lower() in COMPANIONS and one.is_file())]


def _parts_hashed(path: Path) -> list[Path]:
    """List the files whose bytes the answer depends on."""
    if path.suffix.lower() == ".shp":
        return [path, *(part for suffix in (".dbf", ".prj") if (part := sibling(path, suffix)).is_file())]
    return list_parts(path)


def short_name(path: Path, folder: Path) -> str:
    """Give the name that records carry: relative to the trial's folder, with forward slashes."""
    return Path(os.path.relpath(path, folder)).as_posix()


def sibling(path: Path, suffix: str) -> Path:
    """Give the companion file of a shapefile, whatever the case of its suffix."""
    for candidate in (path.with_suffix(suffix), path.with_suffix(suffix.upper())):
        if candidate.is_file():
            return candidate
    return path.with_suffix(suffix)


def tell_format(path: Path) -> str:
    """Tell the format of a file from its first bytes.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    str
        One of the values of ``SUFFIXES``.

    Raises
    ------
    DataError
        When the file is empty or lost, is none of the formats, or is not what its name says.
    """
    refuse_virtual(str(path))
    if not path.is_file():
        raise DataError(f"{path}: there is no such file; check the name, or the folder that it starts from.")
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    if not head:
        raise DataError(f"{path.name}: the file is empty (0 bytes); export it again.")
    found = _format_of(path, head)
    expected = SUFFIXES.get(path.suffix.lower(), found)
    if found != expected:
        raise DataError(
            f"{path.name}: the name says {expected}, but the content is {found}; rename the file or export it again."
        )
    if found == "Shapefile":
        _check_companions(path)
    return found


def refuse_virtual(text: str) -> None:
    """Refuse paths that reach into archives or the network."""
    if "/vsi" in text.replace("\\", "/") or "://" in text:
        raise DataError(f"{text!r} is a virtual or network path; give the path of a file on this computer.")


def _expand(pattern: str, folder: Path) -> list[Path]:
    """Find the files of one name or glob."""
    refuse_virtual(pattern)
    if "\x00" in pattern:
        raise DataError(f"{pattern!r} holds a character that no file name has.")
    literal = folder / pattern
    if literal.is_file() and _is_text(literal.name):
        return [literal.resolve()]
    if literal.is_dir():
        task_file = task_file_beside(literal)
        if task_file is not None:
            return [task_file.resolve()]
        raise DataError(
            f"{pattern!r} is a folder without a TASKDATA.XML; name the files in it, for example "
            f"'{pattern.rstrip('/')}/*.csv'."
        )
    matches = [folder / match for match in glob.glob(pattern, root_dir=folder, recursive=True)]  # noqa: PTH207
    files = [match.resolve() for match in matches if match.is_file() and not _is_companion(match)]
    tasks = [task_file_beside(match) for match in matches if match.is_dir()]
    files += [task.resolve() for task in tasks if task is not None]
    if odd := next((file for file in files if not _is_text(file.name)), None):
        raise DataError(f"{odd.name!a}: the file's name is no text in UTF-8, or holds control characters; rename it.")
    if not files:
        what = "this glob matches no file" if glob.has_magic(pattern) else "there is no such file"
        raise DataError(f"{pattern!r}: {what} in {folder}; check the name and the folder.")
    return files


def _is_text(name: str) -> bool:
    """Tell whether a name can be written down: no bytes that are no letters, nothing that steers a terminal."""
    return not CONTROLS.search(name) and not any("\ud800" <= letter <= "\udfff" for letter in name)


def _is_companion(path: Path) -> bool:
    """Tell whether a file belongs to a shapefile, or to task data, beside it."""
    if is_log(path) and path.suffix.lower() == ".xml":
        return True
    return path.suffix.lower() in COMPANIONS and sibling(path.with_suffix(".shp"), ".shp").is_file()


def _format_of(path: Path, head: bytes) -> str:
    """Tell the format of the bytes, or refuse them."""
    for magic, name in MAGIC.items():
        if head.startswith(magic):
            return name
    if TASK_ROOT in head and is_task_file(path):
        return TASK_DATA
    for magic, what in FOREIGN.items():
        if head.startswith(magic):
            raise DataError(f"{path.name}: the content is {what}. {READ}.")
    if is_log(path):
        raise DataError(f"{path.name}: a time log is read with the TASKDATA.XML of its folder, and there is none.")
    if head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<"):
        raise DataError(f"{path.name}: the content is XML or HTML, and no TASKDATA.XML. {READ}.")
    if b"\x00" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise DataError(f"{path.name}: the content is binary and of no known format. {READ}.")
    return "GeoJSON" if head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{") else "delimited text"


def _check_companions(path: Path) -> None:
    """Refuse a shapefile that lost its attributes or its index."""
    missing = [suffix for suffix in (".dbf", ".shx") if not sibling(path, suffix).is_file()]
    if missing:
        raise DataError(
            f"{path.name}: a shapefile is several files, and {' and '.join(path.stem + suffix for suffix in missing)} "
            f"{'is' if len(missing) == 1 else 'are'} missing beside it; copy all of them."
        )
    _check_complete(path)


def _check_complete(path: Path) -> None:
    """Refuse a shapefile of which a part was cut off: what is missing would be read as fewer records."""
    table = sibling(path, ".dbf")
    with path.open("rb") as shapes, table.open("rb") as rows:
        head, layout = shapes.read(28), rows.read(12)
    # Shapefile Technical Description (ESRI, July 1998), p. 4: the length stands at byte 24 in words of 16 bits.
    # dBASE III: rows at byte 4, bytes of the head at 8 and of a row at 10.
    promised = 2 * int.from_bytes(head[24:28], "big")
    count, width = int.from_bytes(layout[4:8], "little"), int.from_bytes(layout[10:12], "little")
    for part, least in ((path, promised), (table, int.from_bytes(layout[8:10], "little") + count * width)):
        if part.stat().st_size < least:
            raise DataError(
                f"{part.name}: the file is cut off: it has {part.stat().st_size:,} bytes and says that it has "
                f"{least:,}; copy or export it again."
            )
