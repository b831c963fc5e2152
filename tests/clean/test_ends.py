"""Where a pass met the crop, by the ground cut before."""

from dataclasses import replace

import numpy as np
import pytest
from tests.clean.truth import settings_of, to_points

from proofstrip.clean import clean_points, estimate_delays, follow_machines
from proofstrip.clean.ends import find_crop_ends
from proofstrip.clean.halves import find_half_times
from proofstrip.simulate import SCENARIOS, simulate_harvest

HEADER_M = 6.0


@pytest.fixture
def run_in(make_track):
    """Build one pass of 60 records of 1 s and 2 m with the shares of the header in the crop at its start and end."""

    def build(start=(), end=()):
        share = np.ones(60)
        share[: len(start)] = start
        share[len(share) - len(end) :] = end
        track = make_track(np.zeros(60), 2.0 * np.arange(1, 61), distance=np.full(60, 2.0), swath=np.full(60, HEADER_M))
        return replace(track, cut_width=HEADER_M * share)

    return build


@pytest.mark.parametrize(
    ("start", "entry_s"),
    [
        ((), None),
        ((0.0, 0.0, 0.0), 3.0),
        ((0.1, 0.1, 0.75), 1.5 + 0.4 / 0.65),
        ((1.0, 1.0, 0.0, 0.0), 4.0),  # outside the field, then over the cut headland
        ((0.4, 0.4, 0.4), None),  # narrow, and in the crop
        ((1.0,) * 20 + (0.0,) * 3, None),  # cut ground far inside: the machine is not empty
    ],
)
def test_the_crop_begins_where_the_cut_ground_ends(run_in, start, entry_s):
    track = run_in(start=start)
    ends = find_crop_ends(track)
    begin = track.time[0] - 1.0
    assert ends.entry_by_ground.all() == (entry_s is not None)
    assert ends.entry == pytest.approx(np.full(60, begin + (entry_s or 0.0)))
    assert not ends.exit_by_ground.any()


def test_the_crop_ends_likewise(run_in):
    track = run_in(end=(0.0, 0.0))
    ends = find_crop_ends(track)
    assert ends.exit_by_ground.all()
    assert ends.exit == pytest.approx(np.full(60, track.time[-1] - 2.0))
    assert not ends.entry_by_ground.any()


def test_a_pass_that_is_cut_again_as_a_whole_keeps_its_own_ends(run_in):
    track = run_in(start=(0.0,) * 60)
    ends = find_crop_ends(track)
    assert not (ends.entry_by_ground | ends.exit_by_ground).any()
    assert ends.entry[0] == track.time[0] - 1.0


@pytest.fixture(scope="module")
def headland(tmp_path_factory):
    """Harvest an invented field whose header goes down 12 m before the crop, over the headland cut first."""
    harvest = simulate_harvest(SCENARIOS["headland_first"], 1)
    settings, points = settings_of(harvest, tmp_path_factory.mktemp("headland")), to_points(harvest)
    return harvest, settings, points, follow_machines(points, settings.clean)


def test_entries_over_a_cut_headland_tell_the_delay_without_the_header(headland):
    """The header goes down 6.7 s before the crop: by the header the flow seems to take 17.6 s, by the ground 10.9."""
    harvest, settings, points, track = headland
    halves = find_half_times(track, points["mass_flow_kg_s"].to_numpy()[track.row])
    assert halves.entry_by_ground.sum() == len(harvest.trial_map)
    assert halves.entry_of(0) == pytest.approx(11.0, abs=0.7)
    (delay,) = estimate_delays(points, track, settings.clean, None)
    assert (delay.source, delay.seconds) == ("estimated", pytest.approx(11.0, abs=0.7))


def test_a_headland_one_header_wide_is_no_area_of_the_strips(headland):
    harvest, settings, points, track = headland
    on = (track.pass_id > 2) & ((track.northing < 4_520_000) | (track.northing > 4_520_400))
    true = harvest.records["true_width_m"].to_numpy()[track.row]
    assert (track.cut_width * track.distance)[on].sum() < 0.5 * (track.swath * track.distance)[on].sum()
    assert true[on].max() < HEADER_M  # what the header meets there, the simulator says, is at most the rim of the crop
    cleaned = clean_points(points, track, estimate_delays(points, track, settings.clean, None), settings.clean)
    assert cleaned["usable"].sum() > 0.7 * (harvest.records["true_strip"] != "").sum()
