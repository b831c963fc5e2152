"""The main job on a real field: passes of one treatment get drawn labels, so the true difference is zero.

Data: gartner.corn, University of Minnesota Precision Agriculture Center, through the R package agridat, CC BY-SA 3.0.
"""

import itertools
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from tests.accuracy.measure_uniformity import finish_strips, start_trial
from tests.real.uniformity import follow_corn, lay_strips, real_data, write_trial

from proofstrip.clean import clean_points, estimate_delays, follow_machines
from proofstrip.cli.main import main
from proofstrip.config import load_defaults, load_settings
from proofstrip.run import STAGES
from proofstrip.stats import compare_treatments
from proofstrip.work import Work

PLANTED = 1.05


@pytest.fixture(scope="module")
def corn() -> tuple[Path, object, object]:
    csv = real_data() / "corn_field" / "points.csv"
    return csv, *follow_corn(csv)


def difference(trial: Path) -> dict[str, float]:
    """Walk a trial through every stage but the report."""
    work = Work(load_settings(trial))
    for stage in STAGES:
        work = stage(work)
    (row,) = work.compared.differences
    return {"pct": row.difference_pct, "low": row.low_pct, "high": row.high_pct, "p": row.p_value}


def test_the_delay_of_the_corn_field_is_negative_because_its_display_had_shifted_the_records(corn):
    _, points, track = corn
    (delay,) = estimate_delays(points, track, load_defaults().clean, None)
    assert delay.source == "estimated"
    assert -6.5 < delay.seconds < -2.5


def test_cleaning_drops_no_record_of_a_real_field(corn):
    _, points, track = corn
    settings = load_defaults().clean
    cleaned = clean_points(points, track, estimate_delays(points, track, settings, None), settings)
    assert len(cleaned) == 4949
    assert 0.75 < cleaned["usable"].mean() < 0.97
    # Grain and ground stay what the log says: width is 30 ft nearly everywhere, area sums to the log's 67.6 acres.
    assert cleaned["area_m2"].sum() / 4046.8564224 == pytest.approx(67.63677, rel=0.03)


def test_drawn_labels_on_a_uniform_field_make_no_difference_and_a_report(corn, tmp_path):
    csv, points, track = corn
    trial = write_trial(tmp_path / "null", pd.read_csv(csv), lay_strips(track, points.crs, seed=1))
    outcome = CliRunner().invoke(main, ["run", str(trial), "--out", str(tmp_path / "run")])
    assert outcome.exit_code == 0, outcome.output
    assert (tmp_path / "run" / "report.html").stat().st_size > 50_000
    result = json.loads((tmp_path / "run" / "result.json").read_text(encoding="utf-8"))
    (row,) = result["differences"]
    assert row["pairs"] >= 18
    assert abs(row["difference_pct"]) < 2.0
    assert result["verdict"]["word"] == "not_settled"


def test_a_planted_effect_comes_back_within_its_interval(corn, tmp_path):
    csv, points, track = corn
    raw, gains, held = pd.read_csv(csv), [], []
    for seed in range(6):
        strips = lay_strips(track, points.crs, seed)
        null = difference(write_trial(tmp_path / f"null{seed}", raw, strips))
        treated = strips.loc[strips["treatment"] == "label B", "strip"].str.removeprefix("P").astype(int)
        grain = raw.copy()
        # The display had shifted the records already: each row's grain stands at its own place, give or take 4 s.
        grain.loc[track.row[np.isin(track.pass_id, treated)], "mass"] *= PLANTED
        found = difference(write_trial(tmp_path / f"planted{seed}", grain, strips))
        gains.append(found["pct"] - null["pct"])
        held.append(found["low"] < 5.0 < found["high"])
    # What planting adds is the planted effect itself, whatever the ground under the labels.
    assert np.mean(gains) == pytest.approx(5.0, abs=0.25)
    assert sum(held) >= 4


def test_exact_p_is_exact_on_real_ground(corn):
    # Fisher (1935), The Design of Experiments, section 21: of all labellings, a share p has an exact p of p or less.
    csv, points, track = corn
    work = start_trial(csv, lay_strips(track, points.crs, 0))
    # With their places known, two of the 64 labellings are taken for a fixed order, which has no exact p.
    six = finish_strips(work).iloc[:12].drop(columns="order")
    p = []
    for swapped in itertools.product((False, True), repeat=6):
        labels = [("label B", "label A") if swap else ("label A", "label B") for swap in swapped]
        table = six.assign(treatment=np.ravel(labels))
        (row,) = compare_treatments(table, "label A", work.settings.stats).differences
        p.append(row.p_exact)
    assert min(p) == row.p_exact_floor == 2 / 64
    assert [np.mean(np.array(p) <= each) for each in p] == pytest.approx(p)


def test_soybean_contour_passes_are_followed_round_their_bends():
    from proofstrip.config import HarvestPart, config_folder
    from proofstrip.crops import find_crop
    from proofstrip.read import read_harvest

    folder = real_data() / "soybean_contour"
    columns = {
        "mass_flow": {"column": "FLOW", "unit": "lb/s"},
        "swath": {"column": "SWATH", "unit": "inch"},
        "duration": {"column": "CYCLES", "unit": "s"},
    }
    part = HarvestPart(files=("points.shp",), columns=columns)
    points = read_harvest(part, folder, find_crop("soybean", config_folder())).points
    settings = load_defaults().clean
    track = follow_machines(points, settings)
    (delay,) = estimate_delays(points, track, settings, None)
    cleaned = clean_points(points, track, (delay,), settings)
    assert len(cleaned) == 4091
    # Flow stands at half its level within 2 s of entry: this display, too, had shifted its records.
    assert delay.seconds == 0.0 or delay.source == "estimated"
    assert (track.turn.mean()) < 0.05
