"""Kill a program on its way: ``python kill_writer.py WHAT ROOT POINTS``, started by test_kills.py.

ROOT holds ``start``, what stands there before. Each child works in a copy of it and is killed with SIGKILL: half of
them after a part of the time that the last whole one took, half just before one of its own steps. A step of Python
that touches a file of the copy is an audit event. While the child works, this process reads what it writes, as a
reader beside it would. Then the same work is done once more, to its end.

Prints a line of JSON a child; the first is of one that nobody killed. Children are forked, so that none has to import
the program again; what they call is the command itself.
"""

import hashlib
import json
import os
import shutil
import signal
import sys
import time
from datetime import datetime, tzinfo
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from proofstrip import run as run_module
from proofstrip import whole
from proofstrip.archive import catalog
from proofstrip.cli.main import main as command
from proofstrip.whole import LEFTOVER_S, written_whole

STEPS = ("open", "os.", "shutil.", "ctypes.")
LOOK_EVERY_S = 0.05
Files = dict[str, str]


class StoppedCalendar(datetime):
    """A calendar of one day."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> "StoppedCalendar":
        """Give that day."""
        return cls(2024, 10, 7, tzinfo=tz)


def run(room: Path) -> None:
    """Run the trial, over the run folder that is there; stopped watches make every run's record the same bytes."""
    run_module.time = SimpleNamespace(perf_counter=lambda: 0.0)
    command(["run", str(room / "farm/trials/east/trial.toml"), "--out", str(room / "kept")])


def archive(room: Path) -> None:
    """Archive the second version of a run; items note when they were made, so the calendar is stopped too."""
    catalog.datetime = StoppedCalendar
    command(["archive", str(room / "farm/run"), "--to", str(room / "kept")])


def replace_without_exchange(room: Path) -> None:
    """Replace a run folder as systems do that cannot exchange names."""
    whole._exchange = lambda first, second: False
    with written_whole(room / "kept") as fresh:
        for number in range(12):
            (fresh / f"{number}.txt").write_text("new", encoding="utf-8")
        (fresh / "run.json").write_text("{}", encoding="utf-8")


WRITERS = {"run": run, "archive": archive, "two steps": replace_without_exchange}
# Those that last long enough to be killed by the clock and read beside.
COMMANDS = {"run", "archive"}


def look(folder: Path) -> Files:
    """Hash every file of a folder, but for what a writer has only begun."""
    found = {}
    for root, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        paths = [Path(root, name) for name in names if not name.startswith(".")]
        hashes = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}
        found |= {path.relative_to(folder).as_posix(): digest for path, digest in hashes.items()}
    return found


def read_beside(folder: Path) -> Files | None:
    """Read as a reader does who reads run.json first and last; none where another folder took the place in between."""
    mark = folder / "run.json"
    before = mark.read_bytes() if mark.exists() else b""
    found = look(folder)
    return found if before == (mark.read_bytes() if mark.exists() else b"") else None


def start_child(what: str, room: Path, last: float) -> tuple[int, int]:
    """Start a child that dies before its step ``last``, or tells how many there were; gives it and where it tells."""
    reader, writer = os.pipe()
    child = os.fork()
    if child:
        os.close(writer)
        return child, reader
    steps, counting = 0, True

    def note(event: str, arguments: tuple[object, ...]) -> None:
        nonlocal steps
        if counting and event.startswith(STEPS) and any(str(room) in str(one) for one in arguments):
            steps += 1
            if steps == last:
                os.kill(os.getpid(), signal.SIGKILL)

    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    sys.addaudithook(note)
    status = 0
    try:
        WRITERS[what](room)
    except SystemExit as end:
        status = int(end.code or 0)
    except BaseException:
        status = 99
        raise
    finally:
        counting = False
        os.write(writer, str(steps).encode())
        os._exit(status)


def work(what: str, room: Path, last: float = 0, limit_s: float = 1e9) -> dict[str, Any]:
    """Have a child work, read beside it, kill it after its time; gives how it ended and what was seen."""
    began = time.monotonic()
    child, told = start_child(what, room, last)
    seen: list[Files] = []
    status = None
    while status is None:
        found = read_beside(room / "kept") if what in COMMANDS else None
        if found is not None and (not seen or seen[-1] != found):
            seen.append(found)
        left_s = began + limit_s - time.monotonic()
        time.sleep(max(0.0, min(LOOK_EVERY_S, left_s)))
        if left_s <= LOOK_EVERY_S:
            os.kill(child, signal.SIGKILL)
        ended, code = os.waitpid(child, os.WNOHANG)
        status = code if ended else None
    steps = int(os.read(told, 20) or 0)
    os.close(told)
    killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
    ended_with = None if killed else os.waitstatus_to_exitcode(status)
    return {"status": ended_with, "seen": seen, "steps": steps, "seconds": time.monotonic() - began}


def list_beside(room: Path) -> list[str]:
    """List what a killed one leaves beside or in the folder that it writes, and let it grow old."""
    names = [path for folder in (room, room / "kept") if folder.is_dir() for path in folder.glob(".*")]
    for path in names:
        os.utime(path, (0, time.time() - 2 * LEFTOVER_S))
    return sorted(path.name for path in names)


def kill(what: str, room: Path, **when: float) -> dict[str, Any]:
    """Kill a child, look at what it leaves, and do the work once more."""
    told: dict[str, Any] = {"killed": work(what, room, **when)}
    told |= {"left": look(room / "kept"), "beside": list_beside(room), "next": work(what, room)}
    return told | {"after": look(room / "kept"), "beside_after": list_beside(room)}


def main() -> None:
    """Let one child end, then kill others at points spread over its time and over its steps."""
    what, root, points = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
    room = root / "room"
    shutil.copytree(root / "start", room)
    work(what, room)  # not measured: the first one reads what the system then keeps in memory
    for number in range(-1, points):
        shutil.rmtree(room)
        shutil.copytree(root / "start", room)
        if number < 0:
            whole_run = work(what, room)
            print(json.dumps({"killed": whole_run, "old": look(root / "start/kept"), "new": look(room / "kept")}))
            steps, seconds = whole_run["steps"], whole_run["seconds"]
            continue
        part = number / (points - 1)
        if number % 2 and what in COMMANDS:
            told = kill(what, room, limit_s=seconds * part)
        else:
            told = kill(what, room, last=1 + int(part * (steps - 1)))
        seconds = told["next"]["seconds"]
        print(json.dumps(told))


if __name__ == "__main__":
    main()
