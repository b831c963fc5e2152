"""One log exported twice: coarser, thinner, with another clock; and what is no repetition."""

import numpy as np
import pandas as pd
import pytest
from tests.clean.truth import errors_of, gather_material, settings_of, to_points

from proofstrip.clean.repeated import find_repeated
from proofstrip.simulate import SCENARIOS, simulate_harvest

ROWS = 60
DEGREE_M = 111_320.0


def two_files(make_points, first=None, second=None):
    """Join two files of one machine that drives north at 2 m/s, with columns changed in each."""
    way = {"time": np.arange(ROWS) + 1.0, "easting_m": 0.0, "northing_m": 2.0 * np.arange(ROWS), "machine": "combine 1"}
    parts = [make_points(ROWS, **(way | (changed or {}))) for changed in (first, second)]
    files = [part.assign(source_file=name) for name, part in zip(("a.csv", "b.csv"), parts, strict=True)]
    return pd.concat(files, ignore_index=True)


def find(points):
    return find_repeated(points, np.zeros(len(points), dtype=bool))


def halves(repeated):
    return repeated[:ROWS].sum(), repeated[ROWS:].sum()


class TestRepeated:
    @pytest.mark.parametrize("step_m", [0.0, 0.011, 0.11, 1.1])
    def test_a_coarser_file_repeats_the_finer_one(self, make_points, step_m):
        north = 2.0 * np.arange(ROWS)
        coarse = np.round(north / step_m) * step_m if step_m else north
        for order, expected in ((0, (0, ROWS)), (1, (ROWS, 0) if step_m else (0, ROWS))):
            changed = [None, {"northing_m": coarse, "easting_m": 0.3}]
            repeated, notices = find(two_files(make_points, *(changed[::-1] if order else changed)))
            assert halves(repeated) == expected
            assert [notice.code for notice in notices] == ["log_repeated"]

    def test_the_notice_names_both_files_and_what_to_do(self, make_points):
        notices = find(two_files(make_points, None, {"easting_m": 0.25}))[1]
        assert notices[0].message == (
            "60 records of b.csv are in a.csv too (the same machine at the same times, within 0.25 m): the same log, "
            "exported twice. Those of a.csv are kept; name only one of the files in [harvest] files to be sure."
        )

    @pytest.mark.parametrize("late_s", [0.2, 0.5])
    def test_stamps_off_by_less_than_half_a_record_are_the_same(self, make_points, late_s):
        shifted = {"time": np.arange(ROWS) + 1.0 + late_s, "northing_m": 2.0 * np.arange(ROWS)}
        assert halves(find(two_files(make_points, None, shifted))[0])[1] >= ROWS - 1

    def test_a_thinned_export_is_dropped_even_where_it_is_finer(self, make_points):
        points = two_files(make_points, {"northing_m": np.round(2.0 * np.arange(ROWS))})
        thin = np.r_[np.ones(ROWS, dtype=bool), np.arange(ROWS) % 5 == 4]
        points = points[thin].reset_index(drop=True)
        points.loc[ROWS:, "duration_s"] = 5.0
        repeated = find(points)[0]
        assert (repeated[:ROWS].sum(), repeated[ROWS:].sum()) == (0, 12)

    def test_only_the_time_that_both_cover_is_repeated(self, make_points):
        later = {"time": np.arange(ROWS) + 31.0, "northing_m": 2.0 * np.arange(30, 30 + ROWS)}
        assert halves(find(two_files(make_points, None, later))[0]) == (0, 30)

    @pytest.mark.parametrize(
        "second",
        [
            {"easting_m": 9.0},  # a machine beside it
            {"machine": "combine 2"},
            {"time": np.arange(ROWS) + 500.0},  # the same way again, later
            {"easting_m": np.nan},
        ],
    )
    def test_what_is_no_repetition(self, make_points, second):
        repeated, notices = find(two_files(make_points, None, second))
        assert not repeated.any()
        assert notices == ()

    def test_one_file_repeats_nothing(self, make_points):
        points = two_files(make_points).assign(source_file="a.csv")
        assert not find(points)[0].any()


@pytest.mark.parametrize("decimals", [7, 6, 5])
@pytest.mark.parametrize("coarse_first", [False, True])
def test_an_export_repeated_with_rounded_degrees_changes_no_strip(decimals, coarse_first, tmp_path):
    # 7 decimals made strips 27 % low, 6 decimals 50 %: area counted twice.
    harvest = simulate_harvest(SCENARIOS["ordinary"], 3)
    points, settings = to_points(harvest).assign(source_file="a.csv"), settings_of(harvest, tmp_path)
    alone = errors_of(harvest, gather_material(harvest, points, settings))["error_pct"]
    step_m = DEGREE_M / 10**decimals
    second = points.iloc[1000:].assign(
        source_file="b.csv",
        easting_m=lambda own: np.round(own["easting_m"] / step_m) * step_m,
        northing_m=lambda own: np.round(own["northing_m"] / step_m) * step_m,
    )
    both = pd.concat([second, points] if coarse_first else [points, second], ignore_index=True)
    material = gather_material(harvest, both.assign(record=np.arange(len(both))), settings)
    assert [notice.code for notice in material.track.notices] == ["log_repeated"]
    errors = errors_of(harvest, material)["error_pct"]
    assert (errors - alone).abs().max() < 0.2
    assert errors.abs().max() < 1.5
