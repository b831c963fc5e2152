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

    def test_a_flow_that_is_cut_out_and_back_at_once_is_no_bare_ground(self, defaults):
        flow = np.array([5.0, 5.1, 4.9, 0, 0, 0, 0, 0, 0, 5.2, 5.0])
        one = np.zeros(11, dtype=int)
        assert where(stuck_sensor(flow, np.ones(11), one, defaults.clean)) == [3, 4, 5, 6, 7, 8]
        # Over bare ground the machine runs dry and fills again; in records of 5 s that takes one record.
        dry = np.array([5.0, 5.1, 3.0, 1.2, 0.3, 0, 0, 0.4, 2.0, 4.5, 5.0])
        assert not stuck_sensor(dry, np.ones(11), one, defaults.clean).any()
        assert not stuck_sensor(flow, np.full(11, 5.0), one, defaults.clean).any()
        # From one stretch of logging to the next it may be nothing.
        parts = np.array([0] * 6 + [1] * 5)
        assert not stuck_sensor(flow, np.ones(11), parts, defaults.clean).any()

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

    def find(self, settings, level, pass_id=None, record_s=1.0, flow=None):
        """Look for spikes; without a flow, at a steady speed."""
        flow = 4.0 * np.exp(level) if flow is None else flow
        return where(spike(level, flow, self.PASS if pass_id is None else pass_id, record_s, settings))

    @pytest.mark.parametrize("height", [1.0, -1.0])
    @pytest.mark.parametrize("length", [1, 3])
    def test_a_short_jump_up_or_down(self, defaults, height, length):
        rows = range(30, 30 + length)
        assert self.find(defaults.clean, self.planted(rows, height)) == list(rows)

    @pytest.mark.parametrize("length", [4, 8])
    def test_a_longer_one_is_the_crop(self, defaults, length):
        assert self.find(defaults.clean, self.planted(range(30, 30 + length), -1.0)) == []

    def test_a_jump_over_ground_is_none_where_the_flow_is_steady(self, defaults):
        level = self.planted([30, 31], 1.0)
        assert self.find(defaults.clean, level, flow=4.0 * np.exp(self.LEVEL)) == []

    def test_a_jump_of_the_flow_is_none_where_the_ground_jumps_with_it(self, defaults):
        assert self.find(defaults.clean, self.LEVEL, flow=4.0 * np.exp(self.planted([30, 31], 1.0))) == []

    def test_grain_that_is_mixed_over_seconds_makes_none_where_the_speed_drops(self, defaults):
        ground = np.r_[np.full(20, 12.0), np.full(10, 4.0), np.full(30, 12.0)]
        mixed = np.convolve(np.r_[np.full(9, 12.0), ground, np.full(9, 12.0)], np.ones(9) / 9, mode="same")[9:-9]
        flow = 0.3 * mixed * np.exp(0.2 * self.LEVEL)
        level = np.log(flow / ground)
        assert np.ptp(level) > 0.8
        assert self.find(defaults.clean, level, flow=flow) == []

    def test_a_flow_near_zero_makes_none_by_its_noise(self, defaults):
        flow = np.r_[np.full(40, 4.0), np.full(20, 0.05)] + 0.05 * np.sin(np.arange(60) * 1.7)
        assert self.find(defaults.clean, np.log(np.maximum(flow, 0.001)), flow=flow) == []

    def test_seconds_count_and_not_records(self, defaults):
        level = np.tile(self.LEVEL, 3)
        level[90:100] += 1.0
        one = np.ones(180, dtype=int)
        assert set(range(90, 100)) <= set(self.find(defaults.clean, level, one, 0.2))
        assert self.find(defaults.clean, level, one) == []

    def test_in_a_slow_log_one_record_can_be_one(self, defaults):
        assert self.find(defaults.clean, self.planted([30], 1.0), record_s=5.0) == [30]
        assert self.find(defaults.clean, self.planted([30, 31], 1.0), record_s=5.0) == []

    def test_scatter_is_the_pass_s_own(self, defaults):
        calm, wild = self.LEVEL, 12 * self.LEVEL
        level = np.r_[self.planted([30], 0.6, calm), self.planted([30], 0.6, wild)]
        assert self.find(defaults.clean, level, np.repeat([1, 2], 60)) == [30]

    def test_a_smooth_slope_has_none(self, defaults):
        assert self.find(defaults.clean, np.linspace(-1, 1, 60)) == []

    def test_less_than_a_fifth_is_never_one(self, defaults):
        assert self.find(defaults.clean, self.planted([30], 0.15, np.zeros(60))) == []

    def test_unknown_levels_are_stepped_over(self, defaults):
        level = self.planted([30], 1.0)
        flow = 4.0 * np.exp(level)
        level[[10, 29, 31]] = flow[10] = np.nan
        assert self.find(defaults.clean, level, flow=flow) == [30]

    def test_passes_under_nine_records_and_no_pass_have_none(self, defaults):
        assert self.find(defaults.clean, self.planted([3], 2.0)[:8], np.ones(8, dtype=int)) == []
        assert self.find(defaults.clean, self.planted([30], 1.0), np.zeros(60, dtype=int)) == []

    @pytest.mark.parametrize("level", [np.zeros(0), np.full(20, np.nan)])
    def test_nothing_to_judge(self, defaults, level):
        assert self.find(defaults.clean, level, np.ones(len(level), dtype=int)) == []


def test_short_runs_at_both_ends():
    mask = np.array([True, True, False, True, False, True, True, True])
    assert short_runs(mask, 2).tolist() == [True, True, False, True, False, False, False, False]


def test_median_by_pass_is_nan_outside_passes():
    found = median_by_pass(np.array([1.0, 3, 9, 5]), np.array([1, 1, 0, 2]))
    assert found == pytest.approx([2, 2, np.nan, 5], nan_ok=True)
