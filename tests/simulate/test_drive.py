"""Where the combine is: turns it could steer, speeds it was asked for, stops that last."""

from dataclasses import replace

import numpy as np
import pytest

from proofstrip.simulate import Scenario
from proofstrip.simulate.drive import Drive, drive_passes, remember, turn_round
from proofstrip.simulate.layout import lay_out

CALM = Scenario(speed_cv=0, slowdowns_per_km=0, wander_m=0, overlap_sd_m=0)


def drive_of(scenario: Scenario, seed: int = 2) -> Drive:
    rng = np.random.default_rng(seed)
    return drive_passes(scenario, lay_out(scenario, rng), 0, rng)


@pytest.mark.parametrize(("here", "there"), [(0, 9), (9, 0), (0, 0), (0, 14), (0, 40), (30, 2)])
@pytest.mark.parametrize("radius", [7.0, -7.0])
def test_a_turn_ends_on_its_pass_and_is_never_tighter_than_the_radius(here, there, radius):
    across, along = turn_round(here, there, 100.0, radius)
    assert np.allclose([across[0], along[0], across[-1], along[-1]], [here, 100, there, 100], atol=1e-9)
    leg = np.column_stack([np.diff(across), np.diff(along)])
    leg = leg[np.hypot(*leg.T) > 1e-6]
    length = np.hypot(*leg.T)
    bend = np.angle(np.exp(1j * np.diff(np.unwrap(np.arctan2(leg[:, 0], leg[:, 1])))))
    # Curvature of a polygon through a circle's points: turning angle over mean leg, above 1 / radius by chord over arc.
    assert (np.abs(bend) / ((length[1:] + length[:-1]) / 2)).max() < 1.02 / 7.0
    assert np.sign(leg[0, 1]) == np.sign(radius)
    assert np.sign(leg[-1, 1]) == -np.sign(radius)


def test_passes_run_at_the_speed_asked_for():
    drive = drive_of(CALM)
    inside = (drive.pass_index >= 0) & (drive.along_m[1:] > 20) & (drive.along_m[1:] < 380)
    assert np.allclose(drive.step_m[inside] / CALM.step_length_s, CALM.speed_m_s, rtol=1e-3)


def test_speed_varies_by_its_cv():
    drive = drive_of(replace(CALM, speed_cv=0.08, blocks=60))
    inside = (drive.pass_index >= 0) & (drive.along_m[1:] > 20) & (drive.along_m[1:] < 380)
    speed = drive.step_m[inside] / CALM.step_length_s
    # Slow places hold more steps than fast ones, and smoothing over 2 m takes a little of the variance.
    assert np.isclose(speed.std() / speed.mean(), 0.08, atol=0.01)


def test_a_curved_pass_runs_at_the_same_speed_on_the_ground():
    drive = drive_of(replace(CALM, curve_radius_m=150.0))
    inside = (drive.pass_index >= 0) & (drive.along_m[1:] > 20) & (drive.along_m[1:] < 380)
    assert np.allclose(drive.step_m[inside] / CALM.step_length_s, CALM.speed_m_s, rtol=2e-3)


def test_a_stop_stands_still_for_15_to_60_s():
    drive = drive_of(replace(CALM, stops_per_km=1.0, blocks=20))
    still = drive.step_m < 1e-9
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]])))
    lasted = (edges[1::2] - edges[::2]) * CALM.step_length_s
    assert len(lasted) > 5
    assert lasted.min() > 14
    assert lasted.max() < 61


def test_the_header_is_down_over_all_of_the_crop_and_up_in_every_turn():
    drive = drive_of(CALM)
    along = (drive.along_m[1:] + drive.along_m[:-1]) / 2
    crop = (drive.pass_index >= 0) & (along > 0) & (along < 400)
    assert drive.header_down[crop].all()
    assert not drive.header_down[drive.pass_index < 0].any()
    reach = along[drive.header_down]
    assert np.isclose(reach.min(), -6, atol=0.5)
    assert np.isclose(reach.max(), 406, atol=0.5)


def test_memory_is_the_correlation_of_neighbours():
    series = remember(np.random.default_rng(1).standard_normal((2, 50_000)), 0.7)
    assert np.allclose(series.std(axis=1), 1, atol=0.03)
    assert np.isclose(np.corrcoef(series[0, 1:], series[0, :-1])[0, 1], 0.7, atol=0.02)
