"""A trial run again from its own raw files and settings in the archive, and compared with what was archived."""

import json
import math
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip import __version__
from proofstrip.archive.runs import differing_parts
from proofstrip.columns import POINT_COLUMNS
from proofstrip.config import Settings, load_settings
from proofstrip.errors import ProofstripError
from proofstrip.record import plain_settings, write_tables
from proofstrip.result import describe_run
from proofstrip.run import work_through

# Another processor or another version of a library may round the last digits otherwise.
TOLERANCE = 1e-9
MOST_TOLD = 5


def rerun_item(folder: Path, say: Callable[[str], None] = lambda text: None) -> list[str]:
    """Run the trial of an item again.

    Parameters
    ----------
    folder : pathlib.Path
        The item's, on this machine.
    say : callable
        Told the name of each stage.

    Returns
    -------
    list of str
        What differs, a sentence each; empty: points.parquet, strips.csv and result.json come out the same.
    """
    with tempfile.TemporaryDirectory(prefix="proofstrip-") as room:
        try:
            settings = restore_settings(folder, Path(room))
            work, _ = work_through(settings, say)
            fresh = Path(room) / "made"
            fresh.mkdir()
            write_tables(fresh, work.points, work.strips)
            differences = [
                *_compare_points(folder / "points.parquet", fresh / "points.parquet"),
                *_compare_strips(folder / "strips.csv", fresh / "strips.csv"),
                *_compare_results(json.loads((folder / "result.json").read_text("utf-8")), describe_run(work)),
            ]
        except ProofstripError as fault:
            differences = [f"it does not run: {fault}"]
        return [*differences, *(_compare_settings(folder) if differences else [])]


def restore_settings(folder: Path, room: Path) -> Settings:
    """Lay trial file and raw files out as they stood to each other, and name each file as it stands there.

    Parameters
    ----------
    folder : pathlib.Path
        The item's.
    room : pathlib.Path
        An empty folder to work in.

    Returns
    -------
    Settings
        With plain names where the trial file has globs, links or absolute paths.
    """
    shutil.copytree(folder / "source", room / "source")
    entities = json.loads((folder / "provenance.json").read_text("utf-8"))["entity"]
    settings = load_settings(room / entities["item:trial_file"]["prov:location"])
    inputs = [value for key, value in entities.items() if key.startswith("item:input")]
    names: dict[str, list[str]] = {}
    for row in inputs:
        names.setdefault(row["ps:role"], []).append(str(room / row["prov:location"]))
    changes: dict[str, Any] = {}
    for role, files in names.items():
        if role == "harvest":
            changes[role] = settings.harvest.model_copy(update={"files": tuple(files)})
        elif role == "exclusions":
            changes["clean"] = settings.clean.model_copy(update={"exclusions": files[0]})
        else:
            changes[role] = getattr(settings, role).model_copy(update={"file": files[0]})
    return settings.model_copy(update=changes)


def _compare_settings(folder: Path) -> list[str]:
    """Say whether this version of the program understands the trial file as the archived run did."""
    record = json.loads((folder / "run.json").read_text("utf-8"))
    entities = json.loads((folder / "provenance.json").read_text("utf-8"))["entity"]
    try:
        now = plain_settings(load_settings(folder / entities["item:trial_file"]["prov:location"]))
    except ProofstripError:
        return []
    parts = differing_parts(record["settings"], now)
    told = f"archived by version {record['version']}, run again by version {__version__}"
    return [told + (f"; settings differ in {', '.join(f'[{part}]' for part in parts)}" if parts else "")]


def _compare_points(archived: Path, made: Path) -> list[str]:
    """Compare every column of every record."""
    old = gpd.read_parquet(archived).sort_values("record", ignore_index=True)
    new = gpd.read_parquet(made)
    if len(old) != len(new):
        return [f"points.parquet: {len(old):,} records in the archive, {len(new):,} now"]
    told = []
    for column in POINT_COLUMNS:
        if column.name not in old or column.name not in new:
            told.append(f"points.parquet: column {column.name} is not in both")
        elif different := count_differences(old[column.name], new[column.name]):
            told.append(f"points.parquet: {column.name} differs in {different:,} of {len(old):,} records")
    return told


def count_differences(old: "pd.Series[Any]", new: "pd.Series[Any]") -> int:
    """Count the values that differ, numbers by more than rounding.

    Parameters
    ----------
    old, new : pandas.Series
        Of equal length.

    Returns
    -------
    int

    Examples
    --------
    >>> count_differences(pd.Series([1.0, None, 3.0]), pd.Series([1.0 + 1e-12, None, 3.1]))
    1
    """
    if pd.api.types.is_float_dtype(old.dtype) and pd.api.types.is_float_dtype(new.dtype):
        same = np.isclose(old.to_numpy(float), new.to_numpy(float), rtol=TOLERANCE, atol=TOLERANCE, equal_nan=True)
        return int((~same).sum())
    pairs = zip(old.astype(object), new.astype(object), strict=True)
    return sum(not ((pd.isna(one) and pd.isna(other)) or one == other) for one, other in pairs)


def _compare_strips(archived: Path, made: Path) -> list[str]:
    """Compare the strip tables, written with ten digits."""
    if archived.read_bytes() == made.read_bytes():
        return []
    old, new = (pd.read_csv(path, dtype=str, keep_default_na=False) for path in (archived, made))
    if old.shape != new.shape or list(old) != list(new):
        return [f"strips.csv: {len(old)} strips in {old.shape[1]} columns in the archive, {new.shape} now"]
    told = []
    for name in old:
        one, other = (pd.to_numeric(frame[name], errors="coerce") for frame in (old, new))
        unlike = (old[name] != new[name]) & ~np.isclose(one, other, rtol=TOLERANCE, atol=0)
        if unlike.any():
            told.append(f"strips.csv: {name} differs in {int(unlike.sum())} of {len(old)} strips")
    return told


def _compare_results(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    """Name the keys of result.json that differ."""
    was, now = dict(_flatten(old, "")), dict(_flatten(json.loads(json.dumps(new)), ""))
    unlike = [key for key in was.keys() | now.keys() if not _alike(was.get(key), now.get(key))]
    more = f" and {len(unlike) - MOST_TOLD} more" if len(unlike) > MOST_TOLD else ""
    return [f"result.json: {', '.join(sorted(unlike)[:MOST_TOLD])}{more} differ"] if unlike else []


def _flatten(value: Any, key: str) -> Iterator[tuple[str, Any]]:
    """Give every single value with the way to it."""
    if isinstance(value, dict | list) and value:
        rows = value.items() if isinstance(value, dict) else enumerate(value)
        for name, inner in rows:
            yield from _flatten(inner, f"{key}.{name}" if key else str(name))
    else:
        yield key, value


def _alike(one: Any, other: Any) -> bool:
    """Tell whether two values are the same, numbers up to rounding."""
    if isinstance(one, float | int) and isinstance(other, float | int) and not isinstance(one, bool):
        return math.isclose(one, other, rel_tol=TOLERANCE, abs_tol=TOLERANCE)
    return bool(one == other)
