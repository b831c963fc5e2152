"""The answer under other choices: one thing changed at a time, the rest as in the headline."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from proofstrip.clean import Delay, estimate_delays, follow_machines
from proofstrip.flags import Flag, has_flag
from proofstrip.read.exclusions import Exclusion, Exclusions
from proofstrip.sensitivity import CLEANING, Material, delay_choices, list_choices, strip_points, try_choices
from proofstrip.simulate import Scenario, simulate_harvest
from proofstrip.stats import compare_treatments
from proofstrip.strips import make_strips
from tests.clean.truth import settings_of, to_points

CHOICES = {choice.name: choice for choice in CLEANING}


@pytest.fixture(scope="module")
def material(tmp_path_factory):
    """Take a small invented field as far as the comparison."""
    harvest = simulate_harvest(Scenario(blocks=3, strip_length_m=240.0, overlap_m=0.6), seed=4)
    settings, points = settings_of(harvest, tmp_path_factory.mktemp("trial")), to_points(harvest)
    track = follow_machines(points, settings.clean)
    delays = estimate_delays(points, track, settings.clean, None)
    cleaned = strip_points(points, track, delays, harvest.trial_map, settings)
    return Material(points, track, delays, cleaned, harvest.trial_map, settings)


@pytest.fixture(scope="module")
def headline(material):
    return compare(material, material.cleaned)


def compare(material, points):
    table = make_strips(points, material.strips, material.settings)
    return compare_treatments(table, "control", material.settings.stats)


def delay(seconds, source, machine="combine 1"):
    return Delay(machine, seconds, None, None, source, "")


@pytest.mark.parametrize(
    ("delays", "names"),
    [
        ([delay(11.0, "estimated")], ["Travel delay 2 s shorter", "Travel delay 2 s longer"]),
        ([delay(11.0, "declared")], ["Travel delay 4 s shorter", "Travel delay 4 s longer"]),
        ([delay(12.0, "assumed")], ["Travel delay 8 s", "Travel delay 12 s", "Travel delay 16 s"]),
        ([delay(0.0, "assumed")], ["Travel delay 4 s shorter", "Travel delay 4 s longer"]),
        (
            [delay(11.0, "estimated"), delay(12.0, "assumed", "combine 2")],
            ["Travel delay 4 s shorter", "Travel delay 4 s longer"],
        ),
    ],
)
def test_delays_to_look_at(delays, names):
    assert [choice.name for choice in delay_choices(tuple(delays))] == names


def test_another_delay_is_the_whole_way_with_that_delay(material):
    shorter = next(iter(delay_choices((delay(11.0, "estimated"),))))
    start = replace(material, delays=(delay(11.0, "estimated"),))
    nine = strip_points(material.points, material.track, (delay(9.0, "estimated"),), material.strips, material.settings)
    pd.testing.assert_frame_equal(pd.DataFrame(shorter.points(start)), pd.DataFrame(nine))


def test_no_cleaning_keeps_spikes_jumps_and_ends_but_nothing_twice_or_outside(material):
    points = CHOICES["No cleaning"].points(material)
    bits = points.loc[points["usable"], "flags"]
    for kept in (Flag.SPIKE, Flag.STRIP_END, Flag.ENTRY_RAMP):
        assert has_flag(bits, kept).any()
    for out in (Flag.MISSING, Flag.DUPLICATE, Flag.OUTSIDE_STRIP, Flag.HEADER_UP, Flag.TURN, Flag.EXCLUDED_BY_HAND):
        assert not has_flag(bits, out).any()


@pytest.mark.parametrize(
    ("name", "kept", "dropped"),
    [
        ("Whole strips", [Flag.STRIP_END, Flag.ENTRY_RAMP, Flag.EXIT_RAMP], [Flag.SPIKE]),
        ("Spikes kept", [Flag.SPIKE, Flag.FLOW_RANGE], [Flag.STRIP_END, Flag.POSITION_JUMP]),
        ("Strict cleaning", [], [Flag.SPEED_RANGE, Flag.SPEED_CHANGE, Flag.NARROW_CUT, Flag.SPIKE]),
    ],
)
def test_what_each_choice_keeps_and_drops(material, name, kept, dropped):
    flags = np.array([int(flag) for flag in [Flag(0), *kept, *dropped]], dtype="int32")
    few = replace(material, cleaned=material.cleaned.head(len(flags)).assign(flags=flags))
    assert CHOICES[name].points(few)["usable"].tolist() == [True] * (1 + len(kept)) + [False] * len(dropped)


def test_header_width_as_set_counts_the_overlap_as_ground(material):
    points = CHOICES["Header width as set"].points(material)
    inner = points["usable"] & material.cleaned["usable"]
    assert points.loc[inner, "cut_width_m"].tolist() == pytest.approx(points.loc[inner, "swath_m"].tolist())
    assert points.loc[inner, "area_m2"].sum() > 1.03 * material.cleaned.loc[inner, "area_m2"].sum()


def test_every_choice_and_treatment_has_a_row(material, headline):
    found = try_choices(material, headline, weighed=False)
    names = [*CHOICES, *(choice.name for choice in delay_choices(material.delays))]
    assert [row.name for row in found] == names
    assert {row.treatment for row in found} == {"tried"}
    assert all(row.low_kg_ha < row.difference_kg_ha < row.high_kg_ha for row in found)


def test_a_choice_is_compared_as_the_headline_is(material, headline):
    found = {row.name: row for row in try_choices(material, headline, weighed=False)}
    other = compare(material, CHOICES["Whole strips"].points(material)).differences[0]
    row = found["Whole strips"]
    assert (row.difference_kg_ha, row.low_kg_ha, row.high_kg_ha) == (other.difference, other.low, other.high)


@pytest.mark.parametrize(
    ("low", "high", "moves"),
    [(-50.0, 50.0, False), (10.0, 50.0, True), (-50.0, -10.0, True), (0.0, 50.0, False), (None, None, True)],
)
def test_a_conclusion_moves_when_the_interval_lies_elsewhere_against_zero(material, headline, low, high, moves):
    # So sure an interval is wide and holds zero.
    sure = material.settings.stats.model_copy(update={"confidence": 0.9999})
    other = replace(material, settings=material.settings.model_copy(update={"stats": sure}))
    planted = replace(headline, differences=(replace(headline.differences[0], low=low, high=high),))
    (row,) = try_choices(other, planted, weighed=True)
    assert row.low_kg_ha < 0 < row.high_kg_ha
    assert row.moves == moves


def test_a_choice_that_leaves_nothing_says_so_and_the_others_go_on(material, headline):
    narrow = material.cleaned.assign(flags=material.cleaned["flags"] | int(Flag.NARROW_CUT))
    found = {row.name: row for row in try_choices(replace(material, cleaned=narrow), headline, weighed=False)}
    strict = found["Strict cleaning"]
    assert strict.note.startswith("no answer: strips: of ")
    assert strict.difference_kg_ha is None
    assert strict.moves
    assert found["Whole strips"].difference_kg_ha is not None


def test_weighed_strips_are_held_against_the_monitor_alone(material, headline):
    found = try_choices(material, headline, weighed=True)
    assert [row.name for row in found] == ["Yield monitor instead of the scale"]
    assert found[0].difference_kg_ha == headline.differences[0].difference
    assert not found[0].moves


def test_trying_changes_nothing(material, headline):
    before = material.points.copy(deep=True), material.cleaned.copy(deep=True), material.track.cut_width.copy()
    try_choices(material, headline, weighed=False)
    pd.testing.assert_frame_equal(pd.DataFrame(material.points), pd.DataFrame(before[0]))
    pd.testing.assert_frame_equal(pd.DataFrame(material.cleaned), pd.DataFrame(before[1]))
    assert material.track.cut_width.tolist() == before[2].tolist()


def test_records_excluded_by_hand_are_put_back_in_a_choice(material, headline, tmp_path):
    assert "Nothing excluded by hand" not in [choice.name for choice in list_choices(material)]
    item = Exclusion(1, "plugged", "A. Nyone", "2024-10-08", None, ((1, 400),), None)
    by_hand = Exclusions("exclusions.geojson", (item,), "", tmp_path)
    numbered = material.points.assign(source_file="log.csv", source_row=np.arange(1, len(material.points) + 1))
    walked = strip_points(numbered, material.track, material.delays, material.strips, material.settings, by_hand)
    assert has_flag(walked["flags"], Flag.EXCLUDED_BY_HAND).sum() == 400
    other = replace(material, points=numbered, cleaned=walked, exclusions=by_hand)
    found = {row.name: row for row in try_choices(other, compare(other, walked), weighed=False)}
    assert found["Nothing excluded by hand"].difference_kg_ha == headline.differences[0].difference
