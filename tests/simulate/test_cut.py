"""What the header meets: shapely's polygons are the outside reference for every area and width."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, union_all

from proofstrip.simulate import Combine, Scenario, simulate_harvest
from proofstrip.simulate.cut import trace_passes
from proofstrip.simulate.drive import drive_passes
from proofstrip.simulate.layout import lay_out

OVERLAPPED = Scenario(blocks=3, strip_length_m=100, overlap_m=0.5, overlap_sd_m=0.2, wander_m=0.0)
NARROW = replace(OVERLAPPED, passes_per_strip=2, narrow_last_share=0.6)
CURVED = replace(OVERLAPPED, curve_radius_m=200.0)
EVERY_SECOND = replace(OVERLAPPED, pass_order="every_second")
TWO = replace(NARROW, combines=(Combine("one"), Combine("two")), combine_takes="strips")


def swaths(scenario: Scenario, seed: int) -> dict[int, object]:
    """Give the ground under the header on each pass, by number, from lines alone."""
    plan, _, _, *rest = np.random.default_rng(seed).spawn(3 + 3 * len(scenario.combines))
    layout = lay_out(scenario, plan)
    drives = [drive_passes(scenario, layout, one, rest[3 * one]) for one in range(len(scenario.combines))]
    tracks = trace_passes(scenario, layout, drives)
    shapes = {}
    for index, number in enumerate(layout.pass_number):
        # More points than the pass's own grid, so that an arc stays an arc.
        along = np.linspace(0, scenario.strip_length_m, 2001)
        across = np.interp(along, tracks.along_m, tracks.across_m[index])
        line = LineString(np.column_stack(layout.frame.place(across, along)))
        shapes[int(number)] = line.buffer(scenario.header_width_m / 2, cap_style="flat")
    return shapes


@pytest.mark.parametrize("scenario", [OVERLAPPED, NARROW, CURVED, EVERY_SECOND], ids=lambda item: str(item.path))
def test_each_pass_cuts_what_the_earlier_passes_left(scenario):
    cut = simulate_harvest(scenario, 5).ground.groupby("pass_number")["area_m2"].sum()
    gone = None
    for number, swath in sorted(swaths(scenario, 5).items()):
        left = swath if gone is None else swath.difference(gone)
        assert np.isclose(cut[number], left.area, rtol=2e-3), number
        gone = swath if gone is None else gone.union(swath)


@pytest.mark.parametrize("scenario", [OVERLAPPED, NARROW, CURVED, EVERY_SECOND, TWO])
def test_no_ground_is_cut_twice_or_left_under_a_header(scenario):
    ground = simulate_harvest(scenario, 6).ground
    assert np.isclose(ground["area_m2"].sum(), union_all(list(swaths(scenario, 6).values())).area, rtol=1e-3)


@pytest.mark.parametrize("scenario", [OVERLAPPED, NARROW, CURVED])
def test_the_ground_of_a_strip_is_the_part_of_it_that_was_cut(scenario):
    harvest = simulate_harvest(scenario, 7)
    cut = harvest.ground.groupby("strip", observed=True)["area_m2"].sum()
    under = union_all(list(swaths(scenario, 7).values()))
    for strip, shape in zip(harvest.trial_map["strip"], harvest.trial_map.geometry, strict=True):
        assert np.isclose(cut[strip], shape.intersection(under).area, rtol=2e-3), strip


def test_the_logged_truth_of_width_is_the_standing_width():
    records = simulate_harvest(replace(OVERLAPPED, overlap_sd_m=0.0), 8).records
    inside = records[(records["true_strip"] != "") & (records["true_width_m"] > 8)]
    by_pass = inside.groupby("true_pass")["true_width_m"].median()
    assert np.isclose(by_pass.iloc[0], 9.144, atol=1e-6)
    assert np.allclose(by_pass.iloc[1:], 9.144 - 0.5, atol=1e-6)
