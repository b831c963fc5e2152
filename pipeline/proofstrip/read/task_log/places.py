"""Which files belong to a set of task data: names in any case, nothing outside its folder."""

import re
from collections.abc import Iterable
from pathlib import Path

TASK_FILE = "taskdata.xml"
LOG = re.compile(r"tlg\d{5}\.(bin|xml)", re.IGNORECASE)
# ISO 11783-10: the name of a file that a task file refers to is three letters and five digits.
FRAGMENT = re.compile(r"[A-Za-z]{3}\d{5}")


def is_task_file(path: Path) -> bool:
    """Tell whether a file is called TASKDATA.XML, in any case."""
    return path.name.casefold() == TASK_FILE


def is_log(path: Path) -> bool:
    """Tell whether a file is called as a time log is, TLGnnnnn.BIN or .XML, in any case."""
    return LOG.fullmatch(path.name) is not None


def task_file_beside(folder: Path) -> Path | None:
    """Give the TASKDATA.XML of a folder; none where there is none."""
    return file_called(folder, TASK_FILE)


def file_called(folder: Path, name: str) -> Path | None:
    """Give the file of a folder that has a name, in any case; none where there is none or it lies elsewhere."""
    found = _files(folder).get(name.casefold())
    # A link may lead out of the folder: what it leads to is not part of the task data.
    return found if found is not None and found.resolve().parent == folder.resolve() else None


def find_logs(folder: Path) -> tuple[Path, ...]:
    """List the binary time logs of a folder, by name.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    tuple of pathlib.Path
    """
    logs = [path for name, path in sorted(_files(folder).items()) if is_log(path) and name.endswith(".bin")]
    return tuple(path for path in logs if path.resolve().parent == folder.resolve())


def task_parts(task_file: Path, fragments: Iterable[str] = ()) -> list[Path]:
    """List the files of a set of task data: the task file, its fragments, and the halves of its logs.

    Parameters
    ----------
    task_file : pathlib.Path
    fragments : iterable of str
        Names without suffix; none given: every file that is called as a fragment is.

    Returns
    -------
    list of pathlib.Path
    """
    wanted = {f"{name}.xml".casefold() for name in fragments}
    parts = [task_file]
    for name, path in sorted(_files(task_file.parent).items()):
        fragment = name in wanted if wanted else path.suffix.lower() == ".xml" and FRAGMENT.fullmatch(path.stem)
        if path != task_file and (is_log(path) or fragment):
            parts.append(path)
    return parts


def _files(folder: Path) -> dict[str, Path]:
    """List the files of a folder by their names in small letters."""
    return {path.name.casefold(): path for path in sorted(folder.iterdir(), reverse=True) if path.is_file()}
