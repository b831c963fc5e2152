"""What a run reads: files as they stand, the files of ZIP archives, and sets of task data; each record once."""

import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from proofstrip.errors import DataError, Notice
from proofstrip.read.files import READ, SUFFIXES, find_files, hash_alone, hash_file, short_name
from proofstrip.read.task_log import file_called, find_logs, is_log, is_task_file, task_file_beside
from proofstrip.read.unpack import is_zip, unpack

# Shapefile Technical Description (ESRI, July 1998), p. 4: the kind of shape stands at byte 32; these are points.
POINT_SHAPES = (1, 11, 21)
SPREADSHEET = "[Content_Types].xml"
TEXT_FORMAT = "delimited text"
ABOUT = ("readme", "licence", "license", "copying")
SHOWN = 6


@dataclass(frozen=True)
class Input:
    """A file to be read.

    Attributes
    ----------
    path : pathlib.Path
        Where its bytes are now.
    source : pathlib.Path
        The file that the user has: of an unpacked file, its archive.
    name : str
        How records and messages call it.
    sha256 : str
        Of the source.
    logs : tuple of pathlib.Path
        Of a set of task data: the time logs to read.
    sources : tuple of tuple of pathlib.Path and str
        Of single logs of task data that were named: each with its hash.
    """

    path: Path
    source: Path
    name: str
    sha256: str
    logs: tuple[Path, ...] = ()
    sources: tuple[tuple[Path, str], ...] = ()


@contextmanager
def open_inputs(patterns: Iterable[str], folder: Path) -> Iterator[tuple[list[Input], list[Notice], dict[Path, str]]]:
    """Find the files that are meant; what has to be unpacked is gone again afterwards.

    Parameters
    ----------
    patterns : iterable of str
        Names and globs, relative to ``folder`` or absolute.
    folder : pathlib.Path

    Yields
    ------
    tuple of list of Input, list of Notice and dict of pathlib.Path to str
        The last: every file that was found, with its hash, those whose records stand in another among them.

    Raises
    ------
    DataError
        When a name finds nothing, or an archive holds nothing that is read.
    """
    found, notices = find_files(patterns, folder)
    with ExitStack() as stack:
        inputs = []
        for path, digest in found.items():
            one = Input(path, path, short_name(path, folder), digest)
            if is_zip(path):
                room = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="proofstrip-")))
                inputs += _open_archive(one, room.resolve(), notices)
            else:
                inputs.append(one)
        yield _join_logs(_once(inputs, notices), notices), notices, found


def _open_archive(archive: Input, room: Path, notices: list[Notice]) -> list[Input]:
    """Unpack an archive and choose the files of raw records."""
    files = unpack(archive.path, room)
    names = [file.relative_to(room).as_posix() for file in files]
    if SPREADSHEET in names:
        raise DataError(f"{archive.path.name}: the content is a spreadsheet; save the sheet as CSV. {READ}.")
    if nested := next((name for name, file in zip(names, files, strict=True) if is_zip(file)), None):
        raise DataError(f"{archive.path.name}: it holds another archive, {nested!r}; unpack that one yourself.")
    chosen = _choose(files)
    if not chosen:
        shown = ", ".join(names[:SHOWN]) + (" ..." if len(names) > SHOWN else "")
        raise DataError(
            f"{archive.path.name}: the archive holds no file of raw records ({shown or 'no file'}). {READ}."
        )
    others = [file for file in files if file not in chosen and _could_hold_records(file, chosen)]
    if others:
        shown = ", ".join(file.relative_to(room).as_posix() for file in others[:SHOWN])
        said = f"{archive.name}: not read from the archive: {shown}" + " ..." * (len(others) > SHOWN)
        notices.append(Notice("archive_left_out", f"{said}. To read one, unpack it and name it."))
    return [replace(archive, path=file, name=f"{archive.name}/{file.relative_to(room).as_posix()}") for file in chosen]


def _choose(files: list[Path]) -> list[Path]:
    """Choose task data and files of points; tables only where there is neither."""
    in_logs = {file.parent for file in files if is_task_file(file)}
    kinds = {file: SUFFIXES.get(file.suffix.lower()) for file in files if file.parent not in in_logs}
    shapes = [file for file, kind in kinds.items() if kind not in (None, TEXT_FORMAT) and _may_be_points(file)]
    tables = [file for file, kind in kinds.items() if kind == TEXT_FORMAT and not _is_about(file)]
    return sorted([file for file in files if is_task_file(file)] + shapes) or tables


def _may_be_points(file: Path) -> bool:
    """Tell whether a file can hold points; of a shapefile its head says so."""
    if file.suffix.lower() != ".shp":
        return True
    with file.open("rb") as stream:
        head = stream.read(36)
    return len(head) < 36 or int.from_bytes(head[32:36], "little") in POINT_SHAPES


def _could_hold_records(file: Path, chosen: list[Path]) -> bool:
    """Tell whether a file of an archive that is not read should be named."""
    own = any(one.parent == file.parent and (one.stem == file.stem or is_task_file(one)) for one in chosen)
    return not own and file.suffix.lower() in SUFFIXES and not _is_about(file)


def _is_about(file: Path) -> bool:
    """Tell whether a file is about the others."""
    return file.name.casefold().startswith(ABOUT)


def _once(inputs: list[Input], notices: list[Notice]) -> list[Input]:
    """Leave out files of archives whose bytes were found before."""
    seen = {one.sha256: one.name for one in inputs if one.path == one.source}
    kept = []
    for one in inputs:
        digest = one.sha256 if one.path == one.source else hash_file(one.path)
        first = seen.setdefault(digest, one.name)
        if first == one.name:
            kept.append(one)
        else:
            notices.append(_twice(one.name, first))
    return kept


def _twice(name: str, first: str) -> Notice:
    """Say that a file is there twice."""
    return Notice("file_twice", f"{name} is the same, byte by byte, as {first}; it is read once.")


def _join_logs(inputs: list[Input], notices: list[Notice]) -> list[Input]:
    """Make one input of the logs of a folder; a log whose bytes stand in two folders is read once."""
    seen: dict[str, Path] = {}
    joined: dict[Path, Input] = {}
    for one in sorted(inputs, key=lambda one: one.name):
        task_file = _task_file_of(one.path)
        if task_file is None:
            joined[one.path] = one
            continue
        whole = is_task_file(one.path)
        logs = []
        for log in find_logs(task_file.parent) if whole else (_binary_half(one.path),):
            first = seen.setdefault(hash_alone(log), log) if log.stat().st_size else log
            if first == log:
                logs.append(log)
            else:
                notices.append(_twice(f"{log.parent.name}/{log.name}", f"{first.parent.name}/{first.name}"))
        before = joined.get(task_file, replace(one, path=task_file, name=_task_name(one, whole)))
        sources = (*before.sources, (one.source, one.sha256))
        joined[task_file] = replace(before, logs=tuple(sorted({*before.logs, *logs})), sources=sources)
    return [one for path, one in joined.items() if one.logs or not is_task_file(path) or not find_logs(path.parent)]


def _task_file_of(path: Path) -> Path | None:
    """Give the task file that a file belongs to."""
    if is_task_file(path):
        return path
    return task_file_beside(path.parent) if is_log(path) else None


def _binary_half(log: Path) -> Path:
    """Give the half of a time log that holds its records, whichever was named."""
    half = file_called(log.parent, f"{log.stem}.bin")
    if half is None:
        raise DataError(
            f"{log.name}: {log.stem}.BIN, which holds the records of this log, is not beside it; copy both."
        )
    return half


def _task_name(one: Input, whole: bool) -> str:
    """Name a set of task data by its folder's task file."""
    return one.name if whole else f"{one.name.rpartition('/')[0] or '.'}/TASKDATA.XML"
