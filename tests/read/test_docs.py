"""docs/read.md says what the code does."""

import re
from pathlib import Path

from click.testing import CliRunner

from proofstrip.cli.main import main
from proofstrip.read.choose import OVERRIDES

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/read.md").read_text(encoding="utf-8")


def test_page_lists_every_key_of_harvest_columns() -> None:
    (listed,) = re.findall(r"Keys: (.*?)\.", PAGE, flags=re.DOTALL)
    assert re.split(r",\s+", listed) == list(OVERRIDES)


def test_worked_example_asks_what_the_page_says(tmp_path: Path) -> None:
    head, _, rows = (ROOT / "sample_fields/sorghum_lifters/harvest.csv").read_text().partition("\n")
    (tmp_path / "log.csv").write_text(re.sub(r" \([^)]*\)", "", head) + "\n" + rows)
    output = CliRunner().invoke(main, ["inspect", str(tmp_path / "log.csv"), "--crop", "sorghum"]).output
    shown = re.findall(r"^ {4}    ((?:swath|mass_flow) = .*)$", PAGE, flags=re.MULTILINE)
    assert len(shown) == 4
    assert shown == re.findall(r"^    ((?:swath|mass_flow) = .*)$", output, flags=re.MULTILINE)
