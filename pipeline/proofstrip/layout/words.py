"""Lengths and directions as a driver says them."""

from proofstrip.units import M2_PER_ACRE, M2_PER_HA, M_PER_FT

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def say_length(metres: float, units: str) -> str:
    """Say a length in the user's units, without decimals that nobody can drive.

    Parameters
    ----------
    metres : float
    units : str
        ``us`` or ``metric``.

    Returns
    -------
    str

    Examples
    --------
    >>> say_length(12.192, "us"), say_length(12.192, "metric"), say_length(402.3, "us")
    ('40 ft', '12.19 m', '1,320 ft')
    """
    value, unit = (metres / M_PER_FT, "ft") if units == "us" else (metres, "m")
    decimals = 0 if value >= 100 else 1 if units == "us" else 2
    text = f"{value:,.{decimals}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}"


def say_area(square_metres: float, units: str) -> str:
    """Say an area in the user's units.

    Examples
    --------
    >>> say_area(8093.7, "us"), say_area(8093.7, "metric")
    ('2.00 ac', '0.81 ha')
    """
    value, unit = (square_metres / M2_PER_ACRE, "ac") if units == "us" else (square_metres / M2_PER_HA, "ha")
    return f"{value:,.{2 if value < 10 else 1}f} {unit}"


def say_direction(heading_deg: float) -> str:
    """Name the compass point nearest to a heading.

    Examples
    --------
    >>> say_direction(3.0), say_direction(183.0), say_direction(350.0)
    ('north', 'south', 'north')
    """
    return COMPASS[round(heading_deg / 45) % 8]
