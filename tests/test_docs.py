"""The pages say what the code does: tables are current, links lead somewhere, the README's examples work."""

import re
import runpy
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from proofstrip.cli.main import main
from proofstrip.config import load_settings

ROOT = Path(__file__).resolve().parents[1]
PAGES = runpy.run_path(str(ROOT / "docs" / "make_tables.py"))["PAGES"]
TEXTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
README = (ROOT / "README.md").read_text(encoding="utf-8")
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
CODE = re.compile(r"^```.*?^```|`[^`\n]*`", flags=re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("name", PAGES)
def test_generated_page_is_current(name: str) -> None:
    made = PAGES[name]()
    kept = (ROOT / "docs" / name).read_text(encoding="utf-8")
    assert kept == made, f"docs/{name} is not current: run python docs/make_tables.py"


@pytest.mark.parametrize("command", main.commands.values(), ids=str)
def test_every_command_and_option_has_help(command) -> None:
    assert command.help
    assert all(param.help for param in command.params if param.param_type_name == "option")
    shown = CliRunner().invoke(main, [command.name, "--help"])
    assert shown.exit_code == 0
    assert f"## proofstrip {command.name}\n" in (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("page", TEXTS, ids=lambda page: str(page.relative_to(ROOT)))
def test_relative_links_lead_somewhere(page: Path) -> None:
    text = CODE.sub("", page.read_text(encoding="utf-8"))
    broken = [link for link in LINK.findall(text) if "://" not in link and not _leads_somewhere(page, link)]
    assert not broken


def _leads_somewhere(page: Path, link: str) -> bool:
    """Look for the file of a link, and for the heading where it names one."""
    name, _, heading = link.partition("#")
    target = page.parent / name if name else page
    if not target.exists() or not heading:
        return target.exists()
    headings = re.findall(r"^#+ (.*)$", target.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return heading in [re.sub(r"[^\w -]", "", text.lower()).replace(" ", "-") for text in headings]


def test_every_page_is_reached_from_the_index() -> None:
    index = ROOT / "docs" / "index.md"
    linked = {(index.parent / link.partition("#")[0]).resolve() for link in LINK.findall(index.read_text("utf-8"))}
    assert {page for page in TEXTS if page.is_relative_to(ROOT / "docs")} - {index} <= linked


def _blocks(language: str) -> list[str]:
    """Give the fenced examples of the README in one language."""
    return re.findall(rf"^```{language}\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)


def test_readme_trial_file_validates_and_runs(tmp_path: Path) -> None:
    (example,) = _blocks("toml")
    sample = ROOT / "sample_fields" / "sorghum_lifters"
    for name in ("harvest.csv", "trial_map.geojson"):
        shutil.copy(sample / name, tmp_path / name)
    (tmp_path / "trial.toml").write_text(example, encoding="utf-8")
    settings = load_settings(tmp_path / "trial.toml")
    assert settings.economics is not None
    done = CliRunner().invoke(main, ["run", str(tmp_path / "trial.toml"), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "out" / "report.html").is_file()


def test_readme_names_only_commands_that_exist_and_all_of_them() -> None:
    named = set(re.findall(r"^\| `proofstrip ([\w-]+)", README, flags=re.MULTILINE))
    assert named == set(main.commands)


def test_ci_calls_the_test_command_of_the_readme() -> None:
    run_sample, run_tests = [line for block in _blocks("sh")[:1] for line in block.splitlines() if line.strip()]
    assert "proofstrip run sample_fields/sorghum_lifters/trial.toml" in run_sample
    assert run_tests in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_readme_is_short() -> None:
    assert len(README.splitlines()) < 120
