"""The way of the odometer against the way of the positions, with faults planted in the distances."""

import numpy as np
import pandas as pd
import pytest
from tests.clean.truth import to_points

from proofstrip.clean import follow_machines
from proofstrip.clean.way import spread_frozen
from proofstrip.config import load_defaults
from proofstrip.simulate import SCENARIOS, simulate_harvest

SETTINGS = load_defaults().clean


@pytest.fixture(scope="module")
def field():
    """Harvest the ordinary invented field: its points, and the middle of each pass."""
    harvest = simulate_harvest(SCENARIOS["ordinary"], 3)
    points = to_points(harvest)
    passes = harvest.records[harvest.records["true_width_m"] > 8].groupby("true_pass")
    middle = np.concatenate([np.arange(20) + rows.index[len(rows) // 2] for _, rows in passes])
    return points, middle


def way_of_passes(points) -> "tuple[np.ndarray, list[str]]":
    """Follow the machine; give the way of each pass [m] and the codes of what was said."""
    track = follow_machines(points, SETTINGS)
    cutting = track.pass_id > 0
    return np.bincount(track.pass_id[cutting], track.distance[cutting])[1:], [one.code for one in track.notices]


@pytest.mark.parametrize("planted_m", [0.0, 18.3])
def test_distances_that_drop_out_or_run_away_for_a_while_give_way_to_positions(field, planted_m):
    """Twenty records in each pass, of 0 or ten times the way; within 0.3 % of the pass, measured first."""
    points, middle = field
    true, said = way_of_passes(points)
    assert said == []
    faulty = points.copy()
    faulty.loc[faulty.index[middle], "distance_m"] = planted_m
    found, said = way_of_passes(faulty)
    assert said == ["distance_apart"]
    assert found == pytest.approx(true, rel=0.006)


@pytest.mark.parametrize("ratio", [0.85, 1.15])
def test_a_wheel_that_counts_too_much_or_too_little_throughout_is_told_by_its_ratio(field, ratio):
    points, _ = field
    true, _ = way_of_passes(points)
    found, said = way_of_passes(points.assign(distance_m=ratio * points["distance_m"]))
    assert said == ["distance_scaled"]
    assert found == pytest.approx(true, rel=0.01)
    # Within what wheels are usually off by, a log is taken at its word.
    assert way_of_passes(points.assign(distance_m=1.02 * points["distance_m"]))[1] == []


@pytest.mark.parametrize(
    "name",
    ["contour", "slow_log", "fast_log", "log_5_s", "poor_positions", "antenna_off", "point_rows", "hand_steered"],
)
def test_no_log_without_such_a_fault_is_doubted(name):
    points = to_points(simulate_harvest(SCENARIOS[name], 1))
    assert "distance_apart" not in way_of_passes(points)[1]
    assert "distance_scaled" not in way_of_passes(points)[1]


def test_degrees_of_five_decimals_are_not_doubted(field):
    points, _ = field
    coarse = points.assign(
        easting_m=points["easting_m"].round(0), northing_m=(points["northing_m"] / 1.1).round(0) * 1.1
    )
    assert "distance_scaled" not in way_of_passes(coarse)[1]


class TestFrozen:
    TIME = np.arange(12.0)
    LOG = np.zeros(12, dtype=np.int64)

    def spread(self, north):
        distance = np.r_[2.0, np.abs(np.diff(north))]
        return spread_frozen(np.zeros(12), np.asarray(north), distance, self.TIME, self.LOG)

    def test_what_was_caught_up_is_spread_over_the_spell(self):
        north = np.array([2.0, 4, 6, 8, 8, 8, 14, 16, 18, 20, 22, 24])
        _, found, distance, frozen = self.spread(north)
        assert found == pytest.approx(2.0 * np.arange(1, 13))
        assert distance == pytest.approx(np.full(12, 2.0))
        assert np.flatnonzero(frozen).tolist() == [4, 5]

    def test_a_machine_that_stopped_does_not_catch_up(self):
        north = np.array([2.0, 4, 6, 8, 8, 8, 10, 12, 14, 16, 18, 20])
        _, found, distance, frozen = self.spread(north)
        assert found.tolist() == north.tolist()
        assert distance[4:6].tolist() == [0.0, 0.0]
        assert not frozen.any()


def test_scaling_leaves_another_machine_alone(field):
    points, _ = field
    other = points.assign(machine="combine 2", easting_m=points["easting_m"] + 300.0)
    both = pd.concat([points.assign(distance_m=1.15 * points["distance_m"]), other], ignore_index=True)
    both["machine"] = both["machine"].astype("category")
    track = follow_machines(both, SETTINGS)
    assert [notice.code for notice in track.notices] == ["distance_scaled"]
    assert "combine 1" in track.notices[0].message
    assert track.names == ("combine 1", "combine 2")
