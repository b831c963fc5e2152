"""Filling and emptying, learnt from the passes of each machine."""

import numpy as np
import pytest

from proofstrip.clean.ramps import find_ramp, flag_ramp

SINCE = np.tile(np.arange(40.0), 5)
LATE = np.full(200, 99.0)


def filling(seconds):
    """Five passes that reach their level after so many seconds."""
    return np.minimum(1.0, (SINCE + 1) / (seconds + 1))


@pytest.mark.parametrize("seconds", [4, 8, 15])
def test_the_trim_ends_where_the_machine_is_full(defaults, seconds):
    # 95 % of the level, the setting, is reached just before the machine is quite full.
    found = find_ramp(SINCE, filling(seconds), defaults.clean)
    assert found == pytest.approx(np.ceil(0.95 * (seconds + 1) - 1), abs=1e-9)


def test_a_machine_that_is_full_at_once_gets_the_least_trim(defaults):
    assert find_ramp(SINCE, np.ones(200), defaults.clean) == defaults.clean.ramp_min_s


def test_a_machine_that_never_fills_gets_the_most(defaults):
    assert find_ramp(SINCE, np.full(200, 0.5), defaults.clean) == defaults.clean.ramp_max_s


def test_touching_the_level_for_a_moment_is_not_enough(defaults):
    flow = filling(10)
    flow[SINCE == 3] = 1.2
    assert find_ramp(SINCE, flow, defaults.clean) == 10.0


def test_one_odd_pass_does_not_move_the_median(defaults):
    flow = filling(6)
    flow[:40] = 0.2
    assert find_ramp(SINCE, flow, defaults.clean) == find_ramp(SINCE, filling(6), defaults.clean)


def test_what_is_unknown_is_not_asked(defaults):
    flow = np.where(np.arange(200) < 40, np.nan, filling(6))
    assert find_ramp(SINCE, flow, defaults.clean) == find_ramp(SINCE, filling(6), defaults.clean)


@pytest.mark.parametrize("flow", [np.full(200, np.nan), np.zeros(0)])
def test_nothing_known_gets_the_most(defaults, flow):
    assert find_ramp(SINCE[: len(flow)], flow, defaults.clean) == defaults.clean.ramp_max_s


def test_a_slow_log_has_seconds_without_a_record(defaults):
    since = np.tile(np.arange(0.0, 40, 3), 5)
    found = find_ramp(since, np.minimum(1.0, (since + 1) / 10), defaults.clean)
    assert found == pytest.approx(9.0)


def flag(settings, since=SINCE, relative=None, machine=None, in_pass=None, sure=None):
    rows = len(since)
    return flag_ramp(
        since,
        filling(6) if relative is None else relative,
        np.zeros(rows, dtype=int) if machine is None else machine,
        np.ones(rows, dtype=bool) if in_pass is None else in_pass,
        np.ones(rows, dtype=bool) if sure is None else sure,
        settings,
    )


def test_all_passes_of_a_machine_get_the_same_trim(defaults):
    flagged = flag(defaults.clean)
    assert flagged.tolist() == (SINCE < 6).tolist()


def test_an_assumed_delay_makes_the_trim_longer(defaults):
    flagged = flag(defaults.clean, sure=np.zeros(200, dtype=bool))
    assert flagged.tolist() == (6 + defaults.clean.ramp_unsure_s > SINCE).tolist()


def test_the_trim_is_never_longer_than_the_most(defaults):
    flagged = flag(defaults.clean, relative=np.full(200, 0.5), sure=np.zeros(200, dtype=bool))
    assert flagged.tolist() == (defaults.clean.ramp_max_s > SINCE).tolist()


def test_each_machine_has_its_own(defaults):
    machine = np.repeat([0, 1], 200)
    since = np.tile(SINCE, 2)
    flagged = flag(defaults.clean, since, np.r_[filling(4), filling(12)], machine)
    assert since[flagged & (machine == 0)].max() == 3.0
    assert since[flagged & (machine == 1)].max() == 11.0


def test_outside_passes_nothing_is_flagged(defaults):
    assert not flag(defaults.clean, in_pass=np.zeros(200, dtype=bool)).any()


def test_no_records(defaults):
    assert len(flag(defaults.clean, np.zeros(0), np.zeros(0))) == 0
