"""``proofstrip run``: exit status, what is said where, and where the run folder stands."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from proofstrip.cli import run as command
from proofstrip.cli.main import main
from proofstrip.cli.run import folder_name

STAGES = ["read", "weigh", "clean", "moisture", "assign", "exclude", "strips", "scale", "side_effects", "machines"]


@pytest.fixture
def trial(tmp_path, copy_sample):
    return copy_sample(tmp_path / "field")


@pytest.fixture
def fast(monkeypatch):
    """Leave out the pictures and the report: they have their own tests and take most of the time."""
    monkeypatch.setattr("proofstrip.run.write_report", lambda material, folder: None)


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["run", *map(str, arguments)])


def test_a_sample_runs_and_says_the_answer(trial, tmp_path):
    result = run(trial, "--out", tmp_path / "out")
    assert result.exit_code == 0
    answer = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))
    # What is asked for stands on standard output, how it goes on standard error.
    chance = f"{100 * answer['probability'][0]['above_break_even']:.0f} in 100"
    sentences = [answer["verdict"]["sentence"], f"Chance that it pays: lifting fingers, {chance}."]
    sentences.append(f"Evidence: {answer['evidence']['sentence']}")
    assert result.stdout.splitlines() == [*sentences, f"Report: {tmp_path / 'out' / 'report.html'}"]
    said = [line.removesuffix(" ...") for line in result.stderr.splitlines() if line.endswith(" ...")]
    assert said == [*STAGES, "stats", "ground_loss", "where", "economics", "decide", "report"]
    assert (tmp_path / "out" / "report.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_the_run_folder_stands_beside_the_trial_file_by_default(trial, fast):
    assert run(trial).exit_code == 0
    assert (trial.parent / "runs" / "Crop-lifting_fingers_in_lodged_sorghum_invented" / "result.json").is_file()


def test_a_second_run_replaces_the_first(trial, tmp_path, fast):
    for season in ("2024", "2025"):
        trial.write_text(trial.read_text(encoding="utf-8").replace("season = 2024", f"season = {season}"), "utf-8")
        assert run(trial, "--out", tmp_path / "out").exit_code == 0
        assert json.loads((tmp_path / "out" / "result.json").read_text("utf-8"))["trial"]["season"] == int(season)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["field", "out"]


def test_warnings_go_to_standard_error_and_the_status_stays_zero(trial, tmp_path, fast):
    trial.write_text(trial.read_text(encoding="utf-8") + "\n[clean]\ndelay_min_pairs = 999\n", encoding="utf-8")
    result = run(trial, "--out", tmp_path / "out")
    assert result.exit_code == 0
    said = "warning: The travel delay of combine 1 is assumed to be "
    assert re.search(said + r"1[\d.]+ s, because the data cannot tell", result.stderr)
    assert "warning:" not in result.stdout


def refuse(result: Result, status: int) -> str:
    """Give the one paragraph of a refusal."""
    assert result.exit_code == status
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    said = [line for line in result.stderr.splitlines() if not line.endswith(" ...")]
    assert said[0].startswith("proofstrip: ")
    return "\n".join(said)


def test_wrong_settings_are_status_2_with_every_problem_and_its_line(trial):
    text = trial.read_text(encoding="utf-8").replace('crop = "sorghum"', 'crop = "sorgum"')
    trial.write_text(text.replace("years = 3", 'years = "three"') + "\n[clean]\nmax_gap = 10\n", encoding="utf-8")
    said = refuse(run(trial), 2).splitlines()
    assert said[0].endswith("trial.toml: 3 problems")
    assert "line 7: [trial] crop" in said[1]
    assert "line 27: [economics] years" in said[2]
    assert "line 35: [clean] max_gap needs a number and a unit in quotes" in said[3]
    assert not (trial.parent / "runs").exists()


def test_no_trial_file_is_status_2(tmp_path):
    assert "nothing.toml: 1 problem\n  there is no such file" in refuse(run(tmp_path / "nothing.toml"), 2)


def test_a_folder_in_place_of_the_trial_file_is_status_2(tmp_path):
    result = run(tmp_path)
    assert result.exit_code == 2
    assert "is a directory" in result.stderr


def test_no_argument_is_status_2():
    result = run()
    assert result.exit_code == 2
    assert "Missing argument 'TRIAL'" in result.stderr


def test_data_that_cannot_answer_are_status_1_and_write_nothing(trial, tmp_path):
    text = trial.read_text(encoding="utf-8").replace('control = "plain header"', 'control = "plain heading"')
    trial.write_text(text, encoding="utf-8")
    said = refuse(run(trial, "--out", tmp_path / "out"), 1)
    assert said.count("\n") == 0
    assert "plain heading" in said
    assert "plain header" in said
    assert not (tmp_path / "out").exists()


def test_a_failed_run_leaves_the_old_one_whole(trial, tmp_path, fast):
    assert run(trial, "--out", tmp_path / "out").exit_code == 0
    old = (tmp_path / "out" / "result.json").read_bytes()
    (trial.parent / "harvest.csv").write_text("Longitude,Latitude\n", encoding="utf-8")
    refuse(run(trial, "--out", tmp_path / "out"), 1)
    assert (tmp_path / "out" / "result.json").read_bytes() == old


def test_the_options_have_help():
    result = CliRunner().invoke(main, ["run", "-h"])
    assert result.exit_code == 0
    assert "Run folder; by default runs/<trial name> beside the trial file." in " ".join(result.output.split())
    assert command.run.help == "Run a trial from its raw files to its report."


@pytest.mark.parametrize(
    ("name", "folder"),
    [
        ("Strip trial / 2024", "Strip_trial_2024"),
        ("../../etc", "etc"),
        ("Maïs – Ökohof", "Maïs_Ökohof"),
        ("...", "trial"),
        ("a.b", "a_b"),
    ],
)
def test_folder_name_stays_in_its_folder(name, folder):
    assert folder_name(name) == folder
