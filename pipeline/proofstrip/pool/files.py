"""The files of pooling: run folders and tables of sites in, the pool folder out."""

import csv
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pandas as pd

from proofstrip import __version__
from proofstrip.cells import unguard
from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, load_crops
from proofstrip.errors import DataError, Notice
from proofstrip.pool.answer import PoolResult
from proofstrip.pool.page import write_page
from proofstrip.pool.prices import Prices
from proofstrip.pool.result import describe_pool
from proofstrip.pool.sites import LeftOut, Site, SiteList, sites_of_run
from proofstrip.pool.table import sites_of_table
from proofstrip.record import read_result, write_json
from proofstrip.report.words import Units, make_units
from proofstrip.toml_file import Part, read_toml, validate
from proofstrip.whole import written_whole

TABLES = (".csv", ".tsv", ".txt")
SEASON_FILES = ("season.csv", "season.json", "index.html")  # what a season writes beside its run folders


def gather_sites(sources: Sequence[str], folder: Path) -> SiteList:
    """Read run folders and tables of sites.

    Parameters
    ----------
    sources : sequence of str
        Run folders, CSV tables, and patterns of them.
    folder : pathlib.Path
        Links to the reports start here.

    Returns
    -------
    SiteList

    Raises
    ------
    DataError
        When there is no such source, or a file of its kind cannot be read.
    """
    sites: list[Site] = []
    left_out: list[LeftOut] = []
    notices: list[Notice] = []
    for path in _expand(sources):
        if path.name in SEASON_FILES and path.with_name("season.json").is_file():
            continue  # the pattern means the run folders beside it
        source = _relative(path, folder)
        if (path / "result.json").is_file():
            report = quote(_relative(path / "report.html", folder)) if (path / "report.html").is_file() else ""
            found, out = sites_of_run(read_result(path), source, report, _covariates(path))
        elif path.is_dir() or path.suffix.lower() not in TABLES:
            found, out = [], [LeftOut(path.name, source, "it is no run folder (no result.json) and no table (.csv)")]
        else:
            table = sites_of_table(_read_cells(path), source, load_crops(config_folder()))
            found, out = list(table.sites), list(table.left_out)
            notices += table.notices
        sites += found
        left_out += out
    return SiteList(tuple(sites), tuple(left_out), tuple(notices))


def _expand(sources: Sequence[str]) -> list[Path]:
    """Turn patterns into paths, each path once."""
    paths: list[Path] = []
    for source in sources:
        if Path(source).exists():
            paths.append(Path(source))
            continue
        start = Path(Path(source).anchor)
        found = sorted(start.glob(str(Path(source).relative_to(start))))
        if not found:
            raise DataError(f"{source}: there is no such run folder or table. Name folders that proofstrip run wrote.")
        paths += found
    return list(dict.fromkeys(paths))


def _relative(path: Path, folder: Path) -> str:
    """Give a path as seen from a folder, with forward slashes; in full where there is no way between them."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()


def _covariates(path: Path) -> dict[str, float]:
    """Give the control's mean moisture: the treatment's own may be its doing."""
    table = path / "strips.csv"
    if not table.is_file():
        return {}
    try:
        strips = pd.read_csv(table, usecols=["treatment", "moisture_pct"], dtype={"treatment": str})
    except ValueError as fault:
        raise DataError(f"{table}: {fault}. Make the run again; it writes treatment and moisture_pct.") from fault
    control = read_result(path)["trial"].get("control")
    moisture = strips.loc[strips["treatment"].map(unguard, na_action="ignore") == control, "moisture_pct"].dropna()
    return {} if moisture.empty else {"moisture_pct": float(moisture.mean())}


def _read_cells(path: Path) -> pd.DataFrame:
    """Read a table of sites as text cells."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise DataError(f"{path}: byte {fault.start} is not UTF-8. Save the table as CSV in UTF-8.") from fault
    lines = text.splitlines()
    separator = max(",;\t", key=lines[0].count) if lines else ","
    rows = [row for row in csv.reader(lines, delimiter=separator) if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise DataError(f"{path}: there is no row below the names of the columns. One row a trial is expected.")
    names = [cell.strip() for cell in rows[0]]
    uneven = [number for number, row in enumerate(rows, start=1) if len(row) != len(names)]
    if uneven or len(set(names)) < len(names):
        where = f"rows {', '.join(map(str, uneven[:5]))} have" if uneven else "two columns have one name, or a row has"
        raise DataError(f"{path}: {where} other cells than the {len(names)} names of the first line: {names}.")
    return pd.DataFrame([[unguard(cell) for cell in row] for row in rows[1:]], columns=names, dtype=object)


def read_prices(path: Path, chosen: SiteList) -> Prices:
    """Read the ``[economics]`` part of a trial file or a payback file.

    Parameters
    ----------
    path : pathlib.Path
    chosen : SiteList
        Says the crop.

    Returns
    -------
    Prices

    Raises
    ------
    SettingsError
        When there is no such part or it is wrong; with every problem and its line.
    DataError
        When no trial names its crop.
    """
    text, written = read_toml(path)
    part = {key: value for key, value in written.items() if key == "economics"}
    economics = validate(PricesPart, part, path, text).economics
    crop = find_pooled_crop(chosen)
    if crop is None:
        raise DataError(f"pool: no trial names its crop, and prices need one. Give the tables a column {'crop'!r}.")
    return Prices(economics, crop, path)


class PricesPart(Part):
    """The part of a file that prices are read from."""

    economics: EconomicsPart


def describe(result: PoolResult, system: str) -> tuple[dict[str, Any], Units]:
    """Make pool.json and the units of its sentences.

    Parameters
    ----------
    result : PoolResult
    system : str
        ``us`` or ``metric``.

    Returns
    -------
    tuple of dict and Units
    """
    crop = find_pooled_crop(result.chosen)
    bushel = None if crop is None else crop.kg_ha_per_bu_ac
    units = make_units(system, bushel)
    return {"version": __version__, **describe_pool(result, units, bushel)}, units


def find_pooled_crop(chosen: SiteList) -> Crop | None:
    """Give the crop of the trials; none where no table says it.

    Parameters
    ----------
    chosen : SiteList

    Returns
    -------
    Crop or None
    """
    name = next((site.crop for site in chosen.sites if site.crop), "")
    return load_crops(config_folder()).get(name)


def write_pool(result: PoolResult, system: str, folder: Path) -> dict[str, Any]:
    """Write pool.json, pool.html and figures/, whole or not at all.

    Parameters
    ----------
    result : PoolResult
    system : str
        ``us`` or ``metric``.
    folder : pathlib.Path
        What stands there is replaced, if it is a pool folder.

    Returns
    -------
    dict
        pool.json.

    Raises
    ------
    DataError
        When the folder is something else, or cannot be written.
    """
    answer, units = describe(result, system)
    with written_whole(folder, mark="pool.json", kind="a pool folder") as fresh:
        write_json(fresh / "pool.json", answer)
        write_page(result, units, __version__, fresh)
    return answer
