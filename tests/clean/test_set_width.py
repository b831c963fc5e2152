"""A display that narrows its header width: where sections are off, where the setting is wrong, where nothing tells."""

from dataclasses import replace

import numpy as np
import pytest
from tests.clean.test_width import drive
from tests.clean.truth import errors_of, gather_material, settings_of, to_points

from proofstrip.clean import follow_machines
from proofstrip.clean.set_width import find_full_header, join_widths, judge_set_width, measure_spacing, say_unsupported
from proofstrip.clean.width import measure_overlap
from proofstrip.config import load_defaults
from proofstrip.simulate import SCENARIOS, simulate_harvest

SETTINGS = load_defaults().clean
HEADER_M = 9.144
ONE_DAY = np.zeros(100, dtype=int)


def codes(notices):
    return [notice.code for notice in notices]


def lay(east, shown, length=300.0):
    """Drive passes at these eastings under a 9 m header, with the display's width of each."""
    track = drive([((x, 0.0), (x, length)) for x in east])
    return replace(track, set_width=np.asarray(shown)[track.pass_id - 1], names=("combine 1",))


class TestFullHeader:
    def test_sections_off_for_most_of_a_day_leave_it_full(self):
        swath = np.r_[np.full(85, 4.5), np.full(15, 9.0)]
        assert find_full_header(swath, np.zeros(100, dtype=int), ONE_DAY).tolist() == [9.0] * 100

    def test_a_stray_wide_value_is_not_the_header(self):
        swath = np.r_[np.full(99, 6.0), 9.0]
        full = find_full_header(swath, np.zeros(100, dtype=int), ONE_DAY)
        assert full.tolist() == [6.0] * 99 + [9.0]

    def test_each_machine_and_each_day_has_its_own(self):
        swath, machine = np.repeat([9.0, 6.0, 12.0], 10), np.repeat([0, 0, 1], 10)
        assert find_full_header(swath, machine, np.repeat([0, 1, 0], 10)).tolist() == swath.tolist()

    def test_records_without_a_width_take_their_own_machine_s(self):
        swath, machine = np.r_[np.full(9, 9.0), 0.0, np.full(30, 6.0)], np.repeat([0, 1], [10, 30])
        assert find_full_header(swath, machine, ONE_DAY[:40])[9] == 9.0

    def test_no_width_anywhere(self):
        assert find_full_header(np.zeros(3), np.zeros(3, dtype=int), ONE_DAY[:3]).tolist() == [0.0] * 3


class TestJoin:
    @pytest.mark.parametrize(
        ("ground", "shown", "joined"),
        [
            (6.0, 9.0, 6.0),  # the display was never told of the overlap
            (6.2, 6.0, 6.2),  # both say so; the ground to less than a section
            (6.2, 7.5, 6.2),
            (9.0, 4.5, 4.5),  # nothing cut before: only the display tells
            (8.9, 4.5, 4.5),
        ],
    )
    def test_the_narrower_counts_and_never_both(self, ground, shown, joined):
        # A display with sections of 1.5 m.
        track = lay([0.0, 20.0, 40.0, 60.0, 80.0, 100.0], [9.0, 7.5, 6.0, 4.5, 3.0, shown])
        width = join_widths(track, np.full(len(track), ground))
        assert width[track.pass_id == 6].tolist() == [joined] * int((track.pass_id == 6).sum())

    def test_a_section_that_is_off_for_a_touch_of_overlap_was_cutting_nearly_all(self):
        track = lay([0.0, 20.0, 40.0, 60.0, 69.0], [9.0, 7.5, 6.0, 4.5, 7.5])
        last = track.pass_id == 5
        touching = replace(track, overlap=measure_overlap(track, 0.5))
        assert join_widths(touching, track.swath)[last].min() == pytest.approx(9.0)
        assert join_widths(track, track.swath)[last].max() == pytest.approx(7.5)

    def test_a_track_without_a_display_takes_the_ground(self):
        track = replace(lay([0.0], [9.0]), set_width=np.zeros(0))
        assert join_widths(track, track.swath / 2).tolist() == (track.swath / 2).tolist()


class TestSpacing:
    def test_it_is_the_way_to_the_nearest_pass_on_each_side(self):
        track = lay([0.0, 6.0, 15.0], [9.0] * 3)
        probe, left, right = measure_spacing(track)
        own = track.pass_id[probe]
        assert left[own == 2] == pytest.approx(6.0)
        assert right[own == 2] == pytest.approx(9.0)
        assert np.isinf(left[own == 1]).all()
        assert np.isinf(right[own == 3]).all()

    def test_a_pass_that_is_crossed_is_no_neighbour(self):
        track = drive([((0.0, 0.0), (0.0, 200.0)), ((-50.0, 100.0), (50.0, 100.0))])
        _, left, right = measure_spacing(track)
        assert np.isinf(left).all()
        assert np.isinf(right).all()


class TestJudgement:
    def test_a_halved_width_is_ruled_out_by_passes_a_full_header_apart(self):
        track = judge_set_width(lay(9.0 * np.arange(8), [9.0] * 4 + [4.5] * 4))
        assert set(track.set_width) == {9.0}
        assert codes(track.notices) == ["header_width_wrong"]
        assert "4.5 m in" in track.notices[0].message
        assert "9.0 m apart" in track.notices[0].message

    def test_sections_off_beside_a_near_pass_are_not(self):
        east, shown = [0.0, 9.0, 18.0, 22.5, 31.5, 36.0], [9.0, 9.0, 9.0, 4.5, 9.0, 4.5]
        track = judge_set_width(lay(east, shown))
        assert track.notices == ()
        assert set(track.set_width[track.pass_id == 4]) == {4.5}

    def test_one_narrow_pass_at_the_edge_of_a_field_is_taken_from_the_display(self):
        track = judge_set_width(lay(9.0 * np.arange(6), [9.0] * 5 + [4.5]))
        assert track.notices == ()
        assert set(track.set_width[track.pass_id == 6]) == {4.5}

    def test_what_only_the_display_says_is_used_and_told(self):
        track = lay(9.0 * np.arange(6), [9.0] * 5 + [4.5])
        assert [notice.message for notice in say_unsupported(track, track.swath)] == [
            "The display of combine 1 was set narrower than the ground shows in 166 of 996 records in passes (about "
            "4.5 m where 9.0 m were still uncut). Nothing else tells what was cut there; the display's width was used. "
            'If it was set wrongly, name the true one: [harvest] swath = "... m".'
        ]
        assert say_unsupported(replace(track, set_width=track.swath), track.swath) == ()

    def test_a_header_that_was_always_too_narrow_is_told_and_kept(self):
        track = lay(9.0 * np.arange(8), [4.5] * 8)
        track = judge_set_width(replace(track, swath=np.full(len(track), 4.5)))
        assert codes(track.notices) == ["passes_wide_apart"]
        assert set(track.swath) == {4.5}

    def test_lands_cut_from_both_ends_are_not_wide_apart(self):
        assert judge_set_width(lay(9.0 * np.array([0, 7, 1, 6, 2, 5, 3, 4]), [9.0] * 8)).notices == ()


def sections(harvest, count):
    """Log the header as a display with six sections does: off over ground cut before, as ``count`` says how many."""
    true = harvest.records["true_width_m"].to_numpy()
    return np.where(true > 0, count(np.round(6 * true / HEADER_M, 2)) / 6 * HEADER_M, HEADER_M)


class TestHarvests:
    # Off where half a section is over cut ground, where all of it is, or at the first touch.
    @pytest.mark.parametrize(("seed", "count"), [(3, np.round), (5, np.ceil), (7, np.floor)])
    def test_sections_switched_off_over_cut_ground_count_once(self, seed, count, tmp_path):
        # Strips were 10 to 21 % high; without sections they are off by up to 2.5 %.
        harvest = simulate_harvest(replace(SCENARIOS["hard"], header_late_s=0.0), seed)
        points, settings = to_points(harvest), settings_of(harvest, tmp_path)
        without = errors_of(harvest, gather_material(harvest, points, settings))["error_pct"]
        shown = points.assign(swath_m=sections(harvest, count))
        errors = errors_of(harvest, gather_material(harvest, shown, settings))["error_pct"]
        assert (shown["swath_m"] < 9).mean() > 0.3
        assert errors.abs().max() < 3.0
        assert (errors - without).abs().max() < 1.0

    def test_a_display_halved_at_mid_log_is_told_and_does_not_double_the_yield(self, tmp_path):
        harvest = simulate_harvest(SCENARIOS["ordinary"], 3)
        points = to_points(harvest)
        late = np.arange(len(points)) >= len(points) // 2
        halved = points.assign(swath_m=np.where(late, HEADER_M / 2, HEADER_M))
        material = gather_material(harvest, halved, settings_of(harvest, tmp_path))
        assert codes(material.track.notices) == ["header_width_wrong"]
        assert errors_of(harvest, material)["error_pct"].abs().max() < 1.5

    @pytest.mark.parametrize("name", sorted(set(SCENARIOS) - {"header_inverted", "header_late"}))
    def test_a_width_that_is_right_is_never_doubted(self, name):
        track = follow_machines(to_points(simulate_harvest(SCENARIOS[name], 3)), SETTINGS)
        assert not {"header_width_wrong", "header_width_narrow", "passes_wide_apart"} & set(codes(track.notices))
