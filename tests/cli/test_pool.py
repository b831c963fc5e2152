"""proofstrip pool: from run folders and tables to pool.json, pool.html and the forest plot."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from proofstrip.cli.main import main

TABLE = """\
site,season,treatment,control,difference_pct,se,pairs,moisture_pct
Hill <North>,2023,lifters,plain header,4.1,0.9,6,13.1
Creek,2023,lifters,plain header,2.5,1.1,5,12.4
Flat,2024,lifters,plain header,5.2,0.8,6,13.6
Ridge,2024,lifters,plain header,3.0,1.3,4,12.9
"""


def run(*arguments: object) -> Result:
    """Call the command."""
    return CliRunner().invoke(main, ["pool", *map(str, arguments)])


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Write a table of four trials."""
    path = tmp_path / "sites.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


@pytest.fixture
def runs(tmp_path: Path, sample_run: Path) -> Path:
    """Make three run folders of one: other names and yields."""
    result = json.loads((sample_run / "result.json").read_text(encoding="utf-8"))
    for number, pct in enumerate((3.1, 4.4, 3.9)):
        folder = tmp_path / "runs" / f"trial {number}"
        folder.mkdir(parents=True)
        result["trial"]["name"] = f"Trial {number}"
        result["differences"][0]["difference_pct"] = pct
        (folder / "result.json").write_text(json.dumps(result), encoding="utf-8")
        (folder / "report.html").write_text("", encoding="utf-8")
        (folder / "strips.csv").write_bytes((sample_run / "strips.csv").read_bytes())
    return tmp_path / "runs"


def read(done: Result) -> dict[str, Any]:
    """Read the JSON that was printed."""
    assert done.exit_code == 0, done.output
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def test_pool_of_a_table_is_written(table: Path, tmp_path: Path) -> None:
    done = run(table, "--out", tmp_path / "pool", "--covariate", "moisture_pct")
    assert done.exit_code == 0, done.output
    assert "With lifters, it yields more than plain header: over four trials in two seasons" in done.stdout
    written = sorted(path.relative_to(tmp_path / "pool").as_posix() for path in (tmp_path / "pool").rglob("*.*"))
    assert written == ["figures/forest.png", "pool.html", "pool.json"]
    page = (tmp_path / "pool" / "pool.html").read_text(encoding="utf-8")
    assert "Does it depend on moisture_pct?" in page
    assert "Hill &lt;North&gt;" in page
    assert not re.findall(r'(?:src|href)="https?:', page)


def test_files_of_a_season_beside_its_runs_are_not_taken_for_trials(runs: Path) -> None:
    for name in ("season.csv", "season.json", "index.html"):
        (runs / name).write_text("folder,state\ncreek,ran\n", encoding="utf-8")
    answer = read(run(runs / "*", "--json"))
    assert answer["left_out"] == []
    assert answer["treatments"][0]["trials"] == 3


def test_names_in_a_table_are_shown_as_text(table: Path, tmp_path: Path) -> None:
    treatment, control, site = (f"<script>alert({number})</script>" for number in range(3))
    text = TABLE.replace("lifters", treatment).replace("plain header", control).replace("Creek", site)
    table.write_text(text, encoding="utf-8")
    done = run(table, "--out", tmp_path / "pool")
    assert done.exit_code == 0, done.output
    page = (tmp_path / "pool" / "pool.html").read_text(encoding="utf-8")
    assert "<script>alert(" not in page.lower()
    for number in range(3):
        assert f"script&gt;alert({number})&lt;/script&gt;" in page


def test_names_of_run_folders_are_shown_as_text(runs: Path, tmp_path: Path) -> None:
    bad = "<script>alert(1)</script>"
    for number in range(3):
        folder = runs / f"trial {number}"
        text = (folder / "result.json").read_text(encoding="utf-8")
        (folder / "result.json").write_text(text.replace(f"Trial {number}", f"{bad} {number}"), encoding="utf-8")
        folder.rename(runs / f"javascript:alert({number})")
    out = runs / "pool"
    done = run(*(runs / f"javascript:alert({number})" for number in range(3)), "--out", out)
    assert done.exit_code == 0, done.output
    page = (out / "pool.html").read_text(encoding="utf-8")
    assert bad not in page and "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert not re.findall(r'href="\s*javascript:', page)


def test_runs_by_pattern_are_linked_and_have_money(runs: Path, tmp_path: Path) -> None:
    out = tmp_path / "out" / "pool"
    done = run(runs / "trial*", "--out", out)
    assert done.exit_code == 0, done.output
    assert "trials in one season (2024)" in done.stdout
    page = (out / "pool.html").read_text(encoding="utf-8")
    links = re.findall(r'<a href="([^"#]+)">', page)
    assert links == [f"../../runs/trial%20{number}/report.html" for number in range(3)]
    assert "Invented data" in page
    (treatment,) = json.loads((out / "pool.json").read_text(encoding="utf-8"))["treatments"]
    assert treatment["money"]["currency"] == "USD"
    assert treatment["sites"][0]["covariates"].keys() == {"control_yield_kg_ha", "moisture_pct"}


def test_same_input_gives_the_same_bytes(table: Path, tmp_path: Path) -> None:
    for name in ("a", "b"):
        assert run(table, "--out", tmp_path / name).exit_code == 0
    for file in ("pool.json", "pool.html", "figures/forest.png"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_a_table_and_runs_go_together(table: Path, runs: Path) -> None:
    table.write_text(TABLE.replace("lifters,plain header", "lifting fingers,plain header"), encoding="utf-8")
    (treatment,) = read(run(table, runs / "*", "--json"))["treatments"]
    assert treatment["trials"] == 7
    assert treatment["money"] is None
    assert "no prices" in treatment["why_no_money"]


def test_json_alone_writes_nothing(table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    answer = read(run("sites.csv", "--json", "--confidence", "0.95"))
    assert answer["confidence"] == 0.95
    assert answer["treatments"][0]["sites"][0]["source"] == "../sites.csv"
    assert not (tmp_path / "pool").exists()


def test_two_trials_make_a_page_without_a_pooled_claim(table: Path, tmp_path: Path) -> None:
    table.write_text("".join(TABLE.splitlines(keepends=True)[:3]), encoding="utf-8")
    done = run(table, "--out", tmp_path / "pool")
    assert done.exit_code == 0, done.output
    assert "There is no pooled answer for lifters: two trials" in done.stdout
    page = (tmp_path / "pool" / "pool.html").read_text(encoding="utf-8")
    assert "No answer" in page
    assert "Another field" in page.split('id="words"')[1]
    assert "All together" not in page.split('id="words"')[0]


def test_what_is_left_out_is_said(table: Path, tmp_path: Path) -> None:
    table.write_text(TABLE + "Creek,2023,lifters,plain header,9,1,5,12\nLoner,2024,lifters,plain header,7,,,12\n")
    done = run(table, "--out", tmp_path / "pool")
    assert "left out: Creek, 2023: lifters" in done.stderr
    assert "left out: Loner, 2024: lifters" in done.stderr
    assert "What was left out" in (tmp_path / "pool" / "pool.html").read_text(encoding="utf-8")


def test_several_treatments_are_set_side_by_side(table: Path, tmp_path: Path) -> None:
    more = TABLE.replace("lifters", "rollers").splitlines(keepends=True)[1:]
    table.write_text(TABLE + "".join(line.replace(",6,", ",5,") for line in more).replace("4.1", "-9"))
    done = run(table, "--out", tmp_path / "pool")
    assert done.exit_code == 0, done.output
    page = (tmp_path / "pool" / "pool.html").read_text(encoding="utf-8")
    assert "Each treatment against plain header, each pooled by itself" in page
    assert {path.name for path in (tmp_path / "pool" / "figures").iterdir()} == {"forest.png", "forest_2.png"}


@pytest.mark.parametrize("text", ["", "site,season\n", "site,season\nA,2024,x\n"])
def test_table_that_is_none_is_refused(table: Path, text: str) -> None:
    table.write_text(text)
    done = run(table)
    assert (done.exit_code, done.stderr.startswith(f"proofstrip: {table}: ")) == (1, True)


def test_wrong_source_is_refused(tmp_path: Path) -> None:
    assert "no such run folder or table" in run(tmp_path / "none*").stderr
    (tmp_path / "empty").mkdir()
    done = run(tmp_path / "empty")
    assert (done.exit_code, "empty (../" in done.stderr, "it is no run folder" in done.stderr) == (1, True, True)


def test_what_is_no_run_among_runs_is_left_out(runs: Path, tmp_path: Path) -> None:
    (runs / "notes.doc").write_text("dear")
    (runs / "pool").mkdir()
    answer = read(run(runs / "*", "--json"))
    assert [row["trial"] for row in answer["left_out"]] == ["notes.doc", "pool"]
    assert answer["treatments"][0]["trials"] == 3


@pytest.mark.parametrize(
    ("text", "said"),
    [("{", "result.json is not JSON"), ("{}", "is not the result of a run"), ("[]", "is not the result")],
)
def test_spoilt_result_is_refused_without_a_traceback(runs: Path, text: str, said: str) -> None:
    (runs / "trial 1" / "result.json").write_text(text)
    done = run(runs / "*")
    assert (done.exit_code, said in done.stderr, done.stderr.startswith("proofstrip: ")) == (1, True, True)


def test_spoilt_strip_table_is_refused(runs: Path) -> None:
    (runs / "trial 1" / "strips.csv").write_text("strip,yield\n1,2\n")
    done = run(runs / "*")
    assert (done.exit_code, "strips.csv" in done.stderr) == (1, True)


def test_folder_of_something_else_is_left_alone(table: Path, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    done = run(table, "--out", tmp_path / "mine")
    assert (done.exit_code, "is not a pool folder" in done.stderr) == (1, True)
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["letter.txt"]


def test_prices_of_a_file_price_tables_too(table: Path, tmp_path: Path) -> None:
    header, *rows = TABLE.splitlines()
    more = [f"{row},soybean,{2 + number},0.5" for number, row in enumerate(rows)]
    table.write_text("\n".join([f"{header},crop,difference_bu_ac,se_bu_ac", *more]), encoding="utf-8")
    prices = tmp_path / "mine.toml"
    prices.write_text('[economics]\nprice = "10 USD/bu"\ncost = { lifters = "2.50 USD/ac" }\n', encoding="utf-8")
    answer = read(run(table, "--economics", prices, "--json"))
    (treatment,) = answer["treatments"]
    assert answer["prices"] == "mine.toml"
    assert treatment["money"]["gain_per_ac"] == pytest.approx(3.5 * 10 - 2.5)
    assert "it earns 32.50\N{NO-BREAK SPACE}USD an acre" in treatment["verdict"]["sentence"]
    assert 0.9 < treatment["next_season"]["chance_of_paying"] < 1


def test_prices_need_a_crop_and_a_right_file(table: Path, tmp_path: Path) -> None:
    prices = tmp_path / "mine.toml"
    prices.write_text('[economics]\nprice = "10 USD/bu"\n', encoding="utf-8")
    done = run(table, "--economics", prices)
    assert (done.exit_code, "no trial names its crop" in done.stderr) == (1, True)
    prices.write_text('[economics]\nprice = "ten"\n', encoding="utf-8")
    assert run(table, "--economics", prices).exit_code == 2
