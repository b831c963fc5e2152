"""What stops on the way: a full disk, a place that cannot be written, a file that changes, two at once."""

import hashlib
import json
import os
import resource
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from tests.archive.test_archive import change_contact, files

from proofstrip import run as run_module
from proofstrip import whole
from proofstrip.archive import archive_run, build, open_store, store, verify_archive
from proofstrip.config import load_settings
from proofstrip.errors import DataError
from proofstrip.run import work_through
from proofstrip.whole import written_whole


@pytest.fixture
def limit_files():
    """Let no file grow beyond a size: what a full disk does, without one."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    yield lambda size: resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("size", [4_000, 60_000, 110_000])
def test_a_file_that_cannot_be_written_whole_leaves_no_item(farm, archive, limit_files, size):
    before = files(archive)
    change_contact(farm, "C. Nobody")
    limit_files(size)
    with pytest.raises(DataError, match="cannot be written"):
        archive_run(farm / "run", open_store(str(archive)))
    assert files(archive) == before


@pytest.fixture
def small_disk(tmp_path):
    """Give a disk of a size, where this user may mount one."""
    place = tmp_path / "disk"
    place.mkdir()

    def mount(kilobytes: int) -> Path:
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", place], check=True)
        return place

    tried = shutil.which("mount") and os.geteuid() == 0
    if not tried or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4k", "none", place], check=False).returncode:
        pytest.skip("mounting a small disk needs root")
    subprocess.run(["umount", place], check=True)
    yield mount
    subprocess.run(["umount", place], check=True)


@pytest.mark.parametrize("kilobytes", [200, 700, 1_200])
def test_a_full_disk_is_said_and_leaves_nothing_behind(farm, small_disk, kilobytes):
    disk = small_disk(kilobytes)
    need = sum(len(content) for content in files(farm / "run").values())
    assert need > kilobytes * 1024, "the disk is to be too small"
    with pytest.raises(DataError, match="cannot be written"):
        archive_run(farm / "run", open_store(str(disk / "archive")))
    assert files(disk) == {}
    with pytest.raises(DataError, match="cannot be written"), written_whole(disk / "run") as fresh:
        (fresh / "run.json").write_bytes(b"x" * kilobytes * 2048)
    assert files(disk) == {}


@pytest.fixture(scope="session")
def worked(original):
    """Take the trial through its stages once; what follows is writing."""
    return work_through(load_settings(original / "trials" / "east" / "trial.toml"))


@pytest.fixture
def write_run(original, worked, monkeypatch):
    """Write the run's folder somewhere, as a run does."""
    monkeypatch.setattr(run_module, "work_through", lambda settings, say: worked)
    settings = load_settings(original / "trials" / "east" / "trial.toml")
    return lambda folder: run_module.run_trial(settings, folder)


def put_old_run(folder):
    folder.mkdir()
    for name in ("run.json", "result.json"):
        (folder / name).write_text("{}", encoding="utf-8")


# Full while the records, the pictures and the page are written.
@pytest.mark.parametrize("kilobytes", [80, 300, 1_000])
def test_a_run_onto_a_full_disk_leaves_the_old_one(write_run, original, small_disk, kilobytes):
    disk = small_disk(kilobytes)
    assert sum(len(content) for content in files(original / "run").values()) > kilobytes * 1024
    put_old_run(disk / "run")
    before = files(disk)
    with pytest.raises(DataError, match=r"run cannot be written: .*No space left"):
        write_run(disk / "run")
    assert files(disk) == before
    assert [path.name for path in disk.iterdir()] == ["run"]


def test_a_run_onto_a_disk_that_is_read_only_leaves_the_old_one(write_run, small_disk):
    disk = small_disk(4_000)
    put_old_run(disk / "run")
    before = files(disk)
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    with pytest.raises(DataError, match=r"run cannot be written: .*Read-only file system"):
        write_run(disk / "run")
    assert files(disk) == before


def test_what_is_written_is_on_the_disk_before_it_takes_its_place(write_run, tmp_path, monkeypatch):
    done = []
    sync, put = whole.sync, whole._put_in_place
    monkeypatch.setattr(whole, "sync", lambda path: (done.append(path), sync(path)))
    monkeypatch.setattr(whole, "_put_in_place", lambda *names: (done.append("put"), put(*names)))
    write_run(tmp_path / "run")
    synced = [path.name for path in done[: done.index("put")]]
    assert {path.name for path in (tmp_path / "run").rglob("*")} <= set(synced)
    assert synced[-1].startswith(".run.new-")
    assert done[-1] == tmp_path


@pytest.mark.long
def test_two_runs_into_one_folder_at_once_both_end_and_one_stands_whole(farm, tmp_path):
    trial = farm / "trials" / "east" / "trial.toml"
    other = trial.with_name("other.toml")
    other.write_text(trial.read_text("utf-8").replace("season = 2024", "season = 2025"), "utf-8")
    program = "import sys; from proofstrip.cli.main import main; main(sys.argv[1:])"
    started = [
        subprocess.Popen([sys.executable, "-c", program, "run", one, "--out", farm / "run"]) for one in (trial, other)
    ]
    assert [process.wait() for process in started] == [0, 0]
    record = json.loads((farm / "run" / "run.json").read_text("utf-8"))
    hashes = {entry["file"]: entry["sha256"] for entry in record["outputs"]}
    left = {name: hashlib.sha256(content).hexdigest() for name, content in files(farm / "run").items()}
    assert {name: digest for name, digest in left.items() if name != "run.json"} == hashes
    season = json.loads((farm / "run" / "result.json").read_text("utf-8"))["trial"]["season"]
    assert record["settings"]["trial"]["season"] == season
    assert sorted(path.name for path in farm.iterdir()) == ["raw logs", "run", "trials"]


@pytest.mark.parametrize("place", ["/sys/proofstrip", "file/below"])
def test_a_place_that_cannot_be_written_is_said(farm, tmp_path, place):
    (tmp_path / "file").write_text("no folder", encoding="utf-8")
    with pytest.raises(DataError, match="cannot be written"):
        archive_run(farm / "run", open_store(str(tmp_path / place)))
    with pytest.raises(DataError, match="cannot be written"), written_whole(tmp_path / place / "run"):
        pass


def test_a_raw_file_that_changes_while_it_is_archived_is_refused(farm, archive, monkeypatch):
    before = files(archive)
    change_contact(farm, "D. Nobody")
    copy = shutil.copyfile

    def copy_and_grow(source, target):
        if source.name == "log 1.csv":
            with source.open("a", encoding="utf-8") as stream:
                stream.write("\n")
        return copy(source, target)

    monkeypatch.setattr(build.shutil, "copyfile", copy_and_grow)
    with pytest.raises(DataError, match=r"log 1\.csv changed while it was being archived"):
        archive_run(farm / "run", open_store(str(archive)))
    assert files(archive) == before


@pytest.mark.parametrize(
    "name", ["raw logs/log 1.csv", "trials/east/trial_map.geojson", "trials/east/exclusions.geojson"]
)
@pytest.mark.parametrize("how", ["grows", "goes"])
def test_a_raw_file_that_changes_while_it_is_read_stops_the_run(farm, monkeypatch, name, how):
    settings = load_settings(farm / "trials" / "east" / "trial.toml")

    def change(work):
        if how == "goes":
            (farm / name).unlink()
        else:
            with (farm / name).open("a", encoding="utf-8") as stream:
                stream.write("\n")
        return replace(work)

    monkeypatch.setattr(run_module, "STAGES", (run_module.read, change))
    with pytest.raises(DataError, match="while it was being read, so the answer would belong to no file"):
        work_through(settings)


@pytest.mark.long
def test_two_that_archive_at_once_are_both_listed(farm, archive):
    shutil.copytree(farm, farm.with_name("other"))
    change_contact(farm, "E. Nobody")
    trial = farm.with_name("other") / "trials" / "east" / "trial.toml"
    trial.write_text(trial.read_text("utf-8").replace("nobody: an invented trial", "F. Nobody"), "utf-8")
    program = "import sys; from proofstrip.cli.main import main; main(sys.argv[1:])"
    started = [
        subprocess.Popen([sys.executable, "-c", program, "archive", folder / "run", "--to", archive])
        for folder in (farm, farm.with_name("other"))
    ]
    assert [process.wait() for process in started] == [0, 0]
    done = verify_archive(open_store(str(archive)))
    assert (done.items, done.findings) == (3, ())


def test_an_index_that_others_keep_changing_is_said_and_made_by_the_next(farm, archive, monkeypatch):
    change_contact(farm, "G. Nobody")
    monkeypatch.setattr(store, "ATTEMPTS", 0)
    with pytest.raises(DataError, match="the item is archived, but others archive so often"):
        archive_run(farm / "run", open_store(str(archive)))
    monkeypatch.undo()
    assert not archive_run(farm / "run", open_store(str(archive))).written
    done = verify_archive(open_store(str(archive)))
    assert (done.items, done.findings) == (2, ())
