"""Duration, time, distance, speed and heading: read, measured against the positions, or worked out from each other."""

import numpy as np

from proofstrip.crops import Crop
from proofstrip.read import derive
from proofstrip.read.choose import Question, ask_missing, override_line
from proofstrip.read.convert import convert
from proofstrip.read.count_time import count_time, level_steps
from proofstrip.read.names import TARGETS, plain_name, unit_spellings
from proofstrip.read.positions import grid_turn
from proofstrip.read.records import Reading
from proofstrip.read.settle import machine_codes
from proofstrip.read.table import Booleans, Floats
from proofstrip.units import factor_to

# A unit is settled by measurement only when exactly one of the usual ones fits this closely.
FIT = 0.05
MIN_PAIRS = 10
# A unit that the header states is doubted aloud when the measured way differs by more than this factor.
DOUBT = 1.25
# Headings in radians stay below this.
FULL_TURN_RAD = 6.2832
# Faster than any combine harvests or drives on a road [m/s].
MAX_SPEED_M_S = 15.0
# Two machines in one file: from record to record it seems this many times faster than over two records.
ALTERNATION = 3.0
MOVING_M_S = 0.2
# Cosine of the angle between way and heading beyond which a machine that drives forwards is logged backwards.
BACKWARDS = 0.5


def settle_motion(reading: Reading, crop: Crop | None) -> None:
    """Fill in time, duration, distance, speed and heading.

    Parameters
    ----------
    reading : Reading
        With position, machine and time settled as far as they can be.
    crop : Crop or None
    """
    steps = _settle_time_and_duration(reading, crop)
    placed = "easting" in reading.values and "time" in reading.values
    if placed and _moves_impossibly(reading, steps):
        return
    _settle_distance_and_speed(reading, steps, crop, placed)
    _settle_heading(reading, steps, crop, placed)


def _settle_time_and_duration(reading: Reading, crop: Crop | None) -> derive.Steps:
    """Settle durations and times, each from the other where one is missing."""
    time = reading.values.get("time", np.full(reading.rows, np.nan))
    steps = derive.find_steps(time, machine_codes(reading))
    if "duration" in reading.choices:
        _measure_unit(reading, "duration", steps.seconds, ~steps.gap)
        if convert(reading, "duration", crop):
            _doubt_unit(reading, "duration", steps.seconds, ~steps.gap)
    elif "time" in reading.values:
        _duration_from_time(reading, steps)
    elif "time" not in reading.choices:
        _duration_from_speed(reading, crop)
    if "time" not in reading.values and "time" not in reading.choices and "duration" in reading.values:
        count_time(reading)
        return derive.find_steps(reading.values["time"], machine_codes(reading))
    return steps


def _duration_from_time(reading: Reading, steps: derive.Steps) -> None:
    """Take the steps of time."""
    duration = derive.derive_duration(steps)
    if not np.isfinite(duration).any():
        reading.questions.append(ask_missing("duration", "no column says it and the times do not differ"))
        return
    reading.values["duration"] = duration
    reading.note(
        "duration_derived",
        f"no column for duration; taken from the steps of time, usually {derive.median(duration):g} s.",
    )


def _duration_from_speed(reading: Reading, crop: Crop | None) -> None:
    """Take distance over speed where the file has neither time nor duration."""
    ready = all(
        name in reading.choices and reading.choices[name].unit and convert(reading, name, crop, ask=False)
        for name in ("distance", "speed")
    )
    if not ready:
        why = "no column for time or duration, and no distance and speed with units to work it out from"
        reading.questions.append(ask_missing("time", why))
        return
    reading.values["duration"] = level_steps(derive.divide(reading.values["distance"], reading.values["speed"]))
    reading.note("duration_derived", "no column for time or duration; taken from distance over speed.")


def _moves_impossibly(reading: Reading, steps: derive.Steps) -> bool:
    """Ask when the records jump as no combine can: two machines in turn, or a wrong unit or projection."""
    where = reading.values["easting"], reading.values["northing"]
    single, double = derive.apparent_speeds(*where, reading.values["time"], steps)
    if np.isnan(single):
        return False
    if "machine" not in reading.choices and single > ALTERNATION * double > ALTERNATION * MOVING_M_S:
        said = (
            f"machine: from one record to the next the position moves at {single:.3g} m/s, over two records at "
            f"{double:.3g} m/s, so two machines alternate in this file; name the column that tells them apart, or "
            "split the file"
        )
        reading.questions.append(Question("machine", said, (override_line("machine", "...", ""),)))
        return True
    if single > MAX_SPEED_M_S:
        said = (
            f"position: the records move at {single:.3g} m/s in the median, faster than any combine; check the unit of "
            "time, the columns of the position and their coordinate system, the order of the records, and whether two "
            "machines carry one name"
        )
        reading.questions.append(Question("position", said))
        return True
    return False


def _settle_distance_and_speed(reading: Reading, steps: derive.Steps, crop: Crop | None, placed: bool) -> None:
    """Settle distance and speed, each from the other or from the positions where one is missing."""
    values, duration = reading.values, reading.values.get("duration")
    truth: dict[str, Floats] = {}
    if placed:
        where = values["easting"], values["northing"]
        truth = {"distance": derive.way(*where, steps), "speed": derive.derive_speed(*where, steps)}
    for quantity in [name for name in ("distance", "speed") if name in reading.choices]:
        if quantity in truth:
            _measure_unit(reading, quantity, truth[quantity], ~steps.gap)
        if convert(reading, quantity, crop) and quantity in truth:
            _doubt_unit(reading, quantity, truth[quantity], ~steps.gap)
    if "speed" not in reading.choices and "distance" in values and duration is not None:
        values["speed"] = derive.divide(values["distance"], duration)
        reading.note("speed_derived", "no column for speed; taken from distance over duration.")
    elif "speed" not in reading.choices and placed:
        values["speed"] = truth["speed"]
        reading.note("speed_derived", "no column for speed; taken from the positions and times.")
    if "distance" not in reading.choices and "speed" in values and duration is not None:
        values["distance"] = values["speed"] * duration
        reading.note("distance_derived", "no column for distance; taken as speed times duration.")


def _settle_heading(reading: Reading, steps: derive.Steps, crop: Crop | None, placed: bool) -> None:
    """Read the heading, turned from true to grid north, or take it from the positions."""
    if "heading" in reading.choices:
        highest = np.nanmax(reading.number("heading").values, initial=0.0)
        if reading.choices["heading"].unit is None and highest > FULL_TURN_RAD:
            reading.settle("heading", "above 6.28: degrees", "deg")
        if convert(reading, "heading", crop) and reading.place is not None and reading.crs is not None:
            turned = reading.values["heading"] + grid_turn(reading.crs, *reading.place)
            reading.values["heading"] = turned % 360.0
            _ask_order(reading, steps, placed)
    elif placed:
        where = reading.values["easting"], reading.values["northing"]
        reading.values["heading"] = derive.derive_heading(*where, steps)
        reading.note("heading_derived", "no column for heading; taken from the positions.")


def _ask_order(reading: Reading, steps: derive.Steps, placed: bool) -> None:
    """Ask when counted times run backwards: the way from record to record goes against the logged headings."""
    if not (reading.time_counts and placed):
        return
    way = derive.derive_heading(reading.values["easting"], reading.values["northing"], steps)
    along = np.cos(np.radians(way - reading.values["heading"]))
    if derive.median(along) < -BACKWARDS:
        said = (
            "time: no column for it, and the records stand in the wrong order: the way from one to the next goes "
            f"against column {reading.choices['heading'].column!r}; sort the file by time, or export it with its times"
        )
        reading.questions.append(Question("time", said))


def _measure_unit(reading: Reading, quantity: str, truth: Floats, steady: Booleans) -> None:
    """Settle the unit of a column without one: the single unit in which it fits the positions or the times."""
    choice = reading.choices.get(quantity)
    if choice is None or choice.unit is not None:
        return
    ratio = _median_ratio(truth, reading.number(quantity).values, steady)
    fits = _fitting_units(quantity, ratio)
    if len(fits) != 1:
        return
    share = ratio / factor_to(fits[0], TARGETS[quantity])
    reading.settle(quantity, f"measured, ratio {share:.3f}", fits[0])
    reading.note(
        f"{quantity}_unit_measured",
        f"column {choice.column!r} has no unit; against {_yardstick(quantity)} it fits {fits[0]!r} alone "
        f"(ratio {share:.3f}).",
    )


def _doubt_unit(reading: Reading, quantity: str, truth: Floats, steady: Booleans) -> None:
    """Say when a column with a stated unit does not fit what is measured."""
    choice = reading.choices[quantity]
    ratio = _median_ratio(truth, reading.values[quantity], steady)
    if np.isnan(ratio) or 1 / DOUBT <= ratio <= DOUBT:
        return
    fits = _fitting_units(quantity, ratio * factor_to(str(choice.unit), TARGETS[quantity]))
    hint = f" It would fit in {fits[0]}." if len(fits) == 1 else ""
    reading.note(
        f"{quantity}_doubtful",
        f"{plain_name(quantity)} in column {choice.column!r}, read in {choice.unit}, is {1 / ratio:.3g} times what "
        f"{_yardstick(quantity)} say.{hint}",
    )


def _median_ratio(truth: Floats, values: Floats, steady: Booleans) -> float:
    """Give the median of measured over logged; NaN for too few pairs."""
    use = steady & (values > 0) & (truth > 0)
    return float(np.median(truth[use] / values[use])) if use.sum() >= MIN_PAIRS else np.nan


def _fitting_units(quantity: str, ratio: float) -> list[str]:
    """List the usual units in which a ratio is one."""
    factors = {unit: factor_to(unit, TARGETS[quantity]) for unit in unit_spellings(quantity)}
    return [unit for unit, factor in factors.items() if abs(ratio / factor - 1.0) <= FIT]


def _yardstick(quantity: str) -> str:
    """Name what a column is measured against."""
    return "the steps of time" if quantity == "duration" else "the positions"
