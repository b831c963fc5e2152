"""What stops on the way: killed, a full disk, a place that cannot be written, a file that changes, two at once."""

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
from proofstrip.archive import archive_run, build, open_store, verify_archive
from proofstrip.config import load_settings
from proofstrip.errors import DataError
from proofstrip.run import work_through
from proofstrip.whole import LEFTOVER_S, written_whole

KILLER = Path(__file__).with_name("kill_writer.py")


def kill(what: str, root: Path, points: int) -> list[Path]:
    """Kill a writer at so many points; gives the folders that it left."""
    done = subprocess.run([sys.executable, KILLER, what, root, str(points)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout.splitlines()[0]) >= points
    return [root / f"killed {number}" for number in range(points)]


@pytest.mark.long
def test_an_archive_that_is_killed_holds_the_old_version_alone_or_both_whole(farm, archive, tmp_path):
    change_contact(farm, "B. Nobody")
    start = tmp_path / "killing" / "start"
    start.mkdir(parents=True)
    farm.rename(start / "farm")
    archive.rename(start / "archive")
    whole = files(start / "archive")
    old = {place: content for place, content in whole.items() if place.startswith("trials/")}
    versions = []
    for room in kill("archive", start.parent, 20):
        left = files(room / "archive")
        assert {place: left[place] for place in old} == old
        versions.append(len(list((room / "archive").glob("trials/*/*"))))
        if versions[-1] == 1:
            assert {place for place in left if not place.startswith(".item.new-")} == set(whole)
            continue
        found = verify_archive(open_store(str(room / "archive"))).findings
        # An item that is whole may not be listed yet: the files at the top are made of the items, after them.
        assert all(f.kind == "not listed" or f.file in ("collection.json", "trials.parquet") for f in found), found
        archive_run(room / "farm" / "run", open_store(str(room / "archive")))
        assert verify_archive(open_store(str(room / "archive"))).findings == ()
    assert versions == sorted(versions)
    assert set(versions) == {1, 2}


@pytest.mark.long
@pytest.mark.parametrize("way", ["exchange", "two steps"])
def test_a_run_folder_that_is_killed_is_the_old_one_or_the_new_one(tmp_path, way):
    start = tmp_path / "start" / "run"
    start.mkdir(parents=True)
    for name in ("run.json", "result.json", "0.txt"):
        (start / name).write_text("old", encoding="utf-8")
    seen = set()
    for room in kill(way, tmp_path, 20):
        if way == "two steps" and not (room / "run").exists():
            # Between the two steps the old folder stands aside; the next writer puts it back before it does anything.
            with pytest.raises(ValueError, match="stopped"), written_whole(room / "run"):
                raise ValueError("stopped")
        left = files(room / "run")
        seen.add(tuple(sorted(set(left.values()))))
        assert set(left) in ({"run.json", "result.json", "0.txt"}, {"run.json", *(f"{n}.txt" for n in range(12))})
        for path in room.iterdir():
            os.utime(path, (LEFTOVER_S, LEFTOVER_S))
        with written_whole(room / "run") as fresh:
            (fresh / "run.json").write_text("next", encoding="utf-8")
        assert [path.name for path in room.iterdir()] == ["run"]
    assert seen == {(b"old",), (b"new",)}


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
