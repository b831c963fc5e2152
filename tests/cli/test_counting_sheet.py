"""``proofstrip counting-sheet``: a box a frame, safety words first, and a table that a run can read once filled in."""

import re
import shutil
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from proofstrip.cli.main import main
from proofstrip.config import load_settings
from proofstrip.read import read_counts, read_trial_map
from proofstrip.report.counting import list_frames, render_counting_sheet

SAMPLE = Path(__file__).resolve().parents[2] / "sample_fields/sorghum_lifters"


def sheet(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["counting-sheet", *map(str, arguments)])


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    shutil.copytree(SAMPLE, tmp_path / "trial")
    return tmp_path / "trial" / "trial.toml"


def test_sheet_has_a_box_a_frame_and_no_treatment(trial: Path, tmp_path: Path) -> None:
    outcome = sheet(trial, "--to", tmp_path / "s.html", "--frames", 5)
    assert outcome.exit_code == 0, outcome.output
    page = (tmp_path / "s.html").read_text(encoding="utf-8")
    assert len(re.findall(r"<td[ >]", page)) == 12 * 3 * 5
    assert "lifting fingers" not in page.partition("<table>")[2]
    assert "plain header" not in page
    assert "Invented data" in page
    assert "http" not in page


def test_safety_words_stand_before_the_boxes(trial: Path, tmp_path: Path) -> None:
    sheet(trial, "--to", tmp_path / "s.html")
    before = (tmp_path / "s.html").read_text(encoding="utf-8").partition("<table>")[0]
    for words in ("Engine off, key out", "locked with its safety stops", "every part has stopped", "Local codes"):
        assert words in before


def test_seeds_on_the_frame_that_are_a_bushel(trial: Path, tmp_path: Path) -> None:
    # 56 lb x 453,592.37 / (43,560 x 28 g) = 20.8 kernels a square foot.
    sheet(trial, "--to", tmp_path / "one.html")
    assert "21 seeds are 1 bushel an acre, at 28 g" in (tmp_path / "one.html").read_text(encoding="utf-8")
    sheet(trial, "--to", tmp_path / "ten.html", "--frame", "10 sq ft")
    assert "208 seeds are 1 bushel an acre" in (tmp_path / "ten.html").read_text(encoding="utf-8")
    trial.write_text(trial.read_text() + '\n[report]\nunits = "metric"\n')
    sheet(trial, "--to", tmp_path / "metric.html")
    # 100 kg/ha are 10 g/m2: 2.5 g on a quarter of a square metre, 89.3 kernels of 28 mg.
    page = (tmp_path / "metric.html").read_text(encoding="utf-8")
    assert "0.25 square metres (a square one: 50 cm a side)" in page
    assert "89 seeds are 100 kg/ha" in page
    assert "bushel" not in page


def test_table_comes_back_as_counts(trial: Path, tmp_path: Path) -> None:
    table = trial.parent / "counts.csv"
    assert sheet(trial, "--to", tmp_path / "s.html", "--table", table).exit_code == 0
    filled = pd.read_csv(table, dtype=str, keep_default_na=False)
    assert len(filled) == 12 * 3 * 4
    filled.assign(Seeds="7").to_csv(table, index=False)
    settings = load_settings(trial)
    assert settings.ground_loss is not None
    part = settings.ground_loss.model_copy(update={"file": "counts.csv"})
    strips = set(read_trial_map(settings.trial_map, settings.folder).strips["strip"])
    frames = read_counts(part, settings.folder, strips).frames
    assert frames["seeds"].sum() == 7 * 144
    assert frames["area_m2"].unique().tolist() == pytest.approx([0.09290304])


def test_a_strip_that_a_spreadsheet_would_run_comes_back_as_it_is_called(trial: Path, tmp_path: Path) -> None:
    strips = gpd.read_file(trial.parent / "trial_map.geojson").replace({"strip": {"S03": "=cmd|' /C calc'!A0"}})
    strips.to_file(trial.parent / "trial_map.geojson")
    table = trial.parent / "counts.csv"
    assert sheet(trial, "--to", tmp_path / "s.html", "--table", table).exit_code == 0
    filled = pd.read_csv(table, dtype=str, keep_default_na=False)
    assert "'=cmd|' /C calc'!A0" in set(filled["Strip"])
    assert not filled["Strip"].str.startswith("=").any()
    filled.assign(Seeds="7").to_csv(table, index=False)
    settings = load_settings(trial)
    assert settings.ground_loss is not None
    part = settings.ground_loss.model_copy(update={"file": "counts.csv"})
    frames = read_counts(part, settings.folder, set(strips["strip"])).frames
    assert "=cmd|' /C calc'!A0" in set(frames["strip"])


@pytest.mark.parametrize("place", ["/sys/proofstrip.html", "/proc/proofstrip.html"])
def test_a_place_that_cannot_be_written_is_said(trial: Path, tmp_path: Path, place: str) -> None:
    for arguments in (("--to", place), ("--to", tmp_path / "s.html", "--table", place)):
        outcome = sheet(trial, *arguments)
        assert outcome.exit_code == 1
        assert f"{place} cannot be written" in outcome.stderr
        assert "Traceback" not in outcome.output


@pytest.mark.parametrize("area", ["1", "1 ft", "big", "-1 ft^2", "0 m^2", "5 hectare", "nan m^2"])
def test_an_area_that_is_none_is_refused(trial: Path, tmp_path: Path, area: str) -> None:
    outcome = sheet(trial, "--to", tmp_path / "s.html", "--frame", area)
    assert outcome.exit_code == 2
    assert "frame" in outcome.stderr
    assert not (tmp_path / "s.html").exists()


def test_filled_counts_are_never_written_over(trial: Path, tmp_path: Path) -> None:
    (tmp_path / "counts.csv").write_text("mine")
    outcome = sheet(trial, "--to", tmp_path / "s.html", "--table", tmp_path / "counts.csv")
    assert outcome.exit_code == 2
    assert "is there already" in outcome.stderr
    assert (tmp_path / "counts.csv").read_text() == "mine"
    assert not (tmp_path / "s.html").exists()


def test_names_are_text(trial: Path) -> None:
    text = trial.read_text(encoding="utf-8")
    for name in ("Crop-lifting", "Made-up Forty"):
        assert name in text
        text = text.replace(name, f"<script>alert(2)</script>{name}")
    trial.write_text(text, encoding="utf-8")
    settings = load_settings(trial)
    page = render_counting_sheet(settings, ["<script>alert(1)</script>", "n" * 300], 4, 1.0)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert len(list_frames(["a"], 2, 1.0, "metric")) == 6
