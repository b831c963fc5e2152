"""Whose ground each record harvested."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from proofstrip.assign import assign_strips, find_strip
from proofstrip.config import load_defaults
from proofstrip.errors import DataError
from proofstrip.flags import Flag, has_flag

SETTINGS = load_defaults().strips


def records(*east: float) -> gpd.GeoDataFrame:
    """Records heading north with a 9 m header, at these places across two strips of 9 m."""
    frame = {
        "cut_easting_m": np.array(east),
        "cut_northing_m": 50.0,
        "heading_deg": 0.0,
        "swath_m": 9.0,
        "flags": np.zeros(len(east), dtype="int32"),
    }
    points = gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(east, [50.0] * len(east)), crs=32615)
    return points


def two_strips(shift: float = 0.0) -> gpd.GeoDataFrame:
    shapes = [shapely.box(0 + shift, 0, 9 + shift, 100), shapely.box(9 + shift, 0, 18 + shift, 100)]
    labels = {"strip": ["S1", "S2"], "treatment": ["control", "tried"], "block": ["1", "1"]}
    return gpd.GeoDataFrame(labels, geometry=shapes, crs=32615)


def test_a_record_gets_strip_treatment_and_block():
    found = assign_strips(records(4.5, 13.5), two_strips(), SETTINGS)
    assert found["strip"].tolist() == ["S1", "S2"]
    assert found["treatment"].tolist() == ["control", "tried"]
    assert found["block"].tolist() == ["1", "1"]
    assert (found["flags"] == 0).all()


def test_a_record_outside_has_no_strip_and_says_so():
    found = assign_strips(records(4.5, 30.0), two_strips(), SETTINGS)
    assert found["strip"].isna().tolist() == [False, True]
    assert has_flag(found["flags"], Flag.OUTSIDE_STRIP).tolist() == [False, True]


def test_a_cut_over_two_treatments_straddles_though_its_middle_lies_inside():
    found = assign_strips(records(4.5, 7.5), two_strips(), SETTINGS)
    assert found["strip"].tolist() == ["S1", "S1"]
    assert has_flag(found["flags"], Flag.STRADDLE).tolist() == [False, True]


def test_a_map_shifted_by_four_metres_makes_every_cut_straddle():
    found = assign_strips(records(4.5, 13.5), two_strips(4.0), SETTINGS)
    assert has_flag(found["flags"], Flag.STRADDLE).any()


def test_a_cut_over_two_strips_of_one_treatment_does_not_straddle():
    same = two_strips().assign(treatment="control")
    assert not has_flag(assign_strips(records(7.5), same, SETTINGS)["flags"], Flag.STRADDLE).any()


def test_a_map_in_another_projection_is_carried_over():
    found = assign_strips(records(500_004.5), two_strips(500_000.0).to_crs(4326), SETTINGS)
    assert found["strip"].tolist() == ["S1"]


def test_a_map_elsewhere_prints_both_extents():
    with pytest.raises(DataError, match=r"reaches from 90,000 to 90,018 m east.*the records from 4 to 14 m east"):
        assign_strips(records(4.5, 13.5), two_strips(90_000.0), SETTINGS)


@pytest.mark.parametrize(("east", "straddles"), [(4.5, False), (5.5, False), (6.5, True), (8.9, True)])
def test_how_much_of_a_cut_may_lie_on_another_treatment(east, straddles):
    # 15 % of nine metres, the setting, are 1.35 m.
    flags = assign_strips(records(east), two_strips(), SETTINGS)["flags"]
    assert has_flag(flags, Flag.STRADDLE).tolist() == [straddles]


def test_ground_outside_all_strips_is_no_other_treatment():
    assert not has_flag(assign_strips(records(1.0), two_strips(), SETTINGS)["flags"], Flag.STRADDLE).any()


def test_the_header_lies_across_the_heading():
    # Heading east on the border, the header reaches north and south and stays in its strip.
    points = records(7.5).assign(heading_deg=90.0)
    assert not has_flag(assign_strips(points, two_strips(), SETTINGS)["flags"], Flag.STRADDLE).any()


def test_a_record_without_a_place_lies_in_no_strip():
    points = records(4.5, 13.5)
    points.loc[1, ["cut_easting_m", "cut_northing_m", "heading_deg"]] = np.nan
    found = assign_strips(points, two_strips(), SETTINGS)
    assert found["strip"].isna().tolist() == [False, True]
    assert has_flag(found["flags"], Flag.OUTSIDE_STRIP).tolist() == [False, True]


def test_a_record_without_a_header_width_is_its_middle():
    points = records(8.9).assign(swath_m=np.nan)
    assert assign_strips(points, two_strips(), SETTINGS)["flags"].tolist() == [0]


def test_a_map_without_blocks_gives_none():
    found = assign_strips(records(4.5), two_strips().assign(block=None), SETTINGS)
    assert found["block"].tolist() == [None]


def test_the_other_flags_and_the_index_stay():
    points = records(4.5, 30.0).set_index(np.array([9, 3])).assign(flags=np.array([1, 2], dtype="int32"))
    found = assign_strips(points, two_strips(), SETTINGS)
    assert found.index.tolist() == [9, 3]
    assert found["flags"].tolist() == [1, 2 + Flag.OUTSIDE_STRIP]


def test_places_find_their_strip_by_row():
    assert find_strip(two_strips(), np.array([13.5, 4.5, 99.0, np.nan]), np.full(4, 50.0)).tolist() == [1, 0, -1, -1]
