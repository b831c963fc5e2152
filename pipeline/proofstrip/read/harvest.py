"""Raw combine files -> one row per record: SI units, projected metres, reading order, nothing dropped."""

from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj

from proofstrip.config import HarvestPart
from proofstrip.crops import Crop
from proofstrip.errors import DataError, Notice
from proofstrip.read.choose import COLUMNS_PART, Choice, Question, check_overrides
from proofstrip.read.inputs import Input, open_inputs
from proofstrip.read.measures import settle_measures
from proofstrip.read.names import plain_name
from proofstrip.read.positions import Extent
from proofstrip.read.records import POSITION, Reading, load, look_at
from proofstrip.read.settle import settle_header, settle_machine, settle_position
from proofstrip.read.settle_time import refuse_mixed_clocks, settle_time

# Column of the points <- quantity of the file.
MEASURES = {
    "time": "time",
    "easting_m": "easting",
    "northing_m": "northing",
    "elevation_m": "elevation",
    "heading_deg": "heading",
    "speed_m_s": "speed",
    "duration_s": "duration",
    "distance_m": "distance",
    "swath_m": "swath",
    "mass_flow_kg_s": "mass_flow",
    "moisture_pct": "moisture",
}
# Between files whose times are counted, so that a file never runs on into the next.
FILE_GAP_S = 60.0
FLOWS = ("mass_flow", "wet_yield", "dry_yield", "yield")


@dataclass(frozen=True)
class SourceFile:
    """A raw file as it was read.

    Attributes
    ----------
    path : pathlib.Path
    sha256 : str
    rows : int
    columns : tuple of Choice
        The columns taken, with units and how each was settled.
    """

    path: Path
    sha256: str
    rows: int
    columns: tuple[Choice, ...]


@dataclass(frozen=True)
class Harvest:
    """All records of a trial.

    Attributes
    ----------
    points : geopandas.GeoDataFrame
    notices : tuple of Notice
    sources : tuple of SourceFile
    """

    points: gpd.GeoDataFrame
    notices: tuple[Notice, ...]
    sources: tuple[SourceFile, ...]


def read_harvest(
    settings: HarvestPart,
    folder: Path,
    crop: Crop | None,
    crs: pyproj.CRS | None = None,
    map_extent: Extent | None = None,
) -> Harvest:
    """Read the raw files of a trial.

    Parameters
    ----------
    settings : HarvestPart
    folder : pathlib.Path
        File names start here.
    crop : Crop or None
        For bushels and plausible moisture.
    crs : pyproj.CRS or None
        Working projection, in metres: the trial map's; none: the UTM zone of the first file.
    map_extent : tuple of float or None
        West, south, east and north of the trial map [deg], for messages.

    Returns
    -------
    Harvest
        ``points`` has the columns record, source_file, source_row, machine, time, utc_offset_s, easting_m, northing_m,
        elevation_m, heading_deg, speed_m_s, duration_s, distance_m, swath_m, mass_flow_kg_s, moisture_pct,
        header_down and geometry.

    Raises
    ------
    DataError
        When a file cannot be read, or leaves open what only the user can settle.
    """
    with open_inputs(settings.files, folder) as (inputs, notices, found):
        readings = _read_all(inputs, settings, crop, crs, map_extent)
    _stop_at_questions(readings)
    refuse_mixed_clocks(readings)
    _refuse_no_grain(readings)
    frames = [_to_frame(reading) for reading in readings]
    notices += [notice for reading in readings for notice in reading.notices]
    if all(frame["moisture_pct"].isna().all() for frame in frames):
        # Of all the grain, not of a file: the moisture stage asks for it, or the run says what stands in.
        notices = [notice for notice in notices if notice.code != "moisture_not_logged"]
    notices += _shift_counted_times(readings, frames) + _name_machines(readings, frames)
    sources = tuple(
        SourceFile(path, digest, reading.rows, tuple(reading.choices.values()))
        for one, reading in zip(inputs, readings, strict=True)
        for path, digest in one.sources or ((one.source, one.sha256),)
    )
    # A file whose records all stand in another is no less a file of the trial.
    read = {source.path for source in sources}
    sources += tuple(SourceFile(path, digest, 0, ()) for path, digest in found.items() if path not in read)
    return Harvest(_join(frames, readings), tuple(notices), sources)


def _read_all(
    inputs: list[Input],
    settings: HarvestPart,
    crop: Crop | None,
    crs: pyproj.CRS | None,
    map_extent: Extent | None,
) -> list[Reading]:
    """Read every file, the first of them settling the projection where nothing else does."""
    heads = [look_at(one) for one in inputs]
    check_overrides(settings.columns, {one.name: head.names for one, head in zip(inputs, heads, strict=True)})
    readings: list[Reading] = []
    for head, one in zip(heads, inputs, strict=True):
        loaded = replace(load(head, one.name, settings), map_extent=map_extent)
        readings.append(read_records(loaded, settings, crop, crs))
        crs = crs or readings[-1].crs
    return readings


def read_records(reading: Reading, settings: HarvestPart, crop: Crop | None, crs: pyproj.CRS | None) -> Reading:
    """Settle everything that one loaded file says.

    Parameters
    ----------
    reading : Reading
    settings : HarvestPart
    crop : Crop or None
    crs : pyproj.CRS or None

    Returns
    -------
    Reading
        The same, complete; what stays open is in its questions.
    """
    settle_position(reading, settings, crs)
    settle_machine(reading)
    settle_time(reading, settings)
    settle_header(reading)
    settle_measures(reading, settings, crop)
    reading.questions = [_say_unread(reading, question) for question in reading.questions]
    return reading


def _say_unread(reading: Reading, question: Question) -> Question:
    """Say of a quantity that is asked for what its column holds: one without a number is there, not absent."""
    asked = {"position": POSITION, "mass_flow": FLOWS}.get(question.quantity, (question.quantity,))
    found = [said for quantity, said in reading.unread.items() if quantity in asked]
    if not found:
        return question
    sentence = f"{plain_name(question.quantity)}: {' and '.join(found)}; mend the values or name another column"
    return replace(question, sentence=sentence)


def _stop_at_questions(readings: list[Reading]) -> None:
    """End the run when a file leaves something open: every question at once, each with its lines."""
    asking = [reading for reading in readings if reading.questions]
    if not asking:
        return
    said = [f"{reading.name}: " + "; ".join(map(_say, reading.questions)) + "." for reading in asking]
    raise DataError(f"{' '.join(said)} 'proofstrip inspect' shows the columns of a file.")


def _refuse_no_grain(readings: list[Reading]) -> None:
    """End the run when no record of any file has a flow above zero."""
    if any((reading.values["mass_flow"] > 0).any() for reading in readings):
        return
    reading = readings[0]
    source = next(name for name in FLOWS if name in reading.choices)
    rows = sum(one.rows for one in readings)
    raise DataError(
        f"{reading.name}: column {reading.choices[source].column!r}: none of the {rows:,} records has a "
        f"{plain_name(source)} above zero, so no grain was measured. Check which column holds it, name it in "
        f"{COLUMNS_PART}, or export the file with the yield sensor's values."
    )


def _say(question: Question) -> str:
    """Say one question and the line that settles it."""
    if not question.lines:
        return question.sentence
    choices = (" and " if question.all_lines else " or ").join(question.lines)
    if len(question.lines) > 2:
        choices = f"{question.lines[0]}, with the right unit or column"
    return f"{question.sentence} (add to {question.part}: {choices})"


def _to_frame(reading: Reading) -> pd.DataFrame:
    """Set the values of one file out as columns; what it does not have is NaN."""
    empty = np.full(reading.rows, np.nan)
    frame = pd.DataFrame({column: reading.values.get(quantity, empty) for column, quantity in MEASURES.items()})
    frame.insert(1, "utc_offset_s", np.zeros(reading.rows) if reading.utc_offset is None else reading.utc_offset)
    missing = pd.Series(pd.array([pd.NA] * reading.rows, dtype="boolean"))
    frame["header_down"] = missing if reading.header is None else reading.header
    # Of several logs that are one file to the user, each counts its own rows.
    counts = [rows for _, rows in reading.loaded.parts] or [reading.rows]
    frame.insert(0, "source_row", np.concatenate([np.arange(1, rows + 1) for rows in counts]))
    return frame


def _shift_counted_times(readings: list[Reading], frames: list[pd.DataFrame]) -> list[Notice]:
    """Let the counted times of a file begin after those of the file before it."""
    end, notices = None, []
    for reading, frame in zip(readings, frames, strict=True):
        if reading.time_counts:
            if end is not None:
                frame["time"] += end + FILE_GAP_S
                said = f"{reading.name}: its counted times begin {FILE_GAP_S:g} s after those of the file before it."
                notices.append(Notice("time_shifted", said))
            end = float(frame["time"].max())
    return notices


def _name_machines(readings: list[Reading], frames: list[pd.DataFrame]) -> list[Notice]:
    """Name machines; files that name none are one machine, unless their times overlap."""
    spans: list[list[tuple[float, float]]] = []
    notices = []
    for reading, frame in zip(readings, frames, strict=True):
        if reading.machine is not None:
            frame["machine"] = reading.machine
            continue
        low, high = float(frame["time"].min()), float(frame["time"].max())
        free = (n for n, taken in enumerate(spans) if all(high < start or low > end for start, end in taken))
        number = next(free, len(spans))
        if number == len(spans):
            spans.append([])
        spans[number].append((low, high))
        frame["machine"] = pd.Categorical([str(number + 1)] * len(frame))
        if number:
            said = (
                f"{reading.name}: its times overlap those of a file before it; it is taken as machine '{number + 1}'."
            )
            if reading.time_counts or "since the start" in reading.choices["time"].settled:
                said += " Its times only count from its own start: if it is the same machine, give times with a date."
            notices.append(Notice("machine_by_overlap", said))
    return notices


def _join(frames: list[pd.DataFrame], readings: list[Reading]) -> gpd.GeoDataFrame:
    """Put the files one below the other, in reading order."""
    machines = sorted({str(name) for frame in frames for name in frame["machine"].cat.categories})
    for frame in frames:
        frame["machine"] = frame["machine"].cat.set_categories(machines)
    points = pd.concat(frames, ignore_index=True)
    parts = [part for reading in readings for part in _list_parts(reading)]
    points["source_file"] = pd.Categorical.from_codes(
        np.repeat(np.arange(len(parts)), [rows for _, rows in parts]), categories=pd.Index([name for name, _ in parts])
    )
    points["record"] = np.arange(len(points))
    order = ["record", "source_file", "source_row", "machine", "time", "utc_offset_s"]
    order += [*(name for name in MEASURES if name != "time"), "header_down"]
    geometry = gpd.points_from_xy(points["easting_m"], points["northing_m"])
    crs = next((reading.crs for reading in readings if reading.crs is not None), None)
    return gpd.GeoDataFrame(points[order], geometry=geometry, crs=crs)


def _list_parts(reading: Reading) -> list[tuple[str, int]]:
    """Name the files that the rows come from, with how many each has."""
    place = reading.name.rpartition("/")[0]
    return [(f"{place}/{name}" if place else name, rows) for name, rows in reading.loaded.parts] or [
        (reading.name, reading.rows)
    ]
