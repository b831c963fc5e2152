"""Every column of every table: name, unit, type, meaning and the range a value can have.

A column exists in a file of this project only if it stands here. Same quantity, same name.
"""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes
    ----------
    name, unit, dtype, meaning : str
        ``unit`` is empty for names and counts; ``dtype`` is the pandas name.
    low, high : float or None
        Values outside are impossible, not just unlikely.
    """

    name: str
    unit: str
    dtype: str
    meaning: str
    low: float | None = None
    high: float | None = None


POINT_COLUMNS: tuple[Column, ...] = (
    Column("record", "", "int64", "number of the record in reading order, from 0 over all files"),
    Column("source_file", "", "category", "file that the record was read from"),
    Column("source_row", "", "int64", "row of that file, the first data row is 1"),
    Column("machine", "", "category", "combine that logged the record"),
    Column(
        "time",
        "s",
        "float64",
        "seconds since 1970-01-01 in UTC; as stamped where no zone is known; since its start where a log has no date",
    ),
    Column(
        "utc_offset_s",
        "s",
        "float64",
        "how far clocks of [harvest] time_zone were ahead of UTC then; 0 where no zone is set",
        -86400,
        86400,
    ),
    Column("easting_m", "m", "float64", "easting as logged, in the working projection"),
    Column("northing_m", "m", "float64", "northing as logged, in the working projection"),
    Column("cut_easting_m", "m", "float64", "easting where this grain was cut: travel delay applied"),
    Column("cut_northing_m", "m", "float64", "northing where this grain was cut: travel delay applied"),
    Column("elevation_m", "m", "float64", "height as logged"),
    Column(
        "heading_deg", "deg", "float64", "direction of movement where this was cut, clockwise from grid north", 0, 360
    ),
    Column("speed_m_s", "m/s", "float64", "ground speed", 0, 20),
    Column("duration_s", "s", "float64", "length of the record", 0, 3600),
    Column("distance_m", "m", "float64", "distance travelled in the record", 0, 1000),
    Column("swath_m", "m", "float64", "header width set in the display", 0, 30),
    Column("cut_width_m", "m", "float64", "width of standing crop that the header met on this ground", 0, 30),
    Column("mass_flow_kg_s", "kg/s", "float64", "wet grain flow as logged"),
    Column("moisture_pct", "%", "float64", "grain moisture as logged, wet basis"),
    Column("header_down", "", "boolean", "header in working position, as logged; empty when not logged"),
    Column("pass_id", "", "int32", "pass in which this grain was cut, from 1; 0 = in no pass"),
    Column("flags", "", "int32", "faults, one bit each (see the flag table)"),
    Column("usable", "", "bool", "no flag that excludes"),
    Column("wet_mass_kg", "kg", "float64", "wet grain of the record"),
    Column("standard_mass_kg", "kg", "float64", "grain of the record at the crop's standard moisture"),
    Column("area_m2", "m^2", "float64", "ground that this grain was cut from: distance x cut width, where it was cut"),
    Column("yield_kg_ha", "kg/ha", "float64", "standard mass over area"),
    Column("strip", "", "object", "strip of the trial map; empty outside"),
    Column("treatment", "", "object", "treatment of the strip"),
    Column("block", "", "object", "block of the strip"),
)

STRIP_COLUMNS: tuple[Column, ...] = (
    Column("strip", "", "object", "strip of the trial map"),
    Column("treatment", "", "object", "treatment of the strip"),
    Column("block", "", "object", "block of the strip; empty when the design has none"),
    Column(
        "source",
        "",
        "object",
        "combine; scale: every strip was weighed alone; scaled: the combine, brought to the level of scale tickets",
    ),
    Column("yield_kg_ha", "kg/ha", "float64", "sum of standard mass over sum of area in the common window", 0),
    Column("yield_bu_ac", "bu/ac", "float64", "the same in bushels an acre; empty for crops without a bushel", 0),
    Column("moisture_pct", "%", "float64", "moisture of the grain, weighted by mass", 0, 100),
    Column("area_m2", "m^2", "float64", "ground counted", 0),
    Column("standard_mass_kg", "kg", "float64", "grain counted, at standard moisture", 0),
    Column("length_m", "m", "float64", "length of the common window along the strip", 0),
    Column("records", "", "int64", "records whose ground lies in the strip", 0),
    Column("records_used", "", "int64", "records counted", 0),
    Column("share_removed", "", "float64", "share of the strip's records that were not counted", 0, 1),
    Column("speed_m_s", "m/s", "float64", "median ground speed of the records counted", 0),
    Column("pass_ids", "", "object", "passes counted, separated by spaces"),
    Column("machines", "", "object", "combines that harvested the strip, separated by spaces"),
    Column("direction", "", "object", "directions of travel along the strip: compass points, separated by spaces"),
    Column("order", "", "int64", "place across the field, from 1"),
)


# In front of the columns of a run: which trial a record of an archive belongs to.
ARCHIVE_COLUMNS: tuple[Column, ...] = (
    Column("item", "", "category", "item of the archive: one version of a trial"),
    Column("trial", "", "category", "name of the trial"),
    Column("season", "", "int32", "year of the harvest"),
    Column("crop", "", "category", "crop"),
    Column("crs", "", "category", "projection of eastings and northings"),
)

# A row an item of the archive; geometry: its ground.
ITEM_COLUMNS: tuple[Column, ...] = (
    Column("item", "", "object", "name of the item: one version of a trial"),
    Column("trial", "", "object", "name of the trial"),
    Column("field", "", "object", "where it was"),
    Column("season", "", "int32", "year of the harvest"),
    Column("crop", "", "object", "crop"),
    Column("control", "", "object", "treatment that the others are compared with"),
    Column("version", "", "int32", "version of the trial in this archive, from 1"),
    Column("current", "", "bool", "no later version of the trial is there"),
    Column("verdict", "", "object", "the answer in a word"),
    Column("records", "", "int64", "records in points.parquet"),
    Column("strips", "", "int64", "strips in strips.gpkg"),
    Column("crs", "", "object", "projection of eastings, northings, strips and surfaces"),
    Column("licence", "", "object", "terms of use, as the trial file states them"),
    Column("contact", "", "object", "whom to ask"),
    Column("folder", "", "object", "place of the item's files in the archive"),
    Column("item_sha256", "", "object", "SHA-256 of the item's item.json, which holds those of its other files"),
)


def empty_frame(columns: tuple[Column, ...]) -> pd.DataFrame:
    """Make a table with no rows and every column in its type.

    Parameters
    ----------
    columns : tuple of Column

    Returns
    -------
    pandas.DataFrame

    Examples
    --------
    >>> empty_frame(STRIP_COLUMNS).columns[0]
    'strip'
    """
    return pd.DataFrame({column.name: pd.Series(dtype=column.dtype) for column in columns})
