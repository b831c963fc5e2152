"""``proofstrip stats``."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from proofstrip.cli.main import main

PAIRS = """strip,block,treatment,yield_kg_ha
1,1,new,4203
2,1,old,4036
3,2,new,4237
4,2,old,4170
5,3,new,4136
6,3,old,3934
7,4,new,4270
8,4,old,4103
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "strips.csv"
    path.write_text(PAIRS, encoding="utf-8")
    return path


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["stats", *map(str, arguments)])


def refuse(path: Path, *arguments: str) -> str:
    """Give the paragraph with which a table is refused."""
    result = run(path, "--control", "old", *arguments)
    assert result.exit_code == 1
    assert "Traceback" not in result.output
    assert result.stderr.startswith("proofstrip: ")
    assert result.stderr.count("\n") == 1
    assert result.stdout == ""
    return result.stderr


def test_page(table: Path) -> None:
    result = run(table, "--control", "old")
    assert result.exit_code == 0
    assert result.stdout.startswith(
        "With new, it yields 151 kg/ha more than old (margin of error, right 9 times in 10:"
    )
    assert "Design: pairs" in result.stdout


def test_json_alone_on_standard_output(table: Path) -> None:
    result = run(table, "--control", "old", "--json")
    answer = json.loads(result.stdout)
    row = answer["differences"][0]
    assert answer["design"] == "paired"
    assert answer["yield_unit"] == "kg/ha"
    assert [entry["treatment"] for entry in answer["treatments"]] == ["old", "new"]
    assert row["difference_kg_ha"] == pytest.approx(150.75)
    assert row["p_exact"] == pytest.approx(0.125)
    for key in ("se_kg_ha", "low_kg_ha", "high_kg_ha", "p_value", "p_exact_floor", "method", "detectable_kg_ha"):
        assert key in row
    for key in ("anova", "lsd", "cv_pct", "letters", "checks", "warnings", "verdict", "df_residual"):
        assert key in answer


def test_crop_adds_bushels(table: Path) -> None:
    row = json.loads(run(table, "--control", "old", "--crop", "soybean", "--json").stdout)["differences"][0]
    assert row["difference_bu_ac"] == pytest.approx(150.75 / 67.2511, rel=1e-5)
    assert run(table, "--control", "old", "--crop", "soybean").stdout.startswith("With new, it yields 2.2 bu/ac more")


def test_unknown_crop(table: Path) -> None:
    result = run(table, "--control", "old", "--crop", "soybeen")
    assert result.exit_code == 2
    assert "Did you mean 'soybean'?" in result.output


def test_confidence(table: Path) -> None:
    wide, narrow = (
        json.loads(run(table, "--control", "old", "--confidence", level, "--json").stdout) for level in ("0.99", "0.8")
    )
    assert wide["differences"][0]["high_kg_ha"] > narrow["differences"][0]["high_kg_ha"]
    assert run(table, "--control", "old", "--confidence", "1.5").exit_code == 2


@pytest.mark.parametrize("column", ["yield_kg_ha", "yield_bu_ac", "yield"])
def test_yield_column_is_recognised(tmp_path: Path, column: str) -> None:
    path = tmp_path / "strips.csv"
    path.write_text(PAIRS.replace("yield_kg_ha", column), encoding="utf-8")
    row = json.loads(run(path, "--control", "old", "--json").stdout)["differences"][0]
    ending = {"yield_kg_ha": "_kg_ha", "yield_bu_ac": "_bu_ac", "yield": ""}[column]
    assert {f"difference{ending}", f"low{ending}", f"high{ending}"} <= set(row)


def test_yield_column_is_given(tmp_path: Path) -> None:
    path = tmp_path / "strips.csv"
    path.write_text(PAIRS.replace("yield_kg_ha", "protein"), encoding="utf-8")
    assert "no yield column is called yield_kg_ha, yield_bu_ac, yield" in refuse(path)
    row = json.loads(run(path, "--control", "old", "--yield-column", "protein", "--json").stdout)["differences"][0]
    assert row["difference"] == pytest.approx(150.75)
    assert "no column 'proteins'" in refuse(path, "--yield-column", "proteins")


@pytest.mark.parametrize("separator", [";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_other_separators_and_a_byte_order_mark(table: Path, separator: str, encoding: str) -> None:
    table.write_text(PAIRS.replace(",", separator), encoding=encoding)
    assert run(table, "--control", "old").exit_code == 0


@pytest.mark.parametrize("name", ["None", "NA", "null", "N/A"])
def test_a_treatment_called_nothing_keeps_its_name(table: Path, name: str) -> None:
    table.write_text(PAIRS.replace("old", name), encoding="utf-8")
    answer = json.loads(run(table, "--control", name, "--json").stdout)
    assert answer["control"] == name
    assert answer["treatments"][0]["treatment"] == name


def test_an_empty_cell_is_a_missing_strip(table: Path) -> None:
    table.write_text(PAIRS.replace("4103", ""), encoding="utf-8")
    answer = json.loads(run(table, "--control", "old", "--json").stdout)
    assert answer["differences"][0]["pairs"] == 3
    assert {notice["code"] for notice in answer["warnings"]} >= {"missing_yield", "broken_pair"}


def test_misspelt_control(table: Path) -> None:
    result = run(table, "--control", "Old")
    assert result.exit_code == 1
    assert "Did you mean 'old'?" in result.stderr


def test_no_such_file(tmp_path: Path) -> None:
    assert "there is no such file" in refuse(tmp_path / "nothing.csv")


@pytest.mark.parametrize("text", ["", "\n\n", "   \n"])
def test_empty_file(table: Path, text: str) -> None:
    table.write_text(text, encoding="utf-8")
    assert "the file is empty" in refuse(table)


def test_header_alone(table: Path) -> None:
    table.write_text(PAIRS.splitlines()[0], encoding="utf-8")
    assert "no rows" in refuse(table)


def test_no_text_file(table: Path) -> None:
    table.write_bytes(b"strip,treatment,yield\n1,\xff\xfe,3\n")
    assert "not UTF-8" in refuse(table)


def test_ragged_rows(table: Path) -> None:
    table.write_text(PAIRS + "9,5,new\n", encoding="utf-8")
    assert "1 of 9 rows do not have the 4 cells" in refuse(table)


def test_a_column_twice(table: Path) -> None:
    table.write_text(PAIRS.replace("block", "strip"), encoding="utf-8")
    assert "column 'strip' stands there twice" in refuse(table)


def test_text_for_a_yield(table: Path) -> None:
    table.write_text(PAIRS.replace("4036", "n.d."), encoding="utf-8")
    assert "'n.d.' (strip 2)" in refuse(table)


def test_control_is_needed(table: Path) -> None:
    assert run(table).exit_code == 2
