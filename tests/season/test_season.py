"""A season: each trial by itself, skipped when nothing changed, told on one page."""

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from proofstrip.cli.main import main
from proofstrip.config import load_settings
from proofstrip.errors import DataError
from proofstrip.record import read_result
from proofstrip.season import Outcome, run_season
from proofstrip.season.book import row_word, set_book, write_book
from proofstrip.season.crew import run_here, run_there
from proofstrip.season.outcome import Task, shorten
from proofstrip.season.store import find_trials
from proofstrip.season.task import is_current, run_task

KEPT = ("points.parquet", "strips.csv", "result.json")


@pytest.fixture(scope="module")
def season(trials: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Outcome]]:
    """Run it with two workers."""
    out = tmp_path_factory.mktemp("out") / "runs"
    return out, run_season(str(trials), str(out), workers=2)


def test_one_failure_stops_no_other(season):
    out, outcomes = season
    assert {outcome.name: outcome.state for outcome in outcomes} == {
        "creek": "ran",
        "north/old forty": "ran",
        "ridge": "ran",
        "torn": "refused",
    }
    assert "trial_map.geojson" in outcomes[-1].message
    assert (out / "north" / "old forty" / "report.html").is_file()
    assert not (out / "torn").exists()


def test_the_tables_name_every_trial_and_every_reason(season):
    out, _ = season
    with (out / "season.csv").open(encoding="utf-8", newline="") as stream:
        rows = {row["folder"]: row for row in csv.DictReader(stream)}
    assert list(rows) == ["creek", "north/old forty", "ridge", "torn"]
    assert rows["torn"]["state"] == "refused"
    assert "trial_map.geojson" in rows["torn"]["message"]
    book = json.loads((out / "season.json").read_text(encoding="utf-8"))
    own = json.loads((out / "creek" / "result.json").read_text(encoding="utf-8"))
    assert (
        book["trials"][0]["result"]["differences"][0]["difference_kg_ha"] == own["differences"][0]["difference_kg_ha"]
    )


def test_the_page_links_each_report_and_says_what_is_missing(season):
    out, _ = season
    page = (out / "index.html").read_text(encoding="utf-8")
    assert 'href="north/old%20forty/report.html"' in page
    assert "One trial without an answer" in page
    assert "aria-sort" in page
    assert "not financial advice" in page


def test_what_has_not_changed_is_not_run_again(season, trials):
    out, _ = season
    before = {name: (out / name / "report.html").stat().st_mtime_ns for name in ("creek", "ridge")}
    states = [outcome.state for outcome in run_season(str(trials), str(out))]
    assert states == ["unchanged", "unchanged", "unchanged", "refused"]
    assert before == {name: (out / name / "report.html").stat().st_mtime_ns for name in before}


@pytest.fixture
def creek(season, trials, tmp_path: Path) -> tuple[Path, Path]:
    """Copy one trial and its run folder."""
    shutil.copytree(trials / "creek", tmp_path / "creek")
    shutil.copytree(season[0] / "creek", tmp_path / "run")
    return tmp_path / "creek", tmp_path / "run"


def test_a_copy_elsewhere_is_still_current(creek):
    folder, run = creek
    assert is_current(run, load_settings(folder / "trial.toml"))


@pytest.mark.parametrize(
    "change",
    [
        lambda folder, run: (folder / "harvest.csv").write_text((folder / "harvest.csv").read_text()[:-200]),
        lambda folder, run: (folder / "exclusions.geojson").write_text('{"type": "FeatureCollection", "features": []}'),
        lambda folder, run: (folder / "trial_map.geojson").unlink(),
        lambda folder, run: (folder / "trial.toml").write_text(
            (folder / "trial.toml").read_text() + "\n[stats]\nconfidence = 0.8\n"
        ),
        lambda folder, run: (run / "run.json").write_text((run / "run.json").read_text().replace('"0.', '"9.', 1)),
        lambda folder, run: (run / "run.json").write_text("{"),
        lambda folder, run: (run / "result.json").unlink(),
    ],
    ids=["records", "exclusions", "no map", "setting", "version", "torn", "no result"],
)
def test_any_change_makes_it_run_again(creek, change):
    folder, run = creek
    change(folder, run)
    assert not is_current(run, load_settings(folder / "trial.toml"))


def test_a_fault_of_the_program_is_an_outcome_with_its_traceback(creek, monkeypatch):
    folder, run = creek

    def broken(*_: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("proofstrip.season.task.run_trial", broken)
    outcome = run_task(Task("creek", str(folder), str(run), rerun=True))
    assert outcome.state == "failed"
    assert "ZeroDivisionError: planted" in outcome.message


def kill_own_process(task: Task) -> Outcome:
    """Stand in for a trial whose process is stopped from outside; others take a moment."""
    if task.name == "bad":
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.2)
    return Outcome(task.name, "ran")


def test_a_process_that_is_killed_costs_only_its_own_trial(monkeypatch):
    monkeypatch.setattr("proofstrip.season.crew.run_task", kill_own_process)
    tasks = [Task(name, "", "") for name in ("a", "bad", "b")]
    found = {outcome.name: outcome.state for outcome in run_here(tasks, 2)}
    assert found == {"a": "ran", "b": "ran", "bad": "killed"}


def test_a_store_gives_the_same_bytes_as_a_folder(season, trials):
    import fsspec

    memory = fsspec.filesystem("memory")
    memory.put(str(trials / "ridge"), "/fields/ridge", recursive=True)
    assert find_trials("memory://fields", "memory://fields/runs") == {"ridge": "memory://fields/ridge"}
    task = Task("ridge", "memory://fields/ridge", "memory://fields/runs/ridge")
    assert run_task(task).state == "ran"
    for name in KEPT:
        assert memory.cat(f"/fields/runs/ridge/{name}") == (season[0] / "ridge" / name).read_bytes()
    assert run_task(task).state == "unchanged"
    assert find_trials("memory://fields", "memory://fields/runs") == {"ridge": "memory://fields/ridge"}


@pytest.mark.parametrize(("place", "said"), [("nowhere", "is not a folder"), (".", "There is no trial.toml below")])
def test_a_place_without_trials_is_said(tmp_path, place, said):
    with pytest.raises(DataError, match=said):
        find_trials(str(tmp_path / place), str(tmp_path / "runs"))


def test_the_command_says_what_became_of_each_and_fails_when_one_did(season, trials):
    out, _ = season
    found = CliRunner().invoke(main, ["season", str(trials), "--out", str(out)])
    assert found.exit_code == 1
    assert "3 of 4 trials have their answer." in found.stdout
    assert "4/4" in found.stderr
    assert "refused: torn: 'trial_map.geojson'" in found.stderr
    assert "Traceback" not in found.stderr


def entry(word: str, low: float | None, high: float | None, *net: float | None) -> tuple[dict, dict]:
    """Make a shortened result with one difference."""
    difference = {"treatment": "t", "low_pct": low, "high_pct": high}
    money = [{"treatment": "t", "net_gain_per_ac_low": net[0], "net_gain_per_ac_high": net[1]}] if net else []
    return {"verdict": {"word": word}, "economics": money}, difference


@pytest.mark.parametrize(
    ("found", "word"),
    [
        (entry("higher", 0.2, 3.0), "higher"),
        (entry("lower", -3.0, -0.1), "lower"),
        (entry("higher", -1.0, 3.0), "not_settled"),
        (entry("higher", None, None), "refused"),
        (entry("refused", 0.2, 3.0), "refused"),
        (entry("pays", 0.2, 3.0, 1.0, 9.0), "pays"),
        (entry("pays", 0.2, 3.0, -9.0, -1.0), "does_not_pay"),
        (entry("pays", 0.2, 3.0, -9.0, 1.0), "not_settled"),
    ],
)
def test_each_line_has_the_answer_of_its_own_treatment(found, word):
    assert row_word(*found) == word


def test_names_are_shown_as_text(sample_run):
    found = shorten(read_result(sample_run))
    bad = [f"<script>alert({number})</script>" for number in range(6)]
    named = {"treatment": bad[2], "control": bad[3]}
    answer = {"trial": found["trial"] | {"name": bad[0], "field": bad[1]}}
    answer |= {part: [row | named for row in found[part]] for part in ("differences", "economics")}
    assert answer["differences"] and answer["economics"]
    outcomes = [Outcome("a&b", "ran", entry=found | answer), Outcome(bad[4], "refused", bad[5])]
    page = set_book(outcomes, "metric")
    assert "<script>alert(" not in page
    for text in bad:
        assert text.replace("<", "&lt;").replace(">", "&gt;") in page, text
    assert 'href="a%26b/report.html"' in page
    assert "bu/ac" not in page


def test_a_name_that_a_spreadsheet_would_run_is_made_harmless(season, tmp_path):
    _, outcomes = season
    trial = outcomes[0].entry["trial"] | {"name": "=1+1"}
    write_book([Outcome("a", "ran", entry=outcomes[0].entry | {"trial": trial})], str(tmp_path))
    with (tmp_path / "season.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert row["name"] == "'=1+1"


@pytest.mark.long
def test_a_cluster_gives_the_same_bytes_though_a_worker_is_killed(season, trials, tmp_path):
    pytest.importorskip("distributed")
    out, _ = season
    start = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"]
    scheduler_file = tmp_path / "scheduler.json"
    processes = [subprocess.Popen([*start, "--no-dashboard", "--scheduler-file", str(scheduler_file)])]
    try:
        address = wait_for(lambda: json.loads(scheduler_file.read_text(encoding="utf-8"))["address"])
        worker = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard"]
        worker += ["--no-nanny", "--local-directory", str(tmp_path)]
        processes += [subprocess.Popen(worker) for _ in range(2)]
        tasks = [
            Task(name, str(trials / name), str(tmp_path / "runs" / name))
            for name in ("creek", "north/old forty", "ridge")
        ]
        outcomes = {}
        for outcome in run_there(tasks, address):
            outcomes[outcome.name] = outcome.state
            if len(outcomes) == 1:
                processes[1].kill()
    finally:
        for process in processes:
            process.kill()
            process.wait()
    assert outcomes == {"creek": "ran", "north/old forty": "ran", "ridge": "ran"}
    for name in ("creek", "north/old forty", "ridge"):
        for kept in KEPT:
            assert (tmp_path / "runs" / name / kept).read_bytes() == (out / name / kept).read_bytes()


def wait_for(look):
    """Wait until something is there."""
    for _ in range(200):
        try:
            return look()
        except (OSError, ValueError, KeyError):
            time.sleep(0.1)
    raise TimeoutError("the scheduler did not start")
