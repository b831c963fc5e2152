"""Killed with SIGKILL at points spread over the whole of a command: the old result stays whole, or the new one is."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from tests.archive.test_archive import change_contact

from proofstrip.archive import open_store, verify_archive

KILLER = Path(__file__).with_name("kill_writer.py")
POINTS = 40
Files = dict[str, str]


def kill(what: str, root: Path) -> tuple[Files, Files, list[dict[str, Any]]]:
    """Kill a program at 40 points; gives the files before, those after one that nobody killed, and what was found."""
    done = subprocess.run([sys.executable, KILLER, what, root, str(POINTS)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    ended, killed = lines[0], lines[1:]
    assert ended["killed"]["status"] == 0
    assert ended["killed"]["steps"] >= POINTS
    assert len(killed) == POINTS
    for one in killed:
        # The next one works, and removes what the killed one left.
        assert one["next"]["status"] == 0
        assert one["beside_after"] == []
    # A child that is to die by the clock may be faster than the one before it; those killed at a step always die.
    assert sum(one["killed"]["status"] is None for one in killed) >= POINTS - 5
    assert any(one["beside"] for one in killed)
    return ended["old"], ended["new"], killed


def start_run(farm: Path, start: Path) -> None:
    """Put a run folder in place, and change the trial so that every file of the next run differs."""
    farm.rename(start / "farm")
    (start / "farm" / "run").rename(start / "kept")
    trial = start / "farm" / "trials" / "east" / "trial.toml"
    text = trial.read_text(encoding="utf-8").replace("season = 2024", "season = 2025")
    trial.write_text(text + '\n[clean]\ndelay = "9 s"\n', encoding="utf-8")


@pytest.mark.long
def test_a_run_that_is_killed_leaves_the_old_folder_whole_or_the_new_one(farm, tmp_path):
    start = tmp_path / "killing" / "start"
    start.mkdir(parents=True)
    start_run(farm, start)
    old, new, killed = kill("run", start.parent)
    assert old.keys() == new.keys()
    assert all(old[name] != new[name] for name in old)
    for one in killed:
        assert one["left"] in (old, new)
        # Whoever reads run.json first and last, and finds the same, has read one run.
        assert one["killed"]["seen"] in ([old], [new], [old, new])
        assert one["after"] == new
        assert all(re.fullmatch(r"\.kept\.new-\d+-\d+-.+", name) for name in one["beside"])
    assert {one["left"] == new for one in killed} == {False, True}


@pytest.mark.long
def test_an_archive_that_is_killed_holds_the_old_version_alone_or_both_whole(farm, archive, tmp_path):
    change_contact(farm, "B. Nobody")
    start = tmp_path / "killing" / "start"
    start.mkdir(parents=True)
    farm.rename(start / "farm")
    archive.rename(start / "kept")
    old, new, killed = kill("archive", start.parent)
    item = {name for name in new if name not in old}
    top = {"collection.json", "trials.parquet"}
    assert {name for name in old if old[name] != new[name]} == top
    for one in killed:
        for found in (*one["killed"]["seen"], one["left"]):
            assert found.keys() in (old.keys(), new.keys())
            # The files at the top are made of the items, one after the other, once the new item stands.
            assert all(found[name] in (old[name], new[name]) for name in top)
            assert all(found[name] == new[name] for name in found.keys() - top)
            assert item <= found.keys() or all(found[name] == old[name] for name in top)
        assert one["after"] == new
    assert {item <= one["left"].keys() for one in killed} == {False, True}
    assert verify_archive(open_store(str(start.parent / "room" / "kept"))).findings == ()


@pytest.mark.long
def test_a_folder_that_is_replaced_in_two_steps_is_put_back_by_the_next_writer(tmp_path):
    start = tmp_path / "start" / "kept"
    start.mkdir(parents=True)
    for name in ("run.json", "result.json", "0.txt"):
        (start / name).write_text("{}", encoding="utf-8")
    old, new, killed = kill("two steps", tmp_path)
    for one in killed:
        # Between the two steps the old folder stands aside.
        aside = any(name.startswith(".kept.old-") for name in one["beside"])
        assert one["left"] in (old, new) or (one["left"] == {} and aside)
        assert one["after"] == new
    assert {len(one["left"]) for one in killed} >= {0, len(old), len(new)}
