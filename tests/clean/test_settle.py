"""Measured overlap drawn to the usual, as far as it is position noise."""

from dataclasses import replace

import numpy as np
import pytest
from tests.clean.test_width import drive
from tests.clean.truth import to_points

from proofstrip.clean import follow_machines
from proofstrip.clean.overlap import Overlap
from proofstrip.clean.settle import expected_overlap, find_antenna_shift, settle_width, usual_level
from proofstrip.clean.track import Track
from proofstrip.clean.width import EDGE_PROBE_M, measure_overlap
from proofstrip.config import load_defaults
from proofstrip.simulate import SCENARIOS, Scenario, simulate_harvest

SETTINGS = load_defaults().clean
PASSES = 12


def settled(overlap_m: np.ndarray) -> np.ndarray:
    """Give the settled overlap of each pass, when each runs along the one before with the overlap given by record."""
    track = drive([((9.0 * k, 0.0), (9.0 * k, 200.0)) for k in range(PASSES)])
    taken, gap = np.maximum(overlap_m, 0) / 9, np.maximum(-overlap_m, 0)
    edges = ((track.pass_id > 1) & (overlap_m > -EDGE_PROBE_M)).astype(np.int64)
    overlap = Overlap(np.where(edges > 0, taken, 0.0), edges, np.where(edges > 0, gap, 0.0), -edges)
    lost = 9 - settle_width(track, overlap, SETTINGS)
    return np.array([lost[track.pass_id == number].mean() for number in range(1, PASSES + 1)])


def by_pass(values: list[float]) -> np.ndarray:
    """Repeat a value a pass over the records of ``drive``."""
    return np.repeat(np.array([0.0, *values]), 111)


def test_steady_differences_between_passes_are_kept_and_wandering_ones_are_not():
    rng = np.random.default_rng(4)
    level = rng.normal(0.4, 0.12, PASSES - 1)
    steady = settled(by_pass(list(level)))[1:]
    assert np.polyfit(level, steady, 1)[0] > 0.8
    # The halves of each pass differ as much as the passes do: noise of the positions.
    wander = np.tile(np.linspace(0.2, -0.2, 111), PASSES)
    drawn = settled(by_pass(list(level)) + wander)[1:]
    assert np.polyfit(level, drawn, 1)[0] < 0.5


def test_a_pass_that_clearly_differs_is_measured_and_those_like_it_share_their_usual():
    level = [0.4] * 8 + [4.5, 0.4, 0.4]
    assert settled(by_pass(level))[9] == pytest.approx(4.5, abs=0.01)
    assert usual_level(np.array([0.3, 0.5, 4.0, 4.2, 4.4]), 0.5)[0] == pytest.approx([0.4, 0.4, 4.2, 4.2, 4.2])


def test_overlaps_and_gaps_that_wander_by_half_a_metre_are_chance():
    # A receiver off by half a metre, whose error wanders along the pass; some gaps are too wide to see the neighbour.
    rng = np.random.default_rng(5)
    waves = [0.7 * np.sin(np.arange(111) / 15 + rng.uniform(0, 2 * np.pi)) + rng.normal(0, 0.3) for _ in range(PASSES)]
    lost = settled(np.concatenate(waves))[1:]
    assert np.concatenate(waves).min() < -EDGE_PROBE_M
    assert np.maximum(np.array(waves), 0).mean() > 0.2
    assert lost.mean() < 0.08
    # Ground cut before is more than such a receiver explains.
    waves[6] = waves[6] + 4.5
    assert settled(np.concatenate(waves))[6] == pytest.approx(waves[6].mean(), abs=0.15)


def test_chance_overlap_counts_by_its_mean():
    # Against draws: the mean of the part of a normal distribution above zero.
    rng = np.random.default_rng(1)
    for likely in (-0.1, 0.0, 0.05, 0.4):
        drawn = np.maximum(rng.normal(likely, 0.08, 200_000), 0).mean()
        assert expected_overlap(np.array([likely]), np.array([0.08]))[0] == pytest.approx(drawn, abs=0.001)


def test_ground_taken_away_from_both_edges_still_counts():
    track = drive([((0.0, 0.0), (0.0, 100.0))])
    none = np.zeros(len(track), dtype=np.int64)
    leftover = Overlap(np.full(len(track), 0.6), none, np.zeros(len(track)), none)
    assert settle_width(track, leftover, SETTINGS) == pytest.approx(np.full(len(track), 0.4 * 9), abs=0.01)


def test_an_antenna_that_stands_aside_takes_no_width():
    # Up and down, the antenna 0.2 m to the right of the header's centre: tracks 8.6 and 9.4 m apart, headers 9 m.
    lines = [((9.0 * k + 0.2, 0.0), (9.0 * k + 0.2, 300.0)) for k in range(12)]
    track = drive(
        [line if k % 2 == 0 else ((line[1][0] - 0.4, 300.0), (line[0][0] - 0.4, 0.0)) for k, line in enumerate(lines)]
    )
    overlap = measure_overlap(track, SETTINGS.cell_m)
    signed = overlap.taken * track.swath - overlap.gap
    shift = find_antenna_shift(track, overlap, signed)
    assert shift == pytest.approx(np.full(len(track), shift[0]))
    assert abs(shift[0]) == pytest.approx(0.4, abs=0.13)  # probes beside the header stand 0.25 m apart
    inner = track.pass_id > 1
    assert settle_width(track, overlap, SETTINGS)[inner].mean() == pytest.approx(9.0, abs=0.06)


def test_half_passes_on_one_side_are_no_antenna_that_stands_aside():
    track = drive([((9.0 * k - 4.5 * (k % 2), 0.0), (9.0 * k - 4.5 * (k % 2), 300.0)) for k in range(12)])
    overlap = measure_overlap(track, SETTINGS.cell_m)
    assert not find_antenna_shift(track, overlap, overlap.taken * track.swath - overlap.gap).any()


GOOD_RECEIVER = replace(SCENARIOS["ordinary"], position_noise_m=0.015, pass_offset_m=0.0, overlap_m=0.3)


@pytest.mark.parametrize(
    ("scenario", "limit_m"),
    [
        (replace(GOOD_RECEIVER, overlap_sd_m=0.12), 0.06),
        (replace(SCENARIOS["ordinary"], pass_order="every_second", overlap_m=0.2), 0.08),
        (SCENARIOS["contour"], 0.05),
        (SCENARIOS["poor_positions"], 0.1),
    ],
    ids=["good_receiver", "every_second", "contour", "poor_positions"],
)
def test_the_width_of_a_pass_is_near_the_truth(scenario: Scenario, limit_m: float):
    errors = []
    for seed in (1, 2):
        harvest = simulate_harvest(scenario, seed)
        track = follow_machines(to_points(harvest), SETTINGS)
        true = harvest.records["true_width_m"].to_numpy()[track.row]
        for number in np.unique(track.pass_id[track.pass_id > 0]):
            inner = np.flatnonzero((track.pass_id == number) & (true > 0))[15:-15]
            if len(inner) > 50:
                errors.append(np.average((track.cut_width - true)[inner], weights=track.distance[inner]))
    assert len(errors) >= 20
    assert np.sqrt(np.mean(np.square(errors))) <= limit_m
    assert abs(np.mean(errors)) <= 0.05


def test_no_records_have_no_width():
    track = drive([((0.0, 0.0), (0.0, 100.0))])
    empty = Track(**{name: None if values is None else values[:0] for name, values in track.__dict__.items()})
    assert len(settle_width(empty, measure_overlap(empty, 0.5), SETTINGS)) == 0
