"""A folder that is written whole or not at all."""

import os
import socket
import subprocess
from pathlib import Path

import pytest

from proofstrip import whole
from proofstrip.errors import DataError
from proofstrip.whole import written_whole


@pytest.fixture
def old_run(tmp_path):
    """Make a run folder with an older answer."""
    folder = tmp_path / "runs" / "trial"
    folder.mkdir(parents=True)
    (folder / "run.json").write_text("{}", encoding="utf-8")
    (folder / "result.json").write_text("old", encoding="utf-8")
    return folder


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture(params=["exchanged in one step", "moved in two steps"])
def way(request, monkeypatch):
    """Put folders in place as Linux can, and as other systems do."""
    if request.param == "moved in two steps":
        monkeypatch.setattr(whole, "_exchange", lambda first, second: False)
    return request.param


def test_a_new_folder_stands_only_once_it_is_complete(tmp_path):
    target = tmp_path / "runs" / "trial"
    with written_whole(target) as fresh:
        (fresh / "result.json").write_text("new", encoding="utf-8")
        assert not target.exists()
        assert fresh.parent == target.parent
    assert (target / "result.json").read_text(encoding="utf-8") == "new"
    assert names(target.parent) == ["trial"]


def test_an_old_run_is_replaced_whole(old_run, way):
    with written_whole(old_run) as fresh:
        (fresh / "run.json").write_text("new", encoding="utf-8")
        assert (old_run / "result.json").read_text(encoding="utf-8") == "old"
    assert names(old_run) == ["run.json"]
    assert names(old_run.parent) == ["trial"]


@pytest.mark.parametrize("fault", [ValueError("no"), KeyboardInterrupt(), DataError("no")])
def test_a_run_that_stops_leaves_the_old_one_whole(old_run, fault):
    with pytest.raises(type(fault)), written_whole(old_run) as fresh:
        (fresh / "result.json").write_text("new", encoding="utf-8")
        raise fault
    assert names(old_run) == ["result.json", "run.json"]
    assert (old_run / "result.json").read_text(encoding="utf-8") == "old"
    assert names(old_run.parent) == ["trial"]


def test_a_full_disk_is_said_and_leaves_the_old_run_whole(old_run):
    said = r"trial cannot be written: .*No space left.* Name another folder"
    with pytest.raises(DataError, match=said), written_whole(old_run):
        raise OSError(28, "No space left on device")
    assert names(old_run) == ["result.json", "run.json"]
    assert names(old_run.parent) == ["trial"]


def test_a_target_that_cannot_be_put_in_place_gives_the_old_run_back(old_run, monkeypatch):
    monkeypatch.setattr(whole, "_exchange", lambda first, second: False)
    rename = Path.rename

    def fail_for_the_new(self, target):
        if ".new-" in self.name:
            raise PermissionError(13, "Permission denied")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", fail_for_the_new)
    with pytest.raises(DataError, match="cannot be written"), written_whole(old_run):
        pass
    assert names(old_run) == ["result.json", "run.json"]
    assert names(old_run.parent) == ["trial"]


def test_a_folder_with_other_things_in_it_is_left_alone(tmp_path):
    (tmp_path / "thesis.txt").write_text("years of work", encoding="utf-8")
    said = r"exists and is not a run folder \(it has no run.json\); nothing was written"
    with pytest.raises(DataError, match=said), written_whole(tmp_path):
        raise AssertionError("the writer must not be asked")
    assert names(tmp_path) == ["thesis.txt"]


def test_a_file_in_the_target_s_place_is_left_alone(tmp_path):
    target = tmp_path / "trial"
    target.write_text("a file", encoding="utf-8")
    with pytest.raises(DataError, match="is not a run folder"), written_whole(target):
        pass
    assert target.read_text(encoding="utf-8") == "a file"


def test_an_empty_folder_is_taken(tmp_path):
    target = tmp_path / "trial"
    target.mkdir()
    with written_whole(target) as fresh:
        (fresh / "run.json").write_text("{}", encoding="utf-8")
    assert names(target) == ["run.json"]


def test_the_folder_one_stands_in_is_taken(tmp_path, monkeypatch):
    target = tmp_path / "here"
    target.mkdir()
    monkeypatch.chdir(target)
    with written_whole(Path()) as fresh:
        (fresh / "run.json").write_text("{}", encoding="utf-8")
    assert names(target) == ["run.json"]


def test_a_parent_that_is_a_file_is_said(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(DataError, match="cannot be written"), written_whole(tmp_path / "file" / "trial"):
        pass


def test_of_two_writers_the_later_one_s_folder_stands(tmp_path, way):
    target = tmp_path / "trial"
    for begin in ("absent", "there"):
        with written_whole(target) as first:
            (first / "run.json").write_text(f"first, {begin}", encoding="utf-8")
            with written_whole(target) as second:
                (second / "run.json").write_text(f"second, {begin}", encoding="utf-8")
            assert (target / "run.json").read_text(encoding="utf-8") == f"second, {begin}"
        assert (target / "run.json").read_text(encoding="utf-8") == f"first, {begin}"
        assert names(tmp_path) == ["trial"]


def test_a_writer_that_finds_the_target_taken_at_the_last_moment_tries_again(tmp_path, monkeypatch):
    monkeypatch.setattr(whole, "_exchange", lambda first, second: False)
    target, rename = tmp_path / "trial", Path.rename

    def taken(self, name):
        if ".old-" in Path(name).name:
            rename(self, name)
            target.mkdir()
            (target / "run.json").write_text("another writer's", encoding="utf-8")
            monkeypatch.setattr(Path, "rename", rename)
            return None
        return rename(self, name)

    with written_whole(target) as fresh:
        (fresh / "run.json").write_text("one", encoding="utf-8")
    monkeypatch.setattr(Path, "rename", taken)
    with written_whole(target) as fresh:
        (fresh / "run.json").write_text("two", encoding="utf-8")
    assert (target / "run.json").read_text(encoding="utf-8") == "two"
    assert names(tmp_path) == ["trial"]


def test_a_writer_that_never_gets_its_turn_says_so_and_the_old_run_stays(old_run, monkeypatch):
    monkeypatch.setattr(whole, "_exchange", lambda first, second: False)
    # One attempt moves the old folder aside, and none is left to put the new one there.
    monkeypatch.setattr(whole, "ATTEMPTS", 1)
    with pytest.raises(DataError, match="other writers were faster each time"), written_whole(old_run) as fresh:
        (fresh / "run.json").write_text("new", encoding="utf-8")
    assert names(old_run) == ["result.json", "run.json"]
    assert names(old_run.parent) == ["trial"]


@pytest.fixture
def dead():
    """Give the number of a process that has ended."""
    process = subprocess.Popen(["true"])
    process.wait()
    return process.pid


def test_what_a_killed_writer_had_moved_aside_is_put_back(old_run, dead):
    old_run.rename(old_run.with_name(f".trial.old-{dead}-1-{socket.gethostname()}"))
    with pytest.raises(ValueError, match="stopped"), written_whole(old_run):
        raise ValueError("stopped")
    assert names(old_run) == ["result.json", "run.json"]


def test_what_a_killed_writer_had_begun_goes_after_an_hour(old_run, dead):
    begun = old_run.with_name(f".trial.new-{dead}-1-{socket.gethostname()}")
    others = [
        old_run.with_name(f".trial.new-{os.getpid()}-1-{socket.gethostname()}"),
        old_run.with_name(f".trial.new-{dead}-1-another-machine"),
        old_run.with_name(f".trial.b.new-{dead}-1-{socket.gethostname()}"),
    ]
    for folder in (begun, *others):
        folder.mkdir()
    with written_whole(old_run):
        assert begun.exists()
    for folder in (begun, *others):
        os.utime(folder, (0, 0))
    with written_whole(old_run) as fresh:
        (fresh / "run.json").write_text("{}", encoding="utf-8")
    assert not begun.exists()
    assert all(folder.exists() for folder in others)
