"""A table of site estimates: one row for each treatment of a trial, with its effect and standard error."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from proofstrip.crops import Crop
from proofstrip.errors import DataError, Notice
from proofstrip.pool.sites import LeftOut, Site, SiteList, unusable_se

NEEDED = ("site", "season", "treatment", "control", "se")
EFFECTS = ("difference_pct", "log_ratio")
KNOWN = frozenset(
    {*NEEDED, *EFFECTS, "field", "crop", "df", "pairs", "difference_kg_ha", "se_kg_ha", "difference_bu_ac", "se_bu_ac"}
)  # any other column of numbers is a covariate


def sites_of_table(table: pd.DataFrame, source: str, crops: dict[str, Crop]) -> SiteList:
    """Take the sites out of a table.

    Parameters
    ----------
    table : pandas.DataFrame of str
        site, season, treatment, control, difference_pct or log_ratio, se (in per cent points, or of the log ratio), df
        or pairs; as wished field, crop, difference_kg_ha with se_kg_ha, difference_bu_ac with se_bu_ac (needs crop);
        any further column of numbers is a covariate.
    source : str
        The file, for messages.
    crops : dict of str to Crop
        The crops that are known: they convert bushels.

    Returns
    -------
    SiteList

    Raises
    ------
    DataError
        When a column is missing, or a cell holds something else than its column may.

    Notes
    -----
    A standard error in per cent points becomes one of the log ratio by se / (100 + difference_pct): the log's slope.
    """
    names = set(table.columns)
    missing = [name for name in NEEDED if name not in names]
    effects = [name for name in EFFECTS if name in names]
    if missing or len(effects) != 1 or not names & {"df", "pairs"}:
        raise DataError(
            f"{source}: the columns are {', '.join(map(repr, table.columns))}. A table of sites needs "
            f"{', '.join(NEEDED)}, one of {' and '.join(EFFECTS)} (not both), and df or pairs. "
            "docs/pool.md lists every column."
        )
    covariates, notices = _find_covariates(table, source)
    sites: list[Site] = []
    left_out: list[LeftOut] = []
    for number, cells in enumerate(table.to_dict("records"), start=2):
        row = _Row(source, number, {str(name): str(cell).strip() for name, cell in cells.items()})
        site = _read_row(row, effects[0], covariates, crops)
        if isinstance(site, Site):
            sites.append(site)
        else:
            left_out.append(site)
    return SiteList(tuple(sites), tuple(left_out), notices)


@dataclass(frozen=True)
class _Row:
    """One row of text cells, and where it stands."""

    source: str
    number: int
    cells: dict[str, str]

    def text(self, name: str) -> str:
        """Give a text that must be there."""
        if not self.cells[name]:
            raise self.fault(name, "a name")
        return self.cells[name]

    def number_in(self, name: str) -> float | None:
        """Give a number; none where the column is absent or the cell empty."""
        text = self.cells.get(name, "")
        if not text:
            return None
        value = _parse(text)
        if value is None:
            raise self.fault(name, "a number with a decimal point")
        return value

    def fault(self, name: str, allowed: str) -> DataError:
        """Say what is wrong with a cell."""
        return DataError(
            f"{self.source}: row {self.number}, column {name!r} holds {self.cells[name]!r}; {allowed} is allowed there."
        )


def _parse(text: str) -> float | None:
    """Read a number; none where the text is no finite one."""
    try:
        value = float(text.replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _find_covariates(table: pd.DataFrame, source: str) -> tuple[list[str], tuple[Notice, ...]]:
    """Tell columns of numbers from others among the columns that have no meaning of their own."""
    others = [str(name) for name in table.columns if name not in KNOWN]
    filled = {name: [cell for cell in table[name].astype(str).str.strip() if cell] for name in others}
    numeric = [name for name, cells in filled.items() if cells and all(_parse(cell) is not None for cell in cells)]
    unused = [name for name in others if name not in numeric]
    if not unused:
        return numeric, ()
    text = f"{source}: {', '.join(map(repr, unused))} hold other things than numbers and are not used."
    return numeric, (Notice("columns_unused", text),)


def _read_row(row: _Row, effect: str, covariates: list[str], crops: dict[str, Crop]) -> Site | LeftOut:
    """Make a site of a row, or say why it cannot be pooled."""
    season = row.number_in("season")
    if season is None or season != int(season):
        raise row.fault("season", "a year")
    trial, treatment, crop = row.text("site"), row.text("treatment"), _find_crop(row, crops)
    value, error = row.number_in(effect), row.number_in("se")
    pairs, df = row.number_in("pairs"), row.number_in("df")
    df = df if df is not None else None if pairs is None else pairs - 1
    name = f"{trial}, {int(season)}: {treatment}"
    if value is None:
        return LeftOut(name, row.source, f"row {row.number} has no {effect}")
    if effect == "difference_pct":
        if value <= -100:
            raise row.fault(effect, "a difference above -100 per cent")
        error = None if error is None else error / (100 + value)
        value = float(np.log1p(value / 100))
    why = unusable_se(error, df)
    if why or error is None or df is None:
        return LeftOut(name, row.source, f"row {row.number}: {why}")
    return Site(
        trial=trial,
        place=row.cells.get("field", ""),
        season=int(season),
        crop="" if crop is None else crop.name,
        treatment=treatment,
        control=row.text("control"),
        log_ratio=value,
        se=error,
        df=df,
        pairs=df + 1 if pairs is None else pairs,
        covariates={key: found for key in covariates if (found := row.number_in(key)) is not None},
        source=row.source,
        from_table=True,
        **_read_yields(row, crop),
    )


def _find_crop(row: _Row, crops: dict[str, Crop]) -> Crop | None:
    """Look the crop of a row up; none where it names none."""
    name = row.cells.get("crop", "").lower().replace(" ", "_").replace("-", "_")
    if not name:
        return None
    if name not in crops:
        raise row.fault("crop", f"one of {', '.join(crops)}, or nothing,")
    return crops[name]


def _read_yields(row: _Row, crop: Crop | None) -> dict[str, Any]:
    """Give the difference in kg/ha with its standard error, where the row has both, in whichever unit."""
    bushel = None if crop is None else crop.kg_ha_per_bu_ac
    for unit, factor in (("kg_ha", 1.0), ("bu_ac", bushel)):
        value, error = row.number_in(f"difference_{unit}"), row.number_in(f"se_{unit}")
        if value is None or error is None:
            continue
        if factor is None:
            raise row.fault(f"difference_{unit}", "nothing, as long as no crop with a bushel stands in the row,")
        if not error > 0:
            raise row.fault(f"se_{unit}", "a number above zero")
        return {"difference_kg_ha": factor * value, "se_kg_ha": factor * error}
    return {}
