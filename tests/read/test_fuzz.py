"""A seeded part of ``python -m tests.fuzz``, over every format."""

import os
from pathlib import Path

import pytest
from tests.fuzz import Bench

FORMATS = ["csv", "shapefile", "geopackage", "geojson", "parquet", "task log", "zip", "tickets", "toml"]
REAL = os.environ.get("PROOFSTRIP_REAL_DATA")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return Bench(tmp_path_factory.mktemp("fuzz"), Path(REAL) if REAL else None)


@pytest.mark.filterwarnings("ignore::UserWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("kind", FORMATS)
def test_spoilt_files_are_read_or_refused(bench: Bench, kind: str) -> None:
    before = bench.tried.total()
    for seed in range(5):
        bench.once(kind, seed)
    assert bench.tried.total() >= before + 5
