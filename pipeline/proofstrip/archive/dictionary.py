"""The data dictionary: every column of an item's tables and every flag, with unit and meaning."""

from pathlib import Path

import pandas as pd

from proofstrip.columns import ARCHIVE_COLUMNS, POINT_COLUMNS, STRIP_COLUMNS, Column
from proofstrip.flags import FLAGS

GEOMETRY = {
    "points.parquet": (
        ("geometry", "deg", "point where the grain was cut: longitude and latitude, WGS 84"),
        ("bbox", "deg", "the same as xmin, ymin, xmax, ymax, for readers that know no geometry"),
    ),
    "strips.gpkg, layer strips": (("geom", "m", "polygon of the strip, in the projection of the trial"),),
    "strips.gpkg, layer boundary": (
        ("what", "", "what the polygon is"),
        ("geom", "m", "outline of all strips of the trial map"),
    ),
}
SURFACES = {
    "yield.tif": ("kg/ha", "sum of standard mass over sum of area of the usable records cut in the cell"),
    "moisture.tif": ("%", "moisture of the usable records cut in the cell, weighted by wet mass"),
    "elevation.tif": ("m", "mean height, as logged, of the usable records logged in the cell"),
}


def write_dictionary(folder: Path) -> None:
    """Write dictionary.csv and flags.csv.

    Parameters
    ----------
    folder : pathlib.Path
    """
    describe_columns().to_csv(folder / "dictionary.csv", index=False, lineterminator="\n")
    describe_flags().to_csv(folder / "flags.csv", index=False, lineterminator="\n")


def describe_columns() -> pd.DataFrame:
    """List every column and band of an item.

    Returns
    -------
    pandas.DataFrame
        file, column, unit, type, lowest, highest (possible values; empty: no limit), meaning.
    """
    rows = [
        *_rows("points.parquet", (*ARCHIVE_COLUMNS, *POINT_COLUMNS)),
        *_rows("strips.csv", STRIP_COLUMNS),
        *_rows("strips.gpkg, layer strips", STRIP_COLUMNS),
        *((file, *row[:2], "geometry", None, None, row[2]) for file, more in GEOMETRY.items() for row in more),
        *((file, "band 1", unit, "float32", None, None, meaning) for file, (unit, meaning) in SURFACES.items()),
    ]
    return pd.DataFrame(rows, columns=["file", "column", "unit", "type", "lowest", "highest", "meaning"])


def describe_flags() -> pd.DataFrame:
    """List every bit of the column flags.

    Returns
    -------
    pandas.DataFrame
        bit, flag, effect, stage, meaning.
    """
    rows = [(int(m.flag), m.name, "excludes" if m.excludes else "informs", m.stage, m.phrase) for m in FLAGS]
    return pd.DataFrame(rows, columns=["bit", "flag", "effect", "stage", "meaning"])


def _rows(file: str, columns: tuple[Column, ...]) -> list[tuple[str, str, str, str, float | None, float | None, str]]:
    """Set the columns of one file out as rows."""
    plain = {"category": "text", "object": "text", "bool": "boolean"}
    return [(file, c.name, c.unit, plain.get(c.dtype, c.dtype), c.low, c.high, c.meaning) for c in columns]
