"""One trial of a season, run where a worker stands: brought there if need be, skipped when nothing has changed."""

import json
import tempfile
import threading
import time
import traceback
from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from proofstrip import __version__
from proofstrip.config import Settings, load_settings
from proofstrip.errors import DataError, ProofstripError
from proofstrip.read.exclusions import USUAL_NAME
from proofstrip.read.files import find_files, short_name
from proofstrip.record import plain_settings, read_result
from proofstrip.run import run_trial
from proofstrip.season import store
from proofstrip.season.outcome import Outcome, State, Task, shorten

# A worker with several threads still runs one trial at a time: the libraries that draw are not safe to share.
ONE_AT_A_TIME = threading.Lock()


def run_task(task: Task) -> Outcome:
    """Run one trial; whatever goes wrong with it becomes its outcome.

    Parameters
    ----------
    task : Task

    Returns
    -------
    Outcome
    """
    began = time.perf_counter()
    entry: dict[str, Any] = {}
    state: State
    with ONE_AT_A_TIME, threadpool_limits(1):
        try:
            state, entry = _run(task)
            message = ""
        except ProofstripError as fault:
            state, message = "refused", str(fault)
        except Exception:  # noqa: BLE001 - one trial stops no other; the traceback goes into season.json
            state, message = "failed", traceback.format_exc()
    return Outcome(task.name, state, message, time.perf_counter() - began, entry)


def _run(task: Task) -> tuple[State, dict[str, Any]]:
    """Run it on local files, its own or copies."""
    if store.is_local(task.folder) and store.is_local(task.out):
        return _run_local(Path(task.folder), Path(task.out), task.rerun)
    with tempfile.TemporaryDirectory() as scratch:
        folder, out = Path(scratch) / "trial", Path(scratch) / "run"
        store.fetch(task.folder, folder)
        store.fetch(task.out, out, missing_ok=True)
        done = _run_local(folder, out, task.rerun)
        if done[0] == "ran":
            store.put(out, task.out)
        return done


def _run_local(folder: Path, out: Path, rerun: bool) -> tuple[State, dict[str, Any]]:
    """Run it unless its run folder says that it was run as it stands."""
    settings = load_settings(folder / "trial.toml")
    if not rerun and is_current(out, settings):
        return "unchanged", shorten(read_result(out))
    return "ran", shorten(run_trial(settings, out))


def is_current(out: Path, settings: Settings) -> bool:
    """Tell whether a run folder holds the answer of a trial as it stands.

    Parameters
    ----------
    out : pathlib.Path
    settings : Settings

    Returns
    -------
    bool
        False as soon as version, a setting, a file's bytes or the set of files differ, or the folder is not whole.
    """
    try:
        run = json.loads((out / "run.json").read_text(encoding="utf-8"))
        known = {entry["file"]: entry["sha256"] for entry in run["inputs"]}
    except (OSError, ValueError, KeyError, TypeError):
        return False
    own = plain_settings(settings)
    if run.get("version") != __version__ or run.get("settings") != own or not (out / "result.json").is_file():
        return False
    try:
        return known == hash_inputs(settings)
    except DataError:
        return False


def hash_inputs(settings: Settings) -> dict[str, str]:
    """Hash every file that a trial is made of.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    dict of str to str
        File -> SHA-256, as run.json names them.

    Raises
    ------
    DataError
        When a file is not there.
    """
    folder = settings.folder
    tables = (settings.trial_map, settings.scale, settings.ground_loss, settings.zones)
    exclusions = settings.clean.exclusions or (USUAL_NAME if (folder / USUAL_NAME).is_file() else None)
    single = [*(table.file for table in tables if table is not None), *([exclusions] if exclusions else [])]
    found: dict[str, str] = {}
    # Each by itself, as a run reads them: only of harvest files is one with the bytes of another left out.
    for names in (settings.harvest.files, *([name] for name in single)):
        digests, _ = find_files(names, folder)
        found |= {short_name(path, folder): digest for path, digest in digests.items()}
    return found
