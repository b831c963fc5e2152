"""``proofstrip inspect``: fits a terminal, asks what must be asked, writes nothing."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from proofstrip.cli.main import main
from proofstrip.simulate import SCENARIOS, render_folder, simulate_harvest


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Write an invented log that leaves swath and flow open."""
    second = np.arange(40)
    table = pd.DataFrame(
        {
            "Longitude of the antenna": -93.98,
            "Longitude": -93.98,
            "Latitude": 43.92 + second * 2e-5,
            "GPS Time": pd.date_range("2024-10-07T13:00:00Z", periods=40, freq="s").strftime("%Y-%m-%dT%H:%M:%SZ"),
            "Flow": 20.0 + second % 3,
            "Distance": 2e-5 * 111_100 / 0.0254,
            "Swath": 360,
            "Moisture": 15.5,
            "Variety": "invented",
        }
    )
    table.to_csv(tmp_path / "log.csv", index=False)
    return tmp_path / "log.csv"


def inspect(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["inspect", *map(str, arguments)])


def test_page_fits_eighty_columns_and_names_everything(log: Path) -> None:
    result = inspect(log, "--crop", "corn")
    assert result.exit_code == 0
    assert max(map(len, result.output.splitlines()[1:])) < 80
    for said in (
        "delimited text, 40 records (encoding utf-8, delimiter comma, decimal point)",
        "not used: Longitude of the antenna, Variety",
        "2024-10-07 13:00:00 to 13:00:39 (0.01 h), every 1 s",
        "WGS 84 / UTM zone 15N",
        "machines  not named; taken as one",
    ):
        assert said in result.output
    lines = [line.split() for line in result.output.splitlines()]
    assert ["Flow", "mass", "flow", "open", "20", "21", "22"] in lines
    assert ["Distance", "distance", "in", "measured,", "ratio", "1.000", "87.48", "87.48", "87.48"] in lines


def test_lines_to_add_settle_the_file(log: Path) -> None:
    output = inspect(log).output
    assert '    swath = { column = "Swath", unit = "in" }\n' in output
    assert '    mass_flow = { column = "Flow", unit = "lb/s" }\n' in output
    assert "[harvest.columns]" in output


def test_file_that_needs_nothing_says_so(log: Path) -> None:
    table = pd.read_csv(log).rename(columns={"Flow": "Flow (lb/s)", "Swath": "Swath (in)"})
    table.to_csv(log, index=False)
    assert "Nothing is left to settle" in inspect(log).output


def test_nothing_is_written(log: Path) -> None:
    before = sorted(log.parent.iterdir())
    inspect(log)
    assert sorted(log.parent.iterdir()) == before


def test_json_is_only_json(log: Path) -> None:
    (survey,) = json.loads(inspect(log, "--json").output)
    assert survey["rows"] == 40
    assert survey["time"] == {"start_s": 1728306000.0, "end_s": 1728306039.0, "interval_s": 1.0, "unix": True}
    assert {question["quantity"] for question in survey["questions"]} == {"swath", "mass_flow"}
    flow = next(column for column in survey["columns"] if column["quantity"] == "mass_flow")
    assert (flow["column"], flow["low"], flow["high"]) == ("Flow", 20.0, 22.0)


def test_several_files_are_shown_one_after_the_other(log: Path) -> None:
    other = log.with_name("other.csv")
    other.write_bytes(log.read_bytes())
    output = inspect(log, other).output
    assert output.index("log.csv") < output.index("other.csv")


@pytest.mark.parametrize("content", ["", "Flow,Time\n", "no table at all\n"])
def test_file_that_cannot_be_read_ends_with_one_paragraph(tmp_path: Path, content: str) -> None:
    (tmp_path / "bad.csv").write_text(content)
    result = inspect(tmp_path / "bad.csv")
    assert result.exit_code == 1
    assert result.output.startswith("proofstrip: bad.csv: ")
    assert len(result.output.strip().splitlines()) == 1


def test_table_in_which_nothing_is_recognised_is_shown_and_asked(tmp_path: Path) -> None:
    (tmp_path / "odd.csv").write_text("a,b\n1,2\n3,4\n")
    result = inspect(tmp_path / "odd.csv")
    assert result.exit_code == 0
    assert "not used: a, b" in result.output
    assert "position: no points, and no columns of longitude and latitude" in result.output


def test_crop_that_is_not_known_is_wrong_usage(log: Path) -> None:
    result = inspect(log, "--crop", "korn")
    assert result.exit_code == 2
    assert "Did you mean 'corn'?" in result.output


def test_a_header_switch_that_reads_the_wrong_way_round_is_said(tmp_path: Path) -> None:
    files = render_folder(simulate_harvest(replace(SCENARIOS["header_inverted"], blocks=2), 1))
    name = next(name for name in files if name.endswith(".csv") and "harvest" in name)
    (tmp_path / name).write_text(files[name], encoding="utf-8")
    said = " ".join(inspect(tmp_path / name).output.split())
    assert "header The header switch of combine 1 reads the wrong way round" in said
    (entry,) = json.loads(inspect(tmp_path / name, "--json").output)
    assert [notice["code"] for notice in entry["preview"]["header"]] == ["header_inverted"]
