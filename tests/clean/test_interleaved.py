"""Two machines under one name are refused by the minute; jumps, frozen positions and fast logs are not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.clean.truth import to_points

from proofstrip.clean import follow_machines
from proofstrip.clean.interleaved import find_alternation, refuse_interleaved
from proofstrip.config import load_defaults
from proofstrip.errors import DataError
from proofstrip.simulate import SCENARIOS, simulate_harvest

SETTINGS = load_defaults().clean
START = pd.Timestamp("2024-10-07 13:00:00").timestamp()


def merge(make_track, apart_m=100.0, seconds=(300, 420), every_s=1.0, late_s=0.3):
    """Merge a machine that logs 600 s with one beside it that logs between two seconds; both drive north at 2 m/s."""
    own, its = np.arange(600.0), np.arange(seconds[0], seconds[1], every_s) + late_s
    time = np.r_[own, its]
    order = np.argsort(time, kind="stable")
    east = np.r_[np.zeros(600), np.full(len(its), apart_m)]
    track = make_track(
        east[order],
        2.0 * time[order],
        time=START + time[order],
        distance=np.r_[np.full(600, 2.0), np.full(len(its), 2.0 * every_s)][order],
    )
    return replace(track, names=("combine 1",))


def refuse(track):
    refuse_interleaved(track, pd.Series("a.csv", index=range(len(track))))


class TestRefused:
    @pytest.mark.parametrize(("apart_m", "every_s"), [(9.0, 1.0), (100.0, 1.0), (800.0, 1.0), (30.0, 5.0)])
    @pytest.mark.parametrize("late_s", [0.0, 0.3])
    def test_minutes_of_overlap_are_refused_with_their_time(self, make_track, apart_m, every_s, late_s):
        with pytest.raises(DataError, match=r"from 2024-10-07 13:05:0\d to 2024-10-07 13:0[67]:\d\d the records of"):
            refuse(merge(make_track, apart_m, every_s=every_s, late_s=late_s))

    def test_the_message_says_who_where_and_what_to_do(self, make_track):
        with pytest.raises(DataError) as caught:
            refuse(merge(make_track))
        assert str(caught.value) == (
            "clean: from 2024-10-07 13:05:00 to 2024-10-07 13:06:59 the records of machine 'combine 1' (a.csv) "
            "alternate between two places 100 m apart, and each goes on from the last but one. Most likely two "
            "machines stand in one log, or a clock was set back. Name the column that tells the machines apart in "
            '[harvest.columns], machine = { column = "..." }, or give each machine its own name or its own file '
            "without one; of a clock set back, mend the times."
        )

    def test_times_that_only_count_are_told_in_seconds(self, make_track):
        track = merge(make_track)
        with pytest.raises(DataError, match="from second 300 to second 419"):
            refuse(replace(track, time=track.time - START))


class TestNotRefused:
    def test_half_a_minute_is_left_to_the_filters(self, make_track):
        refuse(merge(make_track, seconds=(300, 330)))

    def test_a_file_that_follows_the_other_does_not_alternate(self, make_track):
        track = merge(make_track, seconds=(600, 900), late_s=0.5)
        assert find_alternation(track)[0].sum() == 1
        refuse(track)

    @pytest.mark.parametrize("spell", [1, 2, 4])
    def test_positions_that_jump_and_return(self, make_track, spell):
        # A tenth of all spells of so many records, each to another place: far more than receivers do.
        rng = np.random.default_rng(4)
        away = (rng.random(600 // spell) < 0.1).repeat(spell)
        east = np.where(away, 60.0 * rng.standard_normal(600 // spell).repeat(spell), 0.0)
        track = make_track(east, 2.0 * np.arange(600), distance=np.full(600, 2.0))
        bad, going_on = find_alternation(track)
        assert bad.sum() > 15
        assert going_on[bad].mean() < 0.7
        refuse(replace(track, names=("combine 1",)))

    @pytest.mark.parametrize("stands", [5, 10, 20])
    def test_positions_that_are_written_every_few_records(self, make_track, stands):
        north = 2.0 * (np.arange(600) // stands * stands)
        refuse(replace(make_track(0.0, north, distance=np.full(600, 2.0)), names=("combine 1",)))

    def test_a_fast_log_with_noise(self, make_track):
        rng = np.random.default_rng(4)
        north, east = 0.4 * np.arange(3000) + 0.3 * rng.standard_normal(3000), 0.3 * rng.standard_normal(3000)
        track = make_track(east, north, time=0.2 * np.arange(3000), duration=np.full(3000, 0.2))
        refuse(replace(track, names=("combine 1",)))


def one_name(points, minutes):
    """Call both combines one, the second beginning so many minutes before the first ends."""
    second = (points["machine"] == "combine 2").to_numpy()
    time = points["time"].to_numpy().copy()
    time[second] += time[~second].max() - 60 * minutes + 0.3 - time[second].min()
    return points.assign(time=time, machine="combine 1").iloc[np.argsort(time, kind="stable")]


class TestHarvests:
    @pytest.mark.parametrize("minutes", [2, 5])
    def test_minutes_under_one_name_are_refused(self, minutes):
        # Five minutes of overlap made one strip 57 % high, two empty, and turned an effect of +5.1 % into -4.3 %.
        points = to_points(simulate_harvest(SCENARIOS["two_combines"], 3))
        with pytest.raises(DataError, match=r"clean: from .* to .* alternate between two places"):
            follow_machines(one_name(points, minutes), SETTINGS)

    @pytest.mark.parametrize("name", sorted(SCENARIOS))
    def test_no_scenario_is_refused(self, name):
        scenario = replace(SCENARIOS[name], jump_share=max(0.02, SCENARIOS[name].jump_share))
        follow_machines(to_points(simulate_harvest(scenario, 4)), SETTINGS)
