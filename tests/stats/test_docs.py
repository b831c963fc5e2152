"""docs/stats.md and docs/economics.md show what the code prints."""

import re
from pathlib import Path

from click.testing import CliRunner

from proofstrip.cli.main import main
from proofstrip.stats.contrasts import FITS

DOCS = Path(__file__).resolve().parents[2] / "docs"


def blocks(page: str, language: str) -> list[str]:
    """Give the fenced blocks of one language."""
    text = (DOCS / page).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def test_worked_example_of_statistics(tmp_path: Path) -> None:
    (table,), (shown,) = blocks("stats.md", "csv"), blocks("stats.md", "text")
    (tmp_path / "strips.csv").write_text(table, encoding="utf-8")
    result = CliRunner().invoke(main, ["stats", str(tmp_path / "strips.csv"), "--control", "old"])
    assert result.stdout == shown


def test_worked_example_of_economics(tmp_path: Path) -> None:
    (*_, settings), (shown,) = blocks("economics.md", "toml"), blocks("economics.md", "text")
    (tmp_path / "payback.toml").write_text(settings, encoding="utf-8")
    assert CliRunner().invoke(main, ["payback", str(tmp_path / "payback.toml")]).stdout == shown


def test_every_design_is_explained() -> None:
    text = (DOCS / "stats.md").read_text(encoding="utf-8")
    for design in (*FITS, "unreplicated"):
        assert f"| {design} |" in text
