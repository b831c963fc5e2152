"""What travels with the page for the map to move about in: every record in some mark, small, and unharmed."""

import base64
import json
from collections.abc import Callable
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from proofstrip.flags import EXCLUDING, Flag
from proofstrip.report import ReportMaterial
from proofstrip.report.explore import explore_map, list_reasons
from proofstrip.report.marks import NONE, Frame, choose_frame, gather_marks, pack_marks
from proofstrip.report.words import choose_units


def a_pass(flags: list[int], yields: list[float], areas: list[float]) -> gpd.GeoDataFrame:
    """Records of one pass northward, 2 m apart, in one strip."""
    along = 2.0 * np.arange(len(flags))
    points = pd.DataFrame({"flags": np.array(flags, dtype="int32"), "yield_kg_ha": yields, "area_m2": areas})
    points["usable"] = (points["flags"] & int(EXCLUDING)) == 0
    points = points.assign(machine="A", pass_id=1, strip="S1", treatment="T", heading_deg=0.0, swath_m=9.0)
    points = points.assign(easting_m=50.0, cut_easting_m=50.0, northing_m=along, cut_northing_m=along - 20)
    points = points.assign(distance_m=2.0, duration_s=1.0, moisture_pct=13.0, mass_flow_kg_s=9.0)
    return gpd.GeoDataFrame(points, geometry=gpd.points_from_xy(points["cut_easting_m"], points["cut_northing_m"]))


def test_small_field_has_a_mark_a_record() -> None:
    points = a_pass([0, int(Flag.TURN), 0], [5000.0, 1000.0, 6000.0], [18.0, 18.0, 9.0])
    marks, together = gather_marks(points, 13.0)
    assert together == 1
    assert marks["records"].tolist() == [1, 1, 1] and marks["used"].tolist() == [1, 0, 1]
    assert marks["after_kg_ha"].tolist()[::2] == [5000.0, 6000.0] and np.isnan(marks["after_kg_ha"][1])
    # 9 kg/s for 1 s over 2 m x 9 m is 9 kg on 18 m2: 5,000 kg/ha
    assert marks["before_kg_ha"].tolist() == pytest.approx([5000.0] * 3)


def test_mark_of_several_records_is_mass_over_area_of_those_counted() -> None:
    flags = [0, 0, int(Flag.SPIKE), int(Flag.NARROW_CUT)]
    marks, together = gather_marks(a_pass(flags, [4000.0, 6000.0, 99000.0, 7000.0], [30.0, 10.0, 20.0, 5.0]), 13.0, 1)
    assert together == 4 and len(marks) == 1
    row = marks.iloc[0]
    assert (row["records"], row["used"], row["flags"]) == (4, 3, int(Flag.SPIKE | Flag.NARROW_CUT))
    # (4000 x 30 + 6000 x 10 + 7000 x 5) / 45, by hand
    assert row["after_kg_ha"] == pytest.approx(215_000 / 45)
    assert row["northing_m"] == 3.0 and row["cut_northing_m"] == -17.0
    assert row["length_m"] == pytest.approx(9.0)  # 8 m, and half a record more


def test_marks_do_not_join_strips_passes_or_machines(make_material: Callable[..., ReportMaterial]) -> None:
    points = make_material(blocks=2, length_m=120.0).points
    marks, together = gather_marks(points, 13.0, 30)
    assert together > 1
    assert marks["records"].sum() == len(points) and marks["used"].sum() == points["usable"].sum()
    counts = points["strip"].fillna("").value_counts().to_dict()
    assert marks.assign(strip=marks["strip"].fillna("")).groupby("strip")["records"].sum().to_dict() == counts
    back = marks["heading_deg"].round(6) % 180
    assert (back == 0).all()  # no mark mixes the way up and the way down


def test_many_runs_of_one_record_end_all_the_same() -> None:
    points = a_pass([0] * 40, [5000.0] * 40, [18.0] * 40).assign(pass_id=np.arange(40))
    assert len(gather_marks(points, 13.0, 4)[0]) == 40


def test_records_outside_the_strips_share_marks_too() -> None:
    points = a_pass([int(Flag.OUTSIDE_STRIP)] * 40, [5000.0] * 40, [18.0] * 40).assign(strip=None)
    for column in (points["strip"], points["strip"].astype("str")):
        assert len(gather_marks(points.assign(strip=column), 13.0, 4)[0]) <= 6


def test_frame_leaves_far_jumps_out_and_strips_in() -> None:
    points = a_pass([0] * 3000, [5000.0] * 3000, [18.0] * 3000)
    points.loc[7, ["easting_m", "cut_easting_m"]] = 9e6
    points.loc[8, ["easting_m", "cut_easting_m"]] = np.nan
    frame = choose_frame(points, gpd.GeoDataFrame(geometry=[box(0, -100, 60, 50)]))
    assert frame.width_m < 100 and frame.west_m <= 0 and frame.south_m <= -100
    assert frame.height_m > 5900  # the pass is 6 km long
    steps = frame.count(points[["cut_easting_m", "cut_northing_m"]].to_numpy())
    assert (steps[7:9] == NONE).all() and (steps[20] != NONE).all()


def test_position_comes_back_within_a_step() -> None:
    frame = Frame(500_000.0, 4_400_000.0, 1500.0, 900.0)
    places = np.array([[500_000.0, 4_400_000.0], [500_731.234, 4_400_123.456], [501_500.0, 4_400_900.0]])
    back = frame.count(places) * frame.step_m + (frame.west_m, frame.south_m)
    assert frame.step_m < 0.03 and np.abs(back - places).max() <= frame.step_m / 2 + 1e-6


def test_packed_values_come_back() -> None:
    points = a_pass([0, int(Flag.TURN), 0], [5000.0, 1000.0, 700_000.0], [18.0, 18.0, 9.0])
    marks, _ = gather_marks(points, 13.0)
    packed = pack_marks(marks, Frame(0.0, -50.0, 100.0, 100.0), ["S1"], 1.0)

    def read(name: str, kind: str) -> list[int]:
        return np.frombuffer(base64.b64decode(packed[name]), dtype=f"<{kind}").tolist()

    assert read("after", "u2") == [5000, NONE, NONE - 1]  # not counted; beyond the scale
    assert read("before", "u2") == [5000] * 3
    assert read("width", "u1") == [45] * 3 and read("length", "u2") == [30] * 3
    assert packed["kinds"] == [0, int(Flag.TURN)] and read("kind", "u2") == [0, 1, 0]
    assert read("strip", "u2") == [1, 1, 1] and "records" not in packed


def test_map_of_the_page_is_plain_data(make_material: Callable[..., ReportMaterial]) -> None:
    material = make_material(blocks=2)
    made = explore_map(material, choose_units(material.settings))
    assert made is not None
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    assert [strip["name"] for strip in made["map"]["strips"]] == material.trial_map["strip"].tolist()
    assert {one["name"] for one in made["map"]["treatments"]} == {"Control", "Lifters"}
    assert len(made["map"]["palette"]) == 256 and len(made["legend"]["ticks"]) == 3


def test_nothing_counted_is_no_map(make_material: Callable[..., ReportMaterial]) -> None:
    material = make_material(blocks=1)
    bare = replace(material, points=material.points.assign(usable=False))
    assert explore_map(bare, choose_units(material.settings)) is None


def test_reasons_that_exclude_come_first_with_their_counts(make_material: Callable[..., ReportMaterial]) -> None:
    points = make_material(blocks=1).points
    reasons = list_reasons(points)
    assert [one["excludes"] for one in reasons] == sorted((one["excludes"] for one in reasons), reverse=True)
    assert all(one["count"] == int(((points["flags"] & one["bit"]) != 0).sum()) > 0 for one in reasons)
    assert len({one["colour"] for one in reasons[:4]}) == 4
