"""Kill a writer at one of its own steps: ``python kill_writer.py WHAT ROOT POINTS``, started by test_faults.py.

Every step of Python that touches a file below ROOT is an audit event; the child that is to die at step N kills itself
with SIGKILL just before it. Prints how many steps there are, then a line a child: the folder it worked in.
"""

import os
import shutil
import signal
import sys
from pathlib import Path

from proofstrip import whole
from proofstrip.archive import archive_run, open_store
from proofstrip.whole import written_whole

STEPS = ("open", "os.", "shutil.")


def archive(room: Path) -> None:
    """Archive the second version of a run."""
    archive_run(room / "farm" / "run", open_store(str(room / "archive")))


def replace_folder(room: Path) -> None:
    """Replace a run folder by another."""
    with written_whole(room / "run") as fresh:
        for number in range(12):
            (fresh / f"{number}.txt").write_text("new", encoding="utf-8")
        (fresh / "run.json").write_text("new", encoding="utf-8")


def replace_without_exchange(room: Path) -> None:
    """Replace a run folder as systems do that cannot exchange names."""
    whole._exchange = lambda first, second: False
    replace_folder(room)


WRITERS = {"archive": archive, "exchange": replace_folder, "two steps": replace_without_exchange}


def run_child(what: str, room: Path, last: int) -> int:
    """Work in a child that dies before its step ``last``; gives its number of steps where it lives."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        steps = 0
        counting = True

        def note(event: str, arguments: tuple[object, ...]) -> None:
            nonlocal steps
            if counting and event.startswith(STEPS) and any(str(room) in str(one) for one in arguments):
                steps += 1
                if steps == last:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(note)
        WRITERS[what](room)
        counting = False
        os.write(writer, str(steps).encode())
        os._exit(0)
    os.close(writer)
    _, status = os.waitpid(child, 0)
    told = os.read(reader, 20)
    os.close(reader)
    if last and not os.WIFSIGNALED(status):
        raise SystemExit(f"the child that was to die at step {last} ended with {status}")
    return int(told or 0)


def main() -> None:
    """Count the steps, then kill a child at each of the points, spread over all steps."""
    what, root, points = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
    shutil.copytree(root / "start", root / "whole")
    steps = run_child(what, root / "whole", 0)
    print(steps)
    for number in range(points):
        room = root / f"killed {number}"
        shutil.copytree(root / "start", room)
        run_child(what, room, 1 + number * (steps - 1) // max(points - 1, 1))


if __name__ == "__main__":
    main()
