"""An invented log, ready to be spoilt in one way, and a short way to read it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyproj
import pytest

from proofstrip.config import HarvestPart, config_folder
from proofstrip.crops import find_crop
from proofstrip.read import Harvest, read_harvest

EASTING, NORTHING = 420_000.0, 4_864_000.0
SPEED_M_S = 2.0


@pytest.fixture
def make_log() -> Callable[..., pd.DataFrame]:
    """Build one straight pass to the north at 2 m/s, a record a second, with every column named and its unit."""

    def build(rows: int = 30, start: int = 0, east: float = 0.0) -> pd.DataFrame:
        second = start + np.arange(rows)
        to_degrees = pyproj.Transformer.from_crs(32615, 4326, always_xy=True)
        longitude, latitude = to_degrees.transform(np.full(rows, EASTING + east), NORTHING + SPEED_M_S * second)
        return pd.DataFrame(
            {
                "Longitude": longitude.round(9),
                "Latitude": latitude.round(9),
                "Time": 1_700_000_000 + second,
                "Flow(lb/s)": 20.0,
                "Duration(s)": 1.0,
                "Distance(ft)": round(SPEED_M_S / 0.3048, 4),
                "Swath(ft)": 30.0,
                "Moisture(%)": 15.5,
                "Speed(mph)": round(SPEED_M_S / 0.44704, 4),
                "Heading(deg)": 0.0,
                "Header": "down",
            }
        )

    return build


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Harvest]:
    """Write tables as CSV into this test's folder and read them; other settings as in a trial file."""

    def write_and_read(
        *tables: pd.DataFrame, map_crs: pyproj.CRS | None = None, crop: str = "corn", **settings: Any
    ) -> Harvest:
        files = settings.pop("files", None)
        if files is None:
            files = [f"log{number}.csv" for number in range(1, len(tables) + 1)]
            for name, table in zip(files, tables, strict=True):
                table.to_csv(tmp_path / name, index=False)
        part = HarvestPart.model_validate({"files": files, **settings})
        return read_harvest(part, tmp_path, find_crop(crop, config_folder()), map_crs)

    return write_and_read


@pytest.fixture
def codes() -> Callable[[Harvest], list[str]]:
    """List the codes of a harvest's notices."""
    return lambda harvest: [notice.code for notice in harvest.notices]
