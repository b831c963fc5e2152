"""A small invented trial with every kind of raw file around it, run once, and archived once."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from proofstrip.archive import archive_run, open_store
from proofstrip.config import load_settings
from proofstrip.run import run_trial
from proofstrip.simulate import SCENARIOS, render_folder, simulate_harvest

SMALL = replace(SCENARIOS["short_strips"], blocks=3, strip_length_m=120.0)
TERMS = '\n[archive]\nlicence = "CC-BY-4.0"\ncontact = "nobody: an invented trial"\n'
EXCLUSIONS = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "geometry": None,
            "properties": {"records": [[40, 49]], "reason": "a deer", "author": "A. Nobody", "date": "2024-10-08"},
        }
    ],
}


def write_trial(folder: Path, seed: int = 1) -> Path:
    """Write an invented trial whose raw file lies in another folder; gives its trial file."""
    here = folder / "trials" / "east"
    here.mkdir(parents=True)
    for name, text in render_folder(simulate_harvest(SMALL, seed)).items():
        (here / name).write_text(text, encoding="utf-8")
    (folder / "raw logs").mkdir()
    (here / "harvest.csv").rename(folder / "raw logs" / "log 1.csv")
    shutil.copy(folder / "raw logs" / "log 1.csv", folder / "raw logs" / "log 2.csv")
    (here / "exclusions.geojson").write_text(json.dumps(EXCLUSIONS), encoding="utf-8")
    trial = here / "trial.toml"
    text = trial.read_text(encoding="utf-8").replace('files = ["harvest.csv"]', 'files = ["../../raw logs/*.csv"]')
    assert "raw logs" in text
    trial.write_text(text + TERMS, encoding="utf-8")
    return trial


@pytest.fixture(scope="session")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run the trial; gives the folder that holds trial, raw files and run, to be read only."""
    root = tmp_path_factory.mktemp("archive") / "farm"
    trial = write_trial(root)
    run_trial(load_settings(trial), root / "run")
    return root


@pytest.fixture
def farm(original: Path, tmp_path: Path) -> Path:
    """Give a copy of trial, raw files and run that a test may spoil."""
    return Path(shutil.copytree(original, tmp_path / "farm"))


@pytest.fixture(scope="session")
def kept(original: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Archive the run; gives the archive, to be read only."""
    root = tmp_path_factory.mktemp("kept") / "archive"
    archive_run(original / "run", open_store(str(root)))
    return root


@pytest.fixture
def archive(kept: Path, tmp_path: Path) -> Path:
    """Give a copy of the archive that a test may spoil."""
    return Path(shutil.copytree(kept, tmp_path / "archive"))


@pytest.fixture(scope="session")
def item(kept: Path) -> Path:
    """Give the folder of the one item."""
    (found,) = kept.glob("trials/*/*")
    return found
