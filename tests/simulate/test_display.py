"""What the display writes down, and whether the planted faults are there at the planted rates."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pyproj
import pytest

from proofstrip.simulate import Combine, Scenario, simulate_harvest

LARGE = Scenario(blocks=20, record_s=1.0)
CLEAN = replace(
    LARGE, blocks=3, noise_kg_s=0, spike_share=0, duplicate_share=0, jump_share=0, position_noise_m=0, pass_offset_m=0
)


def within_chance(share: float, wanted: float, number: int) -> bool:
    """Tell whether a share lies within four standard errors of a binomial share."""
    return abs(share - wanted) < 4 * np.sqrt(wanted * (1 - wanted) / number)


def test_faults_come_at_the_rates_asked_for():
    planted = replace(LARGE, jump_share=0.01, duplicate_share=0.02, spike_share=0.03, lost_share=0.05)
    whole = simulate_harvest(replace(planted, duplicate_share=0, lost_share=0), 5).records
    records = simulate_harvest(planted, 5).records
    assert within_chance(records["true_jump"].mean(), 0.01, len(records))
    assert within_chance(records["true_duplicate"].mean(), 0.02, len(records))
    flowing = records[records["true_spike"] | (records["mass_flow_kg_s"] > 0)]
    assert within_chance(flowing["true_spike"].mean(), 0.03, len(flowing))
    lost = 1 - (~records["true_duplicate"]).sum() / len(whole)
    # Losses come in fives, so a share has the error of a fifth as many draws.
    assert within_chance(lost, 0.05, len(whole) / 5)


def test_spells_come_at_the_rates_asked_for_and_repeat_one_value():
    records = simulate_harvest(replace(LARGE, frozen_per_h=20, frozen_s=6, stuck_per_h=10, stuck_s=20), 6).records
    hours = records["duration_s"].sum() / 3600
    for flag, columns, wanted_s in (
        ("true_frozen", ["easting_m", "northing_m"], 20 * 6),
        ("true_stuck", ["mass_flow_kg_s"], 10 * 20),
    ):
        held = records[flag]
        assert np.isclose(held.sum() / hours, wanted_s, rtol=0.35), flag
        same = (records[columns].diff().abs() < 1e-9).all(axis=1)
        assert same[held & ~records["true_duplicate"]].all(), flag


def test_a_jump_is_2_to_30_m_and_nothing_else_moves_that_far():
    records = simulate_harvest(replace(CLEAN, blocks=10, jump_share=0.02, position_noise_m=0.05), 7).records
    calm = simulate_harvest(replace(CLEAN, blocks=10), 7).records
    moved = np.hypot(records["easting_m"] - calm["easting_m"], records["northing_m"] - calm["northing_m"])
    assert moved[records["true_jump"]].between(1.5, 30.5).all()
    assert moved[~records["true_jump"]].max() < 0.4


def test_position_noise_has_its_size():
    noisy, calm = (simulate_harvest(replace(CLEAN, blocks=40, position_noise_m=sd), 8).records for sd in (0.2, 0.0))
    for axis in ("easting_m", "northing_m"):
        assert np.isclose((noisy[axis] - calm[axis]).std(), 0.2, rtol=0.15)


def test_an_unknown_antenna_offset_changes_side_with_direction():
    moved, calm = (simulate_harvest(replace(CLEAN, antenna_right_m=side), 8).records for side in (0.3, 0.0))
    east = moved["easting_m"] - calm["easting_m"]
    on_pass = moved["true_strip"] != ""
    up = np.cos(np.deg2rad(moved["heading_deg"])) > 0
    assert np.allclose(east[on_pass & up], 0.3, atol=0.01)
    assert np.allclose(east[on_pass & ~up], -0.3, atol=0.01)


def test_a_record_is_stamped_at_its_end_and_says_how_far_it_went():
    records = simulate_harvest(CLEAN, 9).records.query("true_pass > 0")
    inside = records["true_pass"].diff() == 0
    stepped = np.hypot(records["easting_m"].diff(), records["northing_m"].diff())[inside]
    assert np.allclose(stepped, records["distance_m"][inside], atol=0.01)
    assert np.allclose(records["time"].diff()[inside], 1.0)
    assert np.allclose(records["distance_m"], records["speed_m_s"], atol=0.12)


def test_heading_is_the_direction_of_travel():
    records = simulate_harvest(replace(CLEAN, heading_deg=37.0), 9).records
    on_pass = records[records["true_strip"] != ""]
    off = (on_pass["heading_deg"] - 37 + 90) % 180 - 90
    assert off.abs().max() < 2.5
    assert set((on_pass["heading_deg"] // 180).astype(int)) == {0, 1}


def test_longitude_and_latitude_are_those_of_the_projection():
    harvest = simulate_harvest(CLEAN, 9)
    to_metres = pyproj.Transformer.from_crs("EPSG:4326", harvest.trial_map.crs, always_xy=True)
    east, north = to_metres.transform(harvest.records["longitude"], harvest.records["latitude"])
    # 8 decimals of a degree are about a millimetre.
    assert np.allclose(east, harvest.records["easting_m"], atol=2e-3)
    assert np.allclose(north, harvest.records["northing_m"], atol=2e-3)


@pytest.mark.parametrize(("applied", "takes", "remains"), [(0, 11, 11), (12, 9, -3), (9, 9, 0)])
def test_the_remaining_delay_is_what_the_display_left(applied, takes, remains):
    scenario = replace(CLEAN, shift_applied_s=applied, combines=(Combine("one", delay_s=takes, mixing_s=2.5),))
    records = simulate_harvest(scenario, 2).records
    inside = records[(records["true_width_m"] > 8.5) & (records["distance_m"] > 1)]
    steady = inside.groupby("true_pass", group_keys=False)["true_delay_s"].apply(lambda part: part.iloc[60:-25])
    assert np.isclose(steady.mean(), remains, atol=0.1)


def test_the_true_place_of_cutting_lies_behind_by_speed_times_delay():
    records = simulate_harvest(replace(CLEAN, speed_cv=0, slowdowns_per_km=0), 2).records
    inside = records.groupby("true_pass", group_keys=False)[records.columns].apply(lambda part: part.iloc[60:-25])
    inside = inside[inside["true_pass"] > 0]
    behind = np.hypot(
        inside["easting_m"] - inside["true_cut_easting_m"], inside["northing_m"] - inside["true_cut_northing_m"]
    )
    # The position is that of the record's end, half a second after its middle.
    assert np.allclose(behind, (inside["true_delay_s"] + 0.5) * 1.8, rtol=0.01)


def test_logged_header_states():
    states = {
        switch: simulate_harvest(replace(CLEAN, header_switch=switch), 3).records["header_down"]
        for switch in ("good", "stuck", "inverted", "missing")
    }
    truth = ~simulate_harvest(CLEAN, 3).records["true_header_up"]
    assert (states["good"] == truth).all()
    assert (states["inverted"] == ~truth).all()
    assert states["stuck"].all()
    assert states["missing"].isna().all()


def test_a_late_switch_follows_the_header():
    records = simulate_harvest(replace(CLEAN, header_late_s=4.0), 3).records
    truth = ~records["true_header_up"].to_numpy()
    assert (records["header_down"].to_numpy(dtype=bool)[4:] == truth[:-4]).all()


def test_a_log_of_the_header_down_only_holds_no_turns():
    records = simulate_harvest(replace(CLEAN, log_through_turns=False), 3).records
    assert records["header_down"].all()
    assert not records["true_turn"].any()
    assert (records["time"].diff() > 10).sum() == 5


@pytest.mark.parametrize("record_s", [0.2, 0.5, 1.0, 3.0, 5.0])
def test_any_interval_logs_the_same_harvest(record_s):
    harvest = simulate_harvest(replace(CLEAN, record_s=record_s), 3)
    wet = (harvest.records["mass_flow_kg_s"] * harvest.records["duration_s"]).sum()
    assert np.isclose(wet, harvest.ground["wet_mass_kg"].sum() * 1.0, rtol=0.02)
    assert (harvest.records["duration_s"] == record_s).all()


def test_values_are_rounded_as_a_display_does():
    flow = simulate_harvest(LARGE, 1).records["mass_flow_kg_s"] / 0.45359237 * 100
    assert np.allclose(flow, flow.round(), atol=1e-6)


def test_types_are_those_of_the_truth():
    records = simulate_harvest(CLEAN, 1).records
    assert isinstance(records["header_down"].dtype, pd.BooleanDtype)
    truths = [name for name in records if name.startswith("true_")]
    assert len(truths) == 13
    assert not records[[name for name in truths if "delay" not in name and "cut" not in name]].isna().any().any()
