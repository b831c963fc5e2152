"""Times, against RFC 3339, section 5.8, and the clock of the C library."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pytest

from proofstrip.read.times import read_times, spread_ties


def texts(*values: str | None) -> pa.ChunkedArray:
    return pa.chunked_array([pa.array(values, pa.string())])


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        # RFC 3339, section 5.8: examples, and what it says they are in UTC.
        ("1985-04-12T23:20:50.52Z", dt.datetime(1985, 4, 12, 23, 20, 50, 520_000, dt.UTC)),
        ("1996-12-19T16:39:57-08:00", dt.datetime(1996, 12, 20, 0, 39, 57, 0, dt.UTC)),
        ("1937-01-01T12:00:27.87+00:20", dt.datetime(1937, 1, 1, 11, 40, 27, 870_000, dt.UTC)),
    ],
)
def test_iso_text_with_zone(text: str, utc: dt.datetime) -> None:
    times = read_times(texts(text))
    assert times.zoned
    np.testing.assert_allclose(times.seconds, [utc.timestamp()], atol=1e-6)


def test_iso_text_without_zone_is_taken_as_written() -> None:
    times = read_times(texts("2009-10-21 13:01:19", None, "2009-10-21 13:01:20"))
    assert not times.zoned
    # date -u -d @1256130079 gives Wed Oct 21 13:01:19 UTC 2009.
    np.testing.assert_array_equal(times.seconds, [1256130079, np.nan, 1256130080])


@pytest.mark.parametrize(
    ("value", "how"),
    [(1256130079.0, "unix seconds"), (1256130079000.0, "unix milliseconds")],
)
def test_unix_times_are_told_by_their_size(value: float, how: str) -> None:
    times = read_times(pa.chunked_array([[value, value]]))
    assert times.how == how
    np.testing.assert_array_equal(times.seconds, [1256130079.0] * 2)


def test_small_numbers_are_seconds_since_the_start() -> None:
    times = read_times(pa.chunked_array([[0.0, 3.0, 6.0]]))
    assert (times.how, times.seconds.tolist()) == ("seconds since the start", [0.0, 3.0, 6.0])


def test_minutes_since_the_start_need_the_unit() -> None:
    assert read_times(pa.chunked_array([[0.0, 0.05, 0.1]]), unit="min").seconds.tolist() == [0.0, 3.0, 6.0]


def test_count_of_days_is_refused() -> None:
    times = read_times(pa.chunked_array([[45_000.0, 45_000.0000116, 45_000.0000231]]))
    assert times.seconds is None
    assert "it counts days, as spreadsheets do (45000.000000); format it as text" in times.problem


def test_date_and_time_columns_are_joined() -> None:
    times = read_times(texts("13:01:19", "13:01:21"), texts("2009-10-21", "2009-10-21 00:00:00"))
    assert times.seconds.tolist() == [1256130079.0, 1256130081.0]


def test_clock_alone_counts_days_over_midnight() -> None:
    times = read_times(texts("23:59:59", "00:00:01"))
    assert times.seconds.tolist() == [86399.0, 86401.0]


def test_twelve_hour_clock() -> None:
    assert read_times(texts("10/21/2009 1:01:19 PM")).seconds.tolist() == [1256130079.0]


def test_order_of_day_and_month_is_told_by_a_day_above_twelve() -> None:
    assert read_times(texts("10/21/2009 13:01:19")).how == "date as month/day/year"
    assert read_times(texts("21.10.2009 13:01:19")).seconds.tolist() == [1256130079.0]


def test_order_of_day_and_month_that_stays_open_is_asked() -> None:
    times = read_times(texts("10/05/2021 12:00:00", "10/05/2021 12:00:01"))
    assert times.seconds is None
    assert "month/day/year" in times.problem and "day/month/year" in times.problem


def test_order_of_day_and_month_as_the_user_says() -> None:
    october = read_times(texts("10/05/2021 12:00:00"), unit="month/day/year")
    may = read_times(texts("10/05/2021 12:00:00"), unit="day/month/year")
    assert october.seconds.tolist() == [dt.datetime(2021, 10, 5, 12, tzinfo=dt.UTC).timestamp()]
    assert may.seconds.tolist() == [dt.datetime(2021, 5, 10, 12, tzinfo=dt.UTC).timestamp()]


def test_same_day_and_month_need_no_answer() -> None:
    assert read_times(texts("10/10/2021 12:00:00")).seconds is not None


@pytest.mark.parametrize("text", ["soon", "12-Okt", "99:99:99"])
def test_text_that_is_no_time_is_quoted(text: str) -> None:
    times = read_times(texts(text))
    assert times.seconds is None
    assert repr(text) in times.problem


def test_arrow_timestamps() -> None:
    stamps = pa.chunked_array([pa.array([dt.datetime(2009, 10, 21, 13, 1, 19)], pa.timestamp("ms"))])
    assert read_times(stamps).seconds.tolist() == [1256130079.0]


def test_clock_coarser_than_the_log_is_spread() -> None:
    time, share = spread_ties(np.repeat([0.0, 1.0, 2.0], 2), np.zeros(6, dtype="int64"))
    assert share == pytest.approx(0.5)
    assert time.tolist() == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5]


def test_few_repeated_times_stay_as_they_are() -> None:
    repeated = np.array([0.0, 1.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    time, share = spread_ties(repeated, np.zeros(7, dtype="int64"))
    assert share == 0.0
    assert time.tolist() == repeated.tolist()
