"""Measures the report for docs/report.md: its size, the time it takes to make, and until its map can be used.

Run ``python -m tests.report.measure_page``; needs proofstrip[browser] and chromium.
"""

import shutil
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from proofstrip.report import write_report

from .material import build_material

FIELDS = ((12, 750.0), (60, 1600.0), (110, 9000.0))  # pairs, and length of a strip [m]


def seconds_to_draw(browser: Browser, path: Path) -> float:
    """Open a page from disk, give the seconds until its map is drawn and listens."""
    page = browser.new_page()
    began = time.perf_counter()
    page.goto(path.as_uri())
    page.wait_for_selector("#explore[data-drawn]")
    seconds = time.perf_counter() - began
    page.close()
    return seconds


def main() -> None:
    """Print a line a field."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        measure(browser)
        browser.close()


def measure(browser: Browser) -> None:
    """Make and open a report of each size."""
    print("| records | strips | report.html | made in | map ready in |\n|---|---|---|---|---|")
    for blocks, length_m in FIELDS:
        with tempfile.TemporaryDirectory() as name:
            material = build_material(Path(name), blocks=blocks, length_m=length_m)
            began = time.perf_counter()
            write_report(material, Path(name))
            made, size = time.perf_counter() - began, (Path(name) / "report.html").stat().st_size / 1e6
            drawn = seconds_to_draw(browser, Path(name) / "report.html")
        records, strips = len(material.points), len(material.strips)
        print(f"| {records:,} | {strips} | {size:.1f} MB | {made:.1f} s | {drawn:.1f} s |", flush=True)


if __name__ == "__main__":
    main()
