"""Drawn labels on a field that was harvested without a trial: ``python -m tests.accuracy.measure_uniformity``.

PROOFSTRIP_REAL_DATA names the folder of real data. The passes of its corn field are cleaned and summed up once as pairs
and once as blocks of three; then only labels are drawn, within blocks. One field is not many fields: what is drawn by
lot is the labels, and it is over them that a test must err in 5 of 100. Trials of 4 or 6 pairs take neighbouring blocks
at a place of the field that is drawn too. Data: gartner.corn, University of Minnesota Precision Agriculture Center,
through the R package agridat, CC BY-SA 3.0.
"""

import os
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.clean import Track
from proofstrip.config import Settings, load_settings
from proofstrip.run import assign, clean, moisture, read, strips
from proofstrip.stats import Comparison, compare_treatments
from proofstrip.work import Work
from tests.accuracy.null_trials import COVERAGE, LEVEL, Null, score_nulls
from tests.accuracy.page import table
from tests.real.uniformity import follow_corn, lay_strips, real_data, write_trial

LABELLINGS = 1000
PLANTED_TABLES = 50
PLANTED_RECORDS = 10
PLANTED_PCT = (0.0, 2.0, 5.0, 10.0)
CONTROL, TREATED = "label A", "label B"
# Strips in a block, blocks of the trial; none: the whole field.
TRIALS = ((2, None), (2, 6), (2, 4), (3, None), (3, 4))


def start_trial(csv: Path, strip_map: gpd.GeoDataFrame) -> Work:
    """Read the field with a trial map; records as the display wrote them."""
    with tempfile.TemporaryDirectory() as folder:
        return read(Work(load_settings(write_trial(Path(folder), pd.read_csv(csv), strip_map))))


def finish_strips(work: Work) -> pd.DataFrame:
    """Clean, and sum up the strips."""
    for stage in (clean, moisture, assign, strips):
        work = stage(work)
    return work.strips


def draw_labels(strip_table: pd.DataFrame, group: int, blocks: int | None, rng: np.random.Generator) -> pd.DataFrame:
    """Draw labels anew within blocks, on the whole field or on some neighbouring blocks of it.

    Parameters
    ----------
    strip_table : pandas.DataFrame
        Block by block, ``group`` strips each.
    group : int
    blocks : int or None
    rng : numpy.random.Generator

    Returns
    -------
    pandas.DataFrame
    """
    every = len(strip_table) // group
    kept = every if blocks is None else blocks
    first = int(rng.integers(every - kept + 1))
    mine = strip_table.iloc[first * group : (first + kept) * group]
    labels = np.array([f"label {letter}" for letter in "ABC"[:group]])
    return mine.assign(treatment=rng.permuted(np.tile(labels, (kept, 1)), axis=1).ravel())


def plant_in_strips(strip_table: pd.DataFrame, planted_pct: float) -> pd.DataFrame:
    """Multiply the grain of the treated strips."""
    factor = np.where(strip_table["treatment"] == TREATED, 1 + planted_pct / 100, 1.0)
    grown = {name: strip_table[name] * factor for name in ("standard_mass_kg", "yield_kg_ha", "yield_bu_ac")}
    return strip_table.assign(**grown)


def plant_in_records(work: Work, track: Track, planted_pct: float) -> Work:
    """Multiply the flow of the treated passes, records as read: the display had put them on their own ground."""
    names = work.strips_map.loc[work.strips_map["treatment"] == TREATED, "strip"]
    rows = track.row[np.isin(track.pass_id, names.str.removeprefix("P").astype(int))]
    factor = np.ones(len(work.points))
    factor[rows] += planted_pct / 100
    points = work.points.assign(mass_flow_kg_s=work.points["mass_flow_kg_s"] * factor)
    return replace(work, raw=points, points=points)


def judge(found: Comparison) -> tuple[Null, Null | None]:
    """Ask the headline test and the exact one, all treatments together; lots that look like a fixed order have none."""
    rows = found.differences
    wrong = min(row.p_value for row in rows) < LEVEL
    headline = Null(wrong, all(row.low <= 0 <= row.high for row in rows))
    if rows[0].p_exact is None:
        return headline, None
    p = min(row.p_exact for row in rows)
    return headline, Null(p < LEVEL, None, p, rows[0].p_exact_floor)


def find_treated(strip_table: pd.DataFrame, settings: Settings) -> float:
    """Give the estimate of what was planted [%]."""
    found = compare_treatments(strip_table, CONTROL, settings.stats)
    (row,) = (row for row in found.differences if row.treatment == TREATED)
    if row.difference_pct is None:
        raise RuntimeError("the treated strips have no difference in per cent")
    return row.difference_pct


def write_slopes(found: list[list[float]]) -> tuple[str, str, str]:
    """Write slopes of found on planted: as they are, and relative to the same labels with nothing planted.

    Parameters
    ----------
    found : list of list of float
        Per cent, for each labelling at each of ``PLANTED_PCT``: its slope is one plus what the ground adds.

    Returns
    -------
    tuple of str
        Labellings; mean slope with two standard errors; range of the slopes of log ratios, where the ground cancels.
    """
    cells = np.array(found)
    slopes = np.polyfit(PLANTED_PCT, cells.T, 1)[0]
    logs = np.polyfit(np.log1p(np.divide(PLANTED_PCT, 100)), np.log1p(cells.T / 100), 1)[0]
    error = 2 * slopes.std(ddof=1) / np.sqrt(len(slopes))
    return f"{len(cells)}", f"{slopes.mean():.3f} ± {error:.3f}", f"{logs.min():.3f} to {logs.max():.3f}"


def measure_trial(
    strip_table: pd.DataFrame, settings: Settings, group: int, blocks: int | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Draw labels many times: a row of what the tests said, and one of planted effects.

    Parameters
    ----------
    strip_table : pandas.DataFrame
    settings : Settings
    group : int
        Strips in a block.
    blocks : int or None
        None: the whole field.

    Returns
    -------
    tuple of tuple of str
    """
    rng = np.random.default_rng([group, blocks or 0])
    tables = [draw_labels(strip_table, group, blocks, rng) for _ in range(LABELLINGS)]
    nulls = [judge(compare_treatments(one, CONTROL, settings.stats)) for one in tables]
    count = len(tables[0]) // group
    name = f"{count} pairs" if group == 2 else f"{count} blocks of {group}"
    name += ", whole field" if blocks is None else ", place drawn"
    test = score_nulls(name, [null for null, _ in nulls])
    exact = score_nulls(name, [null for _, null in nulls if null is not None])
    planted = [
        [find_treated(plant_in_strips(one, pct), settings) for pct in PLANTED_PCT] for one in tables[:PLANTED_TABLES]
    ]
    without = f"{100 * (1 - exact.trials / test.trials):.1f}"
    said = (name, _rate(test.wrong_pct), _rate(test.covered_pct), _rate(exact.wrong_pct), f"{exact.floor:.4f}", without)
    return said, (name, "strip table", *write_slopes(planted))


def _rate(pct: float | None) -> str:
    """Write a rate with two standard errors of its count."""
    if pct is None:
        raise RuntimeError("no interval to count")
    return f"{pct:.1f} ± {2 * np.sqrt(pct * (100 - pct) / LABELLINGS):.1f}"


def pair_scatter_pct(strip_table: pd.DataFrame) -> float:
    """Give the root mean square of the log ratios of the two strips of a pair, times 100: it knows no labels."""
    pairs = np.log(strip_table["yield_kg_ha"].to_numpy()).reshape(-1, 2)
    return float(100 * np.sqrt(np.mean(np.diff(pairs, axis=1) ** 2)))


def measure_records(csv: Path, points: gpd.GeoDataFrame, track: Track, group: int) -> tuple[str, ...]:
    """Plant effects in the records before cleaning, and walk each labelling from there."""
    found = []
    for seed in range(PLANTED_RECORDS):
        work = start_trial(csv, lay_strips(track, points.crs, seed, group))
        found.append(
            [find_treated(finish_strips(plant_in_records(work, track, pct)), work.settings) for pct in PLANTED_PCT]
        )
    name = "pairs, whole field" if group == 2 else f"blocks of {group}, whole field"
    return name, "records as read", *write_slopes(found)


def measure_uniformity() -> str:
    """Measure everything and write it as Markdown."""
    csv = real_data() / "corn_field" / "points.csv"
    points, track = follow_corn(csv)
    said, planted, scatter = [], [], 0.0
    for group, blocks in TRIALS:
        work = start_trial(csv, lay_strips(track, points.crs, 0, group))
        strip_table = finish_strips(work)
        scatter = pair_scatter_pct(strip_table) if group == 2 else scatter
        rows = measure_trial(strip_table, work.settings, group, blocks)
        said.append(rows[0])
        planted.append(rows[1])
    planted += [measure_records(csv, points, track, group) for group in (2, 3)]
    interval = f"{100 * COVERAGE:.0f} % interval holds zero, %"
    head = ("trial", "headline test, %", interval, "exact p, %", "least p", "no exact p, %")
    slopes = ("trial", "planted in", "labellings", "slope", "slope, ground cancelled")
    first = f"Two strips of a pair differ by {scatter:.1f} %; {LABELLINGS:,} labellings a row."
    return f"{first}\n\n{table(head, said)}\n\n{table(slopes, planted)}"


if __name__ == "__main__":
    if not os.environ.get("PROOFSTRIP_REAL_DATA"):
        sys.exit("PROOFSTRIP_REAL_DATA names no folder of real data: set it to the folder that holds corn_field.")
    print(measure_uniformity())
