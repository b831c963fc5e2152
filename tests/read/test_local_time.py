"""Local clocks: both steps of daylight saving, files that name a zone and files that do not, clocks set back.

Clocks of Chicago are set back from 2:00 to 1:00 on the first Sunday of November and put forward from 2:00 to 3:00 on
the second Sunday of March (15 U.S.C. 260a); those of the European Union change at 1:00 UTC on the last Sundays of
October and March (Directive 2000/84/EC, articles 2 and 3). In 2024: 3 November, 10 March; 27 October, 31 March.
"""

import datetime as dt
from collections.abc import Callable

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from proofstrip.days import name_days
from proofstrip.errors import DataError
from proofstrip.read import Harvest
from proofstrip.read.local_time import ahead_of_utc, find_offsets, to_utc
from proofstrip.read.times import read_times

Make = Callable[..., pd.DataFrame]
Read = Callable[..., Harvest]
Codes = Callable[[Harvest], list[str]]
CHICAGO = "America/Chicago"


def stamp(text: str) -> float:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC).timestamp()


def clock(utc: np.ndarray, *changes: tuple[float, float]) -> list[str]:
    """Write what a clock shows at times in UTC; each change is a moment in UTC and the offset from then on [h]."""
    hours = np.select([utc >= since for since, _ in reversed(changes)], [offset for _, offset in reversed(changes)])
    return [f"{dt.datetime.fromtimestamp(second, dt.UTC):%Y-%m-%d %H:%M:%S}" for second in utc + 3600 * hours]


def message(harvest: Harvest, code: str) -> str:
    return next(notice.message for notice in harvest.notices if notice.code == code)


def autumn(make_log: Make, rows: int = 400) -> tuple[pd.DataFrame, np.ndarray]:
    """Log over the step back of Chicago, at 7:00 UTC, and give the true times."""
    utc = stamp("2024-11-03T07:00:00") - rows // 2 + np.arange(rows)
    log = make_log(rows)
    return log.assign(Time=clock(utc, (0, -5), (stamp("2024-11-03T07:00:00"), -6))), utc


def test_the_hour_that_comes_twice_is_placed_by_the_order_of_the_file(make_log: Make, read: Read) -> None:
    log, utc = autumn(make_log)
    assert log["Time"].iloc[199:201].tolist() == ["2024-11-03 01:59:59", "2024-11-03 01:00:00"]
    harvest = read(log, time_zone=CHICAGO)
    assert harvest.points["time"].tolist() == utc.tolist()
    assert "400 records of the hour that came twice are placed" in message(harvest, "hour_twice_placed")
    assert not {"time_unsorted", "time_zone", "clock_set_back"} & {one.code for one in harvest.notices}
    assert harvest.points["utc_offset_s"].iloc[[0, -1]].tolist() == [-18_000.0, -21_600.0]


def test_durations_go_on_over_the_step_back(make_log: Make, read: Read) -> None:
    log, _ = autumn(make_log)
    assert read(log.drop(columns="Duration(s)"), time_zone=CHICAGO).points["duration_s"].tolist() == [1.0] * 400


def test_a_pause_over_the_step_back_keeps_its_length(make_log: Make, read: Read) -> None:
    # 01:50 summer time, forty minutes of rest, 01:30 winter time.
    utc = np.r_[stamp("2024-11-03T06:50:00") + np.arange(30), stamp("2024-11-03T07:30:00") + np.arange(30)]
    log = make_log(60).assign(Time=clock(utc, (0, -5), (stamp("2024-11-03T07:00:00"), -6)))
    assert read(log, time_zone=CHICAGO).points["time"].tolist() == utc.tolist()


@pytest.mark.parametrize(("start", "first"), [("2024-11-03T00:59:00", True), ("2024-11-03T01:02:00", False)])
def test_a_log_within_one_of_the_hours_is_placed_by_what_joins_it(start: str, first: bool) -> None:
    # From before the hour into it, and from within it to after it: one of the two only fits without a break.
    wall = stamp(start) + np.arange(0, 3570, 30.0)
    found = to_utc(wall, np.zeros(len(wall), dtype=np.int64), CHICAGO)
    assert not found.problem
    inside = (wall >= stamp("2024-11-03T01:00:00")) & (wall < stamp("2024-11-03T02:00:00"))
    assert set((found.seconds - wall)[inside] / 3600) == {5.0 if first else 6.0}
    assert [code for code, _ in found.said] == ["hour_twice_placed"]


@pytest.mark.parametrize(
    ("wall", "why"),
    [
        (stamp("2024-11-03T01:10:00") + np.arange(60.0), "no record before or after joins it"),
        (stamp("2024-11-03T00:50:00") + np.arange(0, 6000, 10.0), "goes through it once without a break"),
        (stamp("2024-11-03T01:10:00") + 600.0 * np.array([0, 2, 1, 3, 0, 4]), "steps back 2 times in it"),
    ],
)
def test_where_order_cannot_place_the_hour_it_is_said(wall: np.ndarray, why: str) -> None:
    found = to_utc(wall, np.zeros(len(wall), dtype=np.int64), CHICAGO)
    ((code, sentence),) = found.said
    assert code == "hour_twice" and why in sentence and "may be an hour early" in sentence
    inside = (wall >= stamp("2024-11-03T01:00:00")) & (wall < stamp("2024-11-03T02:00:00"))
    assert set((found.seconds - wall)[inside]) == {18_000.0}


def test_two_machines_in_a_file_are_placed_each_by_its_own_order() -> None:
    utc = np.arange(stamp("2024-11-03T06:50:00"), stamp("2024-11-03T07:10:00"), 10.0)
    wall = utc - np.where(utc >= stamp("2024-11-03T07:00:00"), 21_600.0, 18_000.0)
    both = to_utc(np.repeat(wall, 2), np.tile([0, 1], len(wall)), CHICAGO)
    assert both.seconds.tolist() == np.repeat(utc, 2).tolist()


def test_over_the_spring_gap_seconds_go_on(make_log: Make, read: Read, codes: Codes) -> None:
    utc = stamp("2024-03-10T07:59:00") + np.arange(120)
    log = make_log(120).assign(Time=clock(utc, (0, -6), (stamp("2024-03-10T08:00:00"), -5)))
    assert log["Time"].iloc[59:61].tolist() == ["2024-03-10 01:59:59", "2024-03-10 03:00:00"]
    harvest = read(log, time_zone=CHICAGO)
    assert harvest.points["time"].tolist() == utc.tolist()
    assert codes(harvest) == []


def test_a_clock_that_is_put_forward_late_is_followed_and_said(make_log: Make, read: Read) -> None:
    utc = stamp("2024-03-10T07:59:00") + np.arange(180)
    log = make_log(180).assign(Time=clock(utc, (0, -6), (stamp("2024-03-10T08:01:00"), -5)))
    harvest = read(log, time_zone=CHICAGO)
    assert harvest.points["time"].tolist() == utc.tolist()
    assert "60 records from 2024-03-10 02:00:00 to 02:00:59 have times that America/Chicago left out" in message(
        harvest, "time_left_out"
    )


def test_a_clock_that_is_never_put_forward_is_refused_with_its_zone(make_log: Make, read: Read) -> None:
    utc = stamp("2024-03-10T07:50:00") + 60 * np.arange(80)
    log = make_log(80).assign(Time=clock(utc, (0, -6)), **{"Duration(s)": 60.0})
    north = log["Latitude"].iloc[0] + (log["Latitude"].iloc[1] - log["Latitude"].iloc[0]) * 60 * np.arange(80)
    log = log.assign(Latitude=north).drop(columns=["Distance(ft)", "Speed(mph)"])
    with pytest.raises(DataError, match=r"60 records .* that America/Chicago left out .*such as \"Etc/GMT\+6\""):
        read(log, time_zone=CHICAGO)
    assert read(log, time_zone="Etc/GMT+6").points["time"].tolist() == utc.tolist()


def test_europe_changes_at_one_o_clock_utc() -> None:
    berlin = stamp("2024-10-27T02:30:00")
    first, second = find_offsets(np.array([berlin]), "Europe/Berlin")
    assert (first.tolist(), second.tolist()) == ([7200.0], [3600.0])
    before = stamp("2024-03-31T00:59:59")
    assert ahead_of_utc(np.array([before, before + 1, np.nan]), "Europe/Berlin").tolist() == [3600.0, 7200.0, 0.0]


def test_a_step_of_half_an_hour() -> None:
    # Lord Howe Island: half an hour, on 7 April 2024 from 2:00 to 1:30 (IANA time zone database, file australasia).
    utc = np.arange(stamp("2024-04-06T14:50:00"), stamp("2024-04-06T15:10:00"), 10.0)
    wall = utc + np.where(utc >= stamp("2024-04-06T15:00:00"), 37_800.0, 39_600.0)
    found = to_utc(wall, np.zeros(len(wall), dtype=np.int64), "Australia/Lord_Howe")
    assert found.seconds.tolist() == utc.tolist()


def test_files_with_and_without_a_zone_need_the_setting(make_log: Make, read: Read) -> None:
    local = make_log().assign(Time=clock(1_730_000_000 + np.arange(30.0), (0, -5)))
    zoned = make_log(start=100).assign(Time=[f"{text}Z" for text in clock(1_730_000_100 + np.arange(30.0), (0, 0))])
    with pytest.raises(
        DataError, match=r"log1.csv: its times name no zone, while those of log2.csv are UTC .*time_zone"
    ):
        read(local, zoned)
    points = read(local, zoned, time_zone=CHICAGO).points
    assert points["time"].tolist() == [*(1_730_000_000 + np.arange(30.0)), *(1_730_000_100 + np.arange(30.0))]
    assert points["machine"].unique().tolist() == ["1"]


def test_unix_seconds_are_utc_and_do_not_mix_with_local_times(make_log: Make, read: Read) -> None:
    local = make_log(start=100).assign(Time=clock(1_700_000_100 + np.arange(30.0), (0, -6)))
    with pytest.raises(DataError, match="1 files without a zone, 1 with"):
        read(make_log(), local)


def test_a_column_that_names_a_zone_in_some_records_is_asked(make_log: Make, read: Read) -> None:
    utc = 1_730_000_000 + np.arange(30.0)
    times = clock(utc, (0, -5))
    times[10:] = [f"{text}-05:00" for text in times[10:]]
    log = make_log().assign(Time=times)
    with pytest.raises(DataError, match=r"names a zone or UTC in 20 records and none in 10; .*add to \[harvest\]"):
        read(log)
    assert read(log, time_zone=CHICAGO).points["time"].tolist() == utc.tolist()


@pytest.mark.parametrize("zone", ["Z", "-05:00", "-0500", "-05"])
def test_every_form_of_a_zone_is_one(zone: str) -> None:
    # ISO 8601-1:2019, 5.3.4: Z, hours with or without minutes.
    times = read_times(pa.chunked_array([[f"2024-10-27T03:33:20{zone}"]]))
    assert times.zoned and times.seconds is not None
    assert times.seconds[0] == stamp("2024-10-27T03:33:20") + (0 if zone == "Z" else 18_000)


def test_a_date_alone_is_no_zone() -> None:
    assert not read_times(pa.chunked_array([["2024-10-27", "2024-10-28"]])).zoned


def test_without_a_zone_times_stay_as_written_and_the_setting_is_named(make_log: Make, read: Read) -> None:
    harvest = read(make_log().assign(Time=clock(1_730_000_000 + np.arange(30.0), (0, -5))))
    assert harvest.points["time"].iloc[0] == 1_730_000_000 - 18_000
    assert "[harvest] time_zone" in message(harvest, "time_zone")


def test_without_a_zone_a_clock_set_back_in_the_midst_of_a_pass_is_mended(make_log: Make, read: Read) -> None:
    log, utc = autumn(make_log)
    harvest = read(log)
    assert harvest.points["time"].tolist() == (utc - 18_000).tolist()
    assert "set back by an hour at row 201" in message(harvest, "clock_set_back")
    assert "time_unsorted" not in [notice.code for notice in harvest.notices]


def test_a_clock_without_a_date_is_mended_too(make_log: Make, read: Read) -> None:
    log, _ = autumn(make_log)
    harvest = read(log.assign(Time=log["Time"].str.slice(11)), time_zone=CHICAGO)
    assert np.diff(harvest.points["time"]).tolist() == [1.0] * 399
    assert {"clock_set_back", "time_zone_unused"} <= {notice.code for notice in harvest.notices}


def test_without_a_zone_a_step_back_that_does_not_join_is_said_and_left(make_log: Make, read: Read) -> None:
    log, utc = autumn(make_log)
    apart = pd.concat([log.iloc[:200], log.iloc[300:]], ignore_index=True)
    harvest = read(apart)
    assert harvest.points["time"].iloc[200] == utc[300] - 21_600
    assert "time steps back by 58 min at row 201" in message(harvest, "clock_perhaps_set_back")
    assert "time_unsorted" in [notice.code for notice in harvest.notices]


def test_records_out_of_order_are_no_clock_set_back(make_log: Make, read: Read, codes: Codes) -> None:
    log = make_log(60).assign(Time=clock(1_730_000_000 + np.r_[np.arange(30, 60.0), np.arange(30.0)], (0, -5)))
    assert not {"clock_set_back", "clock_perhaps_set_back"} & set(codes(read(log)))


def test_days_are_those_of_the_zone() -> None:
    # Work that begins at 8:00 in Perth, on the 8th, is still the 7th in UTC.
    begin = stamp("2024-10-08T00:00:00") - 1800.0
    frame = pd.DataFrame({"machine": "a", "time": begin + np.arange(3.0)})
    assert name_days(frame).unique().tolist() == ["2024-10-07"]
    assert name_days(frame.assign(utc_offset_s=28_800.0)).unique().tolist() == ["2024-10-08"]
