"""A raw file before and after its columns are loaded, whatever its format."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyproj

from proofstrip.errors import Notice

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Booleans = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class ColumnMeaning:
    """What a format itself says that a column holds: the quantity and its unit."""

    quantity: str
    unit: str | None


@dataclass(frozen=True)
class Head:
    """What a file says about itself, known without reading its rows.

    Attributes
    ----------
    path : pathlib.Path
    format : str
    names : tuple of str
        Headers of its columns, geometry left out; unique.
    layout : dict of str to str
        For people: encoding, delimiter, layer.
    numeric : frozenset of str
        Columns whose first rows are all numbers; only asked for text.
    geometry : str or None
        Column of the points.
    crs : pyproj.CRS or None
    meanings : dict of str to ColumnMeaning or None
        What columns hold, where the format itself says it; then names are not looked at.
    notices : tuple of Notice
        Known before the rows are read.
    parts : tuple of str
        For people: the logs that a set of task data holds.
    source : object
        What the reader of the format keeps for the rows.
    """

    path: Path
    format: str
    names: tuple[str, ...]
    layout: dict[str, str] = field(default_factory=dict)
    numeric: frozenset[str] = frozenset()
    geometry: str | None = None
    crs: pyproj.CRS | None = None
    skip_lines: int = 0
    meanings: dict[str, ColumnMeaning] | None = None
    notices: tuple[Notice, ...] = ()
    parts: tuple[str, ...] = ()
    source: object = None


@dataclass(frozen=True)
class Loaded:
    """The rows.

    Attributes
    ----------
    columns : pyarrow.Table
    xy : numpy.ndarray of shape (rows, 2) or None
        Coordinates of the points; NaN where a row has none.
    notices : tuple of Notice
    parts : tuple of tuple of str and int
        Files that the rows come from one after the other, with their numbers of rows; empty: the file itself.
    """

    columns: pa.Table
    xy: Floats | None
    notices: tuple[Notice, ...] = ()
    parts: tuple[tuple[str, int], ...] = ()
