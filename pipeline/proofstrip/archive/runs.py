"""A finished run and the raw files that it was made of, checked to be what they were."""

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from proofstrip.config import ArchivePart, Settings, load_settings
from proofstrip.errors import DataError
from proofstrip.read.exclusions import USUAL_NAME
from proofstrip.read.files import expand_names, hash_file, list_parts, short_name
from proofstrip.record import plain_settings, read_result

ASK = """{trial} has no [archive] part, and nobody can use an archive whose terms are not known. Write into it

    [archive]
    licence = "CC-BY-4.0"      # an SPDX name, or your own words; "not stated" where nothing is settled
    contact = "a name, and how to reach it"

and archive again; the run stays valid."""


@dataclass(frozen=True)
class RawFile:
    """A raw file of a trial.

    Attributes
    ----------
    path : pathlib.Path
    role : str
        Part of the trial file that names it: harvest, trial_map, scale ...
    name : str
        From the trial file's folder.
    sha256 : str
        As in run.json.
    """

    path: Path
    role: str
    name: str
    sha256: str


@dataclass(frozen=True)
class FinishedRun:
    """A run folder with the trial file and the raw files that it was made of.

    Attributes
    ----------
    folder : pathlib.Path
    record, result : dict
        run.json and result.json.
    settings : Settings
    terms : ArchivePart
        Licence and contact.
    raw : tuple of RawFile
    """

    folder: Path
    record: dict[str, Any]
    result: dict[str, Any]
    settings: Settings
    terms: ArchivePart
    raw: tuple[RawFile, ...]


def load_run(folder: Path) -> FinishedRun:
    """Load a run folder, and refuse what is no longer as it was run.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    FinishedRun

    Raises
    ------
    DataError
        When the folder is no run, a file of it, the settings or a raw file changed since, or licence and contact are
        not stated.
    """
    result = read_result(folder)
    record = _read_record(folder)
    _check_outputs(folder, record)
    trial = (folder.resolve() / record["trial_file"]).resolve()
    if not trial.is_file():
        raise DataError(f"{folder}: its trial file {trial} is not there any more; put it back, or run it again.")
    settings = load_settings(trial)
    changed = differing_parts(record["settings"], plain_settings(settings))
    if changed:
        parts = ", ".join(f"[{name}]" for name in changed)
        raise DataError(f"{trial}: {parts} changed since the run in {folder}; run the trial again, then archive it.")
    if settings.archive is None:
        raise DataError(ASK.format(trial=trial))
    run = FinishedRun(folder, record, result, settings, settings.archive, find_raw(settings))
    _check_raw(run)
    return run


def differing_parts(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """Name the parts of two settings that differ; licence and contact change no answer.

    Parameters
    ----------
    one, other : dict
        As of ``plain_settings``.

    Returns
    -------
    list of str
    """
    return sorted(name for name in (one.keys() | other.keys()) - {"archive"} if one.get(name) != other.get(name))


def find_raw(settings: Settings) -> tuple[RawFile, ...]:
    """Find every raw file that a trial file names, in the order in which a run reads them.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    tuple of RawFile
        A file that is named twice stands there twice.
    """
    named = {
        "harvest": settings.harvest.files,
        "trial_map": (settings.trial_map.file,),
        "scale": (settings.scale.file,) if settings.scale else (),
        "ground_loss": (settings.ground_loss.file,) if settings.ground_loss else (),
        "zones": (settings.zones.file,) if settings.zones else (),
        "exclusions": _exclusions(settings),
    }
    return tuple(
        RawFile(path, role, short_name(path, settings.folder), hash_file(path))
        for role, names in named.items()
        for path in expand_names(names, settings.folder)
    )


def _exclusions(settings: Settings) -> tuple[str, ...]:
    """Name the file of exclusions: as set, or the usual one where it is there."""
    if settings.clean.exclusions is not None:
        return (settings.clean.exclusions,)
    return (USUAL_NAME,) if (settings.folder / USUAL_NAME).is_file() else ()


def place_sources(run: FinishedRun) -> dict[str, Path]:
    """Say where trial file and raw files stand in the archive: as they stood to each other.

    Parameters
    ----------
    run : FinishedRun

    Returns
    -------
    dict of str to pathlib.Path
        Place below the item's folder -> the file; the trial file first.
    """
    files = [run.settings.folder / run.settings.file]
    files += [part for raw in run.raw for part in list_parts(raw.path)]
    common = os.path.commonpath([file.parent for file in files])
    return {f"source/{short_name(file, Path(common))}": file for file in files}


def _read_record(folder: Path) -> dict[str, Any]:
    """Read run.json."""
    path = folder / "run.json"
    try:
        record: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise DataError(f"{path} cannot be read ({fault}); run the trial again.") from fault
    if not isinstance(record, dict) or not {"trial_file", "outputs", "inputs", "settings", "stages"} <= record.keys():
        raise DataError(f"{path} was written by an older version; run the trial again, then archive it.")
    return record


def _check_outputs(folder: Path, record: dict[str, Any]) -> None:
    """Refuse a run folder that somebody changed."""
    for output in record["outputs"]:
        path = folder / output["file"]
        if not path.is_file() or hash_file(path) != output["sha256"]:
            what = "was changed since the run" if path.is_file() else "is missing"
            raise DataError(f"{path} {what}; run the trial again, then archive it.")


def _check_raw(run: FinishedRun) -> None:
    """Refuse raw files that are not those of the run."""
    known = {row["sha256"]: row["file"] for row in run.record["inputs"]}
    changed = [raw.name for raw in run.raw if raw.sha256 not in known]
    lost = known.keys() - {raw.sha256 for raw in run.raw}
    changed += sorted({known[digest] for digest in lost} - set(changed))
    if changed:
        raise DataError(
            f"{run.folder}: {', '.join(changed)} changed since the run, or {'is' if len(changed) == 1 else 'are'} not "
            "there any more; the archive would hold raw files that do not give its answer. Run the trial again, then "
            "archive it."
        )
