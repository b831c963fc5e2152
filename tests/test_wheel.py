"""The installed package stands alone: a wheel in a fresh environment, run from another folder."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def _run(*command: str | Path, folder: Path) -> str:
    """Run a program in a folder; its output where it succeeds."""
    done = subprocess.run([str(part) for part in command], cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    # The checkout stays as it is: the build works on a copy of what it needs.
    source = folder / "source"
    for name in ("pipeline", "configs"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source / name)
    _run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, folder=source)
    (made,) = folder.glob("*.whl")
    return made


@pytest.mark.slow
def test_wheel_holds_settings_and_template(wheel: Path) -> None:
    inside = set(zipfile.ZipFile(wheel).namelist())
    assert {f"proofstrip/configs/{path.name}" for path in (ROOT / "configs").glob("*.toml")} <= inside
    assert "proofstrip/report/template.html" in inside
    assert {f"proofstrip/{p.relative_to(ROOT / 'pipeline/proofstrip')}" for p in _modules()} <= inside
    assert not [name for name in inside if name.startswith(("tests", "sample_fields", "docs"))]


def _modules() -> list[Path]:
    """List the modules of the package."""
    return sorted((ROOT / "pipeline" / "proofstrip").rglob("*.py"))


@pytest.mark.slow
def test_installed_wheel_runs_a_trial_from_another_folder(wheel: Path, tmp_path: Path) -> None:
    _run(sys.executable, "-m", "venv", tmp_path / "fresh", folder=tmp_path)
    programs = tmp_path / "fresh" / ("Scripts" if sys.platform == "win32" else "bin")
    _run(programs / "python", "-m", "pip", "install", "-q", "--disable-pip-version-check", wheel, folder=tmp_path)
    trial = tmp_path / "elsewhere" / "field"
    shutil.copytree(ROOT / "sample_fields" / "sorghum_lifters", trial, ignore=shutil.ignore_patterns("runs"))
    said = _run(programs / "proofstrip", "run", "field/trial.toml", "--out", "answer", folder=trial.parent)
    report = trial.parent / "answer" / "report.html"
    assert str(Path("answer") / "report.html") in said
    assert "Crop-lifting fingers" in report.read_text(encoding="utf-8")
    where = _run(programs / "python", "-c", "import proofstrip; print(proofstrip.__file__)", folder=tmp_path)
    assert Path(where.strip()).is_relative_to(tmp_path)
