"""``proofstrip stats``: the comparison alone, for any strip table, from a combine or from a scale."""

import csv
import dataclasses
import json
from pathlib import Path

import click
import pandas as pd

from proofstrip.cells import unguard
from proofstrip.config import config_folder, load_defaults
from proofstrip.crops import Crop, find_crop
from proofstrip.errors import DataError
from proofstrip.result import describe_comparison, plain
from proofstrip.stats import compare_treatments
from proofstrip.stats.page import write_page
from proofstrip.stats.probability import give_probabilities
from proofstrip.stats.remarks import make_remarks
from proofstrip.stats.verdict import give_verdict
from proofstrip.stats.wording import choose_unit

YIELD_COLUMNS = ("yield_kg_ha", "yield_bu_ac", "yield")


@click.command()
@click.argument("table", metavar="TABLE.csv", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--control", required=True, metavar="NAME", help="Treatment that the others are compared with.")
@click.option("--yield-column", metavar="C", help=f"Default: the first there is of {', '.join(YIELD_COLUMNS)}.")
@click.option(
    "--confidence", type=click.FloatRange(0.5, 1, min_open=True, max_open=True), help="Of every interval; default 0.90."
)
@click.option("--crop", metavar="NAME", help="Says kilograms a hectare as bushels an acre too.")
@click.option("--factor", metavar="C", help="Column of a second factor in sub-strips; default: factor.")
@click.option("--covariate", metavar="C", help="Column of a condition of the pairs: does the difference depend on it?")
@click.option("--json", "as_json", is_flag=True, help="Print only JSON.")
def stats(  # noqa: PLR0913 - click hands over each option by its name
    table: Path,
    control: str,
    yield_column: str | None,
    confidence: float | None,
    factor: str | None,
    covariate: str | None,
    crop: str | None,
    as_json: bool,
) -> None:
    """Compare the treatments of a strip table: one row a strip, with strip, treatment, block and yield."""
    strips = read_table(table)
    settings = load_defaults().stats
    own = {"confidence": confidence or settings.confidence, "factor": factor, "covariate": covariate}
    settings = settings.model_copy(update=own)
    known = read_crop(crop)
    comparison = compare_treatments(strips, control.strip(), settings, yield_column or find_yield(strips, table))
    bushel = known.kg_ha_per_bu_ac if known else None
    units = "us" if known else "metric"
    verdict = give_verdict(comparison, units=units, kg_ha_per_bu_ac=bushel)
    odds = give_probabilities(comparison, (), settings)
    unit = choose_unit(comparison.unit, units, bushel)
    remarks = make_remarks(comparison, odds, unit, settings)
    if as_json:
        answer = {
            **describe_comparison(comparison, known),
            "probability": [dataclasses.asdict(row) for row in odds],
            "remarks": [dataclasses.asdict(remark) for remark in remarks],
            "checks": [dataclasses.asdict(check) for check in comparison.checks],
            "warnings": [dataclasses.asdict(notice) for notice in comparison.warnings],
            "verdict": dataclasses.asdict(verdict),
        }
        click.echo(json.dumps(plain(answer), indent=2, ensure_ascii=False))
    else:
        click.echo(write_page(comparison, verdict, unit, remarks))


def read_crop(name: str | None) -> Crop | None:
    """Look the crop up, where one is named."""
    try:
        return None if name is None else find_crop(name, config_folder())
    except ValueError as fault:
        raise click.UsageError(str(fault)) from fault


def read_table(path: Path) -> pd.DataFrame:
    """Read a table of text cells, so that a treatment called "None" or "NA" keeps its name."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as fault:
        raise DataError(f"{path}: there is no such file. Give the path of a CSV table of strips.") from fault
    except UnicodeDecodeError as fault:
        raise DataError(f"{path}: byte {fault.start} is not UTF-8. Save the table as CSV in UTF-8.") from fault
    head = text.splitlines()[0] if text.strip() else ""
    separator = max(",;\t", key=head.count)
    rows = [row for row in csv.reader(text.splitlines(), delimiter=separator) if any(cell.strip() for cell in row)]
    if not rows:
        raise DataError(f"{path}: the file is empty. It needs a line of column names and one row a strip.")
    names = [cell.strip() for cell in rows[0]]
    twice = sorted({name for name in names if names.count(name) > 1 and name})
    if twice:
        raise DataError(f"{path}: column {', '.join(map(repr, twice))} stands there twice. Take one of them out.")
    uneven = [number for number, row in enumerate(rows[1:], start=2) if len(row) != len(names)]
    if uneven:
        raise DataError(
            f"{path}: {len(uneven)} of {len(rows) - 1} rows do not have the {len(names)} cells of the first line "
            f"(row {', '.join(map(str, uneven[:5]))}). Check for separators inside a cell; such a cell needs quotes."
        )
    return pd.DataFrame([[unguard(cell) for cell in row] for row in rows[1:]], columns=names, dtype=object)


def find_yield(strips: pd.DataFrame, path: Path) -> str:
    """Find the yield column by its name."""
    found = [name for name in YIELD_COLUMNS if name in strips.columns]
    if found:
        return found[0]
    raise DataError(
        f"{path}: no yield column is called {', '.join(YIELD_COLUMNS)}. The table has "
        f"{', '.join(map(repr, strips.columns))}; name the one with the yields by --yield-column."
    )
