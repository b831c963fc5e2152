"""Exclusions by hand: which records they take, what is counted, and what cannot be meant."""

import json

import numpy as np
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner

from proofstrip.cli.main import main
from proofstrip.errors import DataError
from proofstrip.exclusions import count_exclusions, exclude_by_hand, share_excluded
from proofstrip.flags import Flag, has_flag
from proofstrip.read.exclusions import Exclusion, Exclusions


def item(number=1, ground=None, rows=(), source_file=None):
    return Exclusion(number, "plugged", "A. Nyone", "2024-10-08", ground, rows, source_file)


def exclusions(tmp_path, *items):
    return Exclusions("exclusions.geojson", items, "0" * 64, tmp_path / "exclusions.geojson")


@pytest.fixture
def points(make_points):
    """Ten records, 2 m apart to the north; the first eight in two strips."""
    frame = make_points(10)
    strip = ["S1"] * 4 + ["S2"] * 4 + [None] * 2
    treatment = ["control"] * 4 + ["tried"] * 4 + [None] * 2
    return frame.assign(
        cut_easting_m=frame["easting_m"],
        cut_northing_m=frame["northing_m"],
        flags=np.int32(0),
        usable=True,
        strip=strip,
        treatment=treatment,
    )


def taken(points):
    return points.loc[has_flag(points["flags"], Flag.EXCLUDED_BY_HAND), "source_row"].tolist()


def test_a_polygon_takes_the_records_whose_grain_was_cut_in_it(points, tmp_path):
    east, north = points["cut_easting_m"].iloc[0], points["cut_northing_m"].iloc[0]
    square = shapely.box(east - 1, north + 1, east + 1, north + 7)
    logged_elsewhere = points.assign(easting_m=0.0, northing_m=0.0)
    found = exclude_by_hand(logged_elsewhere, exclusions(tmp_path, item(ground=square)))
    assert taken(found) == [2, 3, 4]
    assert found["usable"].tolist() == [True, False, False, False] + [True] * 6


def test_numbers_are_rows_of_the_raw_file_from_one(points, tmp_path):
    found = exclude_by_hand(points, exclusions(tmp_path, item(rows=((2, 3), (9, 9)))))
    assert taken(found) == [2, 3, 9]


def test_other_flags_stay_and_nothing_is_excluded_without_a_file(points, tmp_path):
    spiked = points.assign(flags=np.int32(Flag.SPIKE))
    found = exclude_by_hand(spiked, exclusions(tmp_path, item(rows=((1, 1),))))
    assert has_flag(found["flags"], Flag.SPIKE).all()
    assert exclude_by_hand(points, None) is points


def test_with_several_raw_files_numbers_need_the_file(points, tmp_path):
    two = points.assign(source_file=["monday.csv"] * 5 + ["tuesday.csv"] * 5, source_row=[1, 2, 3, 4, 5] * 2)
    with pytest.raises(DataError, match=r"feature 1: the trial has 2 raw files.*'monday.csv', 'tuesday.csv'"):
        exclude_by_hand(two, exclusions(tmp_path, item(rows=((2, 2),))))
    with pytest.raises(DataError, match=r"no raw file 'tusday.csv'\. Did you mean 'tuesday.csv'"):
        exclude_by_hand(two, exclusions(tmp_path, item(rows=((2, 2),), source_file="tusday.csv")))
    found = exclude_by_hand(two, exclusions(tmp_path, item(rows=((2, 2),), source_file="tuesday.csv")))
    assert found.index[has_flag(found["flags"], Flag.EXCLUDED_BY_HAND)].tolist() == [6]


def test_what_an_exclusion_took_is_counted_by_treatment(points, tmp_path):
    flags = points["flags"].copy()
    flags.iloc[2] = int(Flag.SPIKE)
    listed = exclusions(tmp_path, item(rows=((3, 6), (10, 10))))
    (count,), notices = count_exclusions(exclude_by_hand(points.assign(flags=flags), listed), listed)
    assert (count.records, count.otherwise_used) == (5, 3)
    assert count.by_treatment == {"control": 2, "tried": 2}
    assert notices == ()


def test_an_exclusion_that_takes_nothing_or_goes_beyond_the_file_is_told(points, tmp_path):
    far = shapely.box(0, 0, 1, 1)
    listed = exclusions(tmp_path, item(1, ground=far), item(2, rows=((90, 99),)), item(3, rows=((8, 12),)))
    _, notices = count_exclusions(exclude_by_hand(points, listed), listed)
    said = {notice.message for notice in notices}
    assert said == {
        "exclusions.geojson, feature 1 (plugged) excludes nothing: no record was cut in its polygon.",
        "exclusions.geojson, feature 2 (plugged) excludes nothing: there is no record of its numbers.",
        "exclusions.geojson, feature 3 (plugged) goes up to record 12; the file ends with 10.",
    }


def test_share_of_a_strip_counts_only_what_nothing_else_removes(points):
    hand = int(Flag.EXCLUDED_BY_HAND)
    flags = [hand, hand | int(Flag.STRIP_END), 0, 0, hand, hand, 0, 0, 0, 0]
    share = share_excluded(points.assign(flags=np.array(flags, dtype="int32")))
    assert share.to_dict() == pytest.approx({"S1": 1 / 3, "S2": 0.5})


def test_a_run_applies_counts_hashes_and_tells_them(tmp_path, copy_sample):
    trial = copy_sample(tmp_path / "field")
    why = {"reason": "hail corner", "author": "A. Nyone", "date": "2024-10-09"}
    features = [
        {"type": "Feature", "geometry": None, "properties": why | {"records": [[300, 330]]}},
        {"type": "Feature", "geometry": None, "properties": why | {"records": [999_999]}},
    ]
    file = trial.parent / "exclusions.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    done = CliRunner().invoke(main, ["run", str(trial), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert "feature 2 (hail corner) excludes nothing" in done.output
    result = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))
    first, second = result["exclusions"]
    assert {key: first[key] for key in ("reason", "author", "date", "records")} == why | {"records": 31}
    assert second["records"] == 0
    assert result["records"]["flags"]["excluded_by_hand"] == 31
    run = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert "exclusions.geojson" in {entry["file"] for entry in run["inputs"]}
    points = pd.read_parquet(tmp_path / "out" / "points.parquet")
    assert points.loc[points["flags"] & int(Flag.EXCLUDED_BY_HAND) != 0, "source_row"].tolist() == list(range(300, 331))
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "hail corner" in page and "A. Nyone" in page
