"""Row headers cut whole rows."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.clean.truth import to_points

from proofstrip.clean import follow_machines
from proofstrip.clean.rows import check_header, snap_to_rows
from proofstrip.config import load_defaults
from proofstrip.errors import DataError
from proofstrip.simulate import SCENARIOS, simulate_harvest

ROW_M = 0.762  # 30 inches


def test_an_overlap_under_half_a_row_is_none_and_a_pass_loses_whole_rows():
    swath = np.full(5, 12 * ROW_M)
    lost = np.array([0.0, 0.37, 0.39, 3.6, 20.0])
    assert snap_to_rows(swath - lost, swath, ROW_M) == pytest.approx(swath - ROW_M * np.array([0, 0, 1, 5, 12]))


def test_passes_of_a_harvest_are_whole_rows():
    # The narrow passes of this scenario find 7 of 12 rows standing, whatever the positions say.
    scenario = replace(
        SCENARIOS["ordinary"],
        blocks=3,
        passes_per_strip=2,
        narrow_last_share=7 / 12,
        overlap_sd_m=0.0,
        wander_m=0.0,
        position_noise_m=0.1,
    )
    harvest = simulate_harvest(scenario, 1)
    points = to_points(harvest)
    off = []
    for row_m in (None, ROW_M):
        track = follow_machines(points, load_defaults().clean, row_m)
        true = harvest.records["true_width_m"].to_numpy()[track.row]
        inner = (track.pass_id > 0) & (true > 0)
        error = pd.Series((track.cut_width - true)[inner]).groupby(track.pass_id[inner]).median()
        off.append(float(error.abs().mean()))
    assert off[1] < 0.01 < off[0]


@pytest.mark.parametrize("width", [12 * ROW_M, 12 * ROW_M + 0.1, 6 * ROW_M])
def test_a_width_of_whole_rows_is_taken(width):
    check_header(pd.DataFrame({"swath_m": [12 * ROW_M, width, np.nan]}), 12, ROW_M)


@pytest.mark.parametrize("width", [16 * ROW_M, 12 * ROW_M - 0.35])
def test_a_logged_width_that_is_not_whole_rows_of_the_header_is_refused(width):
    with pytest.raises(DataError, match=r"rows = 12 .* 1 of 2 records .* Correct rows"):
        check_header(pd.DataFrame({"swath_m": [12 * ROW_M, width]}), 12, ROW_M)


def test_a_log_of_a_smaller_header_all_day_is_refused():
    with pytest.raises(DataError, match=r"3 of 3 records .* the first 6.10 m"):
        check_header(pd.DataFrame({"swath_m": np.full(3, 8 * ROW_M)}), 12, ROW_M)
