"""Measures size and time of the report for docs/report.md: python -m tests.report.measure_page."""

import tempfile
import time
from pathlib import Path

from proofstrip.report import write_report

from .material import build_material

FIELDS = ((12, 750.0), (60, 1600.0), (110, 9000.0))  # pairs, and length of a strip [m]


def main() -> None:
    """Print a line a field."""
    print("| records | strips | report.html | time |\n|---|---|---|---|")
    for blocks, length_m in FIELDS:
        with tempfile.TemporaryDirectory() as name:
            material = build_material(Path(name), blocks=blocks, length_m=length_m)
            began = time.perf_counter()
            write_report(material, Path(name))
            seconds, size = time.perf_counter() - began, (Path(name) / "report.html").stat().st_size / 1e6
        print(f"| {len(material.points):,} | {len(material.strips)} | {size:.1f} MB | {seconds:.1f} s |")


if __name__ == "__main__":
    main()
