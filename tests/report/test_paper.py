"""The page on paper: its size, what is loaded for it, and what is said where WeasyPrint is not installed."""

import importlib
import os
import re
import zlib
from importlib import util
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from proofstrip.cli.main import main
from proofstrip.errors import DataError
from proofstrip.report import paper

SAMPLE = Path(__file__).resolve().parents[2] / "sample_fields" / "sorghum_lifters" / "trial.toml"
installed = pytest.mark.skipif(
    util.find_spec("weasyprint") is None and not os.environ.get("PROOFSTRIP_BROWSER"),
    reason="WeasyPrint is not installed: pip install 'proofstrip[pdf]'",
)


def read_streams(pdf: bytes) -> bytes:
    """Give what is written in the compressed parts of a PDF."""
    parts = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, flags=re.DOTALL)
    return b"\n".join(zlib.decompressobj().decompress(part) for part in parts if part[:1] == b"\x78")


@installed
# 8.5 by 11 inches, and 210 by 297 mm (ISO 216), in points of 1/72 inch
@pytest.mark.parametrize(("size", "wide", "tall"), [("letter", 612, 792), ("a4", 210 / 25.4 * 72, 297 / 25.4 * 72)])
def test_paper_has_the_size_that_is_set(tmp_path: Path, size: str, wide: float, tall: float) -> None:
    (tmp_path / "report.html").write_text("<h1>A field</h1><p>yields</p>", encoding="utf-8")
    paper.write_pdf(tmp_path, size)
    pdf = (tmp_path / "report.pdf").read_bytes()
    box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf + read_streams(pdf))
    assert box and (float(box[1]), float(box[2])) == pytest.approx((wide, tall), abs=0.1)


@installed
def test_nothing_but_the_page_is_loaded(tmp_path: Path) -> None:
    secret = tmp_path / "secret.svg"
    secret.write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9"/></svg>')
    sizes = []
    for place in (secret.as_uri(), "data:image/gif;base64,R0lGODdhAQABAAAAACwAAAAAAQABAAACAkQBADs=", ""):
        (tmp_path / "report.html").write_text(f'<h1>A</h1><img src="{place}">', encoding="utf-8")
        paper.write_pdf(tmp_path, "a4")
        sizes.append(len((tmp_path / "report.pdf").read_bytes()))
    assert sizes[0] == sizes[2] < sizes[1]


@pytest.mark.parametrize(
    ("fault", "advice"),
    [(ModuleNotFoundError("No module named 'weasyprint'"), "pip install"), (OSError("no libpango"), "apt-get install")],
)
def test_without_weasyprint_the_run_does_not_begin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception, advice: str
) -> None:
    load = importlib.import_module

    def refuse(name: str, package: str | None = None) -> Any:
        if name == "weasyprint":
            raise fault
        return load(name, package)

    monkeypatch.setattr(importlib, "import_module", refuse)
    with pytest.raises(DataError, match=advice):
        paper.find_weasyprint()
    done = CliRunner().invoke(main, ["run", str(SAMPLE), "--pdf", "--out", str(tmp_path / "run")])
    assert done.exit_code == 1 and advice in done.output and "Traceback" not in done.output
    assert not (tmp_path / "run").exists()
