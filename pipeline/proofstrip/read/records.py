"""One raw file -> its records in SI units and projected metres, with what was settled, derived and left open."""

import re
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
import pyarrow as pa
import pyproj

from proofstrip.config import HarvestPart
from proofstrip.errors import DataError, Notice
from proofstrip.read.choose import COLUMNS_PART, Choice, Question, choose_columns
from proofstrip.read.delimited import load_delimited, look_at_delimited
from proofstrip.read.files import TASK_DATA, tell_format
from proofstrip.read.inputs import Input
from proofstrip.read.names import TARGETS, plain_name
from proofstrip.read.positions import Extent
from proofstrip.read.table import Floats, Head, Loaded
from proofstrip.read.task_log import load_task_logs, look_at_task_logs
from proofstrip.read.values import Numbers, report_numbers, say_no_number, to_numbers
from proofstrip.read.vector import load_parquet, load_vector, look_at_parquet, look_at_vector

POSITION = ("longitude", "latitude", "easting", "northing")
LABELS = ("machine", "header", "date")
THOUSANDS = re.compile(r"[+-]?\d{1,3}([.,' ]\d{3})+([.,]\d*)?")


@dataclass
class Reading:
    """A file while it is read: each step adds to it.

    Attributes
    ----------
    head : Head
    name : str
        As records and messages call the file.
    choices : dict of str to Choice
        By quantity.
    loaded : Loaded
    questions : list of Question
    notices : list of Notice
    numbers : dict of str to Numbers
        By quantity, in the file's own unit.
    values : dict of str to numpy.ndarray of float64
        By quantity, in SI.
    machine : pandas.Series of category or None
    header : pandas.Series of boolean or None
    crs : pyproj.CRS or None
        The working projection.
    place : tuple of float or None
        Longitude and latitude of the middle [deg].
    time_counts : bool
        Times are cumulated durations: they start anew in each file.
    clock : str
        Whose the times are: ``utc``; ``local``, of a zone that nothing names; ``own``, without a date.
    utc_offset : numpy.ndarray of float64 or None
        How far the clocks of the named zone are ahead of UTC [s].
    unread : dict of str to str
        By quantity, what the column holds that is taken for it and holds no number.
    map_extent : tuple of float or None
        West, south, east and north of the trial map [deg].
    """

    head: Head
    name: str
    choices: dict[str, Choice]
    loaded: Loaded
    questions: list[Question] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    numbers: dict[str, Numbers] = field(default_factory=dict)
    values: dict[str, Floats] = field(default_factory=dict)
    machine: pd.Series | None = None
    header: pd.Series | None = None
    crs: pyproj.CRS | None = None
    place: tuple[float, float] | None = None
    time_counts: bool = False
    clock: str = "own"
    utc_offset: Floats | None = None
    unread: dict[str, str] = field(default_factory=dict)
    map_extent: Extent | None = None

    @property
    def rows(self) -> int:
        """Number of records."""
        return int(self.loaded.columns.num_rows) if self.loaded.xy is None else len(self.loaded.xy)

    def column(self, quantity: str) -> pa.ChunkedArray:
        """Give the raw column of a quantity."""
        return self.loaded.columns[self.choices[quantity].column]

    def settle(self, quantity: str, how: str, unit: str | None = None) -> None:
        """Note how a column was settled, and its unit where that was open."""
        choice = self.choices[quantity]
        self.choices[quantity] = replace(choice, settled=f"{choice.settled}; {how}", unit=unit or choice.unit)

    def note(self, code: str, sentence: str) -> None:
        """Add a notice; the file's name goes before the sentence."""
        self.notices.append(Notice(code, f"{self.name}: {sentence}"))

    def number(self, quantity: str) -> Numbers:
        """Give a column as numbers in its own unit; what is lost is noted, once."""
        if quantity not in self.numbers:
            numbers = self._read_number(quantity)
            self._refuse_thousands(quantity, numbers)
            self.notices += report_numbers(numbers, self.choices[quantity].column, self.name)
            self.numbers[quantity] = numbers
        return self.numbers[quantity]

    def _refuse_thousands(self, quantity: str, numbers: Numbers) -> None:
        """Refuse numbers with separators of thousands: the large ones would be lost and the small ones kept."""
        row, text = numbers.first_text
        if quantity != "elevation" and THOUSANDS.fullmatch(text):
            raise DataError(
                f"{self.name}: column {self.choices[quantity].column!r} holds {text!r} in row {row}, a number with "
                f"separators of thousands (text in {numbers.texts} of {len(numbers.values)} rows); "
                "export it without them."
            )

    def _read_number(self, quantity: str) -> Numbers:
        """Turn a column into numbers; texts outside of delimited files may have a decimal comma too."""
        column = self.column(quantity)
        try:
            numbers = to_numbers(column, self.head.layout.get("decimal", "."))
            if numbers.texts and "decimal" not in self.head.layout:
                numbers = min(numbers, to_numbers(column, ","), key=lambda read: read.texts)
        except pa.ArrowNotImplementedError as fault:
            raise DataError(
                f"{self.name}: column {self.choices[quantity].column!r} is of type {column.type}, which holds no "
                f"numbers; name another column for {plain_name(quantity)} in {COLUMNS_PART}."
            ) from fault
        return numbers


def look_at(raw: Input) -> Head:
    """Tell format, headers and layout of a file without reading its rows.

    Parameters
    ----------
    raw : Input

    Returns
    -------
    Head

    Raises
    ------
    DataError
        When it cannot be read as what it is.
    """
    path = raw.path
    kind = tell_format(path)
    if kind == TASK_DATA:
        return look_at_task_logs(path, raw.logs)
    if kind == "delimited text":
        return look_at_delimited(path)
    return look_at_parquet(path) if kind == "Parquet" else look_at_vector(path, kind)


def load(head: Head, name: str, settings: HarvestPart) -> Reading:
    """Read the columns of a file that are recognised or named by the user.

    Parameters
    ----------
    head : Head
    name : str
        How the file is called in messages.
    settings : HarvestPart

    Returns
    -------
    Reading
    """
    choices, questions = choose_columns(head.names, settings.columns, meanings=head.meanings)
    notices: list[Notice] = list(head.notices)
    if head.geometry and not any(quantity in settings.columns for quantity in POSITION):
        # The points themselves say where they lie; columns that repeat it are not needed.
        choices = {quantity: choice for quantity, choice in choices.items() if quantity not in POSITION}
        questions = [question for question in questions if question.quantity not in POSITION]
    for question in [question for question in questions if question.quantity == "elevation"]:
        # Nothing depends on the height: it is left out rather than asked for.
        questions.remove(question)
        notices.append(Notice("elevation_not_read", f"{name}: {question.sentence}; none is read."))
    types = {choice.column: _type_of(head, choice) for choice in choices.values()}
    read = {
        "delimited text": load_delimited,
        "Parquet": load_parquet,
        "GeoParquet": load_parquet,
        TASK_DATA: load_task_logs,
    }
    loaded = read.get(head.format, load_vector)(head, types)
    reading = Reading(head, name, choices, loaded, questions, [*notices, *loaded.notices])
    for quantity in list(choices):
        if TARGETS[quantity] and quantity != "time" and np.isnan(reading.number(quantity).values).all():
            said = say_no_number(reading.number(quantity), choices[quantity].column)
            spent = f"column {choices[quantity].column!r} "
            reading.notices = [one for one in reading.notices if not one.message.startswith(f"{name}: {spent}")]
            reading.unread[quantity] = said
            if quantity != "moisture":
                reading.note("column_empty", f"{said} and is not used.")
            del choices[quantity]
    return reading


def _type_of(head: Head, choice: Choice) -> pa.DataType:
    """Say what a column of delimited text should hold."""
    if choice.quantity in LABELS:
        return pa.dictionary(pa.int32(), pa.string())
    if choice.quantity == "time" and choice.column not in head.numeric:
        return pa.string()
    return pa.float64()
