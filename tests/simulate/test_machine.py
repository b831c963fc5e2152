"""Grain on its way: nothing is lost, and the response is the one the textbook gives."""

import numpy as np
from scipy.stats import gamma

from proofstrip.simulate.machine import carry, carry_back, lag, mix, transit_steps

STEP_S = 0.05


def enter_once(steps: int = 8000) -> np.ndarray:
    series = np.zeros((1, steps))
    series[0, 0] = 1.0
    return series


def mean_step(series: np.ndarray) -> float:
    return float((series * np.arange(series.shape[-1])).sum() / series.sum())


def test_a_vessel_keeps_grain_for_its_mean_stay_and_loses_none():
    out = lag(enter_once(), 40.0)
    assert np.isclose(out.sum(), 1.0, rtol=1e-12)
    assert np.isclose(mean_step(out), 40.0, rtol=1e-9)


def test_two_vessels_give_the_gamma_distribution_of_scipy():
    # Two well-mixed vessels in series have gamma(2) residence times; scipy.stats.gamma is the outside reference.
    out = np.cumsum(mix(enter_once(), 3.0 / STEP_S, 0.0, 1.0)[0])
    time = (np.arange(len(out)) + 0.5) * STEP_S
    assert np.abs(out - gamma.cdf(time, 2, scale=1.5)).max() < 0.01


def test_tailings_come_later_by_their_share_of_their_stay():
    out = mix(enter_once(), 60.0, 0.1, 160.0)
    assert np.isclose(out.sum(), 1.0, rtol=1e-9)
    assert np.isclose(mean_step(out), 60.0 + 0.1 * 160.0, rtol=1e-6)


def test_transport_moves_grain_by_parts_of_a_step_and_loses_none():
    amounts = np.random.default_rng(1).uniform(0, 1, (3, 500))
    transit = np.linspace(20.25, 31.75, 500)
    out = carry(amounts, transit, 40)
    assert np.allclose(out.sum(axis=1), amounts.sum(axis=1), rtol=1e-12)
    arrival = (np.arange(500) + transit) @ amounts[0] / amounts[0].sum()
    assert np.isclose(mean_step(out[0]), arrival, rtol=1e-12)


def test_weighing_before_the_way_equals_weighing_after_it():
    rng = np.random.default_rng(2)
    inflow = np.append(rng.uniform(0, 1, 400), np.zeros(300))
    transit, mixing = np.full(700, 33.3), (10.0, 0.05, 20.0)
    out = mix(carry(inflow[None], transit, 400), *mixing)[0]
    factor = rng.uniform(0.9, 1.1, len(out))
    assert np.isclose(inflow @ carry_back(factor, transit, mixing), out @ factor, rtol=1e-9)


def test_little_grain_travels_slower_when_delay_follows_flow():
    # Bench stand of the University of Kentucky: 8 s at 1.3 to 2.1 kg/s, 6 s at 4.2 to 12.7, 5 s at 16.9 to 21.1.
    # A power of 0.2 on 6 s at 8 kg/s comes within half a second of all three.
    flows = np.array([1.7, 8.0, 19.0])
    seconds = [transit_steps(np.full(3000, flow), 0.1, 6.0, (8.0, 0.2))[-1] * 0.1 for flow in flows]
    assert np.allclose(seconds, [8.0, 6.0, 5.0], atol=0.5)


def test_delay_is_constant_without_a_power():
    assert np.allclose(transit_steps(np.array([0.0, 3.0, 9.0]), 0.2, 7.0, (6.0, 0.0)), 35.0)
