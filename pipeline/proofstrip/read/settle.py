"""Position, machine and header of a file: checked, never guessed."""

import numpy as np
import pyproj

from proofstrip.config import HarvestPart
from proofstrip.errors import DataError
from proofstrip.read import positions
from proofstrip.read.choose import Question, override_line
from proofstrip.read.names import squeeze
from proofstrip.read.records import Reading
from proofstrip.read.table import Floats, Integers
from proofstrip.read.values import read_header_states, to_labels


def settle_position(reading: Reading, settings: HarvestPart, crs: pyproj.CRS | None) -> None:
    """Bring the records into the working projection, or ask.

    Parameters
    ----------
    reading : Reading
        Gets ``easting``, ``northing``, its projection and its place.
    settings : HarvestPart
    crs : pyproj.CRS or None
        The working projection; none: the UTM zone of this file.

    Raises
    ------
    DataError
        When the positions cannot be what they are called, or lie outside the projection.
    """
    found = _find_position(reading, settings)
    if found is None:
        return
    xy, source = found
    xy, impossible = positions.drop_impossible(xy, source.is_geographic)
    if impossible > len(xy) / 2:
        reading.questions.append(_ask_impossible(reading, impossible, source))
        return
    if impossible:
        reading.note(
            "impossible_position", f"{impossible} records are at 0, 0 or outside all degrees; taken as missing."
        )
    if source.is_projected and positions.looks_like_degrees(xy):
        east, north = positions.middle(xy)
        reading.questions.append(
            Question(
                "position",
                f"position: the coordinates (about {east:.6g}, {north:.6g}) look like degrees, but are taken in "
                f"{source.name!r}, which is in metres; name the columns as longitude and latitude, or set the right "
                "[harvest] crs",
            )
        )
        return
    if not np.isfinite(xy).all(axis=1).any():
        raise DataError(f"{reading.name}: no record has a position; export the file again with its coordinates.")
    middle = positions.transform(np.array([positions.middle(xy)]), source, positions.WGS84)[0]
    if not np.isfinite(middle).all():
        raise DataError(
            f"{reading.name}: coordinates about {positions.middle(xy)} do not fit the coordinate system "
            f"{source.name!r}; set the right one in [harvest] crs."
        )
    reading.place = (float(middle[0]), float(middle[1]))
    reading.crs = positions.utm_crs(*reading.place) if crs is None else crs
    positions.check_inside(reading.crs, reading.place, reading.name, reading.map_extent)
    if source.is_geographic:
        _doubt_decimals(reading, xy)
    projected, far = positions.drop_far(positions.transform(xy, source, reading.crs))
    if far:
        reading.note(
            "far_position",
            f"{far} records lie more than {positions.MAX_FROM_MIDDLE_M / 1000:g} km from the middle of all; their "
            "positions are taken as missing.",
        )
    impossible += far
    reading.values["easting"], reading.values["northing"] = projected[:, 0], projected[:, 1]
    empty = int(np.isnan(projected).any(axis=1).sum()) - impossible
    if empty > 0:
        reading.note("position_missing", f"{empty} records have no position.")


def _doubt_decimals(reading: Reading, xy: Floats) -> None:
    """Refuse degrees that were written too coarsely to tell one pass from the next, and doubt those that nearly are."""
    decimals = positions.count_decimals(xy)
    if decimals is None:
        return
    step = 10.0**-decimals * positions.DEGREE_M
    said = f"are written to {decimals} decimals of a degree, in steps of {step:,.3g} m"
    if decimals < positions.LEAST_DECIMALS:
        raise DataError(
            f"{reading.name}: the positions {said}, so neighbouring passes cannot be told apart; export the file with "
            "7 decimals, and never let a spreadsheet round them."
        )
    reading.note("position_coarse", f"the positions {said}; 7 decimals are better, and 6 are needed for a fast log.")


def settle_machine(reading: Reading) -> None:
    """Name the machine of each record, where a column says so."""
    if "machine" not in reading.choices:
        return
    labels = to_labels(reading.column("machine"))
    if labels.isna().all():
        reading.note("machine_empty", f"column {reading.choices['machine'].column!r} names no machine and is not used.")
        return
    if labels.isna().any():
        reading.note(
            "machine_missing", f"{int(labels.isna().sum())} records name no machine; they are called 'unnamed'."
        )
        labels = labels.cat.add_categories(["unnamed"]).fillna("unnamed")
    reading.machine = labels


def settle_header(reading: Reading) -> None:
    """Read the header's state, or ask when a value is none of the known words."""
    if "header" not in reading.choices:
        reading.note(
            "header_not_logged", "no column says whether the header is down; passes are told from the path alone."
        )
        return
    column = reading.choices["header"].column
    states, found = read_header_states(reading.column("header"), column)
    if states is None:
        shown = ", ".join(repr(label) for label in found[:8]) + (" ..." if len(found) > 8 else "")
        said = (
            f"header: column {column!r} holds {shown}; known are 1/0, up/down, on/off, true/false, raised/lowered, "
            "working/not; recode it or name another column"
        )
        reading.questions.append(Question("header", said, (override_line("header", "...", ""),)))
        return
    # "header up = 1" means the opposite of "header down = 1"; words such as "up" say it themselves.
    if squeeze(column).endswith(("up", "raised")) and set(map(str.lower, found)) & {"1", "true", "yes", "on"}:
        states = ~states
        reading.note("header_inverted", f"column {column!r} says when the header is up; it is read so.")
    reading.header = states
    reading.settle("header", f"{int(states.sum())} down, {int((~states).sum())} up")


def machine_codes(reading: Reading) -> Integers:
    """Give the number of each record's machine, from 0."""
    if reading.machine is None:
        return np.zeros(reading.rows, dtype="int64")
    return reading.machine.cat.codes.to_numpy().astype("int64")


def _find_position(reading: Reading, settings: HarvestPart) -> tuple[Floats, pyproj.CRS] | None:
    """Find the coordinates and their system, or ask for what is missing."""
    own = None if settings.crs is None else positions.read_crs(settings.crs)
    if reading.loaded.xy is not None and not {"longitude", "easting"} & set(reading.choices):
        xy, crs, what = reading.loaded.xy, reading.head.crs, "points"
        if crs is not None and own is not None and crs != own:
            reading.note("crs_of_file", f"the file names {crs.name!r} itself; [harvest] crs is not used for it.")
    elif {"longitude", "latitude"} <= set(reading.choices):
        xy, what = _pair(reading, "longitude", "latitude"), "longitude and latitude"
        crs = positions.WGS84 if own is None or own.is_projected else own
        own = None
    elif {"easting", "northing"} <= set(reading.choices):
        xy, crs, what = _pair(reading, "easting", "northing"), None, "easting and northing"
    else:
        asked = {question.quantity for question in reading.questions}
        if not asked & {"longitude", "latitude", "easting", "northing"}:
            lines = override_line("longitude", "...", ""), override_line("latitude", "...", "")
            said = "position: no points, and no columns of longitude and latitude or easting and northing"
            reading.questions.append(Question("position", said, lines, all_lines=True))
        return None
    if crs is None and own is None and what == "points" and positions.looks_like_degrees(xy):
        reading.note(
            "crs_assumed", "no coordinate system is named; the coordinates can only be degrees, taken as WGS 84."
        )
        crs = positions.WGS84
    if crs is None and own is None:
        east, north = positions.middle(xy)
        looks = "which look like degrees: then name them as longitude and latitude; " * positions.looks_like_degrees(xy)
        reading.questions.append(
            Question(
                "crs",
                f"coordinate system: the {what} ({looks}about {east:.6g}, {north:.6g}) are in metres or degrees of a "
                "system that nothing names",
                ('crs = "EPSG:..."',),
                "[harvest]",
            )
        )
        return None
    return xy, crs or own  # type: ignore[return-value]


def _pair(reading: Reading, east: str, north: str) -> Floats:
    """Read two columns as coordinates."""
    return np.column_stack([reading.number(east).values, reading.number(north).values])


def _ask_impossible(reading: Reading, impossible: int, source: pyproj.CRS) -> Question:
    """Ask what positions are that cannot be degrees."""
    said = f"position: {impossible} of {reading.rows} are impossible as degrees"
    if not {"longitude", "latitude"} <= set(reading.choices):
        said += f", which the coordinate system {source.name!r} says they are; save the file with its true one"
        return Question("position", said)
    names = [reading.choices[quantity].column for quantity in ("longitude", "latitude")]
    east, north = (float(np.nanmedian(reading.number(quantity).values)) for quantity in ("longitude", "latitude"))
    said += f" (column {names[0]!r} about {east:.6g}, column {names[1]!r} about {north:.6g})"
    if abs(north) <= 180 and abs(east) <= 90:
        lines = override_line("longitude", names[1], ""), override_line("latitude", names[0], "")
        return Question("position", f"{said}: longitude and latitude are swapped", lines, all_lines=True)
    lines = override_line("easting", names[0], ""), override_line("northing", names[1], "")
    said = f"{said}: they may be metres; then [harvest] crs must say in which coordinate system"
    return Question("position", said, lines, all_lines=True)
