"""Times of a file: read, brought to UTC where their zone is known, and doubted where the clock was changed."""

import numpy as np
import pandas as pd

from proofstrip.config import HarvestPart
from proofstrip.errors import DataError
from proofstrip.read.choose import Question, override_line
from proofstrip.read.count_time import find_repeats
from proofstrip.read.derive import find_steps, median, way
from proofstrip.read.local_time import HOUR_S, ahead_of_utc, find_set_back, to_utc
from proofstrip.read.names import TARGETS, squeeze
from proofstrip.read.records import Reading
from proofstrip.read.settle import machine_codes
from proofstrip.read.table import Booleans, Floats
from proofstrip.read.times import DAY_ORDERS, Times, read_times, spread_ties
from proofstrip.units import factor_to

# A record that says it is this much of the clock's step long fills it alone.
WHOLE_STEP = 0.75
ZONE_LINE = 'time_zone = "America/Chicago"'


def settle_time(reading: Reading, settings: HarvestPart) -> None:
    """Read the times, or ask; without a column the durations are cumulated later.

    Parameters
    ----------
    reading : Reading
        With position and machine settled; gets ``time``, ``clock`` and ``utc_offset``.
    settings : HarvestPart
    """
    if "time" not in reading.choices:
        return
    choice = reading.choices["time"]
    dates = reading.column("date") if "date" in reading.choices else None
    times = read_times(reading.column("time"), dates, choice.unit or "")
    if times.seconds is None:
        orders = DAY_ORDERS if "day/month" in times.problem else ()
        lines = tuple(override_line("time", choice.column, order) for order in orders)
        reading.questions.append(Question("time", f"time: column {choice.column!r}: {times.problem}", lines))
        return
    seconds = _settle_clock(reading, times, settings.time_zone)
    reading.values["time"] = _tell_apart(reading, seconds)
    _note_faults(reading, seconds)


def _tell_apart(reading: Reading, seconds: Floats) -> Floats:
    """Give records that share a time one of their own, unless they are one record written again."""
    codes = machine_codes(reading)
    spread, tied = spread_ties(seconds, codes)
    if not tied:
        return seconds
    again = _find_written_again(reading, seconds)
    if again.any():
        once = np.flatnonzero(~again)
        spread = seconds.copy()
        spread[once], tied = spread_ties(seconds[once], codes[once])
        spread[again] = np.nan
        # The one that each repeats stands before it, with its time as spread.
        spread = np.where(again, pd.Series(spread).groupby(codes).ffill(), spread)
        reading.note(
            "records_repeated",
            f"{again.sum():,} of {reading.rows:,} records repeat the one before in every column, its time among them, "
            "as when an export writes each record more than once; they count once.",
        )
    if tied:
        reading.note(
            "time_coarse",
            f"{tied:.0%} of the records share their time with the one before: the clock is coarser than the log; "
            "they are spread evenly over its step.",
        )
    return spread


def _find_written_again(reading: Reading, seconds: Floats) -> Booleans:
    """Find records that repeat the one before at the same time, where each of them stands for the clock's whole step.

    A log of five records a second whose values are renewed once a second repeats itself too: there the durations, or
    distances, of the records that share a time add up to one step.
    """
    steps = find_steps(np.full(reading.rows, np.nan), machine_codes(reading))
    again = np.asarray(find_repeats(reading, steps.before) & (seconds == seconds[steps.before]), dtype=np.bool_)
    apart = seconds - seconds[steps.before]
    onward = (steps.before >= 0) & (apart > 0)
    told = {"duration": apart}
    if "easting" in reading.values:
        told["distance"] = way(reading.values["easting"], reading.values["northing"], steps)
    for quantity, whole in told.items():
        if again.any() and quantity in reading.choices:
            unit = reading.choices[quantity].unit or TARGETS[quantity]
            length = reading.number(quantity).values * factor_to(unit, TARGETS[quantity])
            if median(length[onward]) < WHOLE_STEP * median(whole[onward]):
                return np.zeros(reading.rows, dtype=np.bool_)
            break
    return again


def _settle_clock(reading: Reading, times: Times, zone: str | None) -> Floats:
    """Bring times to UTC where a zone is known; the rest stay as they are written."""
    given = np.asarray(times.seconds)
    reading.settle("time", times.how)
    column = reading.choices["time"].column
    if times.zoned or (times.local is None and any(name in squeeze(column) for name in ("utc", "gmt"))):
        reading.clock = "utc" if times.dated else "own"
        seconds = given
    elif not times.dated:
        if zone is not None:
            reading.note("time_zone_unused", "times name no date, so [harvest] time_zone does not change them.")
        seconds = _mend_set_back(reading, given)
    elif zone is None:
        reading.clock = "local"
        if times.local is not None:
            reading.questions.append(_ask_zone(column, int(times.local.sum()), reading.rows))
        else:
            reading.note(
                "time_zone",
                "times name no zone and are taken as they are written; [harvest] time_zone says whose clock it is.",
            )
        seconds = _mend_set_back(reading, given)
    else:
        reading.clock = "utc"
        seconds = _convert(reading, times, zone)
    if zone is not None and reading.clock == "utc":
        reading.utc_offset = ahead_of_utc(seconds, zone)
    return seconds


def _convert(reading: Reading, times: Times, zone: str) -> Floats:
    """Take the times that name no zone as those of the zone that the user names."""
    seconds = np.array(times.seconds)
    local = np.ones(len(seconds), dtype=bool) if times.local is None else times.local
    converted = to_utc(seconds[local], machine_codes(reading)[local], zone)
    seconds[local] = converted.seconds
    reading.settle("time", f"clock of {zone}")
    for code, sentence in converted.said:
        reading.note(code, f"{sentence}.")
    if converted.problem:
        said = f"time: column {reading.choices['time'].column!r}: {converted.problem}"
        reading.questions.append(Question("time", said, ('time_zone = "..."',), "[harvest]"))
    return seconds


def _ask_zone(column: str, local: int, rows: int) -> Question:
    """Ask for the zone of a column that names it for some records only."""
    said = f"time: column {column!r} names a zone or UTC in {rows - local:,} records and none in {local:,}"
    return Question("time", f"{said}; say whose clock these are by its IANA name", (ZONE_LINE,), "[harvest]")


def _mend_set_back(reading: Reading, wall: Floats) -> Floats:
    """Add the hour by which a clock was set back, where time and way go on unbroken; else say what it looks like."""
    machine = machine_codes(reading)
    nowhere = np.full(reading.rows, np.nan)
    place = [reading.values.get(name, nowhere) for name in ("easting", "northing")]
    sure, unsure = find_set_back(wall, machine, *place)
    mended = wall.copy()
    for row in sure:
        mended[(machine == machine[row]) & (np.arange(len(wall)) >= row)] += HOUR_S
        reading.note(
            "clock_set_back",
            f"the clock is set back by an hour at row {row + 1}, and time and way go on there as before; an hour is "
            "added to all records after it. [harvest] time_zone would give their times in UTC.",
        )
    for row in unsure:
        reading.note(
            "clock_perhaps_set_back",
            f"time steps back by {(wall[:row][machine[:row] == machine[row]][-1] - wall[row]) / 60:.0f} min at row "
            f"{row + 1}, as when clocks are set back in autumn, but the records do not go on there unbroken, so it is "
            f"left as it is. Should it be that, add {ZONE_LINE}, with your zone, to [harvest].",
        )
    return mended


def _note_faults(reading: Reading, seconds: Floats) -> None:
    """Say which records have no time, and where time steps back; ask when it stands still."""
    choice = reading.choices["time"]
    lost = np.flatnonzero(np.isnan(seconds))
    if len(lost):
        first = reading.column("time")[int(lost[0])].as_py()
        reading.note(
            "time_missing",
            f"{len(lost)} of {reading.rows} records have no time that can be read "
            f"(first: {first!r} in row {lost[0] + 1}).",
        )
    if reading.rows > 1 and np.nanmin(seconds) == np.nanmax(seconds):
        said = f"time: column {choice.column!r} holds the same time in every record"
        reading.questions.append(Question("time", said, (override_line("time", "...", ""),)))
    codes = machine_codes(reading)
    back = sum(int((np.diff(seconds[codes == code]) < 0).sum()) for code in np.unique(codes))
    if back:
        reading.note(
            "time_unsorted",
            f"time steps back {back} times; the machine is followed in the order of time, the rows stay in that of "
            "the file.",
        )


def refuse_mixed_clocks(readings: list[Reading]) -> None:
    """End the run when some files give local times and others UTC, and no zone is set.

    Parameters
    ----------
    readings : list of Reading

    Raises
    ------
    DataError
    """
    by_clock = {clock: [one.name for one in readings if one.clock == clock] for clock in ("local", "utc")}
    if not all(by_clock.values()):
        return
    local, utc = by_clock["local"], by_clock["utc"]
    raise DataError(
        f"{local[0]}: its times name no zone, while those of {utc[0]} are UTC or name one, so the two cannot be put in "
        f"one order ({len(local)} files without a zone, {len(utc)} with). Say whose clock the times without a zone "
        f"are: add to [harvest]: {ZONE_LINE}, with your own zone's IANA name."
    )
