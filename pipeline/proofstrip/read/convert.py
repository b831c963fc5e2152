"""From a column's own unit to SI, or the question what its unit is."""

from proofstrip.crops import Crop
from proofstrip.read.choose import ask_unit
from proofstrip.read.names import TARGETS
from proofstrip.read.records import Reading
from proofstrip.units import factor_to


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
        name = "this crop" if crop is None else crop.name
        raise ValueError(f"unit {unit!r} needs the weight of a bushel, and that of {name} is not known")
    return crop.bushel_lb * factor_to(f"lb{slash}{tail}", target)


def convert(reading: Reading, quantity: str, crop: Crop | None, ask: bool = True) -> bool:
    """Bring a column with a known unit to SI; otherwise ask for the unit.

    Parameters
    ----------
    reading : Reading
        Gets the values, or the question.
    quantity : str
    crop : Crop or None
    ask : bool
        Whether an open unit is a question.

    Returns
    -------
    bool
        Whether there are values.
    """
    choice = reading.choices[quantity]
    if crop is None and choice.unit is not None and choice.unit.startswith("bu"):
        reading.note("crop_needed", f"column {choice.column!r} counts bushels, whose weight depends on the crop.")
        return False
    why = "has no unit"
    if choice.unit is not None:
        try:
            factor = to_si(choice.unit, TARGETS[quantity], crop)
        except ValueError as fault:
            why = f"says {choice.unit!r}: {fault}"
        else:
            reading.values[quantity] = reading.number(quantity).values * factor
            return True
    if ask:
        reading.questions.append(ask_unit(choice, why))
    return False
