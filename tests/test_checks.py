"""What would make the difference something else than the treatment."""

import numpy as np
import pandas as pd
import pytest

from proofstrip.checks import check_strips, look_at_run
from proofstrip.clean import Delay
from proofstrip.flags import Flag
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


POINTS = pd.DataFrame(
    {"strip": ["S1"] * 10, "pass_id": 1, "flags": np.int32(0), "moisture_pct": np.linspace(13, 15, 10)}
)


def check(name: str, table: pd.DataFrame, points: pd.DataFrame = POINTS) -> Check:
    return next(found for found in check_strips(points, table, "control") if found.name == name)


def test_a_balanced_trial_passes_every_check():
    assert all(found.passed for found in check_strips(POINTS, strips(), "control"))


def test_a_direction_for_each_treatment_is_a_red_flag_that_does_not_forbid():
    found = check("direction_by_treatment", strips(direction=["N", "S", "N", "S"]))
    assert (found.passed, found.forbids) == (False, False)


@pytest.mark.parametrize(
    ("name", "column", "values", "said"),
    [
        ("speed_by_treatment", "speed_m_s", [2.0, 1.8, 2.0, 1.8], "tried was driven 10.0 % slower than the control."),
        ("moisture_by_treatment", "moisture_pct", [14, 14.5, 14, 14.5], "tried was 0.50 points of moisture wetter"),
        ("removed_by_treatment", "share_removed", [0.05, 0.10, 0.05, 0.10], "removed 5.0 points more of the records"),
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


def notices(table: pd.DataFrame, points: pd.DataFrame, delays: tuple[Delay, ...] = ()) -> dict[str, str]:
    return {notice.code: notice.message for notice in look_at_run(points, table, delays, 12.5)}


def test_what_a_user_should_know_is_said_in_sentences():
    table = strips(records_used=[100, 100, 100, 0], share_removed=[0.05, 0.7, 0.05, 0.0])
    assumed = Delay("combine 1", 12.0, None, None, "assumed", "the data cannot tell: too few passes")
    said = notices(table, POINTS, (assumed,))
    assert said["delay_assumed"].startswith("The travel delay of combine 1 is assumed to be 12 s, because the data")
    assert "strip S4" in said["strip_empty"]
    assert "70% of the records in strip S2 were removed" in said["strip_thin"]


def test_moisture_that_was_not_measured_is_said():
    assert "13 % moisture throughout" in notices(strips(), POINTS.assign(moisture_pct=13.0))["moisture_constant"]
    assert "12.5 %, as declared" in notices(strips(), POINTS.assign(moisture_pct=np.nan))["moisture_missing"]


@pytest.mark.parametrize(
    ("name", "column", "control", "just_inside", "just_outside"),
    [
        ("speed_by_treatment", "speed_m_s", 2.0, 0.0598, 0.0602),
        ("moisture_by_treatment", "moisture_pct", 14.0, 0.299, 0.301),
        ("removed_by_treatment", "share_removed", 0.05, 0.0199, 0.0201),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_margin_has_two_sides_and_both_directions(name, column, control, just_inside, just_outside, sign):
    for apart, passed in ((just_inside, True), (just_outside, False)):
        tried = control + sign * apart
        assert check(name, strips(**{column: [control, tried, control, tried]})).passed is passed


def test_one_straddling_cut_in_ten_is_allowed_and_two_are_not():
    for count, passed in ((1, True), (2, False)):
        flags = np.array([int(Flag.STRADDLE)] * count + [0] * (10 - count), dtype="int32")
        assert check("straddling_cuts", strips(), POINTS.assign(flags=flags)).passed is passed
