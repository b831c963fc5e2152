"""Which grain a load was, and what the monitor made of it."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from proofstrip.errors import DataError
from proofstrip.flags import Flag
from proofstrip.loads import match_loads, weigh_by_monitor
from tests.clean.test_width import drive

STRIPS = ["S1", "S2", "S3", "A + B"]
# Two days in October 2024, seven hours apart at night.
EVENING, MORNING = 1_728_320_400.0, 1_728_380_000.0


def harvest(**columns):
    frame = {"machine": ["a", "b", "b"], "time": [EVENING, EVENING, MORNING]}
    return pd.DataFrame(frame | columns)


def loads(strip=None, machine=None, day=None):
    rows = len(strip or machine)
    frame = {"strip": strip or [None] * rows, "machine": machine or [None] * rows, "day": day or [None] * rows}
    return pd.DataFrame(frame | {"wet_mass_kg": 1000.0, "moisture_pct": 14.0})


@pytest.mark.parametrize("text", ["S1 + S2", "S1+S2", "S1, S2", "S1; S2", "S1 & S2", "S1 and S2"])
def test_a_load_of_several_strips(text):
    assert match_loads(loads([text]), STRIPS, harvest())["strips"].tolist() == [("S1", "S2")]


def test_a_strip_that_is_named_like_two_is_one():
    assert match_loads(loads(["A + B"]), STRIPS, harvest())["strips"].tolist() == [("A + B",)]


def test_loads_that_share_a_strip_were_weighed_together():
    matched = match_loads(loads(["S1", "S2 + S3", "S1", "A + B", "S3"]), STRIPS, harvest())
    assert matched["group"].tolist() == [0, 1, 0, 3, 1]


def test_loads_that_a_later_one_ties_together_are_one_weighing():
    assert len(set(match_loads(loads(["S1", "S2", "S1 + S2"]), STRIPS, harvest())["group"])) == 1


def test_a_ticket_for_an_unknown_strip_is_refused_with_the_names():
    with pytest.raises(DataError, match=r"tickets name 'S9'.*'S1', 'S2'"):
        match_loads(loads(["S1", "S2 + S9"]), STRIPS, harvest())


def test_loads_by_combine_are_grouped_by_day_where_they_name_it():
    named = match_loads(loads(machine=["b", "a", "b"]), STRIPS, harvest())
    assert named["group"].tolist() == [0, 1, 0]
    dated = loads(machine=["b", "a", "b"], day=["2024-10-07", "2024-10-07", "2024-10-08"])
    assert match_loads(dated, STRIPS, harvest())["group"].nunique() == 3


def test_an_unknown_combine_and_a_day_without_work_are_refused_with_what_there_is():
    with pytest.raises(DataError, match=r"combine 'c'.* Its combines are 'a', 'b'"):
        match_loads(loads(machine=["a", "c"]), STRIPS, harvest())
    with pytest.raises(
        DataError, match=r"ticket of a is dated 2024-10-08.*worked on 2024-10-07 by the log's own clock"
    ):
        match_loads(loads(machine=["a"], day=["2024-10-08"]), STRIPS, harvest())


def test_the_only_combine_of_the_tickets_is_the_only_one_of_the_log():
    matched = match_loads(loads(machine=["the red one"]), STRIPS, harvest(machine="1"))
    assert matched["machine"].tolist() == ["1"]


@pytest.fixture
def one_pass():
    """Give one pass of 200 m through a strip that is 4 m shorter at both ends, 9 m wide, 1 kg a record."""
    track = replace(drive([((4.5, 0.0), (4.5, 200.0))], step_m=1.0), names=("a",))
    strips = gpd.GeoDataFrame({"strip": ["S1"]}, geometry=[shapely.box(0, 4, 9, 196)], crs=32615)
    rows = len(track)
    points = pd.DataFrame(
        {
            "machine": track.names[0],
            "time": track.time,
            "strip": np.where((track.northing > 4) & (track.northing <= 196), "S1", None),
            "pass_id": track.pass_id,
            "area_m2": track.distance * track.cut_width,
            "standard_mass_kg": 1.0,
            "wet_mass_kg": 1.1,
            "flags": np.zeros(rows, dtype="int32"),
        },
        index=track.row,
    )
    return points, track, strips


def of(table, strip):
    return table.set_index("strip").loc[strip]


def test_grain_of_a_pass_that_is_nearly_all_in_a_strip_is_the_strip_s_with_what_runs_out_after(one_pass):
    points, track, strips = one_pass
    # The last records are of grain that runs out while the machine turns: in no pass, from no ground.
    tail = points.index[-10:]
    points.loc[tail, ["pass_id", "area_m2"]] = 0
    points.loc[tail, "strip"] = None
    ground = points.loc[points["strip"] == "S1", "area_m2"].sum()
    table = weigh_by_monitor(points, replace(track, cut_width=np.where(track.northing < 191, 9.0, 0.0)), strips)
    assert of(table, "S1")["standard_mass_kg"] == pytest.approx(len(points), rel=0.01)
    assert of(table, "S1")["wet_mass_kg"] == pytest.approx(1.1 * len(points), rel=0.01)
    assert of(table, "S1")["ground_m2"] == pytest.approx(ground, rel=0.01)


def test_grain_that_was_not_sensed_is_like_the_rest_of_the_strip(one_pass):
    points, track, strips = one_pass
    before = of(weigh_by_monitor(points, track, strips), "S1")["standard_mass_kg"]
    spoilt = points.copy()
    spoilt.loc[spoilt.index[20:30], ["standard_mass_kg", "flags"]] = [50.0, int(Flag.SPIKE)]
    assert of(weigh_by_monitor(spoilt, track, strips), "S1")["standard_mass_kg"] == pytest.approx(before, rel=0.01)


def test_ground_is_distance_times_cut_width_inside_the_polygon():
    track = drive([((4.5, 0.0), (4.5, 180.0)), ((13.5, 0.0), (13.5, 180.0))], step_m=1.0)
    track = replace(track, names=("a",), cut_width=np.where(track.pass_id == 2, 4.5, 9.0))
    strips = gpd.GeoDataFrame(
        {"strip": ["S1", "S2"]}, geometry=[shapely.box(0, 50, 9, 150), shapely.box(9, 50, 18, 150)], crs=32615
    )
    points = pd.DataFrame(
        {
            "machine": track.names[0],
            "time": track.time,
            "strip": np.where(track.easting < 9, "S1", "S2"),
            "pass_id": track.pass_id,
            "area_m2": 1.0,
            "standard_mass_kg": 1.0,
            "wet_mass_kg": 1.0,
            "flags": 0,
        }
    )
    table = weigh_by_monitor(points, track, strips)
    assert of(table, ["S1", "S2"])["ground_m2"].tolist() == pytest.approx([900.0, 450.0], rel=0.02)
