"""Strips and passes: the design is the one asked for, and the ground has the right size and direction."""

from dataclasses import replace

import numpy as np
import pytest

from proofstrip.simulate import Combine, Scenario, Treatment
from proofstrip.simulate.layout import Layout, draw_map, lay_out

THREE = (Treatment("a"), Treatment("b"), Treatment("c"))


def layout_of(scenario: Scenario, seed: int = 3) -> Layout:
    return lay_out(scenario, np.random.default_rng(seed))


@pytest.mark.parametrize("arrangement", ["randomised", "alternating", "mirrored"])
def test_every_block_holds_every_treatment_once(arrangement):
    layout = layout_of(Scenario(treatments=THREE, blocks=7, arrangement=arrangement))
    assert np.array_equal(np.sort(layout.strip_treatment.reshape(7, 3), axis=1), np.tile([0, 1, 2], (7, 1)))


def test_mirrored_blocks_turn_round():
    layout = layout_of(Scenario(blocks=2, arrangement="mirrored"))
    assert layout.strip_treatment.tolist() == [0, 1, 1, 0]


def test_randomised_orders_differ_between_seeds():
    orders = {tuple(layout_of(Scenario(), seed).strip_treatment) for seed in range(20)}
    assert len(orders) > 10


def test_a_serpentine_turns_round_at_every_end_and_one_way_never():
    there_and_back = layout_of(Scenario())
    directions = there_and_back.pass_direction[np.argsort(there_and_back.pass_number)]
    assert np.array_equal(directions, np.tile([1, -1], 6))
    assert set(layout_of(Scenario(path="one_way")).pass_direction) == {1}


def test_pass_orders():
    by_treatment = layout_of(Scenario(pass_order="by_treatment"))
    first = by_treatment.pass_strip[np.argsort(by_treatment.pass_number)][:6]
    assert set(by_treatment.strip_treatment[first]) == {0}
    every_second = layout_of(Scenario(pass_order="every_second"))
    assert every_second.pass_strip[np.argsort(every_second.pass_number)].tolist() == [
        *range(0, 12, 2),
        *range(1, 12, 2),
    ]


@pytest.mark.parametrize(
    ("takes", "wanted"),
    [
        ("blocks", [0, 0, 1, 1, 0, 0, 1, 1]),
        ("strips", [0, 1, 0, 1, 0, 1, 0, 1]),
        ("halves", [0, 0, 0, 0, 1, 1, 1, 1]),
        ("treatments", [0, 1, 0, 1, 0, 1, 0, 1]),
    ],
)
def test_two_combines_share_the_strips(takes, wanted):
    pair = (Combine("one"), Combine("two"))
    layout = layout_of(Scenario(blocks=4, combines=pair, combine_takes=takes, arrangement="alternating"))
    assert layout.pass_combine.tolist() == wanted


def test_strips_have_the_size_and_direction_asked_for():
    scenario = Scenario(heading_deg=37.0, strip_length_m=250, overlap_m=0.25)
    strips = draw_map(scenario, layout_of(scenario))
    assert np.allclose(strips.area, 250 * (9.144 - 0.25))
    corners = np.array(strips.geometry.iloc[0].exterior.coords)
    east, north = corners[1] - corners[0]
    assert np.isclose(np.rad2deg(np.arctan2(east, north)), 37.0)


def test_curved_strips_are_sectors_of_rings():
    scenario = Scenario(curve_radius_m=350.0)
    strips = draw_map(scenario, layout_of(scenario))
    inner = 350.0 + np.arange(12) * 9.144
    # Sector of a ring: angle / 2 x (outer radius squared - inner radius squared), plane geometry.
    wanted = (400 / 350) / 2 * ((inner + 9.144) ** 2 - inner**2)
    assert np.allclose(strips.area, wanted, rtol=1e-5)


def test_a_wider_strip_is_cut_in_its_middle():
    scenario = replace(Scenario(overlap_sd_m=0.0), strip_width_m=12.0)
    layout = layout_of(scenario)
    assert np.allclose(layout.pass_across_m, 6.0 + 12.0 * np.arange(12))


def test_a_narrow_last_pass_ends_at_the_edge_of_its_strip():
    layout = layout_of(Scenario(passes_per_strip=2, narrow_last_share=0.6, overlap_sd_m=0.0))
    edges = layout.strip_edges_m
    assert np.allclose(np.diff(edges), 1.6 * 9.144)
    assert np.allclose(layout.pass_across_m[1::2] + 9.144 / 2, edges[1:])


def test_on_a_racetrack_neighbours_run_the_same_way_but_in_the_middle():
    layout = layout_of(Scenario(path="racetrack"))
    assert layout.pass_direction.tolist() == [1] * 6 + [-1] * 6
    assert layout.pass_number.tolist() == [1, 3, 5, 7, 9, 11, 2, 4, 6, 8, 10, 12]


def test_strips_before_a_slanted_end_are_trapezia():
    strips = draw_map(Scenario(), layout_of(Scenario()))
    slanted = draw_map(Scenario(end_slant=0.5), layout_of(Scenario(end_slant=0.5)))
    middle = 9.144 * (np.arange(12) + 0.5)
    assert np.allclose(slanted.area, strips.area - 9.144 * 0.5 * middle)
