"""The sample fields: what their READMEs plant is in their files, and the script makes them again."""

import importlib.util
import io
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from proofstrip.config import load_settings

FOLDER = Path(__file__).resolve().parents[2] / "sample_fields"
NAMES = ["sorghum_lifters", "corn_rates"]


def load_script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_samples", FOLDER / "make_samples.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", NAMES)
def test_the_script_makes_the_committed_files(name):
    made = load_script().render_sample(name)
    assert sorted(made) == sorted(path.name for path in (FOLDER / name).iterdir() if path.is_file())
    for file, text in made.items():
        committed = (FOLDER / name / file).read_text(encoding="utf-8")
        if file.endswith(".csv"):
            # Another numpy may round a last digit the other way.
            pd.testing.assert_frame_equal(
                pd.read_csv(io.StringIO(text)), pd.read_csv(io.StringIO(committed)), rtol=1e-4, atol=0.02
            )
        else:
            assert text.splitlines()[:3] == committed.splitlines()[:3]
            assert len(text.splitlines()) == len(committed.splitlines())


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_is_small_and_says_that_it_is_invented(name):
    assert sum(path.stat().st_size for path in (FOLDER / name).iterdir() if path.is_file()) < 1_000_000
    assert "**Everything here is invented.**" in (FOLDER / name / "README.md").read_text(encoding="utf-8")
    settings = load_settings(FOLDER / name / "trial.toml")
    assert "invented" in settings.trial.name
    assert settings.economics is not None


def read_truth(name: str) -> pd.DataFrame:
    return pd.read_csv(FOLDER / name / "truth_strips.csv")


def test_lifters_plant_4_per_cent_in_six_pairs():
    truth = read_truth("sorghum_lifters")
    assert truth.groupby("block")["treatment"].apply(set).map(len).tolist() == [2] * 6
    yields = truth.groupby("treatment")["true_yield_kg_ha"].mean()
    assert np.isclose(yields["lifting fingers"] / yields["plain header"], 1.04, atol=0.004)
    log = pd.read_csv(FOLDER / "sorghum_lifters" / "harvest.csv")
    assert set(log["Machine"]) == {"combine 1"}


def test_rates_plant_their_losses_in_five_blocks_with_a_second_combine_that_reads_high():
    truth = read_truth("corn_rates")
    assert truth.groupby("block")["treatment"].apply(set).map(len).tolist() == [3] * 5
    yields = truth.groupby("treatment")["true_yield_kg_ha"].mean()
    assert np.isclose(yields["26,000 seeds/ac"] / yields["32,000 seeds/ac"], 0.955, atol=0.005)
    assert np.isclose(yields["38,000 seeds/ac"] / yields["32,000 seeds/ac"], 1.01, atol=0.005)
    gain = truth["sensed_yield_kg_ha"] / truth["true_yield_kg_ha"]
    south = truth["block"].isin(["B2", "B4"])
    assert np.isclose(gain[south].mean() / gain[~south].mean(), 1.05, atol=0.015)


def test_rates_tickets_weigh_the_strips_truth():
    truth = read_truth("corn_rates").set_index("strip")
    tickets = pd.read_csv(FOLDER / "corn_rates" / "tickets.csv").set_index("Strip")
    dry_kg = tickets["Wet weight (lb)"] * 0.45359237 * (100 - tickets["Moisture (%)"]) / (100 - 15.5)
    assert np.allclose(dry_kg / (truth["true_yield_kg_ha"] * truth["area_m2"] / 10_000), 1, atol=0.012)


def test_lifters_save_on_the_ground_what_they_add_to_the_tank():
    truth = read_truth("sorghum_lifters").set_index("strip")
    saved = 0.075 * truth["untreated_yield_kg_ha"] - truth["lost_header_kg_ha"]
    assert np.allclose(saved, truth["true_yield_kg_ha"] - truth["untreated_yield_kg_ha"], atol=0.05)
    counts = pd.read_csv(FOLDER / "sorghum_lifters" / "ground_counts.csv")
    assert len(counts) == 12 * 3 * 6
    mean = counts.pivot_table(index="Strip", columns="Zone", values="Seeds")
    # A kernel of 28 mg on a square foot of 0.0929 m2 is 3.014 kg/ha.
    header = (mean["header"] - mean["preharvest"]) * 28 / 100 / 0.09290304
    apart = (header - truth["lost_header_kg_ha"]).groupby(truth["treatment"]).mean()
    assert apart.abs().max() < 45
