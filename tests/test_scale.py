"""Tickets: one load is one strip."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scipy import stats

from proofstrip.config import config_folder
from proofstrip.crops import find_crop
from proofstrip.errors import DataError
from proofstrip.scale import against_scale, check_sensor, ground_by_strip, weigh_strips
from tests.clean.test_width import drive


class Chosen:
    """The little of the settings that weighing asks for."""

    standard_moisture_pct = 15.5

    class trial:  # noqa: N801 - stands in for the settings' own part
        crop = find_crop("corn", config_folder())


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


def loads(**columns: list[object]) -> pd.DataFrame:
    frame = {"strip": ["S1", "S2"], "wet_mass_kg": [4000.0, 4200.0], "moisture_pct": [20.0, 20.0], **columns}
    return pd.DataFrame(frame)


GROUND = pd.Series({"S1": 4000.0, "S2": 4000.0})


def test_a_weighed_strip_yields_its_load_at_standard_moisture_over_its_ground():
    weighed, notices = weigh_strips(table(), loads(), GROUND, Chosen())
    # 4,000 kg at 20 % are 4,000 x 80 / 84.5 kg at 15.5 %, on 0.4 ha (University of Florida AG442's rule).
    assert weighed["yield_kg_ha"].iloc[0] == pytest.approx(4000 * 80 / 84.5 / 0.4)
    assert weighed["source"].tolist() == ["scale", "scale"]
    assert notices == ()


def test_several_loads_of_a_strip_are_added():
    two = pd.concat([loads(), loads().head(1)])
    weighed, _ = weigh_strips(table(), two, GROUND, Chosen())
    assert weighed["yield_kg_ha"].iloc[0] == pytest.approx(8000 * 80 / 84.5 / 0.4)


def test_a_load_without_moisture_takes_the_combines_reading():
    weighed, _ = weigh_strips(table(), loads(moisture_pct=[np.nan, 20.0]), GROUND, Chosen())
    assert weighed["moisture_pct"].tolist() == pytest.approx([16.0, 20.0])


def test_a_strip_without_a_ticket_leaves_all_to_the_monitor_and_says_so():
    kept, notices = weigh_strips(table(), loads().head(1), GROUND, Chosen())
    pd.testing.assert_frame_equal(kept, table())
    assert "1 of 2 harvested strips have no ticket (S2)" in notices[0].message


def test_a_ticket_for_an_unknown_strip_is_refused_with_the_names():
    with pytest.raises(DataError, match=r"tickets name 'S9'.*'S1', 'S2'"):
        weigh_strips(table(), loads(strip=["S1", "S9"]), GROUND, Chosen())


def test_a_sensor_that_a_treatment_misleads_fails_the_check():
    weighed = table().assign(source="scale", yield_kg_ha=[10_000.0, 10_500.0])
    (check,) = check_sensor(table(), weighed, "control")
    assert check.passed is False
    assert check.value == pytest.approx(100 * np.log(1.05), abs=0.001)
    assert check_sensor(table(), table(), "control") == ()


def test_ground_is_distance_times_cut_width_inside_the_polygon():
    track = drive([((4.5, 0.0), (4.5, 180.0)), ((13.5, 0.0), (13.5, 180.0))], step_m=1.0)
    track = replace(track, cut_width=np.where(track.pass_id == 2, 4.5, 9.0))
    strips = gpd.GeoDataFrame(
        {"strip": ["S1", "S2"]}, geometry=[shapely.box(0, 50, 9, 150), shapely.box(9, 50, 18, 150)], crs=32615
    )
    assert ground_by_strip(track, strips).tolist() == pytest.approx([900.0, 450.0], rel=0.02)


def test_the_note_gives_the_interval_of_the_ratio():
    sensed = pd.concat([table()] * 3, ignore_index=True)
    weighed = sensed.assign(source="scale", yield_kg_ha=[1e4, 1.05e4, 1.01e4, 1.06e4, 0.99e4, 1.04e4])
    logs = np.log(weighed["yield_kg_ha"] / 1e4)
    # scipy's own pooled t interval.
    found = stats.ttest_ind(logs[1::2], logs[::2]).confidence_interval(0.9)
    (check,) = check_sensor(sensed, weighed, "control")
    assert f"{100 * found.low:+.1f} to {100 * found.high:+.1f} %" in check.note


def test_monitor_over_scale_of_strips_that_one_combine_cut():
    cells = pd.DataFrame({"strip": ["S1", "S2", "S2"], "machine": ["a", "a", "b"], "block": "1", "log_yield": 0.0})
    weighed = table().assign(source="scale", yield_kg_ha=[9_500.0, 10_500.0])
    ratios = against_scale(cells, table(), weighed)
    assert ratios["strip"].tolist() == ["S1"]
    assert ratios["log_ratio"].tolist() == pytest.approx([np.log(10 / 9.5)])
    assert against_scale(cells, table(), table()).empty
