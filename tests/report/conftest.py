"""The material of a report, ready to be varied."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from proofstrip.report import ReportMaterial

from .material import build_material


@pytest.fixture
def make_material(tmp_path: Path) -> Callable[..., ReportMaterial]:
    """Build the material of one invented trial in this test's own folder."""
    return partial(build_material, tmp_path)
