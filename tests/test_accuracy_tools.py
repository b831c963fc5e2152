"""The scoreboard's own arithmetic, and the plain ways that it compares with."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from scipy import stats

from proofstrip.simulate import SCENARIOS, simulate_harvest
from tests.accuracy import faults, figures, null_trials, page, plain_ways, scores
from tests.accuracy.figures import Tally, slope_within, tally
from tests.accuracy.harvests import OURS, RAW, WAYS, Estimate, Harvested, Truth, harvest_once, plant


def test_precision_is_of_the_flagged_and_recall_of_the_planted():
    flag = np.array([1, 1, 0, 0, 0], dtype=bool)
    may = np.array([1, 0, 1, 1, 0], dtype=bool)
    must = np.array([1, 0, 1, 1, 0], dtype=bool)
    excluded = np.array([1, 1, 1, 0, 0], dtype=bool)
    found = tally(flag, may, must, excluded)
    assert found == Tally(flagged=2, right=1, planted=3, found=1, caught=2)
    assert (found.precision, found.recall) == (0.5, 1 / 3)
    assert found + found == Tally(4, 2, 6, 2, 4)
    assert np.isnan(Tally().precision)


def test_rms_and_mean_leave_out_what_is_unknown():
    assert figures.rms([3.0, -4.0, np.nan]) == pytest.approx(np.sqrt(12.5))
    assert figures.mean([1.0, np.nan, 2.0]) == 1.5
    assert np.isnan(figures.rms([]))


def test_slope_within_groups_is_that_of_a_regression_with_a_level_for_each_group():
    rng = np.random.default_rng(1)
    group = np.repeat(np.arange(10), 3)
    true = rng.normal(0, 4, 30)
    found = 0.9 * true + rng.normal(0, 0.5, 30) + rng.normal(0, 20, 10)[group]
    # The slope of least squares with an intercept for each group (scipy, on columns of zeros and ones).
    design = np.column_stack([true, np.eye(10)[group]])
    wanted = np.linalg.lstsq(design, found, rcond=None)[0][0]
    assert slope_within(group.tolist(), true.tolist(), found.tolist()) == pytest.approx(wanted)
    assert slope_within([0] * 30, true.tolist(), found.tolist()) == pytest.approx(stats.linregress(true, found).slope)
    assert np.isnan(slope_within([0, 1], [1.0, 2.0], [1.0, 2.0]))


def test_textbook_neighbours_drop_a_value_far_from_those_around_it_and_no_other():
    east, north = (part.ravel() for part in np.meshgrid(np.arange(0.0, 100, 5), np.arange(0.0, 100, 5)))
    value = 3000 + np.random.default_rng(2).uniform(-50, 50, len(east))
    value[205] = 4000
    points = gpd.GeoDataFrame({"yield_kg_ha": value}, geometry=gpd.points_from_xy(east, north), crs="EPSG:32612")
    kept = plain_ways.agrees_with_neighbours(points)
    assert not kept[205]
    # By hand for one place: mean and standard deviation of the others within 20 m.
    near = (np.hypot(east - east[0], north - north[0]) <= 20) & (np.arange(len(east)) != 0)
    assert kept[0] == (abs(value[0] - value[near].mean()) <= 2 * value[near].std(ddof=1))


def test_map_yield_is_mass_over_ground_at_standard_moisture():
    point = {"mass_flow_kg_s": 5.0, "duration_s": 1.0, "moisture_pct": 13.0, "distance_m": 2.0, "swath_m": 10.0}
    points = pd.DataFrame([point, {**point, "distance_m": 0.0}])
    found = plain_ways.map_yield(points, 13.0)
    assert found[0] == pytest.approx(5.0 / 20.0 * 10_000)
    assert np.isnan(found[1])


def test_the_step_response_is_delayed_by_the_planted_mean():
    scenario = SCENARIOS["ordinary"]
    time, reached = faults.step_response(scenario, scenario.combines[0])
    assert reached[-1] == pytest.approx(1, abs=1e-4)
    assert np.sum((1 - reached) * 0.1) + time[0] == pytest.approx(scenario.combines[0].delay_s, abs=0.1)


def test_records_are_held_against_the_ground_where_their_grain_was_cut():
    harvest = simulate_harvest(replace(SCENARIOS["ordinary"], blocks=1, jump_share=0.02), 1)
    points = harvest.records.assign(flags=0, pass_id=1, cut_width_m=9.0)
    placed = faults.place_records(harvest, points, {"combine 1": 11.0})
    off = placed.records["time"].to_numpy() - placed.records["duration_s"].to_numpy() / 2 - 11.0
    assert (placed.ground["time"] >= off).all()
    assert (placed.ground["time"] - placed.ground["duration_s"] < off).all()
    assert not placed.records["true_duplicate"].any()


def test_a_perfect_answer_has_no_error_and_the_planted_effect():
    harvest = simulate_harvest(plant(replace(SCENARIOS["ordinary"], blocks=2), 5.0), 3)
    ground = harvest.ground[harvest.ground["strip"] != ""]
    sums = ground.groupby("strip", observed=True)[["sensed_mass_kg", "area_m2"]].sum()
    perfect = sums["sensed_mass_kg"] / sums["area_m2"] * 10_000
    found = Truth(harvest, harvest.trial_map).judge(perfect, perfect / 1.01, None)
    assert np.allclose(found.strip_pct, 0)
    assert found.found == pytest.approx(found.perfect)
    assert found.true == pytest.approx(100 * np.log(1.05))
    # A noise that is the same in every strip is none to the effect.
    assert found.noise_pct == pytest.approx([1.0] * 4)
    assert found.noise == pytest.approx(0.0, abs=1e-9)


def made_up(name: str, seed: int, error: float) -> Harvested:
    """A harvest on which every strip and the effect are off by as much."""
    estimate = Estimate((error, error), error + seed, float(seed), float(seed), 0.1, (0.0, 0.2))
    tallies = dict.fromkeys(scores.FLAG_NAMES, Tally(10, 9, 10, 8, 9))
    ways, lost = dict.fromkeys(WAYS, estimate), {"a": (100, 1)}
    return Harvested(
        name,
        seed // 2,
        0.0,
        estimates=ways,
        width_m=(0.01,),
        tallies=tallies,
        lost=lost,
    )


def test_scores_hold_each_scenario_against_its_own_limit():
    rows = [
        scores.score_scenario(name, [made_up(name, seed, 0.6) for seed in range(4)]) for name in ("ordinary", "hard")
    ]
    assert rows[0].ways[OURS].rmse == pytest.approx(0.6)
    assert rows[0].ways[RAW].slope == pytest.approx(1)
    assert rows[0].ways[OURS].beyond_effect_rms == pytest.approx(0.5)
    assert rows[0].ways[OURS].beyond_rms == pytest.approx(((0.6**2 + 0.4**2) / 2) ** 0.5)
    targets = {target.what: target for target in scores.hold_targets(rows)}
    assert targets["strip bias, ordinary"].missed == ("ordinary 0.60",)
    assert targets["strip bias, hard"].met
    assert targets["strip RMSE beyond noise, ordinary"].met
    assert not targets["spike, ordinary: precision, recall"].met
    assert not targets["effect error of raw over ours, beyond noise, by scenario"].met
    assert targets["effect error of raw over ours, beyond noise, all harvests"].measured == "1.00"
    assert "| strip RMSE beyond noise, hard | <= 1.0 % | 0.51 to 0.51, median 0.51 | yes |" in page.render_cleaning(
        rows, 4, "x"
    )


def test_a_null_score_counts_p_below_the_floor():
    nulls = [null_trials.Null(True, None, 0.03, 0.03125), null_trials.Null(False, None, 0.5, 0.03125)]
    score = null_trials.score_nulls("x", nulls)
    assert (score.wrong_pct, score.covered_pct, score.below_floor) == (50.0, None, 1)
    assert not null_trials.is_met(score)


def test_a_part_of_the_page_that_is_not_there_is_said():
    with pytest.raises(ValueError, match="has no part 'cleaning'"):
        page.replace_part("nothing", "cleaning", "new")


def test_one_harvest_is_scored_the_whole_way():
    found = harvest_once("ordinary", 1, 10.0)
    assert found.stopped == ""
    assert set(found.estimates) == set(WAYS)
    assert {way: len(one.strip_pct) for way, one in found.estimates.items()} == dict.fromkeys(WAYS, 12)
    assert found.tallies["duplicate"].planted > 0
    assert min(good for good, _ in found.lost.values()) > 900
