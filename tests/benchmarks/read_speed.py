"""How long reading takes: ``python tests/benchmarks/read_speed.py [ROWS]``. Invented records; not a test."""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.csv

from proofstrip.config import HarvestPart, config_folder
from proofstrip.crops import find_crop
from proofstrip.read import read_harvest


def write_log(path: Path, rows: int) -> None:
    """Write a CSV of 12 columns with ISO times."""
    rng, second = np.random.default_rng(1), np.arange(rows)
    pd.DataFrame(
        {
            "Longitude": -93.9 + (second // 400) * 1e-4,
            "Latitude": 43.9 + np.abs(second % 800 - 400) * 1.8e-5,
            "Time": pd.to_datetime(1_700_000_000 + second, unit="s").strftime("%Y-%m-%dT%H:%M:%SZ"),
            "Flow(lb/s)": rng.normal(20, 2, rows).round(2),
            "Duration(s)": 1,
            "Distance(ft)": rng.normal(6.56, 0.2, rows).round(2),
            "Swath(ft)": 30,
            "Moisture(%)": rng.normal(15, 1, rows).round(1),
            "Speed(mph)": rng.normal(4.47, 0.1, rows).round(2),
            "Heading(deg)": rng.uniform(0, 360, rows).round(1),
            "Elevation(ft)": 900.0,
            "Header": "down",
        }
    ).to_csv(path, index=False)


def best_of(action: Callable[[], object], times: int = 3) -> float:
    """Give the shortest of several runs [s]."""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        spans.append(time.perf_counter() - start)
    return min(spans)


def main(rows: int) -> None:
    """Time pyarrow alone and the whole read stage."""
    crop = find_crop("corn", config_folder())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        write_log(path, rows)
        part = HarvestPart.model_validate({"files": [path.name]})
        print(f"{rows:,} rows, {path.stat().st_size / 1e6:.0f} MB")
        print(f"pyarrow.csv alone  {best_of(lambda: pyarrow.csv.read_csv(path)):.2f} s")
        print(f"read_harvest       {best_of(lambda: read_harvest(part, path.parent, crop)):.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
