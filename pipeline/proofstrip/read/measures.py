"""Units and missing measures of a file: settled by what is said, by measurement, or asked."""

import numpy as np

from proofstrip.config import HarvestPart
from proofstrip.crops import Crop
from proofstrip.read import derive
from proofstrip.read.choose import Question, ask_missing, ask_unit
from proofstrip.read.names import TARGETS, plain_name, unit_spellings
from proofstrip.read.positions import grid_turn
from proofstrip.read.records import Reading
from proofstrip.read.settle import machine_codes
from proofstrip.read.table import Booleans, Floats
from proofstrip.units import factor_to

# A unit is settled by measurement only when exactly one of the usual ones fits this closely.
FIT = 0.05
MIN_PAIRS = 10
# Headings in radians stay below this.
FULL_TURN_RAD = 6.2832
MAX_FRACTION = 1.0
# Any grain in a combine [%]; used where the crop is not known.
ANY_MOISTURE_PCT = (3.0, 45.0)


def settle_measures(reading: Reading, settings: HarvestPart, crop: Crop | None) -> None:
    """Fill in time, duration, distance, speed, heading, swath, moisture, elevation and flow.

    Parameters
    ----------
    reading : Reading
        With position, machine and time settled as far as they can be.
    settings : HarvestPart
    crop : Crop or None
        None where it is not known: then nothing is converted from bushels.
    """
    steps = _settle_time_and_duration(reading, crop)
    _settle_motion(reading, steps, crop)
    _settle_heading(reading, steps, crop)
    _settle_swath(reading, settings, crop)
    _settle_moisture(reading, crop)
    if "elevation" in reading.choices and not _convert(reading, "elevation", crop, ask=False):
        reading.note(
            "elevation_not_read",
            f"column {reading.choices['elevation'].column!r} names no unit of height and is not read; "
            "nothing depends on it.",
        )
    _settle_flow(reading, crop)


def to_si(unit: str, target: str, crop: Crop | None) -> float:
    """Give the factor from a unit to SI; bushels are the crop's, by weight.

    Parameters
    ----------
    unit, target : str
    crop : Crop or None

    Returns
    -------
    float

    Raises
    ------
    ValueError
        When the unit is not known, measures something else, or needs a bushel the crop does not have.
    """
    head, slash, tail = unit.partition("/")
    if head.strip() != "bu":
        return factor_to(unit, target)
    if crop is None or crop.bushel_lb is None:
        name = "the crop" if crop is None else crop.name
        raise ValueError(f"unit {unit!r} needs the weight of a bushel, which {name} does not have")
    return crop.bushel_lb * factor_to(f"lb{slash}{tail}", target)


def _convert(reading: Reading, quantity: str, crop: Crop | None, ask: bool = True) -> bool:
    """Bring a column with a known unit to SI; otherwise ask for the unit."""
    choice = reading.choices[quantity]
    if choice.unit is not None:
        try:
            factor = to_si(choice.unit, TARGETS[quantity], crop)
            reading.values[quantity] = reading.number(quantity).values * factor
            return True
        except ValueError as fault:
            why = str(fault)
    else:
        why = "has no unit"
    if ask:
        reading.questions.append(ask_unit(choice, why if choice.unit is None else f"says {choice.unit!r}: {why}"))
    return False


def _settle_time_and_duration(reading: Reading, crop: Crop | None) -> derive.Steps:
    """Settle durations and times, each from the other where one is missing."""
    time = reading.values.get("time", np.full(reading.rows, np.nan))
    steps = derive.find_steps(time, machine_codes(reading))
    if "duration" in reading.choices:
        _settle_unit_by_measure(reading, "duration", steps.seconds, ~steps.gap)
        _convert(reading, "duration", crop)
    elif "time" in reading.values:
        reading.values["duration"] = derive.derive_duration(steps)
        usual = np.nanmedian(reading.values["duration"]) if np.isfinite(reading.values["duration"]).any() else np.nan
        if np.isnan(usual):
            reading.questions.append(ask_missing("duration", "no column says it and the times do not differ"))
        else:
            reading.note(
                "duration_derived", f"no column for duration; taken from the steps of time, usually {usual:g} s."
            )
    elif "time" not in reading.choices:
        _duration_from_speed(reading, crop)
    if "time" not in reading.values and "time" not in reading.choices and "duration" in reading.values:
        reading.values["time"] = _cumulate(reading)
        reading.time_counts = True
        reading.note("time_derived", "no column for time; durations are added up in the order of the file.")
        return derive.find_steps(reading.values["time"], machine_codes(reading))
    return steps


def _duration_from_speed(reading: Reading, crop: Crop | None) -> None:
    """Take distance over speed where the file has neither time nor duration."""
    ready = all(
        name in reading.choices and reading.choices[name].unit and _convert(reading, name, crop, ask=False)
        for name in ("distance", "speed")
    )
    if not ready:
        why = "no column for time or duration, and no distance and speed with units to work it out from"
        reading.questions.append(ask_missing("time", why))
        return
    with np.errstate(divide="ignore", invalid="ignore"):
        duration = reading.values["distance"] / reading.values["speed"]
    reading.values["duration"] = np.where(np.isfinite(duration), duration, np.nan)
    reading.note("duration_derived", "no column for time or duration; taken from distance over speed.")


def _cumulate(reading: Reading) -> Floats:
    """Add up the durations of each machine in the order of the file."""
    duration = np.nan_to_num(reading.values["duration"])
    time, codes = np.empty(reading.rows), machine_codes(reading)
    for code in np.unique(codes):
        time[codes == code] = np.cumsum(duration[codes == code])
    return time


def _settle_motion(reading: Reading, steps: derive.Steps, crop: Crop | None) -> None:
    """Settle distance and speed, each from the other or from the positions where one is missing."""
    placed = "easting" in reading.values and "time" in reading.values
    if placed:
        where = reading.values["easting"], reading.values["northing"]
        _settle_unit_by_measure(reading, "distance", derive.way(*where, steps), ~steps.gap)
        _settle_unit_by_measure(reading, "speed", derive.derive_speed(*where, steps), ~steps.gap)
    for quantity in ("distance", "speed"):
        if quantity in reading.choices and quantity not in reading.values:
            _convert(reading, quantity, crop)
    values, duration = reading.values, reading.values.get("duration")
    if "speed" not in reading.choices and "distance" in values and duration is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            speed = values["distance"] / duration
        values["speed"] = np.where(np.isfinite(speed), speed, np.nan)
        reading.note("speed_derived", "no column for speed; taken from distance over duration.")
    elif "speed" not in reading.choices and placed:
        values["speed"] = derive.derive_speed(*where, steps)
        reading.note("speed_derived", "no column for speed; taken from the positions and times.")
    if "distance" not in reading.choices and "speed" in values and duration is not None:
        values["distance"] = values["speed"] * duration
        reading.note("distance_derived", "no column for distance; taken as speed times duration.")


def _settle_unit_by_measure(reading: Reading, quantity: str, truth: Floats, steady: Booleans) -> None:
    """Settle the unit of a column without one: the single unit in which it fits the positions or the times."""
    choice = reading.choices.get(quantity)
    if choice is None or choice.unit is not None:
        return
    raw = reading.number(quantity).values
    use = steady & (raw > 0) & (truth > 0)
    if use.sum() < MIN_PAIRS:
        return
    ratio = float(np.median(truth[use] / raw[use]))
    factors = {unit: factor_to(unit, TARGETS[quantity]) for unit in unit_spellings(quantity)}
    fits = [unit for unit, factor in factors.items() if abs(ratio / factor - 1.0) <= FIT]
    if len(fits) != 1:
        return
    against = "the steps of time" if quantity == "duration" else "the positions"
    share = ratio / factors[fits[0]]
    reading.settle(quantity, f"measured, ratio {share:.3f}", fits[0])
    reading.note(
        f"{quantity}_unit_measured",
        f"column {choice.column!r} has no unit; against {against} it fits {fits[0]} alone (ratio {share:.3f}).",
    )


def _settle_heading(reading: Reading, steps: derive.Steps, crop: Crop | None) -> None:
    """Read the heading, turned from true to grid north, or take it from the positions."""
    if "heading" in reading.choices:
        choice = reading.choices["heading"]
        if choice.unit is None and np.nanmax(reading.number("heading").values, initial=0.0) > FULL_TURN_RAD:
            reading.settle("heading", "values above 6.28 can only be degrees", "deg")
        if _convert(reading, "heading", crop) and reading.place is not None and reading.crs is not None:
            turned = reading.values["heading"] + grid_turn(reading.crs, *reading.place)
            reading.values["heading"] = turned % 360.0
    elif "easting" in reading.values and "time" in reading.values:
        reading.values["heading"] = derive.derive_heading(reading.values["easting"], reading.values["northing"], steps)
        reading.note("heading_derived", "no column for heading; taken from the positions.")


def _settle_swath(reading: Reading, settings: HarvestPart, crop: Crop | None) -> None:
    """Take the trial file's swath, else the column's."""
    if settings.swath_m is not None:
        reading.values["swath"] = np.full(reading.rows, settings.swath_m)
        if "swath" in reading.choices:
            usual = float(np.nanmedian(reading.number("swath").values))
            reading.note(
                "swath_overridden",
                f"the swath is the trial file's {settings.swath_m:g} m; column {reading.choices['swath'].column!r} "
                f"(usually {usual:g}) is not used.",
            )
    elif "swath" in reading.choices:
        _convert(reading, "swath", crop)
    else:
        reading.questions.append(
            Question("swath", "swath: no column says how wide the header is", ('swath = "30 ft"',), "[harvest]")
        )


def _settle_moisture(reading: Reading, crop: Crop | None) -> None:
    """Read the moisture; without a unit only when it is plausible as per cent."""
    if "moisture" not in reading.choices:
        if not any(question.quantity == "moisture" for question in reading.questions):
            reading.note("moisture_not_logged", "no column for moisture; [moisture] declared_pct can stand in.")
        return
    choice = reading.choices["moisture"]
    if choice.unit is None:
        usual = float(np.nanmedian(reading.number("moisture").values))
        low, high = ANY_MOISTURE_PCT if crop is None else (crop.min_moisture_pct, crop.max_moisture_pct)
        if low <= usual <= high:
            reading.settle("moisture", "plausible as per cent", "percent")
        else:
            looks = "looks like a fraction" if usual <= MAX_FRACTION else f"is not within {low:g} to {high:g} % either"
            reading.questions.append(ask_unit(choice, f"has no unit and its median {usual:g} {looks}"))
            return
    _convert(reading, "moisture", crop)


def _settle_flow(reading: Reading, crop: Crop | None) -> None:
    """Read the flow, or work it out from a yield that says whether it is wet or dry."""
    asked = {question.quantity for question in reading.questions}
    sources = [name for name in ("mass_flow", "wet_yield", "dry_yield") if name in reading.choices]
    reading.questions = [
        question
        for question in reading.questions
        if question.quantity not in ("wet_yield", "dry_yield", "yield") or not sources
    ]
    if "mass_flow" in asked or (not sources and asked & {"wet_yield", "dry_yield", "yield"}):
        return
    if not sources:
        _ask_flow(reading)
        return
    source = sources[0]
    if not _convert(reading, source, crop) or source == "mass_flow":
        return
    needed = ["swath", "distance", "duration"] + (["moisture"] if source == "dry_yield" else [])
    missing = [name for name in needed if name not in reading.values]
    if missing:
        if not {question.quantity for question in reading.questions} & set(missing):
            reading.questions.append(
                ask_missing("mass_flow", f"cannot be had from {plain_name(source)} without {' and '.join(missing)}")
            )
        return
    _flow_from_yield(reading, source, crop)


def _ask_flow(reading: Reading) -> None:
    """Ask for the flow; a yield that does not say wet or dry is a question of its own."""
    if "yield" not in reading.choices:
        reading.questions.append(ask_missing("mass_flow", "no column for mass flow, wet yield or dry yield"))
        return
    choice = reading.choices["yield"]
    unit = choice.unit or "bu/ac"
    lines = tuple(f'{name} = {{ column = "{choice.column}", unit = "{unit}" }}' for name in ("wet_yield", "dry_yield"))
    sentence = f"mass flow: no column for it, and yield column {choice.column!r} does not say whether it is wet or dry"
    reading.questions.append(Question("mass_flow", sentence, lines))


def _flow_from_yield(reading: Reading, source: str, crop: Crop | None) -> None:
    """Take yield x swath x distance / duration; a dry yield is first brought to the moisture that was logged."""
    values = reading.values
    column = reading.choices[source].column
    with np.errstate(divide="ignore", invalid="ignore"):
        flow = values[source] * values["swath"] * values["distance"] / values["duration"]
        if source == "dry_yield" and crop is not None:
            flow = flow * (100.0 - crop.standard_moisture_pct) / (100.0 - values["moisture"])
    values["mass_flow"] = np.where(np.isfinite(flow), flow, np.nan)
    basis = ""
    if source == "dry_yield" and crop is not None:
        basis = f", assumed to be at {crop.standard_moisture_pct:g} % moisture"
    reading.note(
        "mass_flow_derived",
        f"no column for mass flow; taken from {plain_name(source)} {column!r}{basis}, "
        "times swath and distance over duration.",
    )
