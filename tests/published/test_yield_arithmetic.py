"""Yield-monitor arithmetic against published figures."""

import numpy as np
import pytest

from proofstrip.moisture import standard_mass
from proofstrip.units import KG_PER_LB, M2_PER_ACRE, M_PER_FT, kg_ha_per_bu_ac


def bushels_an_acre(flow_lb_s: float, seconds: float, distance_ft: float, swath_ft: float, moisture: float) -> float:
    """Corn: the way the stages go, in SI and back."""
    mass = standard_mass(np.array(flow_lb_s * seconds * KG_PER_LB), np.array(moisture), 15.5)
    return float(mass / (distance_ft * swath_ft * M_PER_FT**2) * 10_000 / kg_ha_per_bu_ac(56))


@pytest.mark.parametrize(
    ("flow", "distance_in", "moisture", "published"),
    # gartner.corn (University of Minnesota, in agridat): its documentation's formula on its first rows and row 11.
    [
        (16.54, 116, 18.5, 128.3688),
        (22.52, 159, 16.7, 130.3289),
        (27.01, 169, 17.2, 146.1816),
        (30.24, 221, 17.2, 125.1539),
        (30.95, 234, 17.3, 120.8300),
        (36.23, 233, 17.4, 141.8786),
    ],
)
def test_rows_of_the_minnesota_corn_field(flow, distance_in, moisture, published):
    assert bushels_an_acre(flow, 3, distance_in / 12, 30, moisture) == pytest.approx(published, abs=5e-4)


def test_ground_passed_before_grain_fully_flows():
    # Virginia Tech 442-502: six 30-inch rows at 5 mph, 15 s: 110 ft and almost 0.04 ac; 2-s logging: about 200 an acre.
    feet = 5 * 5280 / 3600 * 15
    acres = feet * M_PER_FT * 15 * M_PER_FT / M2_PER_ACRE
    assert feet == pytest.approx(110, abs=0.05)
    assert acres == pytest.approx(0.038, abs=0.0005)
    assert 15 / 2 / acres == pytest.approx(200, rel=0.02)


def test_a_swath_logged_too_narrow_raises_yield_by_its_share():
    # Nielsen, Purdue (striptillfarmer 1281): a 20 ft header logged as 17.5 ft.
    wrong, right = (bushels_an_acre(25, 1, 7, swath, 15.5) for swath in (17.5, 20))
    assert wrong / right == pytest.approx(1.1429, abs=5e-5)


def test_flow_that_150_bushels_an_acre_are():
    # Virginia Tech 442-502: the same header and speed at 150 bu/ac are 21.2 lb/s (computed from its figures).
    assert bushels_an_acre(21.2, 1, 5 * 5280 / 3600, 15, 15.5) == pytest.approx(150, rel=2e-3)


def test_check_weight_of_a_strip():
    # Meyer 2012 (journal-advocate): acres = length x width / 43,560; bu/ac = lb / 56 / acres x (100 - moisture) / 84.5.
    by_hand = 4200 / 56 / (600 * 30 / 43_560) * (100 - 18.0) / 84.5
    assert bushels_an_acre(4200, 1, 600, 30, 18.0) == pytest.approx(by_hand, rel=1e-9)
