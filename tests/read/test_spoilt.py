"""Whatever is done to a file, it is read or refused in one paragraph; nothing else happens."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from proofstrip.config import HarvestPart, config_folder
from proofstrip.crops import find_crop
from proofstrip.errors import DataError
from proofstrip.read import read_harvest
from proofstrip.read.survey import survey_files

BITS = [
    b"",
    b"inf",
    b"nan",
    b"x",
    b'"',
    b"\n",
    b",",
    b";",
    b"\xff",
    b"\x00",
    b"\xe4",
    b"0",
    b"-1",
    b"1e400",
    b"(",
    b"\r",
]
SPOTS = st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 60), st.sampled_from(BITS)), min_size=1, max_size=8)


@pytest.fixture(scope="module")
def whole() -> bytes:
    second = np.arange(25)
    return (
        pd.DataFrame(
            {
                "Longitude": -93.98,
                "Latitude": 43.92 + second * 2e-5,
                "Time": pd.date_range("2024-10-07", periods=25, freq="s").strftime("%Y-%m-%dT%H:%M:%SZ"),
                "Flow(lb/s)": 20.0,
                "Distance": 87.5,
                "Swath(ft)": 30,
                "Moisture": 15.5,
                "Heading": 0.5,
                "Header": "down",
                "Machine": "a",
            }
        )
        .to_csv(index=False)
        .encode()
    )


def try_both(path: Path) -> None:
    corn = find_crop("corn", config_folder())
    part = HarvestPart.model_validate({"files": [path.name]})
    readers: list[Callable[[], object]] = [lambda: read_harvest(part, path.parent, corn), lambda: survey_files(path)]
    for attempt in readers:
        try:
            attempt()
        except DataError as fault:
            assert str(fault).startswith(path.name)
            assert "\n" not in str(fault)


@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spots=SPOTS)
def test_spoilt_bytes(whole: bytes, tmp_path: Path, spots: list[tuple[int, int, bytes]]) -> None:
    spoilt = bytearray(whole)
    for start, length, bits in spots:
        spoilt[start : start + length] = bits
    (tmp_path / "log.csv").write_bytes(spoilt)
    try_both(tmp_path / "log.csv")


@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    column=st.integers(0, 9),
    rows=st.sets(st.integers(1, 25)),
    value=st.sampled_from(["", "x", "inf", "-1", "1e30", "0"]),
)
def test_spoilt_column(whole: bytes, tmp_path: Path, column: int, rows: set[int], value: str) -> None:
    lines = [line.split(",") for line in whole.decode().splitlines()]
    for row in rows:
        lines[row][column] = value
    (tmp_path / "log.csv").write_text("\n".join(",".join(line) for line in lines))
    try_both(tmp_path / "log.csv")
