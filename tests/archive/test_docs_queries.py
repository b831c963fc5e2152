"""The queries of docs/archive.md run, and say what the run folders say."""

import re
from pathlib import Path

import duckdb
import geopandas as gpd
import pandas as pd
import pytest

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "archive.md").read_text(encoding="utf-8")
QUERIES = re.findall(r"^```sql\n(.*?)^```", PAGE, flags=re.MULTILINE | re.DOTALL)


@pytest.fixture
def ask(kept, monkeypatch):
    monkeypatch.chdir(kept)
    return lambda query: duckdb.sql(query).df()


def test_every_query_answers(ask, original):
    trials, yields, place, removed = QUERIES
    assert ask(trials)["records"].tolist() == [len(gpd.read_parquet(original / "run" / "points.parquet"))]
    strips = pd.read_csv(original / "run" / "strips.csv")
    expected = strips.groupby("treatment")[["standard_mass_kg", "area_m2"]].sum()
    found = ask(yields).set_index("treatment")["yield_kg_ha"]
    assert found.to_dict() == pytest.approx((1e4 * expected["standard_mass_kg"] / expected["area_m2"]).to_dict())
    counts = ask(removed).set_index("flag")["records"]
    assert counts["excluded_by_hand"] == 10
    west, south, east, north = gpd.read_parquet("trials.parquet").total_bounds
    edges = {"-113.2": west, "-113.1": east, "40.8": south, "40.9": north}
    here = re.sub(r"-?\d+\.\d+", lambda found: str(edges[found[0]]), place)
    points = gpd.read_parquet(original / "run" / "points.parquet")
    assert len(ask(here)) == pytest.approx(points["usable"].sum(), abs=5)
