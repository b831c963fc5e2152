"""What would make the difference something else than the treatment."""

import numpy as np
import pandas as pd
import pytest

from proofstrip.checks import check_removals, check_strips, look_at_run, warn_in_answer
from proofstrip.clean import Delay
from proofstrip.config import load_defaults
from proofstrip.flags import Flag
from proofstrip.removals import ANY_REASON, Removal
from proofstrip.stats import Check


def strips(**columns: object) -> pd.DataFrame:
    frame = {
        "strip": ["S1", "S2", "S3", "S4"],
        "treatment": ["control", "tried", "control", "tried"],
        "block": ["1", "1", "2", "2"],
        "records_used": 100,
        "machines": "a",
        "direction": ["N", "S", "S", "N"],
        "speed_m_s": 2.0,
        "moisture_pct": 14.0,
        "share_removed": 0.05,
    }
    return pd.DataFrame({**frame, **columns})


PART = load_defaults().stats
# Ten records a strip, harvested in the order control, tried, tried, control.
POINTS = pd.DataFrame(
    {
        "strip": np.repeat(["S1", "S2", "S3", "S4"], 10),
        "pass_id": np.repeat([1, 2, 4, 3], 10),
        "time": np.repeat([0.0, 900.0, 2700.0, 1800.0], 10),
        "usable": True,
        "flags": np.int32(0),
        "area_m2": 12.0,
        "cut_width_m": 6.0,
        "moisture_pct": np.tile(np.linspace(13, 15, 10), 4),
        "heading_deg": np.repeat([0.0, 180.0, 180.0, 0.0], 10),
        "mass_flow_kg_s": 8.0,
        "speed_m_s": 2.0,
        "duration_s": 1.0,
    }
)


def flag_some(flag: Flag, *counts: int) -> pd.DataFrame:
    """Flag so many of the ten records of each strip."""
    flags = [int(flag) if record < count else 0 for count in counts for record in range(10)]
    return POINTS.assign(flags=np.array(flags, dtype="int32"))


def check(name: str, table: pd.DataFrame, points: pd.DataFrame = POINTS) -> Check:
    return next(found for found in check_strips(points, table, "control", PART) if found.name == name)


def test_a_balanced_trial_passes_every_check():
    found = check_strips(POINTS, strips(), "control", PART)
    assert [one.name for one in found if not one.passed] == ["flow_by_treatment"]


# Worked by hand: ten records of 1 s a strip; each case changes the strips of the treatment, S2 and S4.
@pytest.mark.parametrize(
    ("name", "columns", "value", "said"),
    [
        ("stops_by_treatment", {"speed_m_s": 0.1, "duration_s": 4.0}, 40.0, "the combine stood 40 s longer"),
        ("ramps_by_treatment", {"flags": np.int32(Flag.ENTRY_RAMP)}, 10.0, "A pass of tried counts 10.0 s more"),
        ("uneven_direction", {"heading_deg": 0.0}, 50.0, "Of the ground of tried, 50 points more was cut going N"),
        ("flow_by_treatment", {"mass_flow_kg_s": 8.4}, 5.0, "The grain flow of tried was 5.0 % higher"),
    ],
)
def test_what_happened_to_one_treatment_only_is_measured_and_said(name, columns, value, said):
    points = POINTS.copy()
    for column, changed in columns.items():
        points.loc[points["strip"].isin(["S2", "S4"]), column] = changed
    found = check(name, strips(), points)
    assert found.value == pytest.approx(value)
    assert said in found.note
    # Half of the control's ground was cut going N: a difference of 50 points is at the margin, not beyond it.
    assert found.passed is {"flow_by_treatment": None, "uneven_direction": True}.get(name, False)


def test_a_direction_for_each_treatment_forbids_an_answer():
    found = check("direction_by_treatment", strips(direction=["N", "S", "N", "S"]))
    assert (found.passed, found.forbids) == (False, True)
    assert "control: N; tried: S" in found.note


def test_one_treatment_of_three_with_its_own_direction_fails_without_forbidding_the_other():
    table = strips(treatment=["control", "tried", "control", "third"], direction=["N", "N", "N", "S"])
    found = check("direction_by_treatment", table)
    assert (found.passed, found.forbids) == (False, False)
    assert warn_in_answer((found,)) == ["The direction of travel goes with the treatment."]
    assert found.note.startswith("third and the control were never driven in the same direction")


def test_time_and_width_have_margins_too():
    later = POINTS.assign(time=np.repeat([0.0, 1900.0, 0.0, 1900.0], 10))
    assert check("time_by_treatment", strips(), later).passed is False
    narrow = POINTS.assign(cut_width_m=np.repeat([6.0, 5.96, 6.0, 5.96], 10))
    found = check("width_by_treatment", strips(), narrow)
    assert found.passed is False
    assert found.note.startswith("The strips of tried were cut 0.67 % narrower than the control's.")


def test_records_excluded_by_hand_are_told_apart():
    points = flag_some(Flag.EXCLUDED_BY_HAND, 1, 3, 1, 3)
    found = check("excluded_by_treatment", strips(), points)
    assert (found.passed, found.value) == (False, pytest.approx(20.0))
    assert "20.0 points more" in found.note
    others = [one.name for one in check_strips(points, strips(), "control", PART) if one.passed is False]
    assert others == ["excluded_by_treatment"]


def removal(treatment: str, share: float, seldom: bool | None, reason: str = ANY_REASON) -> Removal:
    adjusted = None if reason == ANY_REASON else 0.06
    return Removal(reason, treatment, "window", 10, share, share, 0.03, adjusted, seldom)


@pytest.mark.parametrize(
    ("share", "seldom", "passed"),
    [(0.0195, True, True), (0.0205, True, False), (0.2, False, True), (0.0205, None, False), (0.0195, None, True)],
)
def test_removing_more_fails_beyond_a_point_unless_chance_often_does_as_much(share, seldom, passed):
    found = check_removals((removal("control", 0.01, seldom), removal("tried", share, seldom)), "control")
    assert (found.passed, found.value) == (passed, pytest.approx(100 * (share - 0.01)))
    assert found.note.endswith("Luck alone does that in 3 % of cases.")


def test_one_reason_can_fail_alone_and_is_named():
    alike = (removal("control", 0.05, False), removal("tried", 0.05, False))
    one = (removal("control", 0.0, True, "spike"), removal("tried", 0.04, True, "spike"))
    found = check_removals((*alike, *one), "control")
    assert found.passed is False
    assert found.note == (
        "Of the records of tried, cleaning removed 4.0 points more than of the control's for one reason: a jump in "
        "flow for a moment, far outside its own pass. Luck alone does that in 6 % of cases."
    )


def test_no_removals_have_nothing_to_compare():
    assert check_removals((), "control").passed is None


@pytest.mark.parametrize(
    ("name", "column", "values", "said"),
    [
        (
            "speed_by_treatment",
            "speed_m_s",
            [2.0, 1.8, 2.0, 1.8],
            "The strips of tried were driven 10.0 % slower than the control's.",
        ),
        ("moisture_by_treatment", "moisture_pct", [14, 14.5, 14, 14.5], "tried was 0.50 points of moisture wetter"),
    ],
)
def test_an_imbalance_beyond_its_margin_fails_and_says_which_way(name, column, values, said):
    found = check(name, strips(**{column: values}))
    assert found.passed is False
    assert said in found.note


def test_straddling_cuts_point_to_a_shifted_map():
    found = check("straddling_cuts", strips(), POINTS.assign(flags=np.int32(Flag.STRADDLE)))
    assert found.passed is False
    assert "The map may be shifted" in found.note


def notices(table: pd.DataFrame, delays: tuple[Delay, ...] = ()) -> dict[str, str]:
    return {notice.code: notice.message for notice in look_at_run(table, delays)}


def test_what_a_user_should_know_is_said_in_sentences():
    table = strips(records_used=[100, 100, 100, 0], share_removed=[0.05, 0.7, 0.05, 0.0])
    assumed = Delay("combine 1", 12.0, None, None, "assumed", "the data cannot tell: too few passes")
    said = notices(table, (assumed,))
    assert said["delay_assumed"].startswith("The travel delay of combine 1 is assumed to be 12 s, because the data")
    assert "strip S4" in said["strip_empty"]
    assert "70% of the records in strip S2 were removed" in said["strip_thin"]


@pytest.mark.parametrize(
    ("name", "column", "control", "just_inside", "just_outside"),
    [
        ("speed_by_treatment", "speed_m_s", 2.0, 0.0598, 0.0602),
        ("moisture_by_treatment", "moisture_pct", 14.0, 0.299, 0.301),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_margin_has_two_sides_and_both_directions(name, column, control, just_inside, just_outside, sign):
    for apart, passed in ((just_inside, True), (just_outside, False)):
        tried = control + sign * apart
        assert check(name, strips(**{column: [control, tried, control, tried]})).passed is passed


def test_one_straddling_cut_in_ten_is_allowed_and_more_are_not():
    for counts, passed in (((1, 1, 1, 1), True), ((2, 1, 1, 1), False)):
        assert check("straddling_cuts", strips(), flag_some(Flag.STRADDLE, *counts)).passed is passed
