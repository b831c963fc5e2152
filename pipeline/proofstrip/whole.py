"""A folder that is written whole or not at all, whatever stops the writer: a fault, a kill, another writer."""

import contextlib
import ctypes
import errno
import glob
import os
import re
import shutil
import socket
import time
from collections.abc import Iterator
from pathlib import Path

from proofstrip.errors import DataError

# Linux, renameat2(2): from any folder (AT_FDCWD), and exchange the two names in one step (RENAME_EXCHANGE).
AT_FDCWD = -100
RENAME_EXCHANGE = 2
# A dead writer's leftovers go after this time: a process of the same number on another machine of one name stays safe.
LEFTOVER_S = 3600.0
LEFTOVER = re.compile(r"\.(?P<target>.+)\.(?P<kind>new|old)-(?P<process>\d+)-\d+-(?P<host>.+)")
# Two writers that end in the same moment; more often than this is no chance.
ATTEMPTS = 20


@contextlib.contextmanager
def written_whole(folder: Path, mark: str = "run.json", kind: str = "a run folder") -> Iterator[Path]:
    """Give a folder beside the target to write into, and put it in the target's place at the end.

    A writer that stops on the way leaves the old folder as it was; of two writers, the later one's folder stands.

    Parameters
    ----------
    folder : pathlib.Path
        The target; what stands there is replaced, if it holds the file of this kind of folder.
    mark, kind : str
        That file, and what the folder is called.

    Yields
    ------
    pathlib.Path
        An empty folder on the same disk.

    Raises
    ------
    DataError
        When the target is something else, or cannot be written.
    """
    # A name of its own, also for "." and for a link.
    folder = folder.resolve()
    clear_leftovers(folder)
    if folder.exists() and not (folder.is_dir() and (not any(folder.iterdir()) or (folder / mark).is_file())):
        raise DataError(
            f"{folder} exists and is not {kind} (it has no {mark}); nothing was written. Name another folder."
        )
    fresh, old = name_beside(folder, "new"), name_beside(folder, "old")
    try:
        fresh.mkdir(parents=True)
        yield fresh
        sync_folder(fresh)
        _put_in_place(fresh, folder, old)
        sync(folder.parent)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as fault:
        raise DataError(f"{folder} cannot be written: {fault}. Name another folder.") from fault
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
        if old.exists() and not folder.exists():
            old.rename(folder)


def sync_folder(folder: Path) -> None:
    """Have the system put a folder and all in it on the disk, so that a new name never comes before the content.

    Parameters
    ----------
    folder : pathlib.Path
    """
    for path in (*folder.rglob("*"), folder):
        sync(path)


def sync(path: Path) -> None:
    """Have the system put one file, or the names in one folder, on the disk.

    Parameters
    ----------
    path : pathlib.Path
    """
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as fault:
        # Some network disks cannot do this to a folder; its files are safe all the same.
        if not (path.is_dir() and fault.errno in (errno.EINVAL, errno.ENOTSUP)):
            raise
    finally:
        os.close(handle)


def replace_file(target: Path, content: bytes) -> None:
    """Write one file so that a reader finds the old or the new one whole.

    Parameters
    ----------
    target : pathlib.Path
    content : bytes
    """
    fresh = name_beside(target, "new")
    try:
        fresh.write_bytes(content)
        sync(fresh)
        fresh.replace(target)
    finally:
        fresh.unlink(missing_ok=True)


def write_file(path: Path, text: str) -> None:
    """Write a text that somebody asked for, whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
    text : str

    Raises
    ------
    DataError
        When it cannot be written.
    """
    path = path.resolve()
    try:
        clear_leftovers(path)
        replace_file(path, text.encode("utf-8"))
    except OSError as fault:
        raise DataError(f"{path} cannot be written: {fault.strerror or fault}. Name another file.") from fault


def name_beside(target: Path, kind: str) -> Path:
    """Name a hidden folder beside a target, for this writer alone.

    Parameters
    ----------
    target : pathlib.Path
    kind : str
        new or old.

    Returns
    -------
    pathlib.Path
    """
    return target.with_name(f".{target.name}.{kind}-{os.getpid()}-{time.monotonic_ns()}-{socket.gethostname()}")


def clear_leftovers(target: Path) -> None:
    """Put back what a killed writer had moved aside, and remove what it had begun.

    Parameters
    ----------
    target : pathlib.Path
    """
    if not target.parent.is_dir():
        return
    for path in sorted(target.parent.glob(f".{glob.escape(target.name)}.*")):
        found = LEFTOVER.fullmatch(path.name)
        if not found or found["target"] != target.name or not _is_dead(int(found["process"]), found["host"]):
            continue
        if found["kind"] == "old" and not target.exists():
            path.rename(target)
        elif time.time() - path.stat().st_mtime > LEFTOVER_S:
            _remove(path)


def _remove(path: Path) -> None:
    """Remove a folder or a file; another that tidies up may be faster."""
    if path.is_dir():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)


def _is_dead(process: int, host: str) -> bool:
    """Tell whether a writer on this machine has ended."""
    if host != socket.gethostname():
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def _put_in_place(fresh: Path, folder: Path, old: Path) -> None:
    """Give the new folder the target's name; what stood there becomes ``old`` or takes the new one's name."""
    for attempt in range(ATTEMPTS):
        try:
            if not folder.exists():
                fresh.rename(folder)
                return
            if _exchange(fresh, folder):
                return
            shutil.rmtree(old, ignore_errors=True)
            folder.rename(old)
        except OSError as fault:
            # Another writer was faster: look again at what stands there now.
            if fault.errno not in (errno.ENOTEMPTY, errno.EEXIST, errno.ENOENT) or attempt == ATTEMPTS - 1:
                raise
    raise OSError(errno.EBUSY, "other writers were faster each time; run again", str(folder))


def _exchange(first: Path, second: Path) -> bool:
    """Exchange two names in one step, where the system can: then no moment is without the old or the new folder."""
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None) if os.name == "posix" else None
    if call is None:
        return False
    names = os.fsencode(first), os.fsencode(second)
    if call(AT_FDCWD, names[0], AT_FDCWD, names[1], RENAME_EXCHANGE) == 0:
        return True
    number = ctypes.get_errno()
    if number in (errno.ENOSYS, errno.EINVAL, errno.EXDEV, errno.ENOTSUP):
        return False
    raise OSError(number, os.strerror(number), str(second))
