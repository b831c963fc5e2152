"""The whole job on the invented sorghum sample: planted +4 %, six pairs."""

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from proofstrip.config import load_settings
from proofstrip.errors import DataError
from proofstrip.record import read_result
from proofstrip.run import run_trial
from proofstrip.whole import written_whole

SAMPLE = Path(__file__).parents[1] / "sample_fields" / "sorghum_lifters"
PLANTED_PCT = 4.0


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The sample, run twice."""
    folder = tmp_path_factory.mktemp("runs")
    settings = load_settings(SAMPLE / "trial.toml")
    for name in ("one", "two"):
        run_trial(settings, folder / name)
    return folder / "one", folder / "two"


def test_the_planted_effect_lies_within_the_interval(runs):
    (row,) = read_result(runs[0])["differences"]
    assert row["pairs"] == 6
    assert row["low_pct"] < PLANTED_PCT < row["high_pct"]
    assert row["difference_bu_ac"] == pytest.approx(row["difference_kg_ha"] / 62.7677, rel=1e-5)


def test_the_run_folder_holds_what_it_should(runs):
    names = {path.name for path in runs[0].iterdir()}
    assert names == {"points.parquet", "strips.csv", "result.json", "run.json", "report.html", "figures"}
    assert list((runs[0] / "figures").glob("*.png"))


@pytest.mark.parametrize("name", ["points.parquet", "strips.csv", "result.json"])
def test_the_same_inputs_give_the_same_bytes(runs, name):
    assert (runs[0] / name).read_bytes() == (runs[1] / name).read_bytes()


def test_result_has_the_keys_that_programs_rely_on(runs):
    result = read_result(runs[0])
    top = "schema_version trial delay records yield_unit treatments differences anova lsd cv_pct letters economics"
    assert set(f"{top} sensitivity checks warnings verdict".split()) <= set(result)
    difference = (
        "treatment control pairs difference_kg_ha difference_bu_ac difference_pct se_kg_ha low_kg_ha high_kg_ha "
        "low_bu_ac high_bu_ac confidence p_value p_exact p_exact_floor method detectable_kg_ha"
    )
    assert set(difference.split()) <= set(result["differences"][0])
    money = "treatment currency price_per_bu gain_per_ac gain_per_ac_low gain_per_ac_high gain_per_ha break_even_ac"
    more = "break_even_ac_low break_even_ac_high break_even_ha payback_years payback_years_low payback_years_high"
    assert set(f"{money} {more}".split()) <= set(result["economics"][0])
    assert set(result["delay"][0]) == {"machine", "seconds", "low", "high", "source", "reason", "day"}
    assert set(result["verdict"]) == {"word", "sentence"}
    assert result["verdict"]["word"] in ("pays", "does_not_pay", "not_settled", "refused")


def test_points_keep_every_raw_record_in_its_order(runs):
    points = pd.read_parquet(runs[0] / "points.parquet")
    raw = pd.read_csv(SAMPLE / "harvest.csv")
    assert points["record"].tolist() == list(range(len(raw)))
    assert points["moisture_pct"].tolist() == pytest.approx(raw["Moisture (%)"].tolist())


def test_a_strip_is_the_ratio_of_its_sums(runs):
    points = pd.read_parquet(runs[0] / "points.parquet")
    strips = pd.read_csv(runs[0] / "strips.csv").set_index("strip")
    used = points[points["usable"] & points["strip"].notna()].groupby("strip")[["standard_mass_kg", "area_m2"]].sum()
    rate = used["standard_mass_kg"] / used["area_m2"] * 10_000
    assert strips["yield_kg_ha"].sort_index().tolist() == pytest.approx(rate.sort_index().tolist(), rel=1e-8)


def test_run_json_names_inputs_stages_and_flags(runs):
    run = json.loads((runs[0] / "run.json").read_text(encoding="utf-8"))
    assert {entry["file"] for entry in run["inputs"]} == {"harvest.csv", "trial_map.geojson", "ground_counts.csv"}
    assert [stage["stage"] for stage in run["stages"]][:3] == ["read", "weigh", "clean"]
    assert len(run["flags"]) == 22


def test_a_run_that_fails_leaves_the_old_folder_whole(runs, tmp_path):
    old = tmp_path / "run"
    shutil.copytree(runs[0], old)
    before = {path.name: path.stat().st_size for path in old.iterdir()}
    with pytest.raises(RuntimeError), written_whole(old) as fresh:
        (fresh / "result.json").write_text("{}")
        raise RuntimeError("the power went out")
    assert {path.name: path.stat().st_size for path in old.iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_a_folder_without_a_result_says_how_to_make_one(tmp_path):
    with pytest.raises(DataError, match=r"no result\.json\. Make one with proofstrip run"):
        read_result(tmp_path)


def test_files_of_one_name_in_two_folders_are_both_among_the_inputs(tmp_path, copy_sample, monkeypatch):
    monkeypatch.setattr("proofstrip.run.write_report", lambda material, folder: None)
    trial = copy_sample(tmp_path / "field")
    raw = (trial.parent / "harvest.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    half = len(raw) // 2
    for day, part in (("monday", raw[:half]), ("tuesday", [raw[0], *raw[half:]])):
        (trial.parent / day).mkdir()
        (trial.parent / day / "harvest.csv").write_text("".join(part), encoding="utf-8")
    text = trial.read_text(encoding="utf-8").replace('files = ["harvest.csv"]', 'files = ["*day/harvest.csv"]')
    trial.write_text(text, encoding="utf-8")
    run_trial(load_settings(trial), tmp_path / "out")
    run = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    names = {"monday/harvest.csv", "tuesday/harvest.csv", "trial_map.geojson", "ground_counts.csv"}
    assert {entry["file"] for entry in run["inputs"]} == names
    assert len({entry["sha256"] for entry in run["inputs"]}) == 4
