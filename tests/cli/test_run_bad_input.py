"""Bad input ends in a warning or in one clear paragraph: never in a traceback, never in a silent loss of rows."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from proofstrip.cli.main import main

SAMPLE = Path(__file__).parents[2] / "sample_fields" / "sorghum_lifters"


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    """A copy of the invented sample."""
    folder = tmp_path / "trial"
    shutil.copytree(SAMPLE, folder)
    return folder


def run(folder: Path) -> Result:
    return CliRunner().invoke(main, ["run", str(folder / "trial.toml"), "--out", str(folder / "out")])


def edit(folder: Path, change: Callable[[pd.DataFrame], pd.DataFrame]) -> int:
    """Change the raw records; give how many there are."""
    frame = change(pd.read_csv(folder / "harvest.csv", dtype=str))
    frame.to_csv(folder / "harvest.csv", index=False)
    return len(frame)


def settle(folder: Path, old: str, new: str) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "trial.toml").write_text(text.replace(old, new), encoding="utf-8")


def edit_map(folder: Path, change: Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame]) -> None:
    change(gpd.read_file(folder / "trial_map.geojson")).to_file(folder / "map.gpkg")
    settle(folder, "trial_map.geojson", "map.gpkg")


def refused(outcome: Result, *words: str, status: int = 1) -> None:
    """One paragraph on standard error, holding these words."""
    assert outcome.exit_code == status, outcome.output
    assert isinstance(outcome.exception, SystemExit)
    said = outcome.stderr.split("proofstrip: ", 1)[1]
    assert "\n\n" not in said.strip()
    for word in words:
        assert word in said
    assert "Traceback" not in outcome.output


def rows_of(folder: Path) -> int:
    return len(pd.read_parquet(folder / "out" / "points.parquet", columns=["record"]))


FLOW, TIME, MOISTURE = "Mass flow (lb/s)", "Time (UTC)", "Moisture (%)"


def test_an_empty_file(trial):
    (trial / "harvest.csv").write_text("")
    refused(run(trial), "harvest.csv", "empty")


def test_a_header_row_only(trial):
    edit(trial, lambda frame: frame.head(0))
    refused(run(trial), "harvest.csv")


def test_one_record(trial):
    edit(trial, lambda frame: frame.iloc[[60]])
    refused(run(trial), "strips: of", "none is usable")


def test_no_time_is_made_of_speed_and_distance_and_said_or_refused(trial):
    rows = edit(trial, lambda frame: frame.drop(columns=[TIME, "Interval (s)"]))
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    assert "no column for time" in outcome.stderr
    assert rows_of(trial) == rows
    edit(trial, lambda frame: frame.drop(columns="Speed (mph)"))
    refused(run(trial), "time")


def test_a_flow_without_a_unit(trial):
    edit(trial, lambda frame: frame.rename(columns={FLOW: "Mass flow"}))
    refused(run(trial), "lb/s", "kg/s")


def test_a_picture_called_csv(trial):
    (trial / "harvest.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20)
    refused(run(trial), "harvest.csv")


def test_a_text_file_called_gpkg(trial):
    shutil.copy(trial / "harvest.csv", trial / "harvest.gpkg")
    settle(trial, "harvest.csv", "harvest.gpkg")
    refused(run(trial), "harvest.gpkg", "GeoPackage", "delimited text")


def test_a_trial_map_that_is_not_there_or_no_map(trial):
    (trial / "trial_map.geojson").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)))
    refused(run(trial), "trial_map.geojson", "PNG picture")
    (trial / "trial_map.geojson").unlink()
    refused(run(trial), "trial_map.geojson", "no such file")


def test_a_file_that_is_not_there(trial):
    (trial / "harvest.csv").unlink()
    refused(run(trial), "harvest.csv")


def test_two_combines_interleaved_without_a_name(trial):
    def interleave(frame: pd.DataFrame) -> pd.DataFrame:
        other = frame.assign(**{"Latitude (deg)": (frame["Latitude (deg)"].astype(float) + 0.01).astype(str)})
        return pd.concat([frame, other]).sort_index(kind="stable").drop(columns="Machine")

    edit(trial, interleave)
    refused(run(trial), "machine")


def test_a_map_elsewhere_on_earth_prints_both_extents(trial):
    edit_map(trial, lambda strips: strips.set_geometry(strips.translate(xoff=0.5)))
    refused(run(trial), "no record lies on the trial map", "the map reaches from", "the records from", "km apart")


def test_a_map_on_another_continent_prints_where_both_lie(trial):
    edit_map(trial, lambda strips: strips.set_geometry(strips.translate(xoff=100, yoff=-60)))
    # 100 degrees east and 60 south of the sample (113 W, 41 N) is UTM zone 28 south: 18 W to 12 W, 80 S to the equator
    # (area of use of EPSG:32728 in the EPSG registry).
    refused(run(trial), "longitude -113.1", "latitude 40.8", "longitude -18 to -12", "latitude -80 to 0", "trial map")


def test_a_misspelt_control_names_the_nearest(trial):
    settle(trial, 'control = "plain header"', 'control = "plain heder"')
    refused(run(trial), "plain heder", "plain header")


def test_a_wrong_setting_gives_its_line_and_status_two(trial):
    settle(trial, "season = 2024", "season = 2024\nweather = 3")
    refused(run(trial), "line ", "weather", status=2)


def test_no_moisture_at_all_asks_for_a_declared_one_and_takes_it(trial):
    rows = edit(trial, lambda frame: frame.drop(columns=MOISTURE))
    refused(run(trial), "declared_pct")
    text = (trial / "trial.toml").read_text(encoding="utf-8")
    (trial / "trial.toml").write_text(text + "\n[moisture]\ndeclared_pct = 14.5\n", encoding="utf-8")
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    assert "14.5 %" in outcome.stderr
    assert rows_of(trial) == rows


def test_every_header_up(trial):
    edit(trial, lambda frame: frame.assign(Header="up"))
    refused(run(trial), "none is usable", "the header was up")


@pytest.mark.filterwarnings("error::RuntimeWarning")
def test_every_flow_zero_is_no_grain_and_no_target(trial):
    edit(trial, lambda frame: frame.assign(**{FLOW: "0"}))
    outcome = run(trial)
    refused(outcome, "12 strips", "No grain was measured")
    assert "target" not in outcome.stderr


@pytest.mark.parametrize("value", ["n/a", "inf", ""])
@pytest.mark.parametrize("column", [FLOW, "Latitude (deg)"])
def test_a_column_without_one_number_is_named_and_not_called_absent_only(trial, column, value):
    edit(trial, lambda frame: frame.assign(**{column: value}))
    refused(run(trial), f"column {column!r} holds no number")


def test_text_empty_and_infinite_values_are_counted_and_no_row_is_lost(trial):
    def spoil(frame: pd.DataFrame) -> pd.DataFrame:
        frame.loc[500:504, FLOW] = "n/a"
        frame.loc[600, FLOW] = "inf"
        frame.loc[700, MOISTURE] = ""
        return frame

    rows = edit(trial, spoil)
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    assert "Mass flow" in outcome.stderr
    points = pd.read_parquet(trial / "out" / "points.parquet")
    assert len(points) == rows
    assert points["mass_flow_kg_s"].isna().sum() == 6


def test_unsorted_records_give_the_same_strips(trial, sample_run):
    before = pd.read_csv(sample_run / "strips.csv")
    rows = edit(trial, lambda frame: frame.sample(frac=1, random_state=1))
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    assert "time steps back" in outcome.stderr
    assert rows_of(trial) == rows
    after = pd.read_csv(trial / "out" / "strips.csv")
    assert after["yield_kg_ha"].tolist() == pytest.approx(before["yield_kg_ha"].tolist(), rel=1e-6)


def test_a_map_in_another_projection_gives_the_same_difference(trial, sample_run):
    before = pd.read_csv(sample_run / "strips.csv")["yield_kg_ha"].tolist()
    edit_map(trial, lambda strips: strips.to_crs(32613))
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    assert pd.read_csv(trial / "out" / "strips.csv")["yield_kg_ha"].tolist() == pytest.approx(before, rel=0.003)


def test_a_strip_without_a_record_is_named_and_kept(trial):
    rows = edit(trial, lambda frame: frame)

    def add(strips: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        far = strips.iloc[[0]].assign(strip="S99", block="B99")
        return pd.concat([strips, far.set_geometry(far.translate(xoff=-0.01))], ignore_index=True)

    edit_map(trial, add)
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    assert "S99" in outcome.stderr
    assert rows_of(trial) == rows
    table = pd.read_csv(trial / "out" / "strips.csv").set_index("strip")
    assert pd.isna(table.loc["S99", "yield_kg_ha"])


def test_one_strip_a_treatment_is_described_and_not_tested(trial):
    edit_map(trial, lambda strips: strips[strips["block"] == "B1"])
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    result = json.loads((trial / "out" / "result.json").read_text(encoding="utf-8"))
    assert result["verdict"]["word"] == "refused"
    assert [row["strips"] for row in result["treatments"]] == [1, 1]
    assert all(row["mean_kg_ha"] > 0 for row in result["treatments"])
    assert all(row["p_value"] is None and row["p_exact"] is None for row in result["differences"])


def test_a_name_with_markup_is_shown_as_text(trial):
    name = "<script>alert(1)</script>"
    edit_map(trial, lambda strips: strips.replace({"treatment": {"lifting fingers": name}}))
    settle(trial, '"lifting fingers" =', f'"{name}" =')
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    page = (trial / "out" / "report.html").read_text(encoding="utf-8")
    assert name not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_a_folder_that_is_no_run_folder_is_left_alone(trial):
    (trial / "out").mkdir()
    (trial / "out" / "thesis.txt").write_text("mine")
    refused(run(trial), "not a run folder")
    assert (trial / "out" / "thesis.txt").read_text() == "mine"


def test_a_part_that_no_stage_uses_yet_is_said(trial):
    settle(trial, "[economics]", '[ground_loss]\nfile = "counts.csv"\n\n[economics]')
    outcome = run(trial)
    assert outcome.exit_code == 0, outcome.output
    assert "ground-loss counts do not enter the answer yet" in outcome.stderr
