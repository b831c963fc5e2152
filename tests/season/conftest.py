"""A season of small invented trials, and one that cannot be run."""

from dataclasses import replace
from pathlib import Path

import pytest

from proofstrip.simulate import SCENARIOS, render_folder, simulate_harvest

SMALL = replace(SCENARIOS["short_strips"], blocks=3, strip_length_m=120.0)


def write_trial(folder: Path, seed: int) -> None:
    """Write one invented trial."""
    folder.mkdir(parents=True)
    for name, text in render_folder(simulate_harvest(SMALL, seed)).items():
        (folder / name).write_text(text, encoding="utf-8")


@pytest.fixture(scope="session")
def trials(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write three trials, one of them two folders down with a blank in its name, and one without its trial map."""
    root = tmp_path_factory.mktemp("season")
    for seed, name in enumerate(("creek", "north/old forty", "ridge"), start=1):
        write_trial(root / name, seed)
    write_trial(root / "torn", 4)
    (root / "torn" / "trial_map.geojson").unlink()
    return root
