"""Swath, moisture, elevation and flow of a file: read in a unit that is settled, worked out, or asked."""

import numpy as np

from proofstrip.config import HarvestPart
from proofstrip.crops import Crop
from proofstrip.read.choose import Question, ask_missing, ask_unit, override_line
from proofstrip.read.convert import convert, to_si
from proofstrip.read.derive import divide, median
from proofstrip.read.motion import settle_motion
from proofstrip.read.names import TARGETS, plain_name, spell_unit, unit_spellings
from proofstrip.read.records import Reading
from proofstrip.units import M2_PER_HA

MAX_FRACTION = 1.0
# Any grain in a combine [%]; used where the crop is not known.
ANY_MOISTURE_PCT = (3.0, 45.0)
# From a plot combine's two rows to wider than any header sold (common practice, no source) [m].
SWATHS_M = (1.0, 25.0)
# A combine harvests at no less and no more, however small or large (common practice, no source) [kg/s].
FLOWS_KG_S = (0.5, 60.0)
# Three times as much and more is no flow but a mark such as -9999 (common practice, no source).
MAX_FLOW_KG_S = 200.0
# What no record of a combine has, in SI: way [m], speed [m/s], width [m] (common practice, no source).
CEILINGS = {"distance": 1_000.0, "speed": 100.0, "swath": 100.0}
# Least share of the crop's ceiling that a whole field yields; only narrows the choices shown.
MIN_YIELD_SHARE = 0.02


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
    settle_motion(reading, crop)
    _settle_swath(reading, settings, crop)
    for quantity, ceiling in CEILINGS.items():
        if quantity in reading.choices and quantity in reading.values:
            _drop_impossible(reading, quantity, ceiling)
    _settle_moisture(reading, crop)
    if "elevation" in reading.choices and not convert(reading, "elevation", crop, ask=False):
        reading.note(
            "elevation_not_read",
            f"column {reading.choices['elevation'].column!r} names no unit of height and is not read; "
            "nothing depends on it.",
        )
    _settle_flow(reading, crop)


def _settle_swath(reading: Reading, settings: HarvestPart, crop: Crop | None) -> None:
    """Take the trial file's swath, else the column's."""
    if settings.swath_m is not None:
        reading.values["swath"] = np.full(reading.rows, settings.swath_m)
        if "swath" in reading.choices:
            usual = median(reading.number("swath").values)
            reading.note(
                "swath_overridden",
                f"the swath is the trial file's {settings.swath_m:g} m; column {reading.choices['swath'].column!r} "
                f"(usually {usual:g}) is not used.",
            )
    elif "swath" in reading.choices:
        if reading.choices["swath"].unit is None:
            reading.questions.append(_ask_swath_unit(reading))
        elif convert(reading, "swath", crop) and not (reading.values["swath"] > 0).any():
            said = f"swath: column {reading.choices['swath'].column!r} holds no width above 0"
            reading.questions.append(Question("swath", said, ('swath = "30 ft"',), "[harvest]"))
    elif not any(question.quantity == "swath" for question in reading.questions):
        reading.questions.append(
            Question("swath", "swath: no column says how wide the header is", ('swath = "30 ft"',), "[harvest]")
        )


def _settle_moisture(reading: Reading, crop: Crop | None) -> None:
    """Read the moisture; without a unit only when it is plausible as per cent."""
    if "moisture" not in reading.choices:
        if not any(question.quantity == "moisture" for question in reading.questions):
            found = reading.unread.get("moisture", "no column for moisture")
            reading.note("moisture_not_logged", f"{found}; [moisture] declared_pct can stand in.")
        return
    choice = reading.choices["moisture"]
    if choice.unit is None:
        usual = median(reading.number("moisture").values)
        low, high = ANY_MOISTURE_PCT if crop is None else (crop.min_moisture_pct, crop.max_moisture_pct)
        if low <= usual <= high:
            reading.settle("moisture", "plausible as per cent", "percent")
        else:
            looks = "looks like a fraction" if usual <= MAX_FRACTION else f"is not within {low:g} to {high:g} % either"
            reading.questions.append(ask_unit(choice, f"has no unit and its median {usual:g} {looks}"))
            return
    elif choice.unit == "percent" and 0 < median(reading.number("moisture").values) <= MAX_FRACTION:
        usual = median(reading.number("moisture").values)
        said = f"moisture: column {choice.column!r} says per cent, but its median {usual:g} looks like a fraction"
        reading.questions.append(Question("moisture", said, (override_line("moisture", choice.column, "fraction"),)))
        return
    convert(reading, "moisture", crop)


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
    if source == "mass_flow" and reading.choices[source].unit is None:
        reading.questions.append(_ask_flow_unit(reading, crop))
        return
    basis_pct = _dry_basis(reading, crop) if source == "dry_yield" else None
    if not convert(reading, source, crop):
        return
    if source == "mass_flow":
        _drop_impossible(reading, "mass_flow", MAX_FLOW_KG_S)
        return
    needed = ["swath", "distance", "duration"] + (["moisture"] if source == "dry_yield" else [])
    missing = [name for name in needed if name not in reading.values]
    if missing:
        if not {question.quantity for question in reading.questions} & set(missing):
            reading.questions.append(
                ask_missing("mass_flow", f"cannot be had from {plain_name(source)} without {' and '.join(missing)}")
            )
        return
    _flow_from_yield(reading, source, basis_pct)


def _drop_impossible(reading: Reading, quantity: str, ceiling: float) -> None:
    """Take values that no combine has as missing: a display's mark for no value, or damage."""
    values = reading.values[quantity]
    impossible = np.abs(values) > ceiling
    if impossible.any():
        row = int(np.flatnonzero(impossible)[0])
        found = reading.number(quantity).values[row]
        reading.values[quantity] = np.where(impossible, np.nan, values)
        what = "flow" if quantity == "mass_flow" else plain_name(quantity)
        unit = {"mass_flow": "kg/s", "speed": "m/s"}.get(quantity, "m")
        reading.note(
            f"impossible_{what}",
            f"column {reading.choices[quantity].column!r} is impossible as a {what} in {impossible.sum()} of "
            f"{reading.rows} rows (first: {found:g} in row {row + 1}; at most {ceiling:g} {unit}); "
            "taken as missing.",
        )


def _ask_swath_unit(reading: Reading) -> Question:
    """Ask for the unit of the swath; only units in which it could be a header are named."""
    choice = reading.choices["swath"]
    usual = median(reading.number("swath").values)
    widths = {unit: usual * to_si(unit, "m", None) for unit in unit_spellings("swath")}
    likely = {unit: f"{width:.3g} m" for unit, width in widths.items() if SWATHS_M[0] <= width <= SWATHS_M[1]}
    return ask_unit(choice, f"(usually {usual:g}) has no unit", likely)


def _ask_flow_unit(reading: Reading, crop: Crop | None) -> Question:
    """Ask for the unit of the flow; each that can be is shown with what it would mean."""
    values, choice = reading.values, reading.choices["mass_flow"]
    flow = reading.number("mass_flow").values
    bushels = crop is not None and crop.bushel_lb is not None
    units = [unit for unit in unit_spellings("mass_flow") if bushels or not unit.startswith("bu")]
    factors = {unit: to_si(unit, TARGETS["mass_flow"], crop) for unit in units}
    if crop is not None and {"swath", "distance", "duration"} <= set(values):
        area_m2 = float(np.nansum(values["swath"] * values["distance"]))
        mass = float(np.nansum(flow * values["duration"]))
        yields = {unit: mass * factor / area_m2 * M2_PER_HA for unit, factor in factors.items() if area_m2 > 0}
        likely = {
            unit: _say_yield(yield_kg_ha, crop)
            for unit, yield_kg_ha in yields.items()
            if MIN_YIELD_SHARE <= yield_kg_ha / crop.max_yield_kg_ha <= 1.0
        }
        return ask_unit(choice, "has no unit", likely)
    usual = median(flow[flow > 0])
    flows = {unit: usual * factor for unit, factor in factors.items()}
    likely = {unit: f"{flow:.3g} kg/s" for unit, flow in flows.items() if FLOWS_KG_S[0] <= flow <= FLOWS_KG_S[1]}
    return ask_unit(choice, f"(usually {usual:g}) has no unit", likely)


def _say_yield(yield_kg_ha: float, crop: Crop) -> str:
    """Say a yield in the unit that the crop is traded in."""
    bushel = crop.kg_ha_per_bu_ac
    return f"{yield_kg_ha / 1000:.3g} t/ha" if bushel is None else f"{yield_kg_ha / bushel:.3g} bu/ac"


def _dry_basis(reading: Reading, crop: Crop | None) -> float | None:
    """Give the moisture that a dry yield is stated at: said in its unit ("bu/ac at 11 %"), else the crop's, assumed."""
    choice = reading.choices["dry_yield"]
    unit, said, basis = (choice.unit or "").partition(" at ")
    if not said:
        return None if crop is None else crop.standard_moisture_pct
    try:
        basis_pct = float(basis.replace("%", ""))
    except ValueError:
        return None if crop is None else crop.standard_moisture_pct
    reading.settle("dry_yield", f"at {basis_pct:g} %", spell_unit("dry_yield", unit))
    return basis_pct


def _ask_flow(reading: Reading) -> None:
    """Ask for the flow; a yield that does not say wet or dry is a question of its own."""
    if "yield" not in reading.choices:
        reading.questions.append(ask_missing("mass_flow", "no column for mass flow, wet yield or dry yield"))
        return
    choice = reading.choices["yield"]
    unit = choice.unit or "bu/ac"
    lines = tuple(override_line(name, choice.column, unit) for name in ("wet_yield", "dry_yield"))
    sentence = f"mass flow: no column for it, and yield column {choice.column!r} does not say whether it is wet or dry"
    reading.questions.append(Question("mass_flow", sentence, lines))


def _flow_from_yield(reading: Reading, source: str, basis_pct: float | None) -> None:
    """Take yield x swath x distance / duration; a dry yield is first brought to the moisture that was logged."""
    values, choice, basis = reading.values, reading.choices[source], ""
    flow = divide(values[source] * values["swath"] * values["distance"], values["duration"])
    if basis_pct is not None:
        flow = flow * (100.0 - basis_pct) / (100.0 - values["moisture"])
        said = "stated" if "at" in choice.settled else "assumed"
        basis = f", {said} to be at {basis_pct:g} % moisture"
    values["mass_flow"] = flow
    reading.note(
        "mass_flow_derived",
        f"no column for mass flow; taken from {plain_name(source)} {choice.column!r}{basis}, "
        "times swath and distance over duration.",
    )
