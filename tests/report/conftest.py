"""The material of a report, ready to be varied."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from proofstrip.report import ReportMaterial, page, pictures

from .material import build_material


@pytest.fixture
def make_material(tmp_path: Path) -> Callable[..., ReportMaterial]:
    """Build the material of one invented trial in this test's own folder."""
    return partial(build_material, tmp_path)


@pytest.fixture
def words_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make the pictures but do not paint them: most of a page's time, and nothing to a test of its words."""
    monkeypatch.setattr(pictures, "svg_uri", lambda figure: "data:image/svg+xml;base64,PHN2Zy8+")
    monkeypatch.setattr(page, "save_png", lambda figure, path: path.write_bytes(b""))
