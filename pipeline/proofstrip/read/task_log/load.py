"""A set of time logs -> one table, log below log, with what was odd about each."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa

from proofstrip.errors import DataError, Notice
from proofstrip.read.table import ColumnMeaning, Floats, Head, Loaded
from proofstrip.read.task_log.binary import Channel, TimeLog, read_layout, read_log
from proofstrip.read.task_log.channels import (
    CONDENSED,
    FLOWS,
    SETTINGS_LOGGED,
    Column,
    plan_columns,
    unique_names,
)
from proofstrip.read.task_log.places import file_called, find_logs
from proofstrip.read.task_log.task_data import DDI_TOTAL_MASS, ListedLog, TaskData, read_task_data

FORMAT = "ISO 11783-10 task data"
PLACE = {
    "time": ColumnMeaning("time", None),
    "longitude": ColumnMeaning("longitude", "deg"),
    "latitude": ColumnMeaning("latitude", "deg"),
    "elevation": ColumnMeaning("elevation", "m"),
    "machine": ColumnMeaning("machine", None),
}
SHOWN = 6
# A receiver says 0 where it has no position and 14 where it is at fault (ISO 11783-10, position status).
NO_POSITION = (0, 14)
# A display's total and the sum of its flow differ by rounding and by records at the ends (measured: 0.05 %).
MAX_TOTAL_APART = 0.02
SPAN_SLACK_S = 60.0


@dataclass(frozen=True)
class Log:
    """A time log that was read."""

    path: Path
    log: TimeLog

    @property
    def rows(self) -> int:
        """Number of records."""
        return len(self.log.starts)


def look_at_task_logs(task_file: Path, wanted: tuple[Path, ...]) -> Head:
    """Read the task file and the logs' bytes, and choose the channels.

    Parameters
    ----------
    task_file : pathlib.Path
    wanted : tuple of pathlib.Path
        Binary logs to take; none: all in its folder.

    Returns
    -------
    Head

    Raises
    ------
    DataError
        When there is no log, or a log does not fit its description.
    """
    said = read_task_data(task_file)
    paths = wanted or find_logs(task_file.parent)
    # Who names single logs does not miss the others.
    missing = _missing(said, paths) if set(paths) == set(find_logs(task_file.parent)) else []
    if not paths:
        raise DataError(
            f"{task_file.name}: there is no time log (TLGnnnnn.BIN) beside it, of {len(said.logs)} that it lists; copy "
            "the whole folder."
        )
    logs = [Log(path, read_log(path, read_layout(_description(path)))) for path in paths]
    if not sum(log.rows for log in logs):
        names = ", ".join(log.path.name for log in logs[:SHOWN])
        raise DataError(f"{task_file.name}: its time logs ({names}) hold no whole record; copy the whole folder again.")
    channels = list(dict.fromkeys(channel for log in logs for channel in log.log.layout.channels))
    plan = plan_columns(channels, said.elements)
    columns = {column.name: column for column in unique_names(plan.columns)}
    notices = [*_say_missing(task_file, said, missing), *(_note(task_file, *remark) for remark in plan.remarks)]
    notices += [notice for log in logs for notice in _check_log(log, said)]
    notices += [_note(task_file, "task_version", f"{remark}.") for remark in said.remarks]
    count = len({*said.logs, *(log.path.stem.upper() for log in logs)})
    meanings = {name: column.meaning for name, column in columns.items() if column.meaning is not None}
    return Head(
        task_file,
        FORMAT,
        (*_place_names(logs, said), *columns),
        {"version": said.version, "logs": f"{len(logs)} of {count}"},
        meanings=PLACE | meanings,
        notices=tuple(notices),
        parts=tuple(_describe(log, said.logs.get(log.path.stem.upper())) for log in logs),
        source=TaskLogs(said, logs, columns),
    )


@dataclass(frozen=True)
class TaskLogs:
    """What the head of a set of logs holds for the rows."""

    said: TaskData
    logs: list[Log]
    columns: dict[str, Column]


def load_task_logs(head: Head, types: dict[str, pa.DataType]) -> Loaded:
    """Make the columns that are wanted."""
    source = head.source
    if not isinstance(source, TaskLogs):
        raise TypeError("this head was not made by look_at_task_logs")
    local = _clock_is_local(source.logs)
    notices: list[Notice] = []
    columns = {}
    for name in types:
        if name == "time":
            columns[name] = _times(source.logs, local)
        elif name == "machine":
            columns[name] = _machines(source)
        elif name in PLACE:
            columns[name] = pa.chunked_array([pa.array(_place(head, log, name, notices)) for log in source.logs])
        else:
            parts = [_values(log.log, source.columns[name]) for log in source.logs]
            columns[name] = pa.chunked_array([pa.array(part, from_pandas=True) for part in parts])
    return Loaded(pa.table(columns), None, tuple(notices), tuple((log.path.name, log.rows) for log in source.logs))


def _description(log: Path) -> Path:
    """Find TLGnnnnn.XML of a TLGnnnnn.BIN."""
    found = file_called(log.parent, f"{log.stem}.xml")
    if found is None:
        raise DataError(
            f"{log.name}: {log.stem}.XML is not beside it, and without it no record can be read; copy both, or take "
            "this log out of the folder."
        )
    return found


def _missing(said: TaskData, paths: tuple[Path, ...]) -> list[str]:
    """Name the logs that the task file lists and that are not there."""
    there = {path.stem.upper() for path in paths}
    return [name for name in said.logs if name not in there]


def _say_missing(task_file: Path, said: TaskData, missing: list[str]) -> list[Notice]:
    """Say which logs are not there."""
    if not missing:
        return []
    shown = ", ".join(missing[:SHOWN]) + (f" and {len(missing) - SHOWN} more" if len(missing) > SHOWN else "")
    sentence = f"{len(missing)} of the {len(said.logs)} logs that it lists are not in its folder: {shown}."
    return [_note(task_file, "logs_missing", sentence)]


def _note(path: Path, code: str, sentence: str) -> Notice:
    """Make a notice about a file."""
    return Notice(code, f"{path.name}: {sentence}")


def _check_log(log: Log, said: TaskData) -> list[Notice]:
    """Say where a log is incomplete or differs from what the task file says of it."""
    notices = []
    path, records = log.path, log.log
    size, listed = len(records.data), said.logs.get(path.stem.upper())
    if not size:
        notices.append(_note(path, "log_empty", "the file is empty (0 bytes)."))
    if records.left_bytes:
        sentence = f"it ends within a record: {records.left_bytes:,} bytes after record {log.rows:,} are left out."
        notices.append(_note(path, "log_cut_off", sentence))
    undated = int((~records.dated).sum())
    if undated:
        sentence = f"{undated:,} of {log.rows:,} records have a date or clock that cannot be; their time is missing."
        notices.append(_note(path, "record_undated", sentence))
    unknown = records.count_unknown()
    if unknown:
        sentence = f"{unknown:,} values are of channels that {path.stem}.xml does not list; they are not read."
        notices.append(_note(path, "channel_unknown", sentence))
    if listed is None:
        notices.append(_note(path, "log_not_listed", "the task file does not list this log; it is read all the same."))
    elif listed.bytes is not None and listed.bytes != size:
        sentence = f"the task file says {listed.bytes:,} bytes, the file has {size:,}."
        notices.append(_note(path, "log_size_differs", sentence))
    return [*notices, *_check_totals(log, listed), *_check_settings(log)]


def _check_totals(log: Log, listed: ListedLog | None) -> list[Notice]:
    """Compare a log's hours and its total of mass with those that the task file gives."""
    time = log.log.local_s[log.log.dated]
    if listed is None or not listed.spans or not len(time):
        return []
    start, end = time[0] - SPAN_SLACK_S, time[0] + SPAN_SLACK_S
    spans = [span for span in listed.spans if _epoch(span[0]) <= end and _epoch(span[1]) >= start]
    if not spans:
        sentence = (
            f"its records start at {_say_clock(time[0])}, outside all hours that the task file gives for its task."
        )
        return [_note(log.path, "log_time_differs", sentence)]
    channel = next((one for one in log.log.layout.channels if one.ddi == DDI_TOTAL_MASS), None)
    mass = spans[0][2]
    if channel is None or mass is None or not mass or len(spans) > 1:
        return []
    total = log.log.channel(channel)
    logged = float(np.nanmax(total) - np.nanmin(total)) if np.isfinite(total).any() else 0.0
    if abs(logged / mass - 1.0) <= MAX_TOTAL_APART:
        return []
    sentence = f"its own total of mass grows by {logged:,.0f} kg, and the task file says {mass:,.0f} kg."
    return [_note(log.path, "log_total_differs", sentence)]


def _check_settings(log: Log) -> list[Notice]:
    """Say which times of its own the display left out: nothing is shifted or left out for them."""
    said = []
    for channel in log.log.layout.channels:
        values = log.log.channel(channel) if channel.ddi in (0x103, 0x104) else np.array([])
        if np.isfinite(values).any():
            said.append(f"{SETTINGS_LOGGED[channel.ddi]} {np.nanmax(values) / 1000:g} s")
    if not said:
        return []
    sentence = (
        f"the display states {' and '.join(said)}. These say what it ignores at the ends of passes; records are "
        "neither shifted nor left out for them. Where the display also shifts its records, say so in [harvest] "
        "delay_applied_s."
    )
    return [_note(log.path, "display_ignores", sentence)]


def _describe(log: Log, listed: ListedLog | None) -> str:
    """Say what a log is, for a person who chooses."""
    time = log.log.local_s[log.log.dated]
    when = f", {_say_clock(time[0])} to {_say_clock(time[-1])}" if len(time) else ""
    named = (("task", listed.task), ("field", listed.field)) if listed is not None else ()
    told = "".join(f", {kind} {name!r}" for kind, name in named if name)
    return f"{log.path.name}: {log.rows:,} records{when}{told}"


def _say_clock(second: float) -> str:
    """Write a moment to the minute."""
    return f"{datetime.fromtimestamp(second, UTC):%Y-%m-%d %H:%M}"


def _epoch(moment: datetime) -> float:
    """Give seconds since 1970 of a local moment, as the log's local clock counts them."""
    return moment.replace(tzinfo=UTC).timestamp()


def _place_names(logs: list[Log], said: TaskData) -> list[str]:
    """Name the columns of time, place and machine that the logs have."""
    fields = {name for log in logs for name in ("longitude", "latitude", "elevation") if _has(log, name)}
    named = any(_device(log, said) for log in logs)
    return ["time", *(name for name in PLACE if name in fields), *(["machine"] if named else [])]


def _has(log: Log, name: str) -> bool:
    """Tell whether a log has a field of the position."""
    return name in log.log.layout.constant or bool(np.isfinite(log.log.field(name)).any())


def _device(log: Log, said: TaskData) -> str | None:
    """Name the device that measured a log's grain."""
    channels = log.log.layout.channels
    grain = [one.element for ddi in FLOWS for one in channels if one.ddi == ddi] or [one.element for one in channels]
    return next((said.elements[name].device for name in grain if name in said.elements), None)


def _machines(source: TaskLogs) -> pa.ChunkedArray:
    """Name the machine of each record."""
    parts = [pa.array([_device(log, source.said)] * log.rows, pa.string()) for log in source.logs]
    return pa.chunked_array(parts)


def _clock_is_local(logs: list[Log]) -> bool:
    """Tell whether the local clock must be taken: not every log has the receiver's own."""
    return any(np.isnan(log.log.utc_s).mean() > 0.5 for log in logs if log.rows)


def _times(logs: list[Log], local: bool) -> pa.ChunkedArray:
    """Give the times: the receiver's in UTC where all logs have it, else those of the display's clock."""
    kind = pa.timestamp("ms", tz=None if local else "UTC")
    parts = []
    for log in logs:
        seconds = log.log.local_s if local else log.log.utc_s
        whole = np.round(np.nan_to_num(seconds) * 1000.0).astype("int64")
        parts.append(pa.array(whole, mask=np.isnan(seconds)).cast(kind))
    return pa.chunked_array(parts, type=kind)


def _place(head: Head, log: Log, name: str, notices: list[Notice]) -> Floats:
    """Give a field of the position; without a position where the receiver says that it has none."""
    values, status = log.log.field(name), log.log.field("status")
    without = np.isin(status, NO_POSITION)
    # A receiver that always says so, and has positions, does not mean it.
    if not without.any() or without.mean() > 0.5:
        return values
    if name == "longitude":
        sentence = f"the receiver says of {int(without.sum()):,} records that it has no position; taken as missing."
        notices.append(_note(log.path, "no_position", sentence))
    return np.where(without, np.nan, values)


def _values(log: TimeLog, column: Column) -> Floats:
    """Make one column of one log."""
    if column.constant is not None:
        return np.full(len(log.starts), column.constant)
    raw = np.array([log.channel(channel) for channel in column.channels])
    if column.how == "on":
        return _any_on(raw, column.channels)
    if column.how == "sum":
        # A section that has said nothing yet counts as none; where none has spoken there is no width.
        return np.where(np.isnan(raw).all(axis=0), np.nan, np.nansum(raw, axis=0)) * column.factor
    return np.asarray((raw[0] + column.offset) * column.factor)


def _any_on(raw: Floats, channels: tuple[Channel, ...]) -> Floats:
    """Give 1 where any state is on, 0 where those that are known are off, NaN where none is known."""
    down = np.full(raw.shape[1], np.nan)
    for values, channel in zip(raw, channels, strict=True):
        bits = np.nan_to_num(values, nan=-1.0).astype("int64") & 0xFFFFFFFF
        pairs = range(16) if channel.ddi in CONDENSED else range(1)
        for place in pairs:
            # 0 off, 1 on, 2 error, 3 not available.
            state = (bits >> (2 * place)) & 3 if channel.ddi in CONDENSED else bits
            down = np.where(state == 1, 1.0, np.where((state == 0) & np.isnan(down), 0.0, down))
    return down
