"""How long one large field takes beside what no program can avoid: reading its text, projecting it, writing it.

Run from the checkout: ``python tests/benchmarks/bench_field.py [--records 250000 1000000 4000000] [--runs 3]``. An
invented field of that many records is read, cleaned, brought to standard moisture, assigned and summed up to strips;
the floor is a pyarrow read of the same CSV, pyproj over its positions and a GeoParquet write of the same records. Both
run in turn, each in a process of its own, so that the ratio holds on a busy machine. Not a test.
"""

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow.csv
import pyproj

from proofstrip.config import load_settings
from proofstrip.run import assign, clean, moisture, read, run_trial, strips
from proofstrip.simulate import SCENARIOS, render_folder, simulate_harvest
from proofstrip.work import Work

STAGES = (read, clean, moisture, assign, strips)
TARGET_RATIO, TARGET_GIB = 6.0, 2.5
FIELD = replace(SCENARIOS["ordinary"], blocks=24, strip_length_m=500.0)
GAP_M = 30.0
TRIAL_COPIES = 4


def write_farm(folder: Path, records: int) -> int:
    """Write a trial of copies of one invented field, side by side and one after the other; give its strips."""
    harvest = simulate_harvest(FIELD, 1)
    texts = render_folder(harvest)
    (folder / "trial.toml").write_text(texts["trial.toml"], encoding="utf-8")
    (folder / "field.csv").write_text(texts["harvest.csv"], encoding="utf-8")
    log, field_map = pd.read_csv(folder / "field.csv"), harvest.trial_map
    to_degrees = pyproj.Transformer.from_crs(field_map.crs, "EPSG:4326", always_xy=True)
    easting, northing = to_degrees.transform(
        log["Longitude (deg)"], log["Latitude (deg)"], direction=pyproj.enums.TransformDirection.INVERSE
    )
    clock = pd.to_datetime(log["Time (UTC)"])
    span = (clock.max() - clock.min()) + pd.Timedelta(minutes=5)
    west, _, east, _ = field_map.total_bounds
    maps = []
    with (folder / "harvest.csv").open("w", encoding="utf-8", newline="") as out:
        for copy in range(-(-records // len(log))):
            away = copy * (east - west + GAP_M)
            rows = log.iloc[: records - copy * len(log)].copy()
            rows["Longitude (deg)"], rows["Latitude (deg)"] = (
                np.round(axis, 8) for axis in to_degrees.transform(easting[: len(rows)] + away, northing[: len(rows)])
            )
            moved = clock.iloc[: len(rows)] + copy * span
            rows["Time (UTC)"] = moved.dt.strftime("%Y-%m-%dT%H:%M:%S.%f").str[:-3] + "Z"
            rows.to_csv(out, index=False, header=copy == 0, lineterminator="\n")
            names = {name: f"{copy + 1}-" + field_map[name].astype(str) for name in ("strip", "block")}
            maps.append(field_map.assign(**names).set_geometry(field_map.translate(away)))
    (folder / "field.csv").unlink()
    whole = pd.concat(maps, ignore_index=True)
    whole.to_crs(4326).to_file(folder / "trial_map.geojson", driver="GeoJSON")
    return len(whole)


def measure_floor(folder: Path) -> dict[str, float]:
    """Read, project and write, and nothing else."""
    began = time.perf_counter()
    frame = pyarrow.csv.read_csv(folder / "harvest.csv").to_pandas()
    to_metres = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32612", always_xy=True)
    easting, northing = to_metres.transform(frame["Longitude (deg)"], frame["Latitude (deg)"])
    points = gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(easting, northing), crs="EPSG:32612")
    points.to_parquet(folder / "floor.parquet")
    return {"whole": time.perf_counter() - began}


def measure_stages(folder: Path) -> dict[str, float]:
    """Walk the stages from the raw file to the strip table."""
    work, spans = Work(load_settings(folder / "trial.toml")), {}
    for stage in STAGES:
        began = time.perf_counter()
        work = stage(work)
        spans[stage.__name__] = time.perf_counter() - began
    if not len(work.strips) or work.strips["yield_kg_ha"].isna().all():
        raise RuntimeError("no strip got a yield: there is nothing to time")
    return {"whole": sum(spans.values()), **spans}


def measure_run(folder: Path) -> dict[str, float]:
    """Go the whole way to the page, with a trial on the first copies of the field and the rest of the log beside it."""
    strips = gpd.read_file(folder / "trial_map.geojson")
    mine = strips["strip"].str.split("-").str[0].astype(int) <= TRIAL_COPIES
    strips[mine].to_file(folder / "trial_map.geojson", driver="GeoJSON")
    began = time.perf_counter()
    target = folder / "run"
    run_trial(load_settings(folder / "trial.toml"), target)
    spent = time.perf_counter() - began
    sizes = {f"{name} MB": (target / name).stat().st_size / 1e6 for name in ("points.parquet", "report.html")}
    return {"strips": int(mine.sum()), "whole": spent, **sizes}


MEASURES = {"floor": measure_floor, "stages": measure_stages, "run": measure_run}


def in_own_process(what: str, folder: Path) -> dict[str, float]:
    """Run one measure in a fresh process; its seconds and its peak of memory [GiB]."""
    done = subprocess.run([sys.executable, __file__, "--measure", what, str(folder)], check=True, capture_output=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def compare(records: int, runs: int) -> float:
    """Print one row of the table; give the seconds of the stages."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        strip_count = write_farm(folder, records)
        found = [{what: in_own_process(what, folder) for what in MEASURES} for _ in range(runs)]
    ratios = [run["stages"]["whole"] / run["floor"]["whole"] for run in found]
    middle = found[int(np.argsort(ratios)[len(ratios) // 2])]
    parts = ", ".join(f"{stage.__name__} {middle['stages'][stage.__name__]:.1f}" for stage in STAGES)
    print(
        f"| {records:,} | {strip_count:,} | {middle['floor']['whole']:.2f} | {middle['stages']['whole']:.2f} | {parts} "
        f"| {statistics.median(ratios):.2f} | {max(run['stages']['peak_gib'] for run in found):.2f} |",
        flush=True,
    )
    return float(middle["stages"]["whole"])


def main() -> None:
    """Print the table of docs/performance.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, nargs="+", default=[1_000_000])
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--measure", nargs=2, metavar=("WHAT", "FOLDER"), help="used by the program itself")
    parser.add_argument("--run", type=int, metavar="RECORDS", help="instead, go the whole way to the page once")
    asked = parser.parse_args()
    if asked.run:
        with tempfile.TemporaryDirectory() as name:
            write_farm(Path(name), asked.run)
            print(in_own_process("run", Path(name)))
        return
    if asked.measure:
        what, folder = asked.measure
        found = MEASURES[what](Path(folder))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
        print(json.dumps({**found, "peak_gib": peak}))
        return
    print(f"Aim: ratio at most {TARGET_RATIO:g}, peak below {TARGET_GIB:g} GiB at 1,000,000 records.\n")
    print("| records | strips | floor s | stages s | of which s | ratio | peak GiB |\n|---|---|---|---|---|---|---|")
    spans = [compare(records, asked.runs) for records in asked.records]
    if len(spans) > 1:
        growth = np.polyfit(np.log(asked.records), np.log(spans), 1)[0]
        print(f"\nSeconds grow with records to the power of {growth:.2f}.")


if __name__ == "__main__":
    main()
