"""One row a strip: ratio of sums in the window that the block shares."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from proofstrip.config import Settings, config_folder, load_defaults
from proofstrip.crops import find_crop
from proofstrip.errors import DataError
from proofstrip.flags import EXCLUDING, Flag, has_flag
from proofstrip.strips import common_windows, long_axis, make_strips, mark_windows, project_along


def settings() -> Settings:
    defaults = load_defaults()
    trial = {"name": "t", "season": 2024, "crop": "soybean"}
    parts = {name: getattr(defaults, name) for name in ("clean", "moisture", "strips", "stats", "report")}
    return Settings.model_validate(
        {"folder": config_folder(), "trial": trial, "harvest": {"files": ["a.csv"]}}
        | {"trial_map": {"file": "m", "control": "control"}}
        | parts
    )


STRIPS = gpd.GeoDataFrame(
    {"strip": ["S1", "S2", "S3"], "treatment": ["control", "tried", "tried"], "block": ["1", "1", "2"]},
    geometry=[shapely.box(0, 0, 9, 300), shapely.box(9, 0, 18, 300), shapely.box(18, 0, 27, 300)],
    crs=32615,
)


def records() -> gpd.GeoDataFrame:
    """Two passes of one block: the first covers 20 to 280 m, the second 40 to 260 m."""
    parts = []
    for number, (strip, treatment, low, high) in enumerate([("S1", "control", 20, 280), ("S2", "tried", 40, 260)], 1):
        north = np.arange(low, high + 1, 2.0)
        parts.append(
            pd.DataFrame(
                {
                    "cut_easting_m": 9.0 * number - 4.5,
                    "cut_northing_m": north,
                    "strip": strip,
                    "treatment": treatment,
                    "block": "1",
                    "pass_id": number,
                    "machine": "a",
                    "heading_deg": 180.0 * (number - 1),
                    "speed_m_s": 2.0,
                    "moisture_pct": 13.0,
                    "area_m2": np.where(north < 150, 10.0, 30.0),
                    "wet_mass_kg": np.where(north < 150, 4.0, 6.0),
                    "standard_mass_kg": np.where(north < 150, 4.0, 6.0),
                }
            )
        )
    frame = pd.concat(parts, ignore_index=True).assign(flags=np.int32(0), usable=True)
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(frame.cut_easting_m, frame.cut_northing_m), crs=32615)


def test_the_window_is_what_both_strips_cover():
    marked = mark_windows(records(), STRIPS, settings().strips)
    inside = ~has_flag(marked["flags"], Flag.STRIP_END)
    assert marked.loc[inside, "cut_northing_m"].groupby(marked["strip"]).agg(["min", "max"]).values.tolist() == [
        [40.0, 260.0],
        [40.0, 260.0],
    ]
    assert (marked["usable"] == inside).all()


def test_an_excluded_record_does_not_widen_the_window():
    points = records()
    points.loc[points.index[points["cut_northing_m"] < 60], "flags"] = np.int32(Flag.ENTRY_RAMP)
    marked = mark_windows(points, STRIPS, settings().strips)
    assert marked.loc[marked["usable"], "cut_northing_m"].min() == 60.0


def test_yield_is_sum_of_mass_over_sum_of_area_and_not_the_mean_of_points():
    table = make_strips(records(), STRIPS, settings()).set_index("strip")
    first = records().query("strip == 'S1'")
    ratio = first["standard_mass_kg"].sum() / first["area_m2"].sum() * 10_000
    assert table.loc["S1", "yield_kg_ha"] == pytest.approx(ratio)
    assert ratio != pytest.approx((first["standard_mass_kg"] / first["area_m2"]).mean() * 10_000, rel=0.05)
    assert table.loc["S1", "yield_bu_ac"] == pytest.approx(ratio / 67.2511, rel=1e-6)


def test_a_strip_without_a_record_keeps_its_row_with_an_empty_yield():
    table = make_strips(records(), STRIPS, settings()).set_index("strip")
    assert pd.isna(table.loc["S3", "yield_kg_ha"])
    assert table.loc["S3", "records"] == 0


def test_directions_passes_and_machines_are_named():
    table = make_strips(records(), STRIPS, settings()).set_index("strip")
    assert table.loc["S1", ["direction", "pass_ids", "machines"]].tolist() == ["N", "1", "a"]
    assert table.loc["S2", "direction"] == "S"


def test_no_usable_record_names_the_frequent_faults():
    points = records().assign(usable=False, flags=np.int32(Flag.SPIKE))
    with pytest.raises(DataError, match=r"none is usable\. The most frequent faults there: a jump in flow"):
        make_strips(points, STRIPS, settings())


def test_a_design_without_blocks_is_one_block():
    plain = STRIPS.assign(block=None)
    marked = mark_windows(records().assign(block=None), plain, settings().strips)
    assert marked.loc[marked["usable"], "cut_northing_m"].agg(["min", "max"]).tolist() == [40.0, 260.0]


def test_settings_crop_is_the_record_itself():
    assert settings().trial.crop == find_crop("soybean", config_folder())
    assert EXCLUDING & Flag.STRIP_END


def window(*passes, share=0.5):
    """Give the common window of one block from (strip, pass, low, high)."""
    rows = [(strip, number, place) for strip, number, low, high in passes for place in (low, high)]
    members = pd.DataFrame(rows, columns=["strip", "pass_id", "along"]).assign(
        block="B", along=lambda f: f["along"] * 1.0
    )
    return common_windows(members, share).loc["B"].tolist()


def test_passes_of_a_strip_are_taken_on_what_they_share():
    assert window(("a", 1, 0, 90), ("a", 2, 10, 100), ("b", 3, 5, 95)) == [10, 90]


def test_two_halves_of_an_interrupted_pass_count_together():
    assert window(("a", 1, 0, 48), ("a", 2, 52, 100), ("b", 3, 5, 95), share=0.4) == [5, 95]


def test_a_short_pass_does_not_shape_the_window():
    assert window(("a", 1, 0, 100), ("a", 2, 40, 60), ("b", 3, 5, 95)) == [5, 95]


def test_each_block_has_its_own_window():
    members = pd.DataFrame(
        {"block": list("AABB"), "strip": list("aabb"), "pass_id": [1, 1, 2, 2], "along": [0.0, 50, 30, 90]}
    )
    assert common_windows(members, 0.5).loc["B"].tolist() == [30, 90]


def test_the_trim_comes_off_both_ends():
    part = settings().strips.model_copy(update={"end_trim_m": 10.0})
    marked = mark_windows(records(), STRIPS, part)
    assert marked.loc[marked["usable"], "cut_northing_m"].agg(["min", "max"]).tolist() == [50.0, 250.0]


def test_records_outside_the_strips_are_not_at_an_end():
    points = records().assign(flags=np.int32(Flag.OUTSIDE_STRIP))
    points[["strip", "treatment", "block"]] = None
    assert not has_flag(mark_windows(points, STRIPS, settings().strips)["flags"], Flag.STRIP_END).any()


@pytest.mark.parametrize("degrees", [0, 30, 75, 140])
def test_along_is_measured_in_the_direction_of_the_strip(degrees):
    turned = shapely.affinity.rotate(shapely.box(0, 0, 9, 300), -degrees, origin=(0, 0))
    east, north = long_axis(turned)
    angle = np.radians(degrees)
    assert abs(east * np.sin(angle) + north * np.cos(angle)) == pytest.approx(1.0)


def test_a_place_along_is_nan_outside_the_strips():
    points = records().head(3)
    points.loc[1, "strip"] = None
    along = project_along(points, STRIPS)
    assert along.isna().tolist() == [False, True, False]
    assert abs(along[2] - along[0]) == pytest.approx(4.0)


def test_records_removed_count_within_the_window_only():
    points = records()
    first = points.index[points["strip"] == "S1"]
    points.loc[first[:10], ["flags", "usable"]] = [int(Flag.STRIP_END), False]
    points.loc[first[50:55], ["flags", "usable"]] = [int(Flag.SPIKE), False]
    row = make_strips(points, STRIPS, settings()).set_index("strip").loc["S1"]
    assert (row["records"], row["records_used"]) == (131, 116)
    assert row["share_removed"] == pytest.approx(5 / 121)


def test_moisture_is_weighted_by_mass():
    points = records()
    first = points["strip"] == "S1"
    points.loc[first, "moisture_pct"] = np.where(points.loc[first, "cut_northing_m"] < 150, 12.0, 18.0)
    points["standard_mass_kg"] = points["wet_mass_kg"] * (100 - points["moisture_pct"]) / (100 - 13.0)
    expected = np.average(points.loc[first, "moisture_pct"], weights=points.loc[first, "wet_mass_kg"])
    row = make_strips(points, STRIPS, settings()).set_index("strip").loc["S1"]
    assert row["moisture_pct"] == pytest.approx(expected)


def test_lengths_and_sums():
    row = make_strips(records(), STRIPS, settings()).set_index("strip").loc["S2"]
    assert row["length_m"] == pytest.approx(220.0)
    assert row["area_m2"] == pytest.approx(55 * 10 + 56 * 30)
    assert row["standard_mass_kg"] == pytest.approx(55 * 4 + 56 * 6)


def test_several_passes_machines_and_directions_stand_in_order():
    points = records()
    late = points.index[(points["strip"] == "S1") & (points["cut_northing_m"] > 200)]
    points.loc[late, ["pass_id", "machine", "heading_deg"]] = [12, "b", 179.0]
    row = make_strips(points, STRIPS, settings()).set_index("strip").loc["S1"]
    assert row[["pass_ids", "machines", "direction"]].tolist() == ["1 12", "a b", "N S"]


@pytest.mark.parametrize(("heading", "point"), [(44.0, "NE"), (22.0, "N"), (359.0, "N"), (270.0, "W"), (160.0, "S")])
def test_points_of_the_compass(heading, point):
    table = make_strips(records().assign(heading_deg=heading), STRIPS, settings()).set_index("strip")
    assert table.loc["S1", "direction"] == point
