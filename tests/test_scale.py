"""Tickets: one load is one strip, or the combine is scaled by them; and what they say of the sensor."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from scipy import stats

from proofstrip.config import config_folder
from proofstrip.crops import find_crop
from proofstrip.scale import check_sensor, set_against_monitor, use_tickets

DAY = "2024-10-07"


class Chosen:
    """The little of the settings that weighing asks for."""

    standard_moisture_pct = 15.5

    class trial:  # noqa: N801 - stands in for the settings' own part
        crop = find_crop("corn", config_folder())

    class stats:  # noqa: N801 - the same
        confidence = 0.9


MAP = gpd.GeoDataFrame({"strip": ["S1", "S2"], "treatment": ["control", "tried"]})
# The combine read 16 and 18 % moisture, and 4,000 kg at 15.5 % in each strip of 0.4 ha.
MONITOR = pd.DataFrame(
    {
        "strip": ["S1", "S2"],
        "machine": "a",
        "day": DAY,
        "standard_mass_kg": 4000.0,
        "wet_mass_kg": [4000.0 * 84.5 / 84, 4000.0 * 84.5 / 82],
        "ground_m2": 4000.0,
        "hour": [0.0, 1.0],
    }
)
CELLS = pd.DataFrame({"machine": ["a"], "day": [DAY]})


def table() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "strip": ["S1", "S2"],
            "treatment": ["control", "tried"],
            "source": "combine",
            "yield_kg_ha": [10_000.0, 10_000.0],
            "moisture_pct": [16.0, 18.0],
            "records_used": [100, 100],
        }
    )


def loads(**columns: object) -> pd.DataFrame:
    frame = {"strips": [("S1",), ("S2",)], "machine": None, "day": None, "group": [0, 1]}
    return pd.DataFrame(frame | {"wet_mass_kg": [4000.0, 4200.0], "moisture_pct": [20.0, 20.0]} | columns)


def use(tickets: pd.DataFrame):
    ratios = set_against_monitor(tickets, MONITOR, MAP, 15.5)
    return use_tickets(table(), ratios, MONITOR, CELLS, Chosen())


def test_a_weighed_strip_yields_its_load_at_standard_moisture_over_its_ground():
    found, weighed, notices = use(loads())
    # 4,000 kg at 20 % are 4,000 x 80 / 84.5 kg at 15.5 %, on 0.4 ha (University of Florida AG442's rule).
    assert weighed["yield_kg_ha"].iloc[0] == pytest.approx(4000 * 80 / 84.5 / 0.4)
    assert weighed["source"].tolist() == ["scale", "scale"]
    assert (found.use, found.factors, notices) == ("strips", (), ())
    assert found.mean_before_kg_ha == 10_000.0
    assert found.mean_after_kg_ha == pytest.approx(4100 * 80 / 84.5 / 0.4)


def test_several_loads_of_a_strip_are_added():
    two = pd.concat([loads(), loads().head(1)])
    _, weighed, _ = use(two)
    assert weighed["yield_kg_ha"].iloc[0] == pytest.approx(8000 * 80 / 84.5 / 0.4)


def test_a_load_without_moisture_takes_the_combines_reading():
    _, weighed, _ = use(loads(moisture_pct=[np.nan, 20.0]))
    assert weighed["moisture_pct"].tolist() == pytest.approx([16.0, 20.0])


def test_a_strip_without_a_ticket_leaves_the_scale_to_scale_the_combine():
    found, kept, notices = use(loads().head(1))
    pd.testing.assert_frame_equal(kept, table())
    assert found.use == "factor"
    assert found.factors[0].factor == pytest.approx(4000 * 80 / 84.5 / 4000)
    assert "1 of 2 harvested strips were not weighed alone" in found.note
    assert notices == ()


def test_a_load_of_two_strips_scales_the_combine():
    found, _, _ = use(loads(strips=[("S1", "S2"), ("S1", "S2")], group=0))
    assert found.factors[0].factor == pytest.approx(8200 * 80 / 84.5 / 8000)
    assert found.factors[0].loads == 2


def test_tickets_that_cannot_be_of_this_grain_are_not_used_and_it_is_said():
    found, kept, (notice,) = use(loads(wet_mass_kg=[400.0, 4200.0]).head(1))
    pd.testing.assert_frame_equal(kept, table())
    assert found.use == "none"
    assert notice.code == "tickets_not_used"
    assert "for strip S1 the scale says 0.09 times what the monitor read, outside 0.67 to 1.5" in notice.message


def test_a_weighing_is_set_against_the_monitor_at_the_same_moisture():
    ratios = set_against_monitor(loads(), MONITOR, MAP, 15.5)
    assert ratios["log_ratio"].tolist() == pytest.approx(np.log([4000 / (w * 80 / 84.5) for w in (4000, 4200)]))
    assert ratios["treatment"].tolist() == ["control", "tried"]
    assert (ratios["machine"].tolist(), ratios["hour"].tolist()) == (["a", "a"], [0.0, 1.0])


def test_a_weighing_of_two_combines_belongs_to_none():
    shared = MONITOR.assign(machine=["a", "b"])
    ratios = set_against_monitor(loads(strips=[("S1", "S2")] * 2, group=0), shared, MAP, 15.5)
    assert (ratios["machine"].tolist(), ratios["treatment"].tolist()) == ([""], [""])


def told(*logs: float) -> pd.DataFrame:
    """Weighings of control and tried in turn, by log of monitor over scale."""
    kinds = ["control", "tried"] * (len(logs) // 2)
    return pd.DataFrame({"treatment": kinds, "machine": "a", "log_ratio": -np.array(logs)})


def test_combines_that_read_apart_and_cut_unevenly_are_no_treatment():
    # Combine b reads 8 % high and cut three of four tried loads, but one of four of the control's.
    rng = np.random.default_rng(7)
    kinds, machine = ["control"] * 4 + ["tried"] * 4, np.array(list("aaababbb"))
    log = 0.08 * (machine == "b") + 0.002 * rng.standard_normal(8)
    frame = pd.DataFrame({"treatment": kinds, "machine": machine, "log_ratio": -log})
    (check,) = check_sensor(frame, "factor", "control")
    assert check.passed is True
    assert check.value == pytest.approx(0.0, abs=0.5)
    assert "compared with the control within each combine (margin of error" in check.note
    # What a treatment does to the sensor is still found beside them.
    frame["log_ratio"] -= np.log(1.05) * (frame["treatment"] == "tried")
    assert check_sensor(frame, "factor", "control")[0].value == pytest.approx(100 * np.log(1.05), abs=0.5)


def test_a_treatment_cut_by_a_combine_of_its_own_cannot_be_told_from_it():
    frame = told(0.0, 0.08, 0.01, 0.07).assign(machine=["a", "b"] * 2)
    (check,) = check_sensor(frame, "factor", "control")
    assert (check.passed, check.value) == (None, None)
    assert "cannot be told from what one combine reads higher than another" in check.note


def test_a_sensor_that_a_treatment_misleads_fails_the_check():
    (check,) = check_sensor(told(0.0, np.log(1.05)), "strips", "control")
    assert check.passed is False
    assert check.value == pytest.approx(100 * np.log(1.05), abs=0.001)
    assert check.note.endswith("The answer uses the scale.")
    (other,) = check_sensor(told(0.0, np.log(1.05)), "factor", "control")
    assert other.note.endswith("The answer uses the monitor, so it holds that error.")
    assert check_sensor(told(), "none", "control") == ()


def test_loads_that_mix_treatments_do_not_tell_what_one_does_to_the_sensor():
    (check,) = check_sensor(told(0.0, 0.0).assign(treatment=""), "factor", "control")
    assert check.passed is None
    assert "that one misleads the monitor is not excluded" in check.note


def test_the_note_gives_the_interval_of_the_ratio():
    logs = np.log([1e4, 1.05e4, 1.01e4, 1.06e4, 0.99e4, 1.04e4]) - np.log(1e4)
    # scipy's own pooled t interval.
    found = stats.ttest_ind(logs[1::2], logs[::2]).confidence_interval(0.9)
    (check,) = check_sensor(told(*logs), "strips", "control")
    assert f"{100 * found.low:+.1f} to {100 * found.high:+.1f} %" in check.note
