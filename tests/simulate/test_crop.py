"""The standing crop: its pattern is the one asked for, and treatments multiply it."""

from dataclasses import replace

import numpy as np
import pytest

from proofstrip.simulate import Scenario, Treatment
from proofstrip.simulate.crop import Crop, draw_surface, grow_crop
from proofstrip.simulate.layout import lay_out

EVEN = Scenario(yield_cv=0, trend_along=0, trend_across=0, headland_loss=0, moisture_sd_pt=0, moisture_trend_pt=0)


def crop_of(scenario: Scenario, seed: int = 1) -> Crop:
    rng = np.random.default_rng(seed)
    return grow_crop(scenario, lay_out(scenario, rng), rng)


def places(number: int = 4000) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(9)
    return rng.uniform(0, 100, number), rng.uniform(0, 400, number)


@pytest.mark.parametrize(
    ("shift_cells", "wanted"),
    [((0, 5), np.exp(-3 * 15 / 45)), ((10, 0), np.exp(-3 * 15 / 45)), ((0, 15), np.exp(-3)), ((30, 0), np.exp(-3))],
)
def test_correlation_falls_as_the_exponential_covariance_says(shift_cells, wanted):
    # Exponential covariance exp(-3 h / range): 0.37 at a third of the range, 0.05 at the range; twice as far along.
    extent = np.array([0.0, 0.0, 1500.0, 3000.0])
    values = draw_surface(extent, 45.0, 2.0, np.random.default_rng(4)).values
    moved = np.roll(values, shift_cells, axis=(0, 1))
    assert np.isclose(values.std(), 1.0, atol=0.04)
    assert np.isclose((values * moved).mean(), wanted, atol=0.04)


def test_an_even_field_bears_its_level_everywhere():
    across, along = places()
    assert np.allclose(crop_of(EVEN).read_soil(across, along), EVEN.yield_kg_ha)


def test_trend_and_headland_act_where_they_are_asked_for():
    crop = crop_of(replace(EVEN, trend_along=0.1, headland_loss=0.2, headland_m=20))
    along = np.array([0.0, 10.0, 200.0, 399.999999])
    wanted = np.array([0.95 * 0.8, (1 + 0.1 * (10 / 400 - 0.5)) * 0.9, 1.0, 1.05 * 0.8]) * EVEN.yield_kg_ha
    assert np.allclose(crop.read_soil(np.full(4, 50.0), along), wanted, rtol=1e-6)


def test_a_treatment_multiplies_the_yield_of_its_strips_only():
    crop = crop_of(replace(EVEN, treatments=(Treatment("control"), Treatment("tried", 1.07))))
    strips = np.arange(-1, 12)
    effect = crop.read_effect(np.full(13, 5.0), np.full(13, 50.0), strips)
    assert effect[0] == 1.0
    assert np.array_equal(effect[1:], np.where(crop.layout.strip_treatment == 1, 1.07, 1.0))


def test_a_patchy_effect_acts_on_the_share_asked_for():
    crop = crop_of(replace(EVEN, effect_patch_share=0.3))
    tried = int(np.flatnonzero(crop.layout.strip_treatment == 1)[0])
    across, along = places()
    effect = crop.read_effect(across, along, np.full(len(across), tried))
    assert set(np.unique(effect)) == {1.0, 1.04}
    assert np.isclose((effect > 1).mean(), 0.3, atol=0.05)


def test_poor_patches_lose_their_share():
    crop = crop_of(replace(EVEN, poor_patches=3, poor_patch_m=10, poor_patch_loss=0.5))
    middle = crop.poor_places_m
    assert np.allclose(crop.read_soil(middle[:, 0], middle[:, 1]), EVEN.yield_kg_ha / 2)


def test_grain_dries_with_time_and_differs_by_treatment():
    crop = crop_of(replace(EVEN, moisture_pt_per_h=-0.2, treatments=(Treatment("a"), Treatment("b", moisture_pt=0.5))))
    strip = np.array([int(np.argmax(crop.layout.strip_treatment == kind)) for kind in (0, 1)])
    moisture = crop.read_moisture(np.full(2, 5.0), np.full(2, 200.0), strip, np.array([0.0, 3.0]))
    assert np.allclose(moisture, [13.5, 13.5 - 0.6 + 0.5])
