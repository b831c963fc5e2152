"""Faults of speed and flow, each judged within the record's own pass."""

import numpy as np
import pytest

from proofstrip.clean.sensor import (
    flow_range,
    median_by_pass,
    short_runs,
    speed_change,
    speed_range,
    spike,
    stuck_sensor,
)


def where(mask):
    return np.flatnonzero(mask).tolist()


ONE = np.ones(9, dtype=int)


class TestSpeedRange:
    def test_much_slower_and_much_faster(self, defaults):
        speed = np.array([2.0, 2, 2, 0.9, 2, 3.3, 2, 2, 2])
        assert where(speed_range(speed, ONE, defaults.clean)) == [3, 5]

    def test_the_limits_themselves_are_allowed(self, defaults):
        speed = np.array([2.0, 2, 2, 1.0, 2, 3.2, 2, 2, 2])
        assert not speed_range(speed, ONE, defaults.clean).any()

    def test_a_slow_pass_is_judged_by_itself(self, defaults):
        speed, pass_id = np.array([2.0] * 5 + [0.8] * 4), np.array([1] * 5 + [2] * 4)
        assert not speed_range(speed, pass_id, defaults.clean).any()

    def test_outside_passes_nothing_is_flagged(self, defaults):
        assert not speed_range(np.array([2.0, 2, 0.1]), np.array([1, 1, 0]), defaults.clean).any()

    def test_nothing(self, defaults):
        assert len(speed_range(np.zeros(0), np.zeros(0, dtype=int), defaults.clean)) == 0


class TestSpeedChange:
    def test_over_two_records(self, defaults):
        speed = np.array([2.0, 2, 2, 1.7, 1.4, 1.4, 1.4, 1.4, 1.4])
        assert where(speed_change(speed, ONE, defaults.clean)) == [4]

    def test_a_slow_change_is_none(self, defaults):
        assert not speed_change(2.0 * 0.9 ** np.arange(9), ONE, defaults.clean).any()

    def test_a_stop_and_the_start_after_it(self, defaults):
        speed = np.array([2.0, 2, 2, 0, 0, 0, 2, 2, 2])
        assert where(speed_change(speed, ONE, defaults.clean)) == [3, 4, 6, 7]

    def test_not_from_one_pass_to_the_next(self, defaults):
        speed, pass_id = np.array([2.0] * 5 + [1.0] * 4), np.array([1] * 5 + [2] * 4)
        assert not speed_change(speed, pass_id, defaults.clean).any()

    @pytest.mark.parametrize("rows", [0, 1, 2])
    def test_too_few_to_tell(self, defaults, rows):
        assert speed_change(np.ones(rows), np.ones(rows, dtype=int), defaults.clean).tolist() == [False] * rows


class TestFlowRange:
    def test_below_zero(self, defaults):
        flow = np.array([4.0, -0.1, 4.0])
        assert where(flow_range(flow, flow / 12, np.ones(3, dtype=bool), defaults.clean)) == [1]

    def test_zero_is_bare_ground(self, defaults):
        flow = np.array([4.0, 0.0, 4.0])
        assert not flow_range(flow, flow / 12, np.ones(3, dtype=bool), defaults.clean).any()

    def test_above_what_the_field_can_bear(self, defaults):
        density = np.full(200, 0.4)
        density[50] = 1.3
        assert where(flow_range(np.full(200, 4.0), density, np.ones(200, dtype=bool), defaults.clean)) == [50]

    def test_what_is_not_judged_sets_no_ceiling_and_is_not_flagged(self, defaults):
        density = np.full(10, 0.4)
        density[3] = 50.0
        sound = np.arange(10) != 3
        assert not flow_range(np.full(10, 4.0), density, sound, defaults.clean).any()

    def test_what_is_unknown_is_not_flagged(self, defaults):
        unknown = np.full(3, np.nan)
        assert not flow_range(unknown, unknown, np.zeros(3, dtype=bool), defaults.clean).any()


class TestStuck:
    @pytest.mark.parametrize(("rows", "stuck"), [(14, False), (15, True), (40, True)])
    def test_as_long_as_the_setting(self, defaults, rows, stuck):
        flow = np.r_[4.0, 4.1, np.full(rows, 5.0), 4.2]
        found = stuck_sensor(flow, np.ones(rows + 3), np.zeros(rows + 3, dtype=int), defaults.clean)
        assert found.tolist() == [False] * 2 + [stuck] * rows + [False]

    def test_few_long_records_are_no_run(self, defaults):
        flow = np.array([4.0, 5, 5, 5, 5, 4])
        assert not stuck_sensor(flow, np.full(6, 10.0), np.zeros(6, dtype=int), defaults.clean).any()

    def test_zero_is_not_stuck(self, defaults):
        assert not stuck_sensor(np.zeros(40), np.ones(40), np.zeros(40, dtype=int), defaults.clean).any()

    def test_a_run_ends_with_its_log(self, defaults):
        log = np.repeat([0, 1], 10)
        assert not stuck_sensor(np.full(20, 5.0), np.ones(20), log, defaults.clean).any()

    def test_empty_values_are_not_equal(self, defaults):
        assert not stuck_sensor(np.full(40, np.nan), np.ones(40), np.zeros(40, dtype=int), defaults.clean).any()

    @pytest.mark.parametrize("rows", [0, 1])
    def test_too_few_to_tell(self, defaults, rows):
        assert stuck_sensor(np.ones(rows), np.ones(rows), np.zeros(rows, dtype=int), defaults.clean).tolist() == (
            [False] * rows
        )


class TestSpike:
    LEVEL = 0.05 * np.sin(np.arange(60) * 1.7)
    PASS = np.ones(60, dtype=int)

    def planted(self, rows, height, level=None):
        level = (self.LEVEL if level is None else level).copy()
        level[list(rows)] += height
        return level

    @pytest.mark.parametrize("height", [1.0, -1.0])
    @pytest.mark.parametrize("length", [1, 3])
    def test_a_short_jump_up_or_down(self, defaults, height, length):
        rows = range(30, 30 + length)
        assert where(spike(self.planted(rows, height), self.PASS, 1.0, defaults.clean)) == list(rows)

    @pytest.mark.parametrize("length", [4, 8])
    def test_a_longer_one_is_the_crop(self, defaults, length):
        level = self.planted(range(30, 30 + length), -1.0)
        assert not spike(level, self.PASS, 1.0, defaults.clean).any()

    def test_seconds_count_and_not_records(self, defaults):
        level = np.tile(self.LEVEL, 3)
        level[90:100] += 1.0
        assert spike(level, np.ones(180, dtype=int), 0.2, defaults.clean)[90:100].all()
        assert not spike(level, np.ones(180, dtype=int), 1.0, defaults.clean).any()

    def test_scatter_is_the_pass_s_own(self, defaults):
        calm, wild = self.LEVEL, 12 * self.LEVEL
        level = np.r_[self.planted([30], 0.6, calm), self.planted([30], 0.6, wild)]
        assert where(spike(level, np.repeat([1, 2], 60), 1.0, defaults.clean)) == [30]

    def test_a_smooth_slope_has_none(self, defaults):
        assert not spike(np.linspace(-1, 1, 60), self.PASS, 1.0, defaults.clean).any()

    def test_less_than_five_per_cent_is_never_one(self, defaults):
        assert not spike(self.planted([30], 0.04, np.zeros(60)), self.PASS, 1.0, defaults.clean).any()

    def test_passes_are_told_apart_where_they_alternate_in_the_rows(self, defaults):
        level = np.empty(120)
        level[::2], level[1::2] = self.planted([30], 1.0), self.LEVEL + 3.0
        assert where(spike(level, np.tile([1, 2], 60), 1.0, defaults.clean)) == [60]

    def test_unknown_levels_are_stepped_over(self, defaults):
        level = self.planted([30], 1.0)
        level[[10, 29, 31]] = np.nan
        assert where(spike(level, self.PASS, 1.0, defaults.clean)) == [30]

    def test_passes_under_nine_records_and_no_pass_have_none(self, defaults):
        level = self.planted([3], 2.0)[:8]
        assert not spike(level, np.ones(8, dtype=int), 1.0, defaults.clean).any()
        assert not spike(self.planted([30], 1.0), np.zeros(60, dtype=int), 1.0, defaults.clean).any()

    @pytest.mark.parametrize("level", [np.zeros(0), np.full(20, np.nan)])
    def test_nothing_to_judge(self, defaults, level):
        assert not spike(level, np.ones(len(level), dtype=int), 1.0, defaults.clean).any()


def test_short_runs_at_both_ends():
    mask = np.array([True, True, False, True, False, True, True, True])
    assert short_runs(mask, 2).tolist() == [True, True, False, True, False, False, False, False]


def test_median_by_pass_is_nan_outside_passes():
    found = median_by_pass(np.array([1.0, 3, 9, 5]), np.array([1, 1, 0, 2]))
    assert found == pytest.approx([2, 2, np.nan, 5], nan_ok=True)
