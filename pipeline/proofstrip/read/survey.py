"""What a raw file holds, for a person who sees it for the first time. Reads everything, writes nothing."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from proofstrip.config import HarvestPart
from proofstrip.crops import Crop
from proofstrip.read.choose import Question
from proofstrip.read.derive import find_steps, median
from proofstrip.read.harvest import read_records
from proofstrip.read.inputs import Input, open_inputs
from proofstrip.read.names import TARGETS
from proofstrip.read.positions import WGS84, transform
from proofstrip.read.records import Reading, load, look_at
from proofstrip.read.settle import machine_codes


@dataclass(frozen=True)
class ColumnSurvey:
    """One column: what it is taken for, and the range of its values in its own unit; None where it has no numbers."""

    column: str
    quantity: str
    unit: str
    settled: str
    low: float | None
    median: float | None
    high: float | None


@dataclass(frozen=True)
class Extent:
    """Where the records lie: degrees on WGS 84, and the size of the field in the projection named."""

    west_deg: float
    east_deg: float
    south_deg: float
    north_deg: float
    width_m: float
    height_m: float
    projection: str


@dataclass(frozen=True)
class TimeSpan:
    """When the records were logged [s]; ``unix`` where the seconds count from 1970."""

    start_s: float
    end_s: float
    interval_s: float
    unix: bool


@dataclass(frozen=True)
class Survey:
    """A raw file, surveyed.

    Attributes
    ----------
    file : str
        As the user calls it; of an archive, with the name inside.
    source : str
        What the trial file must name.
    format : str
    layout : dict of str to str
        Encoding and delimiter, or layer.
    rows : int
    columns : tuple of ColumnSurvey
    unused : tuple of str
        Columns that were not recognised or are not needed.
    time : TimeSpan or None
    extent : Extent or None
    machines : tuple of str
        Empty where no column names them.
    notices : tuple of str
    questions : tuple of Question
        What must be settled before the file can be used.
    parts : tuple of str
        The logs that it holds, where it holds several.
    """

    file: str
    source: str
    format: str
    layout: dict[str, str]
    rows: int
    columns: tuple[ColumnSurvey, ...]
    unused: tuple[str, ...]
    time: TimeSpan | None
    extent: Extent | None
    machines: tuple[str, ...]
    notices: tuple[str, ...]
    questions: tuple[Question, ...]
    parts: tuple[str, ...] = ()


def survey_files(path: Path, crop: Crop | None = None) -> list[Survey]:
    """Look through a raw file, a folder of task data, or the files of an archive.

    Parameters
    ----------
    path : pathlib.Path
    crop : Crop or None
        For bushels, the plausible moisture, and what each possible unit of the flow would mean.

    Returns
    -------
    list of Survey

    Raises
    ------
    DataError
        When a file cannot be read at all.
    """
    with open_inputs([str(path.absolute())], path.parent) as (inputs, notices, _):
        said = tuple(notice.message for notice in notices)
        surveys = [_survey(one, path, crop) for one in inputs]
    return [replace(one, notices=(*said, *one.notices)) if place == 0 else one for place, one in enumerate(surveys)]


def _survey(raw: Input, path: Path, crop: Crop | None) -> Survey:
    """Look through one file."""
    settings = HarvestPart.model_validate({"files": (str(path),)})
    name = raw.path.name
    reading = read_records(load(look_at(raw), name, settings), settings, crop, None)
    columns = tuple(_survey_column(reading, quantity) for quantity in reading.choices)
    used = {column.column for column in columns}
    asked = {name for name in reading.head.names if any(repr(name) in said.sentence for said in reading.questions)}
    return Survey(
        # Of an archive: with the name inside.
        file=str(path) + raw.name.removeprefix(path.name) * raw.name.startswith(f"{path.name}/"),
        source=str(path),
        format=reading.head.format,
        layout=reading.head.layout,
        rows=reading.rows,
        columns=columns,
        unused=tuple(name for name in reading.head.names if name not in used | asked),
        time=_survey_time(reading),
        extent=_survey_extent(reading),
        machines=() if reading.machine is None else tuple(map(str, reading.machine.cat.categories)),
        notices=tuple(notice.message.removeprefix(f"{name}: ") for notice in reading.notices),
        questions=tuple(reading.questions),
        parts=reading.head.parts,
    )


def _survey_column(reading: Reading, quantity: str) -> ColumnSurvey:
    """Give unit, source and range of one column."""
    choice = reading.choices[quantity]
    low = middle = high = None
    if TARGETS[quantity] and quantity != "time":
        values = reading.number(quantity).values
        low, middle, high = float(np.nanmin(values)), median(values), float(np.nanmax(values))
    open_quantities = {question.quantity for question in reading.questions}
    settled = "open" if quantity in open_quantities else choice.settled
    return ColumnSurvey(choice.column, quantity, choice.unit or "", settled, low, middle, high)


def _survey_time(reading: Reading) -> TimeSpan | None:
    """Give span and interval."""
    time = reading.values.get("time")
    if time is None or not np.isfinite(time).any():
        return None
    interval = median(reading.values["duration"]) if "duration" in reading.values else np.nan
    if np.isnan(interval):
        interval = median(find_steps(time, machine_codes(reading)).seconds)
    settled = reading.choices["time"].settled if "time" in reading.choices else ""
    unix = any(word in settled for word in ("unix", "date", "ISO"))
    return TimeSpan(float(np.nanmin(time)), float(np.nanmax(time)), interval, unix)


def _survey_extent(reading: Reading) -> Extent | None:
    """Give the corners in degrees and the size in metres."""
    if reading.crs is None or "easting" not in reading.values:
        return None
    east, north = reading.values["easting"], reading.values["northing"]
    low = float(np.nanmin(east)), float(np.nanmin(north))
    high = float(np.nanmax(east)), float(np.nanmax(north))
    corners = transform(np.array([low, high]), reading.crs, WGS84)
    return Extent(
        float(corners[0, 0]),
        float(corners[1, 0]),
        float(corners[0, 1]),
        float(corners[1, 1]),
        high[0] - low[0],
        high[1] - low[1],
        reading.crs.name,
    )
