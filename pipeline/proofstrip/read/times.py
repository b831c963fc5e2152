"""Times: ISO text, date and time columns, unix seconds or milliseconds, or seconds since the start of the log."""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from proofstrip.read.delimited import NUMBER
from proofstrip.read.table import Booleans, Floats, Integers
from proofstrip.read.values import is_text, to_numbers

# 1e8 s is March 1973, 1e11 ms likewise: no log of a yield monitor is older, and none runs for three years.
UNIX_S = 1e8
UNIX_MS = 1e11
DAY_S = 86_400.0
# Days since 30 December 1899: 1 January 1990 to 2100.
SPREADSHEET_DAYS = (32_874.0, 73_051.0)
DAY_ORDERS = {"month/day/year": ("%m/%d/%Y", "%m/%d/%y"), "day/month/year": ("%d/%m/%Y", "%d/%m/%y")}
CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%I:%M:%S %p", "%H:%M", "%I:%M %p")
# A zone at the end of a time in ISO 8601: Z, +02:00, +0200, or +02 after the seconds.
ZONE = r"([Zz]|[+-]\d\d:?\d\d|:\d\d([.,]\d+)?[+-]\d\d)$"
CLOCK = re.compile(r"\d{1,2}:\d\d")
TRIED = 200
# Repeated records are a few in a hundred; a clock in whole seconds at two records a second gives a half.
MAX_TIES = 0.3


@dataclass(frozen=True)
class Times:
    """A column of times.

    Attributes
    ----------
    seconds : numpy.ndarray of float64 or None
        None when the texts can be read in two ways or in none.
    how : str
        How it was read, for people.
    zoned : bool
        The zone is known: UTC, or the log's own start.
    problem : str
        Why there are no seconds.
    dated : bool
        They count from 1970.
    local : numpy.ndarray of bool or None
        Records that name no zone, where others name one.
    """

    seconds: Floats | None
    how: str
    zoned: bool = True
    problem: str = ""
    dated: bool = True
    local: Booleans | None = None


def read_times(column: pa.ChunkedArray, dates: pa.ChunkedArray | None = None, unit: str = "") -> Times:
    """Turn a column into seconds.

    Parameters
    ----------
    column : pyarrow.ChunkedArray
        Of numbers, texts or timestamps.
    dates : pyarrow.ChunkedArray or None
        The day, where it stands in a column of its own.
    unit : str
        What the user or the header says: a unit of time, ``month/day/year`` or ``day/month/year``.

    Returns
    -------
    Times

    Examples
    --------
    >>> read_times(pa.chunked_array([["2021-10-05T12:00:00Z"]])).seconds.tolist()
    [1633435200.0]
    """
    if pa.types.is_timestamp(column.type):
        seconds = to_numbers(column.cast(pa.timestamp("us", tz=column.type.tz)).cast(pa.int64())).values / 1e6
        return Times(seconds, "date and time", zoned=column.type.tz is not None)
    if pa.types.is_dictionary(column.type):
        column = column.cast(pa.string())
    if not is_text(column.type) and not pa.types.is_time(column.type):
        return _read_numbers(to_numbers(column).values, unit)
    texts = _as_text(column)
    sample = [text for text in texts.slice(0, TRIED).to_pylist() if text]
    if dates is not None and sample and CLOCK.match(sample[0]):
        # A date column that carries an empty clock of its own lends only its day.
        days = pc.replace_substring_regex(_as_text(dates), r"[ T]00:00:00(\.0+)?$", "")
        return _read_texts(pc.binary_join_element_wise(days, texts, " "), unit)
    if sum(bool(NUMBER.fullmatch(text)) for text in sample) > len(sample) / 2:
        return _read_numbers(to_numbers(column).values, unit)
    return _read_texts(texts, unit)


def spread_ties(time: Floats, machine: Integers) -> tuple[Floats, float]:
    """Spread records that share a time, because the clock is coarser than the log, evenly over the clock's step.

    Parameters
    ----------
    time : numpy.ndarray of float64
        [s], in the order of the file.
    machine : numpy.ndarray of int64

    Returns
    -------
    tuple of numpy.ndarray and float
        Times, and the share of records that shared one; unchanged when few do: those are repeated records.
    """
    run = np.concatenate([[True], (np.diff(time) != 0) | (np.diff(machine) != 0)])
    share = 1.0 - run.mean() if len(time) else 0.0
    steps = np.diff(time[run])
    if share < MAX_TIES or not (steps > 0).any():
        return time, 0.0
    start = np.flatnonzero(run)
    length = np.diff(np.append(start, len(time)))
    place = np.arange(len(time)) - np.repeat(start, length)
    return time + place / np.repeat(length, length) * float(np.median(steps[steps > 0])), float(share)


def _read_numbers(values: Floats, unit: str) -> Times:
    """Tell unix seconds, unix milliseconds and seconds since the start apart by their size."""
    scale = {"ms": 0.001, "min": 60.0}.get(unit, 1.0)
    if np.isnan(values).all():
        return Times(None, "", problem="it is empty")
    finite = values[np.isfinite(values)]
    size = float(np.median(finite))
    if size >= UNIX_MS and unit != "s":
        return Times(values / 1000.0, "unix milliseconds")
    if size >= UNIX_S and unit not in ("ms", "min"):
        return Times(values, "unix seconds")
    steps = np.abs(np.diff(finite))
    usual = float(np.median(steps[steps > 0])) * scale if (steps > 0).any() else 1.0
    if SPREADSHEET_DAYS[0] <= size <= SPREADSHEET_DAYS[1] and 0.01 <= usual * DAY_S <= 600.0:
        return Times(
            None,
            "",
            problem=f"it counts days, as spreadsheets do ({finite[0]:.6f}); format it as text such as "
            "2021-10-05T12:00:00 and export again",
        )
    if not 0.01 <= usual <= 600.0:
        return Times(
            None, "", problem=f"its steps are {usual:g} if it counts seconds, which no log does; is it a count of days?"
        )
    return Times(values * scale, "seconds since the start", dated=False)


def _read_texts(column: pa.ChunkedArray, unit: str) -> Times:
    """Read texts: ISO, a clock alone, or a day in the American or European order."""
    texts = pd.Series(column.to_pandas(), dtype="object").replace("", None)
    given = texts.dropna()
    if given.empty:
        return Times(None, "", problem="it is empty")
    first = str(given.iloc[0])
    if CLOCK.match(first):
        return _read_clock(texts)
    iso = pd.to_datetime(texts, format="ISO8601", utc=True, errors="coerce")
    if iso.notna().sum() > 0.5 * len(given):
        named = _names_zone(column)
        some = named[texts.notna()].any()
        mixed = some and not named[texts.notna()].all()
        return Times(_epoch(iso), "ISO date and time", bool(some and not mixed), local=~named if mixed else None)
    orders = {order: read for order in DAY_ORDERS if (read := _read_day_order(texts, order)) is not None}
    if unit in orders:
        return Times(orders[unit], f"date as {unit}", zoned=False)
    if not orders:
        return Times(
            None,
            "",
            problem=f"{first!r} is no date and time that can be read; write ISO 8601, such as 2021-10-05T12:00:00",
        )
    readings = list(orders.values())
    if len(readings) == 1 or np.array_equal(readings[0], readings[1], equal_nan=True):
        return Times(readings[0], f"date as {next(iter(orders))}", zoned=False)
    return Times(None, "", problem=f"{first!r} can be read as month/day/year and as day/month/year")


def _names_zone(column: pa.ChunkedArray) -> Booleans:
    """Tell which texts end with a zone."""
    named = pc.fill_null(pc.match_substring_regex(column, ZONE), False)
    return np.asarray(named.to_numpy(), dtype=np.bool_)


def _read_clock(texts: pd.Series) -> Times:
    """Read times of day without a date; a step back by more than half a day is midnight."""
    for clock in CLOCKS:
        if pd.to_datetime(texts.dropna().head(TRIED), format=clock, errors="coerce").notna().all():
            parsed = pd.to_datetime(texts, format=clock, errors="coerce", utc=True)
            seconds = _epoch(parsed) - _epoch(parsed.dt.normalize())
            back = np.diff(pd.Series(seconds).ffill().to_numpy(), prepend=seconds[:1]) < -DAY_S / 2
            return Times(
                seconds + DAY_S * np.cumsum(back), "time of day, days counted from the first", False, "", False
            )
    return Times(None, "", problem=f"{texts.dropna().iloc[0]!r} is no time of day that can be read")


def _read_day_order(texts: pd.Series, order: str) -> Floats | None:
    """Read days as month/day/year or the reverse; none when that fails for most."""
    flat = texts.str.strip().str.replace(r"^(\d{1,2})[.-](\d{1,2})[.-]", r"\1/\2/", regex=True)
    head = flat.dropna().head(TRIED)
    for day in DAY_ORDERS[order]:
        for clock in CLOCKS:
            shape = f"{day} {clock}"
            if pd.to_datetime(head, format=shape, errors="coerce").isna().any():
                continue
            parsed = pd.to_datetime(flat, format=shape, errors="coerce", utc=True)
            if parsed.isna().sum() <= 0.5 * len(flat) and not _rejected(parsed, flat):
                return _epoch(parsed)
    return None


def _rejected(parsed: pd.Series, texts: pd.Series) -> bool:
    """Tell whether a day order leaves out days that are written: the 13th month."""
    lost = parsed.isna() & texts.notna()
    return bool(lost.any() and texts[lost].str.match(r"\d{1,2}/\d{1,2}/\d{2}").any())


def _epoch(parsed: pd.Series) -> Floats:
    """Give seconds since 1970 of parsed times; NaN where there is none."""
    seconds = parsed.astype("datetime64[us, UTC]").astype("int64").to_numpy() / 1e6
    return np.where(parsed.isna(), np.nan, seconds)


def _as_text(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Cast to trimmed text."""
    return pc.utf8_trim_whitespace(column.cast(pa.string()))
