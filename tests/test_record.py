"""The run folder: written whole or not at all, the same inputs the same bytes."""

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from proofstrip import __version__
from proofstrip.columns import POINT_COLUMNS, STRIP_COLUMNS, empty_frame
from proofstrip.errors import DataError
from proofstrip.flags import FLAGS
from proofstrip.record import Clock, describe_inputs, write_json, write_tables, written_whole


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


def test_a_new_folder_stands_only_once_it_is_complete(tmp_path):
    target = tmp_path / "runs" / "trial"
    with written_whole(target) as fresh:
        (fresh / "result.json").write_text("new", encoding="utf-8")
        assert not target.exists()
        assert fresh.parent == target.parent
    assert (target / "result.json").read_text(encoding="utf-8") == "new"
    assert names(target.parent) == ["trial"]


def test_an_old_run_is_replaced_whole(old_run):
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
    said = r"trial cannot be written: .*No space left.* Name another folder with --out"
    with pytest.raises(DataError, match=said), written_whole(old_run):
        raise OSError(28, "No space left on device")
    assert names(old_run) == ["result.json", "run.json"]
    assert names(old_run.parent) == ["trial"]


def test_a_target_that_cannot_be_put_in_place_gives_the_old_run_back(old_run, monkeypatch):
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


def test_json_is_plain_readable_and_holds_no_nan(tmp_path):
    path = tmp_path / "result.json"
    write_json(path, {"b": 1.5, "a": ["°", None]})
    text = path.read_text(encoding="utf-8")
    assert json.loads(text) == {"b": 1.5, "a": ["°", None]}
    assert "°" in text
    assert text.endswith("}\n")
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json(path, {"a": float("nan")})


def test_tables_are_written_in_the_order_and_types_of_the_columns(tmp_path, make_points):
    rows = 3
    points = make_points(rows, strip=["S1", None, "S1"], flags=np.zeros(rows, dtype="int32"))
    for column in POINT_COLUMNS:
        if column.name not in points:
            points[column.name] = pd.Series(dtype=column.dtype).reindex(range(rows))
    points["unknown"] = 1
    strips = empty_frame(STRIP_COLUMNS)
    write_tables(tmp_path, points[points.columns[::-1]], strips)
    back = gpd.read_parquet(tmp_path / "points.parquet")
    assert list(back.columns) == [*(column.name for column in POINT_COLUMNS), "geometry"]
    assert back.crs == points.crs
    assert back["record"].tolist() == [0, 1, 2]
    header = (tmp_path / "strips.csv").read_text(encoding="utf-8")
    assert header == ",".join(column.name for column in STRIP_COLUMNS) + "\n"


def test_strips_keep_ten_digits(tmp_path, make_points):
    points = make_points(1)
    for column in POINT_COLUMNS:
        if column.name not in points:
            points[column.name] = 0
    strips = pd.DataFrame({"strip": ["S1"], "yield_kg_ha": [4321.0987654321], "block": [None]})
    write_tables(tmp_path, points, strips)
    assert (tmp_path / "strips.csv").read_bytes() == b"strip,yield_kg_ha,block\nS1,4321.098765,\n"


def test_run_json_says_what_was_run_on_what(make_settings):
    clock = Clock()
    clock.note("read", 5, 0.123456)
    settings = make_settings('[clean]\ndelay = "11 s"\n')
    run = describe_inputs(settings, {"harvest.csv": "abc"}, clock, pd.Series([0, 1, 3], dtype="int32"))
    assert run["version"] == __version__
    assert run["inputs"] == [{"file": "harvest.csv", "sha256": "abc"}]
    assert run["stages"] == [{"stage": "read", "rows": 5, "seconds": 0.123}]
    assert run["settings"]["clean"]["delay_s"] == 11.0
    assert run["settings"]["trial"]["crop"]["name"] == "soybean"
    assert "folder" not in run["settings"]
    assert [flag["bit"] for flag in run["flags"]] == [int(meaning.flag) for meaning in FLAGS]
    assert [flag["records"] for flag in run["flags"]][:3] == [2, 1, 0]
    json.dumps(run, allow_nan=False)
