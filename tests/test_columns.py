"""The tables of columns: names, types and ranges."""

import pandas as pd
import pytest

from proofstrip.columns import POINT_COLUMNS, STRIP_COLUMNS, Column, empty_frame

TABLES = {"points": POINT_COLUMNS, "strips": STRIP_COLUMNS}


@pytest.fixture(params=TABLES)
def columns(request: pytest.FixtureRequest) -> tuple[Column, ...]:
    return TABLES[request.param]


def test_empty_frame_has_every_column_in_its_type(columns: tuple[Column, ...]) -> None:
    frame = empty_frame(columns)
    assert len(frame) == 0
    assert list(frame.columns) == [column.name for column in columns]
    assert [str(dtype) for dtype in frame.dtypes] == [column.dtype for column in columns]


def test_names_stand_once(columns: tuple[Column, ...]) -> None:
    names = [column.name for column in columns]
    assert len(set(names)) == len(names)


def test_a_name_with_a_unit_ends_in_it(columns: tuple[Column, ...]) -> None:
    ending = {
        "m": "_m",
        "m^2": "_m2",
        "m/s": "_m_s",
        "kg": "_kg",
        "kg/s": "_kg_s",
        "kg/ha": "_kg_ha",
        "bu/ac": "_bu_ac",
        "%": "_pct",
        "deg": "_deg",
    }
    for column in columns:
        if column.unit and column.name != "time":
            assert column.name.endswith(ending.get(column.unit, f"_{column.unit}"))


def test_ranges_run_upwards(columns: tuple[Column, ...]) -> None:
    assert all(column.low < column.high for column in columns if column.low is not None and column.high is not None)


def test_every_column_says_what_it_is(columns: tuple[Column, ...]) -> None:
    assert all(column.meaning for column in columns)


def test_same_name_same_quantity_in_both_tables() -> None:
    points = {column.name: column for column in POINT_COLUMNS}
    shared = [(points[column.name], column) for column in STRIP_COLUMNS if column.name in points]
    assert len(shared) >= 5
    assert all(one.unit == other.unit and one.dtype == other.dtype for one, other in shared)


def test_empty_frames_join_with_filled_ones() -> None:
    filled = pd.DataFrame({"strip": ["S1"], "records": [3]})
    joined = pd.concat([empty_frame(STRIP_COLUMNS)[["strip", "records"]], filled])
    assert joined["records"].tolist() == [3]
