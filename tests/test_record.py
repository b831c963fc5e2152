"""The run folder: the same inputs the same bytes."""

import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from proofstrip import __version__
from proofstrip.columns import POINT_COLUMNS, STRIP_COLUMNS, empty_frame
from proofstrip.flags import FLAGS
from proofstrip.record import Clock, describe_inputs, write_json, write_tables


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
