"""Ground-loss counts: the seeds in each frame, by strip and zone; every fault of the table is told at once."""

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from proofstrip.cells import unguard
from proofstrip.config import GroundLossPart
from proofstrip.errors import DataError, Notice
from proofstrip.read.choose import Choice, choose_columns
from proofstrip.read.delimited import load_delimited, look_at_delimited
from proofstrip.read.files import find_file, tell_format
from proofstrip.read.names import COUNTS, squeeze, unit_spellings
from proofstrip.read.table import Floats, Head, Loaded
from proofstrip.read.values import SHOWN, to_labels, to_numbers
from proofstrip.units import factor_to

# Where a frame lay, and how people write it. Common practice, no source.
ZONES = {
    "preharvest": ("preharvest", "pre", "standing", "standing crop", "before", "before harvest", "uncut"),
    "header": ("header", "head", "header zone", "gathering", "front", "in front", "front of combine"),
    "total": ("total", "behind", "rear", "behind the combine", "behind combine", "total zone"),
}
ZONE_OF = {squeeze(word): zone for zone, words in ZONES.items() for word in words}
HINT = "Columns are recognised by name and unit, such as: Strip, Zone, Frame, Seeds, Frame area (ft2)."
NAMED = 4


@dataclass(frozen=True)
class Counts:
    """The frames that were counted.

    Attributes
    ----------
    frames : pandas.DataFrame
        A row per frame: strip, zone (preharvest, header or total), seeds, area_m2.
    notices : tuple of Notice
    sha256 : str
    """

    frames: pd.DataFrame
    notices: tuple[Notice, ...]
    sha256: str


def read_counts(settings: GroundLossPart, folder: Path, strips: Collection[str]) -> Counts:
    """Read the ground-loss counts of a trial.

    Parameters
    ----------
    settings : GroundLossPart
    folder : pathlib.Path
        The file's name starts here.
    strips : collection of str
        Names of the trial map.

    Returns
    -------
    Counts

    Raises
    ------
    DataError
        With every fault of the table: a column, a unit, a strip, a zone, a count or an area that is missing or wrong,
        and frames that stand there twice.
    """
    path, sha256 = find_file(settings.file, folder)
    if tell_format(path) != "delimited text":
        raise DataError(
            f"{path.name}: ground-loss counts are read from CSV or other delimited text; save the table as CSV."
        )
    head = look_at_delimited(path)
    choices = _choose(head, settings)
    loaded = load_delimited(head, {choice.column: pa.string() for choice in choices.values()})
    if loaded.columns.num_rows == 0:
        raise DataError(f"{path.name}: there is a header but no row. Write one row a frame.")
    faults: list[str] = []
    table = _Table(head, loaded, choices, faults)
    frames = pd.DataFrame(
        {
            "strip": table.strips(strips),
            "zone": table.zones(),
            "frame": table.labels("frame") if "frame" in choices else None,
            "seeds": table.seeds(),
            "area_m2": table.areas(settings.frame_area_m2),
        }
    )
    if "frame" in choices:
        faults += _find_repeated(frames)
    if faults:
        raise DataError(f"{path.name}: {'; '.join(faults)}.")
    return Counts(frames.drop(columns="frame"), loaded.notices, sha256)


def _choose(head: Head, settings: GroundLossPart) -> dict[str, Choice]:
    """Find the columns; what is missing is told together."""
    choices, questions = choose_columns(head.names, {}, COUNTS)
    faults = [f"{question.sentence}; keep one of them" for question in questions]
    asked = {question.quantity for question in questions}
    needed = {"strip": "the strip", "zone": "the zone (preharvest, header or total)", "seeds": "the seeds counted"}
    absent = [said for name, said in needed.items() if name not in choices and name not in asked]
    if absent:
        faults.append(f"no column for {', '.join(absent)}")
    area = choices.get("frame_area")
    if area is None and settings.frame_area_m2 is None and "frame_area" not in asked:
        faults.append('no column for the frame area; add one, or write frame_area = "1 ft^2" under [ground_loss]')
    units = list(unit_spellings("frame_area"))
    if area is not None and area.unit not in units:
        said = "names no unit" if area.unit is None else f"says {area.unit!r}"
        faults.append(f"area column {area.column!r} {said}; write one of {', '.join(units)} into its header")
    if faults:
        raise DataError(f"{head.path.name}: {'; '.join(faults)}. Columns found: {', '.join(head.names)}. {HINT}")
    return choices


@dataclass(frozen=True)
class _Table:
    """The columns of the file, and the faults found in them so far."""

    head: Head
    loaded: Loaded
    choices: dict[str, Choice]
    faults: list[str]

    def labels(self, role: str) -> list[str | None]:
        """Read names; empty ones stay None."""
        labels = to_labels(self.loaded.columns[self.choices[role].column])
        return [None if pd.isna(label) else str(label) for label in labels]

    def strips(self, known: Collection[str]) -> list[str | None]:
        """Read the strips: each must be one of the trial map."""
        labels = [label if label is None or label in known else unguard(label) for label in self.labels("strip")]
        self._tell(labels, [label is None for label in labels], "strip", "is empty", "name the strip of every frame")
        strange = [label is not None and label not in known for label in labels]
        listed = ", ".join(map(repr, sorted(known)[:12])) + (" ..." if len(known) > 12 else "")
        self._tell(labels, strange, "strip", "names no strip of the trial map", f"its strips are {listed}")
        return labels

    def zones(self) -> list[str | None]:
        """Read the zones, whatever their spelling."""
        labels = self.labels("zone")
        zones = [None if label is None else ZONE_OF.get(squeeze(label)) for label in labels]
        allowed = f"write one of {', '.join(ZONES)}"
        self._tell(labels, [zone is None for zone in zones], "zone", "names no zone", allowed)
        return zones

    def seeds(self) -> Floats:
        """Read the counts: whole numbers, zero or more."""
        values, texts = self._numbers("seeds")
        do = "a count is a whole number from 0 up; write 0 where none lay, take the row out where nobody counted"
        wrong = ~(values >= 0) | (values != np.floor(values))
        self._tell(texts, wrong.tolist(), "seeds", "is no count", do)
        return values

    def areas(self, standard_m2: float | None) -> Floats:
        """Read the frame areas in square metres; the trial file's stands in for empty ones."""
        if "frame_area" not in self.choices:
            return np.full(self.loaded.columns.num_rows, standard_m2 or np.nan)
        values, texts = self._numbers("frame_area")
        empty = np.array([text is None for text in texts])
        values = values * factor_to(self.choices["frame_area"].unit or "", COUNTS["frame_area"])
        values = np.where(empty, np.nan if standard_m2 is None else standard_m2, values)
        self._tell(texts, (~(values > 0)).tolist(), "frame_area", "is no area", "an area is a number above zero")
        return values

    def _numbers(self, role: str) -> tuple[Floats, list[str | None]]:
        """Read a column as numbers, and as it is written."""
        column = self.loaded.columns[self.choices[role].column]
        return to_numbers(column, self.head.layout["decimal"]).values, self.labels(role)

    def _tell(self, texts: list[str | None], wrong: list[bool], role: str, what: str, do: str) -> None:
        """Note a fault with its column, its first rows and what to do."""
        rows = [row for row, is_wrong in enumerate(wrong) if is_wrong]
        if not rows:
            return
        found = [f"row {row + 1}" + (f" {texts[row][:SHOWN]!r}" if texts[row] else " empty") for row in rows[:NAMED]]  # type: ignore[index]
        more = " ..." if len(rows) > NAMED else ""
        column = self.choices[role].column
        self.faults.append(f"column {column!r} {what} in {len(rows)} rows ({', '.join(found)}{more}): {do}")


def _find_repeated(frames: pd.DataFrame) -> list[str]:
    """Find frames that stand on two rows: a copied row would count its seeds twice."""
    told = frames.dropna(subset=["strip", "zone", "frame"])
    twice = told[told.duplicated(["strip", "zone", "frame"])]
    if twice.empty:
        return []
    rows = zip(twice.index.tolist(), twice["strip"], twice["zone"], twice["frame"], strict=True)
    found = [f"row {row + 1}: strip {strip}, {zone}, frame {frame}" for row, strip, zone, frame in rows]
    more = " ..." if len(found) > NAMED else ""
    return [
        f"{len(found)} frames stand there twice ({'; '.join(found[:NAMED])}{more}): number the frames of each strip "
        "and zone anew, or take the copied row out"
    ]
