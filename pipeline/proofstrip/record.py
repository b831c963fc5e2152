"""What was run, on what, with which result: the files of the run folder."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from proofstrip import __version__
from proofstrip.cells import guard_frame
from proofstrip.columns import POINT_COLUMNS
from proofstrip.config import Settings
from proofstrip.errors import DataError
from proofstrip.flags import FLAGS, count_flags
from proofstrip.read.files import hash_file, short_name


@dataclass
class Clock:
    """Notes the rows and the time of each stage."""

    stages: list[dict[str, Any]] = field(default_factory=list)

    def note(self, stage: str, rows: int, seconds: float) -> None:
        """Add one stage.

        Parameters
        ----------
        stage : str
        rows : int
        seconds : float
        """
        self.stages.append({"stage": stage, "rows": rows, "seconds": round(seconds, 3)})


def describe_inputs(settings: Settings, inputs: dict[str, str], clock: Clock, flags: pd.Series) -> dict[str, Any]:
    """Make run.json.

    Parameters
    ----------
    settings : Settings
    inputs : dict of str to str
        File -> SHA-256.
    clock : Clock
    flags : pandas.Series of int

    Returns
    -------
    dict
    """
    counts = count_flags(flags)
    return {
        "version": __version__,
        "settings": plain_settings(settings),
        "inputs": [{"file": name, "sha256": digest} for name, digest in inputs.items()],
        "stages": clock.stages,
        "flags": [
            {
                "bit": int(m.flag),
                "name": m.name,
                "meaning": m.phrase,
                "excludes": m.excludes,
                "stage": m.stage,
                "records": counts[m.name],
            }
            for m in FLAGS
        ],
    }


def plain_settings(settings: Settings) -> dict[str, Any]:
    """Give settings as plain data, without the place of the trial file: a copy elsewhere has the same.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    dict
    """
    plain: dict[str, Any] = json.loads(settings.model_dump_json(exclude={"folder", "file"}))
    return plain


def write_tables(folder: Path, points: gpd.GeoDataFrame, strips: pd.DataFrame) -> None:
    """Write points.parquet and strips.csv.

    Parameters
    ----------
    folder : pathlib.Path
    points : geopandas.GeoDataFrame
        Written in the order and the types of ``POINT_COLUMNS``.
    strips : pandas.DataFrame
    """
    names = [column.name for column in POINT_COLUMNS]
    points[[*names, points.geometry.name]].to_parquet(folder / "points.parquet", index=False, compression="zstd")
    guard_frame(strips).to_csv(folder / "strips.csv", index=False, float_format="%.10g", lineterminator="\n")


def write_json(path: Path, value: Any) -> None:
    """Write plain data as JSON, readable and the same each time.

    Parameters
    ----------
    path : pathlib.Path
    value : dict or list
        Without NaN.
    """
    path.write_text(json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def read_result(folder: Path) -> dict[str, Any]:
    """Read the result of a run folder.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    dict

    Raises
    ------
    DataError
        When there is no result, or the file holds something else.
    """
    path = folder / "result.json"
    if not path.is_file():
        raise DataError(f"{folder} is not a run folder: it has no result.json. Make one with proofstrip run.")
    result = read_json(path, "proofstrip run")
    if not {"trial", "treatments", "differences", "verdict"} <= result.keys():
        raise DataError(f"{path} is not the result of a run: it lacks trial, treatments, differences or verdict.")
    return result


def read_json(path: Path, maker: str) -> dict[str, Any]:
    """Read a file that a command wrote.

    Parameters
    ----------
    path : pathlib.Path
    maker : str
        The command that makes it again.

    Returns
    -------
    dict
        Empty where the file holds something else than an object.

    Raises
    ------
    DataError
        When it is not JSON.
    """
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as fault:
        raise DataError(f"{path} is not JSON: {fault}. Make it again with {maker}.") from fault
    return found if isinstance(found, dict) else {}


def write_record(folder: Path, target: Path, run: dict[str, Any], settings: Settings) -> None:
    """Write run.json, last of all files: with the place of the trial file and the hashes of the other files.

    Parameters
    ----------
    folder, target : pathlib.Path
        Where the files stand now, and where they will.
    run : dict
        As of ``describe_inputs``.
    settings : Settings
    """
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    record = {
        **run,
        "trial_file": short_name(settings.folder / settings.file, target.resolve()),
        "outputs": [{"file": path.relative_to(folder).as_posix(), "sha256": hash_file(path)} for path in files],
    }
    write_json(folder / "run.json", record)
