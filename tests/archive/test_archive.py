"""Archived once, never changed: versions, refusals, object stores, and what verify finds."""

import json
import shutil
from pathlib import Path

import fsspec
import pytest
from click.testing import CliRunner, Result

from proofstrip.archive import archive_run, open_store, rerun, verify_archive
from proofstrip.archive.names import name_trial
from proofstrip.archive.rerun import rerun_item
from proofstrip.cli.main import main
from proofstrip.errors import DataError


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def files(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def change_contact(farm: Path, contact: str) -> None:
    trial = farm / "trials" / "east" / "trial.toml"
    trial.write_text(trial.read_text("utf-8").replace("nobody: an invented trial", contact), "utf-8")


def refuse(result: Result) -> str:
    assert result.exit_code == 1, result.output
    assert "Traceback" not in result.output
    return result.stderr


def test_a_run_is_archived_with_its_raw_files_byte_for_byte(farm, tmp_path):
    done = call("archive", farm / "run", "--to", tmp_path / "a")
    assert done.exit_code == 0, done.output
    assert "(version 1)" in done.stdout
    (item,) = (tmp_path / "a").glob("trials/*/*")
    for place in (
        "raw logs/log 1.csv",
        "raw logs/log 2.csv",
        "trials/east/trial.toml",
        "trials/east/trial_map.geojson",
    ):
        assert (item / "source" / place).read_bytes() == (farm / place).read_bytes()
    for place in ("strips.csv", "result.json", "report.html", "run.json"):
        assert (item / place).read_bytes() == (farm / "run" / place).read_bytes()
    assert call("verify", tmp_path / "a").exit_code == 0
    assert sorted(path.name for path in (tmp_path / "a").iterdir()) == [
        "README.md",
        "collection.json",
        "trials",
        "trials.parquet",
    ]


def test_the_same_run_again_is_named_and_nothing_is_written(farm, archive):
    before = files(archive)
    done = call("archive", farm / "run", "--to", archive)
    assert done.exit_code == 0
    assert "archived before" in done.stdout
    assert files(archive) == before


def test_a_run_that_differs_is_a_new_version_and_the_old_one_stays(farm, archive):
    before = files(archive)
    change_contact(farm, "A. Nobody, by post")
    done = call("archive", farm / "run", "--to", archive)
    assert "(version 2, after " in done.stdout
    after = files(archive)
    assert {place: after[place] for place in before if place.startswith("trials/")} == {
        place: content for place, content in before.items() if place.startswith("trials/")
    }
    new = next(json.loads(text) for place, text in after.items() if "/v2-" in place and place.endswith("/item.json"))
    (link,) = [link for link in new["links"] if link["rel"] == "predecessor-version"]
    (old,) = archive.glob("trials/*/v1-*/item.json")
    assert (archive / next(place for place in after if "/v2-" in place)).parent.joinpath(link["href"]).samefile(old)
    assert call("verify", archive).exit_code == 0
    duck = pytest.importorskip("duckdb").sql(
        f"SELECT version, current FROM '{archive}/trials.parquet' ORDER BY version"
    )
    assert duck.fetchall() == [(1, False), (2, True)]


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda farm: (farm / "raw logs" / "log 1.csv").open("a").write("\n"), "log 1.csv changed since the run"),
        (lambda farm: (farm / "raw logs" / "log 2.csv").open("a").write("\n"), "log 2.csv changed since the run"),
        (lambda farm: (farm / "run" / "strips.csv").open("a").write("x"), "strips.csv was changed since the run"),
        (lambda farm: (farm / "run" / "report.html").unlink(), "report.html is missing"),
        (lambda farm: (farm / "trials" / "east" / "trial.toml").unlink(), "is not there any more"),
        (lambda farm: (farm / "run" / "run.json").write_text("{}"), "older version; run the trial again"),
        (
            lambda farm: (farm / "trials" / "east" / "trial.toml").open("a").write("\n[strips]\nend_trim = '5 m'\n"),
            r"[strips] changed since the run",
        ),
    ],
)
def test_what_changed_since_the_run_is_refused(farm, tmp_path, spoil, said):
    spoil(farm)
    assert said in refuse(call("archive", farm / "run", "--to", tmp_path / "a"))
    assert not (tmp_path / "a").exists()


def test_licence_and_contact_are_asked_for(farm, tmp_path):
    trial = farm / "trials" / "east" / "trial.toml"
    trial.write_text(trial.read_text("utf-8").partition("\n[archive]")[0], "utf-8")
    said = refuse(call("archive", farm / "run", "--to", tmp_path / "a"))
    assert "has no [archive] part" in said
    assert "licence = " in said


def test_words_that_are_no_spdx_name_are_kept_beside_other(farm, tmp_path):
    trial = farm / "trials" / "east" / "trial.toml"
    trial.write_text(trial.read_text("utf-8").replace("CC-BY-4.0", "not stated"), "utf-8")
    archive_run(farm / "run", open_store(str(tmp_path / "a")))
    (item,) = (tmp_path / "a").glob("trials/*/*/item.json")
    properties = json.loads(item.read_text("utf-8"))["properties"]
    assert (properties["license"], properties["proofstrip:licence"]) == ("other", "not stated")


def test_a_folder_with_other_things_in_it_is_left_alone(farm, tmp_path):
    (tmp_path / "thesis.txt").write_text("years of work", "utf-8")
    before = files(tmp_path)
    assert "is no archive; nothing was written" in refuse(call("archive", farm / "run", "--to", tmp_path))
    assert files(tmp_path) == before


def test_an_address_of_no_known_kind_is_said(farm):
    assert "cannot be opened" in refuse(call("archive", farm / "run", "--to", "carrier-pigeon://a"))
    assert "is no archive" in refuse(call("verify", farm / "nothing"))


def test_an_object_store_holds_the_same(farm, kept):
    address = f"memory://{farm.parent.name}/archive"
    assert call("archive", farm / "run", "--to", address).exit_code == 0
    assert "archived before" in call("archive", farm / "run", "--to", address).stdout
    store = open_store(address)
    places = store.list_files()
    assert places == sorted(files(kept))
    same = [place for place in places if store.read(place) == (kept / place).read_bytes()]
    # Times of archiving differ, and with them the item and what is made of it.
    assert {place.rpartition("/")[2] for place in set(places) - set(same)} <= {
        "item.json",
        "collection.json",
        "trials.parquet",
    }
    assert call("verify", address).exit_code == 0
    manifest = next(place for place in places if place.endswith("item.json"))
    store.fs.rm(store.path(manifest))
    assert "the archiving was stopped, or it was lost" in call("verify", address).stdout
    # An upload that was stopped before its manifest is finished by archiving the run again.
    assert "(version 1)" in call("archive", farm / "run", "--to", address).stdout
    assert call("verify", address).exit_code == 0
    fsspec.filesystem("memory").rm(store.root, recursive=True)


def damage(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def test_one_bit_in_any_file_of_an_item_is_found(archive):
    places = {place for place in files(archive) if place.startswith("trials/") and not place.endswith("/item.json")}
    assert len(places) > 15
    for place in places:
        damage(archive / place)
    found = verify_archive(open_store(str(archive))).findings
    assert {finding.file for finding in found if finding.kind == "damaged"} == places


@pytest.mark.parametrize("name", ["README.md", "collection.json", "trials.parquet", "trials/*/*/item.json"])
def test_one_bit_in_a_file_that_names_others_is_found_and_mended_where_it_can_be(archive, farm, name):
    (path,) = archive.glob(name)
    damage(path)
    done = call("verify", archive)
    assert done.exit_code == 1
    assert path.relative_to(archive).as_posix() in done.stdout or "collection.json" in done.stdout
    again = call("archive", farm / "run", "--to", archive)
    if path.name != "item.json":
        assert again.exit_code == 0
        assert call("verify", archive).exit_code == 0


def test_missing_and_extra_files_are_named(archive):
    (item,) = archive.glob("trials/*/*")
    (item / "yield.tif").unlink()
    (item / "notes.txt").write_text("mine", "utf-8")
    (archive / "more.txt").write_text("mine", "utf-8")
    (archive / "README.md").unlink()
    done = call("verify", archive)
    place = item.relative_to(archive).as_posix()
    assert done.exit_code == 1
    assert f"missing: {place}/yield.tif: item.json names it" in done.stdout
    assert f"extra: {place}/notes.txt: item.json does not name it" in done.stdout
    assert "extra: more.txt: belongs to no item" in done.stdout
    assert "missing: README.md" in done.stdout
    assert "4 things are not as they were archived" in done.stderr


def test_an_item_that_is_gone_is_missed(archive):
    (trial,) = archive.glob("trials/*")
    shutil.rmtree(trial)
    assert "item.json: collection.json names it" in call("verify", archive).stdout


def test_an_item_whose_files_lead_out_of_it_is_no_item(archive):
    (path,) = archive.glob("trials/*/*/item.json")
    path.write_text(path.read_text("utf-8").replace('"href": "yield.tif"', '"href": "../../../../yield.tif"'), "utf-8")
    assert "is no STAC item of a trial" in call("verify", archive).stdout


def test_names_of_trials_are_plain_and_their_own():
    assert name_trial("../../etc", "", 2024).startswith("etc-2024-")
    assert name_trial("Поле", "", 2024).startswith("trial-2024-")
    assert len({name_trial("a", "b", 2024), name_trial("a", "c", 2024), name_trial("a", "b", 2025)}) == 3


def test_a_trial_runs_again_from_what_the_archive_holds(archive, monkeypatch):
    worked = {}

    def work_through(settings, say):
        worked["done"] = worked.get("done") or original_work(settings, say)
        return worked["done"]

    original_work = rerun.work_through
    monkeypatch.setattr(rerun, "work_through", work_through)
    done = call("verify", archive, "--rerun")
    assert done.exit_code == 0, done.output
    assert "each trial run again with the same result" in done.stdout
    (item,) = archive.glob("trials/*/*")
    strips = item / "strips.csv"
    strips.write_text(strips.read_text("utf-8").replace("combine", "scale", 1), "utf-8")
    result = json.loads((item / "result.json").read_text("utf-8"))
    result["verdict"]["word"] = "pays nobody"
    result["records"]["read"] += 1
    (item / "result.json").write_text(json.dumps(result), "utf-8")
    told = rerun_item(item)
    assert told[:2] == [
        "strips.csv: source differs in 1 of 6 strips",
        "result.json: records.read, verdict.word differ",
    ]
    assert told[2].startswith("archived by version ")
    (item / "source" / "raw logs" / "log 1.csv").unlink()
    monkeypatch.setattr(rerun, "work_through", original_work)
    assert rerun_item(item)[0].startswith("it does not run: ")
    with pytest.raises(DataError, match="is no archive"):
        verify_archive(open_store(str(archive / "nothing")))
