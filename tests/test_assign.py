"""Whose ground each record harvested."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from proofstrip.assign import assign_strips
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
