"""Headers as displays and shapefiles write them."""

import pytest

from proofstrip.read.names import (
    HARVEST,
    TARGETS,
    TICKETS,
    Match,
    _load_table,
    match_column,
    spell_unit,
    squeeze,
    unit_spellings,
)
from proofstrip.units import factor_to


@pytest.mark.parametrize(
    ("header", "quantity", "unit"),
    [
        ("Flow(lb/s)", "mass_flow", "lb/s"),
        ("Mass Flow [kg/s]", "mass_flow", "kg/s"),
        ("mass_flow_t_h", "mass_flow", "t/h"),
        ("Distance (in)", "distance", "in"),
        ("Speed_mph", "speed", "mph"),
        ("GroundSpeed km/h", "speed", "km/h"),
        ("SWATH", "swath", None),
        ("Header width (ft)", "swath", "ft"),
        ("Width(m)", "swath", "m"),
        ("Moisture %", "moisture", "percent"),
        ("Track(deg)", "heading", "deg"),
        ("Elevation_ft", "elevation", "ft"),
        ("CYCLES", "duration", None),
        ("seconds", "duration", None),
        ("Time (UTC)", "time", None),
        ("DRY_BU_AC", "dry_yield", "bu/ac"),
        ("Wet Yield (kg/ha)", "wet_yield", "kg/ha"),
        ("Yield(bu/ac)", "yield", "bu/ac"),
        ("Flow (g/min)", "mass_flow", "g/min"),
        ("Moisture (wet basis)", "moisture", None),
        ("Serial No.", "machine", None),
    ],
)
def test_header_is_recognised_with_its_unit(header: str, quantity: str, unit: str | None) -> None:
    match = match_column(header)
    assert match is not None
    assert (match.quantity, match.unit) == (quantity, unit)


@pytest.mark.parametrize(
    ("header", "quantity", "unit"),
    [
        ("Swath Widt", "swath", None),
        ("Distance(f", "distance", "ft"),
        ("Distance(m", "distance", None),
        ("Grain_Mois", "moisture", None),
        ("Mass_Flow(", "mass_flow", None),
        ("Moisture(%", "moisture", "percent"),
    ],
)
def test_header_cut_to_ten_characters_is_recognised(header: str, quantity: str, unit: str | None) -> None:
    match = match_column(header)
    assert match is not None
    assert (match.quantity, match.unit) == (quantity, unit)


@pytest.mark.parametrize(
    "header", ["PASS", "STATUS", "width", "track", "height", "variety", "Grain", "Length", "SECOND"]
)
def test_header_that_could_be_anything_is_not_recognised(header: str) -> None:
    assert match_column(header) is None


def test_cut_name_that_could_be_two_quantities_is_not_recognised() -> None:
    # "machine sp" is the start of a speed only, "machine na" of a machine only; "vehicle" plus two letters is open.
    assert match_column("Machine Sp") == Match("speed", None, cut=True)
    assert match_column("Machine___") == Match("machine", None)


@pytest.mark.parametrize("among", [tuple(HARVEST), tuple(TICKETS)])
def test_no_header_has_two_meanings(among: tuple[str, ...]) -> None:
    names: dict[str, str] = {}
    for quantity in among:
        entry = _load_table()[quantity]
        for name in entry["names"]:
            assert names.setdefault(squeeze(name), quantity) == quantity, name
        for name in [*entry["names"], *entry.get("names_with_unit", [])]:
            for unit, spellings in unit_spellings(quantity).items():
                for spelling in spellings:
                    header = squeeze(name) + squeeze(spelling)
                    assert names.setdefault(header, f"{quantity} {unit}") in (f"{quantity} {unit}", quantity), header


@pytest.mark.parametrize("quantity", [name for name in TARGETS if TARGETS[name]])
def test_every_usual_unit_measures_its_quantity(quantity: str) -> None:
    for unit in unit_spellings(quantity):
        pounds = unit.replace("bu", "lb")
        assert factor_to(pounds, TARGETS[quantity]) > 0


def test_unit_is_told_whatever_its_spelling() -> None:
    assert [spell_unit("mass_flow", text) for text in ("lbs/sec", "LB/S", "bushels per hour", "g/min")] == [
        "lb/s",
        "lb/s",
        "bu/h",
        "g/min",
    ]
