"""One time log: TLGnnnnn.XML says what a record holds, TLGnnnnn.BIN holds the records, of unequal length.

A record is the local time, the fields of the position that the XML leaves empty, a count, and as many values, each with
the number of its channel. Records are found one after the other, everything else is looked up by numpy.

References
----------
ISO 11783-10, time log files; field order, types and factors as in the TimeLog schema V4-3 of the repository
dev4Agriculture/isoxml-dotnet (Apache-2.0).
"""

from array import array
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from proofstrip.errors import DataError
from proofstrip.read.safe_xml import parse_xml
from proofstrip.read.table import Booleans, Floats, Integers
from proofstrip.read.task_log.task_data import read_ddi, to_int

# Attribute of PTN -> name, type and factor to degrees, metres or plain numbers.
FIELDS = {
    "A": ("latitude", "<i4", 1e-7),
    "B": ("longitude", "<i4", 1e-7),
    "C": ("elevation", "<i4", 1e-3),
    "D": ("status", "u1", 1.0),
    "E": ("pdop", "<u2", 0.1),
    "F": ("hdop", "<u2", 0.1),
    "G": ("satellites", "u1", 1.0),
    "H": ("utc_ms", "<u4", 1.0),
    "I": ("utc_day", "<u2", 1.0),
}
# In TLGnnnnn.XML a constant position is written in degrees and metres, as everywhere in XML.
WRITTEN_PLAIN = ("latitude", "longitude", "elevation")
CLOCK_BYTES = 6
VALUE_BYTES = 5
# A value names its channel in one byte.
CHANNELS = 256
# Days since 1 January 1980: 2000-01-01 to 2041-01-01. A leap second may follow the last millisecond of a day.
DAYS = (7_305, 22_281)
DAY_MS = 86_401_000
# ISO counts from 1980-01-01, unix time from 1970-01-01.
DAYS_1970_TO_1980 = 3_652
# The ends of the range stand for "no value" (common practice, no source).
NO_VALUE = (-(2**31), 2**31 - 1)


@dataclass(frozen=True)
class Channel:
    """A logged quantity of a device element, by its number in ISO 11783-11 (DDI)."""

    ddi: int
    element: str


@dataclass(frozen=True)
class Layout:
    """What TLGnnnnn.XML says.

    Attributes
    ----------
    fields : tuple of str
        Attributes of PTN that are in every record, in order; an attribute of a second PTN is marked by a prime.
    constant : dict of str to float
        Fields that have one value throughout.
    channels : tuple of Channel
    first : tuple of int or None
        Value of each channel before the first record that has one.
    """

    fields: tuple[str, ...]
    constant: dict[str, float]
    channels: tuple[Channel, ...]
    first: tuple[int | None, ...]


def read_layout(path: Path) -> Layout:
    """Read TLGnnnnn.XML.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    Layout

    Raises
    ------
    DataError
        When it is not the description of a time log.
    """
    root = parse_xml(path)
    if root.tag != "TIM":
        raise DataError(f"{path.name}: the XML starts with {root.tag[:60]!r}, not 'TIM'; it describes no time log.")
    fields: list[str] = []
    constant: dict[str, float] = {}
    for number, position in enumerate(root.findall("PTN")):
        for key, (name, _, factor) in FIELDS.items():
            text = position.get(key)
            if text == "":
                fields.append(key + "'" * number)
            elif text is not None and not number:
                constant[name] = _read_constant(path, key, text) * (1.0 if name in WRITTEN_PLAIN else factor)
    channels, first = [], []
    for value in root.findall("DLV"):
        ddi = read_ddi(value.get("A"))
        if ddi is None:
            raise DataError(f"{path.name}: channel {value.get('A')!r} is no hexadecimal number; export the log again.")
        channels.append(Channel(ddi, value.get("C", "")))
        first.append(to_int(value.get("B")))
    return Layout(tuple(fields), constant, tuple(channels), tuple(first))


@dataclass(frozen=True)
class TimeLog:
    """The records of one time log; columns are looked up when they are asked for.

    Attributes
    ----------
    layout : Layout
    data : numpy.ndarray of uint8
        The bytes of TLGnnnnn.BIN.
    starts : numpy.ndarray of int64
        Where each record starts.
    left_bytes : int
        After the last whole record.
    """

    layout: Layout
    data: npt.NDArray[np.uint8]
    starts: Integers
    left_bytes: int

    @property
    def head_bytes(self) -> int:
        """Bytes of a record before the count of its values."""
        return head_bytes(self.layout)

    @cached_property
    def dated(self) -> Booleans:
        """Which records have a date and a clock that can be; a display may log before its receiver knows the time."""
        day, clock = self._look_up(4, "<u2"), self._look_up(0, "<u4")
        return np.asarray((day >= DAYS[0]) & (day <= DAYS[1]) & (clock < DAY_MS))

    @cached_property
    def local_s(self) -> Floats:
        """The local clock, as seconds since 1970; NaN where the date cannot be."""
        return np.where(self.dated, _seconds(self._look_up(4, "<u2"), self._look_up(0, "<u4")), np.nan)

    @cached_property
    def utc_s(self) -> Floats:
        """The receiver's own clock, as seconds since 1970; NaN where it is not logged."""
        day, clock = self.field("utc_day"), self.field("utc_ms")
        good = (day >= DAYS[0]) & (day <= DAYS[1]) & (clock < DAY_MS)
        return np.where(good, _seconds(day, clock), np.nan)

    def field(self, name: str) -> Floats:
        """Give a field of the position in degrees, metres or plain numbers; NaN where it is not logged."""
        key, kind, factor = next((key, kind, factor) for key, (own, kind, factor) in FIELDS.items() if own == name)
        if key not in self.layout.fields:
            return np.full(len(self.starts), self.layout.constant.get(name, np.nan))
        before = self.layout.fields[: self.layout.fields.index(key)]
        raw = self._look_up(CLOCK_BYTES + sum(_width(one) for one in before), kind)
        return np.asarray(raw * factor)

    def channel(self, channel: Channel) -> Floats:
        """Give a channel's raw values, each carried forward until the next; NaN before the first."""
        places = [place for place, one in enumerate(self.layout.channels) if one == channel]
        values = np.full(len(self.starts), np.nan)
        if not places:
            return values
        first = next((self.layout.first[place] for place in places if self.layout.first[place] is not None), None)
        rows, at = self._find_values(places)
        raw = _gather(self.data, at + 1, "<i4").astype("float64")
        raw[np.isin(raw, NO_VALUE)] = np.nan
        last = np.full(len(self.starts), -1)
        last[rows] = np.arange(len(rows))
        last = np.maximum.accumulate(last)
        before = np.nan if first is None else float(first)
        return np.where(last >= 0, raw[last], before) if len(raw) else np.full(len(values), before)

    def count_unknown(self) -> int:
        """Count values of channels that the XML does not list."""
        return int(self._sorted[2][-1] - self._sorted[2][len(self.layout.channels)])

    def count_values(self, channel: Channel) -> int:
        """Count the records that hold a value of a channel of their own."""
        places = [place for place, one in enumerate(self.layout.channels) if one == channel]
        return len(np.unique(self._find_values(places)[0]))

    @cached_property
    def _sorted(self) -> tuple[Integers, Integers, Integers]:
        """The record and the place of every value, channel by channel, and where each channel begins among them."""
        counts = self.data[self.starts + self.head_bytes].astype("int64")
        skipped = np.cumsum(counts) - counts
        at = np.repeat(self.starts + self.head_bytes + 1 - VALUE_BYTES * skipped, counts)
        at += VALUE_BYTES * np.arange(len(at))
        channels = self.data[at]
        # Numbers of one byte are sorted by counting them; within a channel the order of the records stays.
        order = np.argsort(channels, kind="stable")
        begins = np.concatenate([[0], np.cumsum(np.bincount(channels, minlength=CHANNELS))])
        return np.repeat(np.arange(len(counts)), counts)[order], at[order], begins

    def _find_values(self, places: list[int]) -> tuple[Integers, Integers]:
        """Give the record and the place of each value of a channel."""
        rows, at, begins = self._sorted
        parts = [slice(begins[place], begins[place + 1]) for place in places if place < CHANNELS]
        if len(parts) == 1:
            return rows[parts[0]], at[parts[0]]
        # Listed twice: of two values in one record the later one stands.
        found = np.concatenate([rows[part] for part in parts]), np.concatenate([at[part] for part in parts])
        order = np.argsort(found[1])
        return found[0][order], found[1][order]

    def _look_up(self, offset: int, kind: str) -> npt.NDArray[Any]:
        """Give a field that stands at the same place of every record."""
        return _gather(self.data, self.starts + offset, kind)


def head_bytes(layout: Layout) -> int:
    """Give the bytes of a record before the count of its values."""
    return CLOCK_BYTES + sum(_width(key) for key in layout.fields)


def read_log(path: Path, layout: Layout) -> TimeLog:
    """Find the records of TLGnnnnn.BIN.

    Parameters
    ----------
    path : pathlib.Path
    layout : Layout

    Returns
    -------
    TimeLog
        Without a few damaged bytes at the end, which are counted in ``left_bytes``.

    Raises
    ------
    DataError
        When the bytes do not fit the layout.
    """
    data = path.read_bytes()
    found = np.frombuffer(_find_records(data, head_bytes(layout)), dtype="int64")
    log = TimeLog(layout, np.frombuffer(data, dtype=np.uint8), found, len(data))
    good = np.flatnonzero(log.dated)
    keep = int(good[-1]) + 1 if len(good) else 0
    last = int(found[keep - 1]) + log.head_bytes if keep else 0
    end = last + 1 + VALUE_BYTES * data[last] if keep else 0
    left = len(data) - end
    # A display that loses its power ends in the middle of a record, or in a block of zeros; more is another layout.
    one_record = log.head_bytes + 1 + VALUE_BYTES * len(layout.channels)
    if left >= one_record and data[end:].strip(b"\0"):
        raise DataError(
            f"{path.name}: {keep:,} records can be read; from byte {end:,} on, the remaining {left:,} of {len(data):,} "
            f"bytes are no records with a date from 2000 to 2040 as {path.stem}.xml describes them. The file is "
            "damaged or belongs to another description: copy both again, or take this log out of the folder."
        )
    return TimeLog(layout, log.data, found[:keep], left)


def _find_records(data: bytes, head: int) -> "array[int]":
    """Step from record to record by the count that each holds; one that would reach past the end is none."""
    starts, at, size = array("q"), 0, len(data)
    while at + head < size:
        after = at + head + 1 + VALUE_BYTES * data[at + head]
        if after > size:
            break
        starts.append(at)
        at = after
    return starts


def _gather(data: npt.NDArray[np.uint8], at: Integers, kind: str) -> npt.NDArray[Any]:
    """Read numbers of one type at many places."""
    size = np.dtype(kind).itemsize
    planes = np.empty((len(at), size), dtype=np.uint8)
    for byte in range(size):
        planes[:, byte] = data[at + byte]
    return np.asarray(planes.view(kind)[:, 0])


def _seconds(day: npt.NDArray[Any], clock: npt.NDArray[Any]) -> Floats:
    """Give seconds since 1970 of days since 1980 and milliseconds of the day."""
    return np.asarray((day.astype("float64") + DAYS_1970_TO_1980) * 86_400.0 + clock.astype("float64") / 1000.0)


def _width(key: str) -> int:
    """Give the bytes of a field."""
    return np.dtype(FIELDS[key[0]][1]).itemsize


def _read_constant(path: Path, key: str, text: str) -> float:
    """Read a field that has one value throughout."""
    try:
        return float(text)
    except ValueError:
        raise DataError(f"{path.name}: PTN {key} = {text[:40]!r} is no number; export the log again.") from None
