"""Several combines: what they do to a comparison, and what one reads higher than another, on known offsets."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from proofstrip.config import load_defaults
from proofstrip.days import name_days
from proofstrip.machines import (
    check_machines,
    estimate_offsets,
    list_cells,
    machine_shares,
)
from proofstrip.stats import compare_treatments

PART = load_defaults().stats
HIGH, TRUE_PCT = 0.06, 100 * np.expm1(0.04)


def field(cut_by: str, treatments: str = "onnoonnoonno", scatter: float = 0.01, seed: int = 1):
    """Give cells, strip table and map of strips side by side in pairs; combine b reads 6 % high, n yields 4 % more."""
    rng = np.random.default_rng(seed)
    n = len(treatments)
    machines = (list(cut_by) * n)[:n]
    names = [f"S{k:02d}" for k in range(n)]
    log = 8.3 + 0.04 * (np.array(list(treatments)) == "n") + np.log1p(HIGH) * (np.array(machines) == "b")
    log += 0.05 * rng.standard_normal(n // 2).repeat(2) * (scatter > 0) + scatter * rng.standard_normal(n)
    block = [f"B{k // 2}" for k in range(n)]
    frame = {"strip": names, "treatment": list(treatments), "block": block}
    cells = pd.DataFrame({**frame, "machine": machines, "day": "1", "area_m2": 3000.0, "log_yield": log, "hour": 0.1})
    table = pd.DataFrame({**frame, "machines": machines, "yield_kg_ha": np.exp(log)})
    shapes = gpd.GeoDataFrame({"strip": names}, geometry=[shapely.box(9 * k, 0, 9 * k + 9, 400) for k in range(n)])
    return cells, table, shapes


def test_an_offset_beside_blocks_and_treatments_is_found():
    cells, _, shapes = field("abba", "on" * 10)
    reference, other = estimate_offsets(cells, shapes, 0.9)
    assert (reference.machine, reference.source, reference.offset_pct) == ("a", "reference", 0.0)
    assert other.source == "model"
    assert other.low_pct < 100 * HIGH < other.high_pct
    assert other.high_pct - other.low_pct < 4


def test_where_blocks_are_one_combine_s_neighbours_of_one_treatment_tell():
    # Each block one combine; the treatment at its end meets itself in the next block.
    cells, _, shapes = field("aabb", scatter=0.0)
    (_, other) = estimate_offsets(cells, shapes, 0.9)
    assert other.source == "neighbours"
    assert other.offset_pct == pytest.approx(100 * HIGH)


def test_a_strip_that_two_combines_shared_is_its_own_neighbour():
    cells, _, shapes = field("a", scatter=0.0)
    twice = pd.concat([cells, cells.assign(machine="b", log_yield=cells["log_yield"] + np.log1p(HIGH))])
    (_, other) = estimate_offsets(twice.reset_index(drop=True), shapes, 0.9)
    assert other.offset_pct == pytest.approx(100 * HIGH)


@pytest.mark.parametrize("cut_by", ["on", "aaaabbbb"])
def test_an_offset_that_nothing_tells_is_not_given(cut_by):
    machines = cut_by.replace("o", "a").replace("n", "b")
    cells, _, shapes = field(machines, "on" * 4)
    (_, other) = estimate_offsets(cells, shapes, 0.9)
    assert (other.source, other.offset_pct) == ("not_estimated", None)


def test_one_combine_has_no_offset():
    cells, _, shapes = field("a")
    assert estimate_offsets(cells, shapes, 0.9) == ()


def test_the_scale_tells_before_all_else():
    cells, _, shapes = field("aabb")
    loads = pd.DataFrame({"machine": ["a", "a", "b", "b"], "log_ratio": np.log([1.0, 1.0, 1.05, 1.05])})
    (_, other) = estimate_offsets(cells, shapes, 0.9, loads)
    assert (other.source, other.offset_pct) == ("tickets", pytest.approx(5.0))


def check(cut_by: str, treatments: str = "onnoonnoonno", taken_out: bool = True):
    cells, table, _ = field(cut_by, treatments)
    return check_machines(table, machine_shares(cells), "o", taken_out)


def test_a_combine_for_each_treatment_forbids_an_answer():
    found = check("ab", "on" * 6)
    assert (found.passed, found.forbids) == (False, True)
    assert "n: b; o: a" in found.note


@pytest.mark.parametrize(
    ("cut_by", "said"),
    [("a", "One combine"), ("aabb", "cancels"), ("abab", "made alike; the margin of error")],
)
def test_other_ways_to_share_the_combines_pass(cut_by, said):
    found = check(cut_by)
    assert found.passed
    assert said in found.note


def test_an_uneven_share_no_longer_moves_the_difference():
    # Combine b cut 9 of 10 treated strips and 3 of 10 controls: as they read, the treatment gains 3.6 % from it.
    rng = np.random.default_rng(3)
    found = []
    for seed in rng.integers(1e6, size=20):
        cells, table, _ = field("abababababababbaabbb", "on" * 10, seed=int(seed))
        shares = machine_shares(cells)
        taken = compare_treatments(table, "o", PART, machines=shares).differences[0]
        naive = compare_treatments(table, "o", PART).differences[0]
        found.append(
            (taken.difference_pct, naive.difference_pct, taken.low_pct < 100 * np.expm1(0.04) < taken.high_pct)
        )
    taken, naive, held = np.array(found, dtype=float).mean(axis=0)
    assert taken == pytest.approx(TRUE_PCT, abs=0.6)
    assert naive > 6
    assert held >= 0.75  # 90 % intervals, 20 seeds


def points(**columns: object) -> pd.DataFrame:
    frame = {
        "strip": ["S1", "S1", "S2", None],
        "treatment": ["o", "o", "n", None],
        "block": None,
        "machine": ["a", "b", "a", "a"],
        "time": [0.0, 60.0, 120.0, 180.0],
        "standard_mass_kg": [10.0, 12.0, 9.0, 50.0],
        "area_m2": [20.0, 20.0, 20.0, 20.0],
        "usable": True,
    }
    return pd.DataFrame({**frame, **columns})


def test_cells_are_what_each_combine_cut_of_each_strip():
    cells = list_cells(points())
    assert cells[["strip", "machine"]].to_numpy().tolist() == [["S1", "a"], ["S1", "b"], ["S2", "a"]]
    assert cells["log_yield"].tolist() == pytest.approx(np.log([0.5, 0.6, 0.45]))
    assert cells["hour"].tolist() == pytest.approx([0, 1 / 60, 2 / 60])
    assert machine_shares(cells).to_numpy().tolist() == [[0.5, 0.5], [1.0, 0.0]]


def test_a_few_metres_at_a_strip_s_end_make_no_cell():
    assert len(list_cells(points(area_m2=[20.0, 1.0, 20.0, 20.0]))) == 2


def test_a_day_ends_with_a_pause_and_not_at_midnight():
    begin = 1_728_345_600.0 - 3600  # an hour before midnight, 8 October 2024
    frame = pd.DataFrame({"machine": "a", "time": begin + 3600 * np.array([0.0, 2.0, 3.0, 12.0])})
    assert name_days(frame).tolist() == ["2024-10-07"] * 3 + ["2024-10-08"]
    assert name_days(frame.assign(time=frame["time"] - begin)).tolist() == ["day 1"] * 3 + ["day 2"]
