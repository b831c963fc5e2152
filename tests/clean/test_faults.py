"""Faults planted one at a time in straight passes, and nothing found where nothing is wrong."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from tests.clean.test_width import drive

from proofstrip.clean import clean_points, follow_machines
from proofstrip.clean.delay import Delay
from proofstrip.clean.position import duplicate, missing, off_pass, position_frozen, position_jump
from proofstrip.clean.sensor import flow_range, speed_range, spike, stuck_sensor
from proofstrip.clean.shift import find_cut
from proofstrip.clean.track import find_spans, find_turns, sum_within
from proofstrip.config import load_defaults
from proofstrip.errors import DataError
from proofstrip.flags import Flag, has_flag

SETTINGS = load_defaults().clean
PASS = [((0.0, 0.0), (0.0, 360.0))]


def log(n: int = 200, **columns: object) -> gpd.GeoDataFrame:
    """Records of one straight pass north at 1.8 m/s, one a second."""
    north = 4_500_000.0 + 1.8 * np.arange(1, n + 1)
    frame = pd.DataFrame(
        {
            "machine": "1",
            "time": np.arange(1.0, n + 1),
            "easting_m": 400_000.0,
            "northing_m": north,
            "duration_s": 1.0,
            "distance_m": 1.8,
            "speed_m_s": 1.8,
            "swath_m": 9.0,
            "mass_flow_kg_s": 6.0 + 0.3 * np.sin(np.arange(n) / 7) + 0.01 * (np.arange(n) % 3),
            "moisture_pct": 14.0,
            "header_down": pd.array([True] * n, dtype="boolean"),
        }
    ).assign(**columns)
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(frame["easting_m"], frame["northing_m"], crs=32615))


def flags_of(points: gpd.GeoDataFrame, delay_s: float = 0.0) -> pd.Series:
    track = follow_machines(points, SETTINGS)
    return clean_points(points, track, (Delay("1", delay_s, None, None, "declared", ""),), SETTINGS)["flags"]


def rows_with(points: gpd.GeoDataFrame, flag: Flag) -> list[int]:
    return np.flatnonzero(has_flag(flags_of(points), flag)).tolist()


def changed(column: str, rows: object, values: object, n: int = 200) -> gpd.GeoDataFrame:
    points = log(n)
    points.loc[points.index[rows], column] = values
    return points


def test_a_clean_pass_has_no_fault_but_its_two_ramps():
    flags = flags_of(log())
    assert ((flags & ~int(Flag.ENTRY_RAMP | Flag.EXIT_RAMP)) == 0).all()


def test_a_single_jump_of_two_metres_to_the_side_is_found_alone():
    assert rows_with(changed("easting_m", 100, 400_002.5), Flag.POSITION_JUMP) == [100]


def test_a_spell_of_displaced_positions_is_found_whole():
    assert rows_with(changed("easting_m", slice(100, 106), 400_020.0), Flag.POSITION_JUMP) == list(range(100, 106))


def test_two_jumps_do_not_blame_the_records_between_them():
    points = changed("northing_m", [80, 120], [4_500_180.0, 4_500_190.0])
    assert rows_with(points, Flag.POSITION_JUMP) == [80, 120]


def test_frozen_positions_are_found_and_the_catching_up_is_not_a_jump():
    points = log()
    points.loc[points.index[101:104], "northing_m"] = points["northing_m"].iloc[100]
    assert rows_with(points, Flag.POSITION_FROZEN) == [101, 102, 103]


def test_two_machines_in_one_log_are_refused_and_the_way_out_is_said():
    points = log()
    points.loc[points.index[::2], "easting_m"] += 300.0
    with pytest.raises(DataError, match=r"two machines stand in.*machine = \{ column"):
        follow_machines(points, SETTINGS)


def test_a_repeated_record_is_a_duplicate_and_the_first_is_kept():
    points = pd.concat([log(5), log(5).iloc[[2]]], ignore_index=True)
    assert duplicate(points).tolist() == [False] * 5 + [True]


def test_an_empty_value_is_missing_and_stays_in_the_frame():
    points = changed("mass_flow_kg_s", 50, np.nan)
    assert np.flatnonzero(missing(points)).tolist() == [50]
    flags = flags_of(points)
    assert len(flags) == 200
    assert has_flag(flags, Flag.MISSING).sum() == 1


def test_no_record_with_a_place_is_an_error():
    with pytest.raises(DataError, match="none of the 10 records has a time"):
        follow_machines(log(10, time=np.nan), SETTINGS)


def test_a_record_beside_its_own_pass_is_found_on_a_curve_too():
    track = drive(PASS)
    angle = track.northing / 150.0
    curve = replace(track, easting=150 * (1 - np.cos(angle)), northing=150 * np.sin(angle), heading=angle)
    assert not off_pass(curve, SETTINGS).any()
    shifted = np.where(np.arange(len(curve)) == 90, 1.4, 0.0)
    aside = replace(
        curve,
        easting=curve.easting + shifted * np.cos(curve.heading),
        northing=curve.northing - shifted * np.sin(curve.heading),
    )
    assert np.flatnonzero(off_pass(aside, SETTINGS)).tolist() == [90]


def test_a_contour_pass_is_no_turn_and_a_headland_turn_is():
    track = drive(PASS)
    for radius, turns in ((60.0, False), (7.0, True)):
        angle = track.odometer / radius
        bent = replace(track, easting=radius * (1 - np.cos(angle)), northing=radius * np.sin(angle))
        assert find_turns(bent, SETTINGS)[20:-20].all() == turns
        assert find_turns(bent, SETTINGS)[20:-20].any() == turns


def test_header_up_for_two_seconds_stays_in_the_pass_and_for_ten_ends_it():
    short = changed("header_down", slice(100, 102), False)
    assert rows_with(short, Flag.HEADER_UP) == []
    assert len(np.unique(follow_machines(short, SETTINGS).pass_id)) == 1
    long = changed("header_down", slice(100, 110), False)
    assert rows_with(long, Flag.HEADER_UP) == list(range(100, 110))
    assert follow_machines(long, SETTINGS).pass_id.max() == 2


def test_a_short_pass_is_flagged_whole():
    assert has_flag(flags_of(log(15)), Flag.SHORT_PASS).all()


@pytest.mark.parametrize("delay_s", [-5.0, 0.0, 7.3, 12.0])
def test_all_ground_is_counted_once_whatever_the_delay_and_the_speed(delay_s):
    track = drive(PASS)
    rng = np.random.default_rng(1)
    distance = track.distance * rng.uniform(0.5, 1.5, len(track))
    track = replace(track, distance=distance, odometer=sum_within(distance, track.log))
    cut = find_cut(track, np.full(len(track), delay_s))
    # Ground before the first or after the last record's stretch has no record; all other ground has one.
    kept = slice(13, None) if delay_s > 0 else slice(None, -13)
    whole = find_cut(track, np.zeros(len(track)))
    assert whole.area.sum() == pytest.approx((track.distance * track.cut_width).sum())
    shift = round(delay_s)
    if delay_s == shift:
        assert np.roll(whole.area, shift)[kept] == pytest.approx(cut.area[kept])


def test_records_before_the_grain_of_the_first_ground_are_part_of_the_entry():
    flags = flags_of(log(), delay_s=12.0)
    assert has_flag(flags, Flag.ENTRY_RAMP)[:12].all()


def test_lost_records_leave_their_ground_without_a_record_but_stretch_no_other():
    points = log().drop(index=range(100, 104)).reset_index(drop=True)
    track = follow_machines(points, SETTINGS)
    assert track.pass_id.max() == 1
    assert track.distance[100] == pytest.approx(9.0)
    cut = find_cut(track, np.zeros(len(track)))
    assert cut.area == pytest.approx(np.full(196, 1.8 * 9.0))
    assert find_spans(np.array([1.0, 2.0, 6.0]), np.ones(3), np.zeros(3, dtype=int)).tolist() == [1.0, 1.0, 4.0]


def test_equal_stamps_of_a_fast_log_keep_their_order():
    points = log(time=np.ceil(np.arange(1, 201) / 5), duration_s=0.2)
    track = follow_machines(points, SETTINGS)
    assert track.row.tolist() == list(range(200))
    assert np.diff(track.time).min() > 0.1


def test_unsorted_records_are_followed_by_their_time():
    points = log().sample(frac=1, random_state=1).reset_index(drop=True)
    track = follow_machines(points, SETTINGS)
    assert np.diff(track.northing) == pytest.approx(1.8)


def test_positions_written_at_the_start_of_their_record_are_moved_to_its_end():
    length = np.tile([1.0, 2.0, 3.0], 40)
    time = np.cumsum(length)
    points = log(120, time=time, duration_s=length, distance_m=1.8 * length)
    points["northing_m"] = 4_500_000.0 + np.r_[0.0, np.cumsum(1.8 * length)[:-1]]
    track = follow_machines(points, SETTINGS)
    assert track.northing == pytest.approx(4_500_000.0 + np.cumsum(1.8 * length))


def test_one_wild_record_is_a_spike_and_ten_are_the_crop():
    level = np.log(6.0) + 0.02 * np.sin(np.arange(200.0))
    wild = level.copy()
    wild[100] += 0.8
    ones = np.ones(200, dtype=int)
    assert np.flatnonzero(spike(wild, np.exp(wild), ones, 1.0, SETTINGS)).tolist() == [100]
    patch = level.copy()
    patch[100:110] -= 0.8
    assert not spike(patch, np.exp(patch), ones, 1.0, SETTINGS).any()


def test_a_repeated_flow_is_a_stuck_sensor_and_bare_ground_is_not():
    flow = log()["mass_flow_kg_s"].to_numpy(copy=True)
    ones, group = np.ones(200), np.zeros(200, dtype=int)
    flow[50:70] = 6.0
    flow[100:130] = 0.0
    flow[97:100], flow[130:133] = (4.0, 2.0, 0.5), (0.5, 2.0, 4.0)  # grain is mixed on its way
    assert np.flatnonzero(stuck_sensor(flow, ones, group, SETTINGS)).tolist() == list(range(50, 70))


def test_a_negative_or_impossible_flow_is_out_of_range_and_zero_is_not():
    density = np.full(100, 0.5)
    density[[3, 4]] = 0.0, 2.0
    flow = np.where(np.arange(100) == 5, -1.0, 6.0)
    usable = np.ones(100, dtype=bool)
    usable[4] = True
    found = flow_range(flow, density, usable, SETTINGS)
    assert np.flatnonzero(found).tolist() == [4, 5]


def test_speed_flags_inform_and_leave_the_record_in_the_strip():
    speed = np.full(50, 1.8)
    speed[10] = 0.5
    assert np.flatnonzero(speed_range(speed, np.ones(50, dtype=int), SETTINGS)).tolist() == [10]
    points = log()
    points.loc[points.index[100:103], "distance_m"] = 0.6
    points["northing_m"] = 4_500_000.0 + points["distance_m"].cumsum()
    cleaned = clean_points(
        points, follow_machines(points, SETTINGS), (Delay("1", 0.0, None, None, "declared", ""),), SETTINGS
    )
    slow = has_flag(cleaned["flags"], Flag.SPEED_RANGE)
    assert slow.sum() >= 3
    assert cleaned.loc[slow & (cleaned["flags"] == int(Flag.SPEED_RANGE)), "usable"].all()


def test_position_filters_take_an_empty_or_tiny_track():
    track = drive([((0.0, 0.0), (0.0, 3.0))])
    assert position_jump(track, SETTINGS).tolist() == [False]
    assert position_frozen(track).tolist() == [False]
