"""What the sensors make of the grain."""

from dataclasses import replace

import numpy as np
import pytest

from proofstrip.simulate import Combine, Scenario, Simulated, simulate_harvest
from proofstrip.simulate.sensor import probe_moisture

PURE = Scenario(
    name="pure", blocks=3, strip_length_m=250, noise_kg_s=0, pass_error_sd=0, drift_pct_h=0, spike_share=0,
    duplicate_share=0, jump_share=0, moisture_noise_pt=0,
)  # fmt: skip
EVEN = replace(
    PURE, yield_cv=0, trend_along=0, trend_across=0, headland_loss=0, speed_cv=0, slowdowns_per_km=0, overlap_sd_m=0,
    wander_m=0, moisture_sd_pt=0, moisture_trend_pt=0, moisture_pt_per_h=0,
)  # fmt: skip


def logged_wet_kg(harvest: Simulated) -> float:
    return float((harvest.records["mass_flow_kg_s"] * harvest.records["duration_s"]).sum())


@pytest.mark.parametrize("change", [{}, {"delay_flow_power": 0.2}, {"record_s": 3.0}, {"curve_radius_m": 200.0}])
def test_all_grain_cut_passes_the_sensor(change):
    harvest = simulate_harvest(replace(PURE, **change), 3)
    # Flow is written in steps of 0.01 lb/s, which rounds the last of each tail away.
    assert np.isclose(logged_wet_kg(harvest), harvest.ground["wet_mass_kg"].sum(), rtol=5e-4)


def test_gain_pass_error_drift_and_curve_are_in_the_sensed_truth_exactly():
    twisted = replace(
        PURE, combines=(Combine("one", gain=1.07),), pass_error_sd=0.03, drift_pct_h=5.0, sensor_power=0.9
    )
    harvest = simulate_harvest(twisted, 3)
    ground = harvest.ground
    wet_sensed = ground["sensed_mass_kg"] / ground["true_mass_kg"] * ground["wet_mass_kg"]
    assert np.isclose(logged_wet_kg(harvest), wet_sensed.sum(), rtol=5e-4)
    assert not np.isclose(ground["sensed_mass_kg"].sum(), ground["true_mass_kg"].sum(), rtol=0.02)


def test_an_ideal_sensor_senses_the_truth():
    ground = simulate_harvest(PURE, 3).ground
    assert np.allclose(ground["sensed_mass_kg"], ground["true_mass_kg"], rtol=1e-9)


def test_a_power_bends_low_flow_and_leaves_the_nominal_flow():
    level = simulate_harvest(replace(EVEN, sensor_power=0.9), 1).ground
    assert np.isclose(level["sensed_mass_kg"].sum() / level["true_mass_kg"].sum(), 1.0, atol=0.02)
    narrow = simulate_harvest(replace(EVEN, sensor_power=0.9, passes_per_strip=2, narrow_last_share=0.5), 1).ground
    by_pass = narrow.groupby("pass_number")[["sensed_mass_kg", "true_mass_kg"]].sum()
    ratio = (by_pass["sensed_mass_kg"] / by_pass["true_mass_kg"]).to_numpy()
    # Half the flow at power 0.9 reads 0.5^0.9 / 0.5 = 1.0718 times too much.
    assert np.isclose(ratio[1::2].mean() / ratio[::2].mean(), 0.5**-0.1, atol=0.01)


def test_flow_rises_on_entry_after_the_delay_and_as_the_mixing_asks():
    harvest = simulate_harvest(replace(EVEN, record_s=0.2, tailings_share=0.0), 1)
    records = harvest.records.query("true_pass == 1")
    start = harvest.ground["time"].min() - 0.1
    flow = records["mass_flow_kg_s"].to_numpy() / records["mass_flow_kg_s"].median()
    middle = records["time"].to_numpy() - 0.1 - start
    # gamma(2) with mean 3 s behind a pure delay of 8 s: half of the rise at 8 + 1.678 x 1.5 s (its median).
    half = np.interp(0.5, flow[middle < 40], middle[middle < 40])
    assert np.isclose(half, 8.0 + 1.6783 * 1.5, atol=0.25)
    assert flow[middle < 7.5].max() == 0


@pytest.mark.parametrize("memory", [0.0, 0.5])
@pytest.mark.parametrize("record_s", [1.0, 0.5])
def test_noise_has_its_size_and_memory(memory, record_s):
    noisy = replace(EVEN, noise_kg_s=0.3, noise_memory=memory, blocks=8, record_s=record_s)
    records = simulate_harvest(noisy, 4).records
    inside = records[(records["true_width_m"] > 9) & (records["true_delay_s"] < 11.3)]
    inside = inside.groupby("true_pass").filter(lambda part: len(part) > 50)
    flow = inside.groupby("true_pass")["mass_flow_kg_s"].apply(lambda part: part.iloc[int(40 / record_s) :])
    treated = flow.groupby(level=0).transform("mean")
    residual = (flow - treated).to_numpy()
    second = residual if record_s == 1 else residual[: len(residual) // 2 * 2].reshape(-1, 2).mean(axis=1)
    assert np.isclose(second.std(), 0.3, rtol=0.1)
    if record_s == 1:
        # Neighbouring means of five steps of a series whose steps correlate by memory^(0.2 x distance).
        alike = (memory ** np.abs(np.subtract.outer(np.arange(10), np.arange(10)) * 0.2)) if memory else np.eye(10)
        wanted = alike[:5, 5:].sum() / alike[:5, :5].sum()
        assert np.isclose(np.corrcoef(residual[1:], residual[:-1])[0, 1], wanted, atol=0.05)


def test_pass_errors_have_their_size():
    ground = simulate_harvest(replace(PURE, pass_error_sd=0.02, blocks=100, strip_length_m=60), 1).ground
    by_pass = ground.groupby("pass_number")[["sensed_mass_kg", "true_mass_kg"]].sum()
    assert np.isclose((by_pass["sensed_mass_kg"] / by_pass["true_mass_kg"]).std(), 0.02, rtol=0.15)


def test_drift_grows_with_the_hours():
    ground = simulate_harvest(replace(PURE, drift_pct_h=4.0, blocks=20), 1).ground
    hours = (ground["time"] - ground["time"].min()) / 3600
    assert hours.max() > 1
    assert np.allclose(ground["sensed_mass_kg"] / ground["true_mass_kg"], 1 + 0.04 * hours, atol=1e-3)


def test_the_moisture_probe_holds_its_value():
    scenario = replace(PURE, moisture_hold_s=10.0)
    water = np.concatenate([np.full(100, np.nan), np.linspace(12, 15, 400), np.full(100, np.nan)])
    read = probe_moisture(scenario, water, np.random.default_rng(1))
    assert read[:50].tolist() == [water[100]] * 50
    assert np.array_equal(read[100:500], np.repeat(water[100:500:50], 50))
    assert read[500:].tolist() == [water[450]] * 100


def test_logged_moisture_brings_wet_grain_to_standard():
    harvest = simulate_harvest(replace(EVEN, moisture_pct=18.0), 1)
    assert set(harvest.records["moisture_pct"]) == {18.0}
    # 100 kg wet at 18 % are 100 x 82 / 87 kg at 13 %: grain and water only.
    assert np.isclose(harvest.ground["true_mass_kg"].sum() / harvest.ground["wet_mass_kg"].sum(), 82 / 87)
