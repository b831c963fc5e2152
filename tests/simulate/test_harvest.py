"""A whole harvest: the same for a seed, with the planted truth in it and the scenarios' promises kept."""

from dataclasses import fields, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from proofstrip.simulate import SCENARIOS, Combine, Scenario, Treatment, list_truth, simulate_harvest


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_every_scenario_gives_a_whole_harvest(name):
    harvest = simulate_harvest(SCENARIOS[name], 1)
    assert SCENARIOS[name].name == name
    assert SCENARIOS[name].note.endswith(".")
    assert len(harvest.trial_map) == 12
    assert harvest.trial_map.crs.is_projected
    assert set(harvest.records["true_strip"]) == {*harvest.trial_map["strip"], ""}
    assert (
        harvest.records.groupby("machine", observed=True)["time"].apply(lambda part: (part.diff() < 0).sum()).sum() == 0
    )
    numbers = ["area_m2", "true_mass_kg", "untreated_mass_kg", "sensed_mass_kg", "wet_mass_kg"]
    assert (harvest.ground[numbers] > 0).all().all()


def test_a_seed_gives_one_harvest_and_another_seed_another():
    one, again, other = (simulate_harvest(SCENARIOS["hard"], seed) for seed in (4, 4, 5))
    pd.testing.assert_frame_equal(one.records, again.records)
    pd.testing.assert_frame_equal(one.ground, again.ground)
    assert one.trial_map.equals(again.trial_map)
    assert not one.records["mass_flow_kg_s"].equals(other.records["mass_flow_kg_s"])


def test_what_is_planted_is_what_is_true():
    scenario = replace(SCENARIOS["hard"], treatments=(Treatment("a"), Treatment("b", 1.05), Treatment("c", 0.9)))
    truth = list_truth(simulate_harvest(scenario, 2))
    assert np.allclose(truth["realised_effect"], truth["treatment"].astype(str).map({"a": 1.0, "b": 1.05, "c": 0.9}))


def test_on_an_even_field_yields_differ_by_the_effect_alone():
    even = Scenario(yield_cv=0, trend_along=0, trend_across=0, headland_loss=0)
    yields = list_truth(simulate_harvest(even, 2)).groupby("treatment", observed=True)["true_yield_kg_ha"].mean()
    assert np.isclose(yields["tried"] / yields["control"], 1.04, rtol=1e-6)
    assert np.isclose(yields["control"], even.yield_kg_ha, rtol=1e-6)


def test_a_patchy_effect_is_realised_on_its_share():
    scenario = replace(SCENARIOS["patchy"], blocks=40, treatments=(Treatment("control"), Treatment("tried", 1.5)))
    truth = list_truth(simulate_harvest(scenario, 3)).query("treatment == 'tried'")
    assert np.isclose(truth["realised_effect"].mean(), 1 + 0.5 * 0.3, atol=0.04)


def test_the_field_varies_by_its_cv():
    scenario = Scenario(blocks=40, strip_length_m=1000, yield_cv=0.1, trend_along=0, trend_across=0, headland_loss=0)
    ground = simulate_harvest(scenario, 3).ground
    soil = ground["untreated_mass_kg"] / ground["area_m2"]
    # The header averages over 9 m across, which takes some of the variance of a point.
    assert 0.07 < soil.std() / soil.mean() < 0.1
    assert np.isclose(soil.mean(), 0.35, rtol=0.05)


def test_tickets_weigh_all_grain_of_the_passes_of_a_strip():
    scenario = replace(SCENARIOS["one_per_load"], blocks=30, strip_length_m=100, overlap_sd_m=0.0, wander_m=0.0)
    harvest = simulate_harvest(scenario, 4)
    # No overlap: a strip's passes cut its own ground and no other.
    cut = harvest.ground.groupby("strip", observed=True)[["wet_mass_kg", "true_mass_kg"]].sum()
    tickets = harvest.tickets.set_index("strip")
    off = tickets["wet_mass_kg"] / cut["wet_mass_kg"].loc[tickets.index] - 1
    assert len(tickets) == 60
    assert np.isclose(off.std(), 0.0025, rtol=0.3)
    assert off.abs().max() < 0.01
    moisture = 100 - 87 * cut["true_mass_kg"] / cut["wet_mass_kg"]
    assert np.isclose((tickets["moisture_pct"] - moisture).std(), 0.1, rtol=0.4)


def test_no_tickets_unless_they_were_weighed():
    assert simulate_harvest(SCENARIOS["ordinary"], 1).tickets.empty


def test_two_combines_work_at_once_each_with_its_own_delay_and_gain():
    pair = (Combine("one", 1.0, 10.0), Combine("two", 1.1, 14.0, start_s=60.0))
    scenario = Scenario(combines=pair, pass_error_sd=0, drift_pct_h=0)
    harvest = simulate_harvest(scenario, 5)
    ground = harvest.ground.groupby("machine", observed=True)[["sensed_mass_kg", "true_mass_kg"]].sum()
    assert np.allclose(ground["sensed_mass_kg"] / ground["true_mass_kg"], [1.0, 1.1])
    records = harvest.records
    starts = records.groupby("machine", observed=True)["time"].agg(["min", "max"])
    assert np.isclose(starts.loc["two", "min"] - starts.loc["one", "min"], 60)
    assert starts.loc["two", "min"] < starts.loc["one", "max"]
    full = records[records["true_width_m"] > 9]
    assert np.allclose(full.groupby("machine", observed=True)["true_delay_s"].median(), [10, 14], atol=0.1)


def test_a_slower_treatment_is_driven_slower():
    scenario = Scenario(treatments=(Treatment("control"), Treatment("slow", speed=0.8)), speed_cv=0, slowdowns_per_km=0)
    harvest = simulate_harvest(scenario, 5)
    treatment = harvest.trial_map.set_index("strip")["treatment"]
    speed = harvest.records["speed_m_s"].groupby(harvest.records["true_strip"].map(treatment)).median()
    assert np.isclose(speed["slow"] / speed["control"], 0.8, rtol=0.01)


def test_point_rows_are_cut_to_the_slanted_end_and_not_beyond():
    scenario = replace(SCENARIOS["point_rows"], overlap_sd_m=0.0, wander_m=0.0)
    harvest = simulate_harvest(scenario, 5)
    cut = harvest.ground.groupby("strip", observed=True)["area_m2"].sum()
    area = harvest.trial_map.set_index("strip").area
    assert np.allclose(cut[area.index], area, rtol=2e-3)
    beyond = harvest.ground["along_m"] > 400 - 0.5 * (harvest.ground["easting_m"] - 319_700) + 0.5 * 9.144 / 2 + 0.5
    assert not beyond.any()


def test_a_probe_that_keeps_old_grain_draws_the_moisture_of_strips_together():
    driest = (Treatment("control"), Treatment("tried", moisture_pt=-3.0))
    calm = Scenario(treatments=driest, moisture_sd_pt=0, moisture_trend_pt=0, moisture_noise_pt=0, strip_length_m=150)
    found = []
    for carry_s in (0.0, 30.0):
        harvest = simulate_harvest(replace(calm, combines=(Combine("one", moisture_carry_s=carry_s),)), 5)
        treatment = harvest.trial_map.set_index("strip")["treatment"]
        inside = harvest.records[harvest.records["mass_flow_kg_s"] > 1]
        means = inside["moisture_pct"].groupby(inside["true_strip"].map(treatment)).mean()
        found.append(means["control"] - means["tried"])
    assert found[0] > 2.4
    assert found[1] < found[0] - 0.3


def test_a_headland_is_cut_across_both_ends_before_the_strips_and_belongs_to_none():
    """The strips themselves stay as they are without it: own draws."""
    scenario = replace(Scenario(), headland_first=True, heading_deg=37.0)
    with_it, without = simulate_harvest(scenario, 3), simulate_harvest(replace(scenario, headland_first=False), 3)
    extra = len(with_it.records) - len(without.records)
    headland, strips = with_it.records[:extra], with_it.records[extra:].reset_index(drop=True)
    pd.testing.assert_frame_equal(strips, without.records)
    cut = headland[headland["true_width_m"] > 8]
    assert cut["time"].max() < strips["time"].min()
    assert set(cut["true_strip"]) == {""}
    shape = without.trial_map.geometry.union_all()
    places = gpd.GeoSeries(gpd.points_from_xy(cut["easting_m"], cut["northing_m"]), crs=without.trial_map.crs)
    beside = places.distance(shape)
    assert beside[~cut["true_jump"].to_numpy()].median() == pytest.approx(9.144 / 2, abs=0.2)
    assert cut["true_pass"].nunique() == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"end_slant": 3.0}, "end_slant 3.0 must be from 0 to 2"),
        ({"end_slant": 0.5, "curve_radius_m": 300.0}, "needs straight rows"),
        ({"end_slant": 0.5, "headland_first": True}, "headland_first needs straight rows and square ends"),
        ({"combines": (Combine("one", delay_s=2.0),)}, "delay_s 2.0 s is less than its mixing and tailings take"),
        ({"narrow_last_share": 0.5}, "needs two passes a strip or more; found 1"),
        ({"shift_applied_s": -2.0}, "pairs a position with a later flow"),
        ({"step_s": 3.0}, "step_s 3.0 s"),
        ({"header_up_m": -4.0}, "header_up_m -4.0 m must be from 0 to 12 m"),
        ({"curve_radius_m": 30.0}, "no combine follows rows that bend under 50 m"),
        ({"log_through_turns": False, "header_switch": "missing"}, "header switch that is missing"),
    ],
)
def test_what_no_combine_can_do_is_refused(change, said):
    with pytest.raises(ValueError, match=said):
        replace(Scenario(), **change)


def test_every_knob_is_described_in_the_docstring():
    described = Scenario.__doc__ or ""
    listed = " ".join(line.partition(" : ")[0] for line in described.splitlines() if " : " in line)
    names = {word.strip() for word in listed.replace(",", " ").split()}
    assert {item.name for item in fields(Scenario)} <= names
