"""Grain at standard moisture: the formula, and what stands in for a reading that is missing or impossible.

Published values of the formula: tests/published/test_grain_standards.py.
"""

import numpy as np
import pandas as pd
import pytest

from proofstrip.errors import DataError
from proofstrip.flags import Flag, has_flag
from proofstrip.moisture import correct_moisture, moisture_is_constant, settle_moisture, standard_mass

BY_PASS = '[moisture]\nuse = "pass"\n'


@pytest.fixture
def grain(make_points):
    """Build cleaned records by their moisture: 10 kg wet from 20 m2 each, two passes."""

    def build(*moisture, pass_id=None, **columns):
        rows = len(moisture)
        return make_points(
            rows,
            moisture_pct=np.array(moisture, dtype=float),
            wet_mass_kg=10.0,
            area_m2=20.0,
            pass_id=np.array(pass_id if pass_id is not None else [1] * rows, dtype="int32"),
            flags=np.zeros(rows, dtype="int32"),
            **columns,
        )

    return build


def test_dry_matter_stays():
    mass = standard_mass(np.array([100.0, 250.0]), np.array([20.0, 8.0]), 13.0)
    assert mass * (100 - 13) == pytest.approx([100 * 80, 250 * 92])


def test_grain_at_standard_moisture_weighs_what_it_weighs():
    assert standard_mass(np.array([7.0]), np.array([15.5]), 15.5) == pytest.approx([7.0])


def test_each_record_has_its_own_moisture(grain, make_settings):
    points = correct_moisture(grain(13.0, 20.0, 8.0), make_settings())
    assert points["standard_mass_kg"].tolist() == pytest.approx([10, 10 * 80 / 87, 10 * 92 / 87])
    assert points["yield_kg_ha"].tolist() == pytest.approx([5000, 5000 * 80 / 87, 5000 * 92 / 87])
    assert points["flags"].tolist() == [0, 0, 0]


def test_the_median_of_the_pass_when_it_is_asked_for(grain, make_settings):
    used = settle_moisture(grain(12.0, 13.0, 17.0, 20.0, 22.0, pass_id=[1, 1, 1, 2, 2]), make_settings(BY_PASS))
    assert used.tolist() == [13.0, 13.0, 13.0, 21.0, 21.0]


def test_an_impossible_reading_is_flagged_and_the_median_of_its_pass_stands_in(grain, make_settings):
    points = grain(12.0, 0.0, 14.0, 99.0, 20.0, pass_id=[1, 1, 1, 2, 2])
    corrected = correct_moisture(points, make_settings())
    assert has_flag(corrected["flags"], Flag.MOISTURE_RANGE).tolist() == [False, True, False, True, False]
    assert settle_moisture(points, make_settings()).tolist() == [12.0, 13.0, 14.0, 20.0, 20.0]
    assert corrected["moisture_pct"].tolist() == [12.0, 0.0, 14.0, 99.0, 20.0]


def test_the_limits_of_the_crop_are_possible(grain, make_settings):
    corrected = correct_moisture(grain(5.0, 35.0, 4.9, 35.1), make_settings())
    assert has_flag(corrected["flags"], Flag.MOISTURE_RANGE).tolist() == [False, False, True, True]


def test_a_missing_reading_is_filled_but_not_flagged(grain, make_settings):
    points = grain(12.0, np.nan, 14.0)
    assert settle_moisture(points, make_settings()).tolist() == [12.0, 13.0, 14.0]
    assert correct_moisture(points, make_settings())["flags"].tolist() == [0, 0, 0]


def test_a_pass_without_a_reading_takes_the_field_s_median(grain, make_settings):
    points = grain(12.0, 16.0, np.nan, np.nan, pass_id=[1, 1, 2, 2])
    assert settle_moisture(points, make_settings()).tolist() == [12.0, 16.0, 14.0, 14.0]


def test_records_in_no_pass_are_no_pass(grain, make_settings):
    points = grain(12.0, 30.0, np.nan, pass_id=[1, 0, 0])
    assert settle_moisture(points, make_settings()).tolist() == [12.0, 30.0, 21.0]


def test_a_declared_moisture_stands_in_only_where_nothing_was_read(grain, make_settings):
    declared = make_settings("[moisture]\ndeclared_pct = 11.0\n")
    assert settle_moisture(grain(np.nan, np.nan), declared).tolist() == [11.0, 11.0]
    assert settle_moisture(grain(15.0, np.nan), declared).tolist() == [15.0, 15.0]


def test_no_moisture_and_none_declared_is_refused(grain, make_settings):
    with pytest.raises(DataError, match=r"moisture: no record .* soybean can have \(5 to 35 %\): the column is empty"):
        correct_moisture(grain(np.nan, np.nan), make_settings())


def test_moisture_as_a_share_is_refused_with_what_was_found(grain, make_settings):
    with pytest.raises(DataError, match=r"the column runs from 0\.12 to 0\.14\. Set declared_pct in \[moisture\]"):
        correct_moisture(grain(0.12, 0.14), make_settings())


def test_the_trial_s_own_standard_comes_before_the_crop_s(grain, make_settings):
    own = make_settings("[moisture]\nstandard_pct = 11.0\n")
    assert correct_moisture(grain(11.0), own)["standard_mass_kg"].tolist() == pytest.approx([10.0])


def test_no_ground_no_yield(grain, make_settings):
    points = grain(13.0, 13.0, 13.0).assign(area_m2=[0.0, np.nan, 20.0])
    corrected = correct_moisture(points, make_settings())
    assert corrected["yield_kg_ha"].isna().tolist() == [True, True, False]
    assert corrected["standard_mass_kg"].tolist() == [10.0, 10.0, 10.0]


def test_flags_that_were_there_stay(grain, make_settings):
    points = grain(99.0, 13.0).assign(flags=np.array([1, 2], dtype="int32"))
    assert correct_moisture(points, make_settings())["flags"].tolist() == [1 + Flag.MOISTURE_RANGE, 2]


@pytest.mark.parametrize(
    ("values", "constant"),
    [([15.0, 15.0, 15.0], True), ([15.0, np.nan, 15.0], True), ([15.0, 15.1], False), ([15.0], False), ([], False)],
)
def test_constant_moisture(values, constant):
    assert moisture_is_constant(pd.Series(values, dtype=float)) is constant
