"""The report as its readers open it: from disk, without a network, on a desk, on a phone, without a script."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.report.material import build_material

from proofstrip.config import load_settings
from proofstrip.report import write_report
from proofstrip.run import run_trial

from .conftest import find_faults, overhang, paper_overhang

SAMPLES = sorted((Path(__file__).resolve().parents[2] / "sample_fields").glob("*/trial.toml"))
DESK, PHONE = 1280, 390
BAD = "<script>alert(1)</script>"


@pytest.mark.slow
@pytest.mark.parametrize("trial", SAMPLES, ids=lambda trial: trial.parent.name)
def test_report_of_a_sample_field(trial: Path, tmp_path: Path, open_page: Callable[..., Any]) -> None:
    run_trial(load_settings(trial), tmp_path / "run", pdf=True)
    assert (tmp_path / "run" / "report.pdf").read_bytes().startswith(b"%PDF-")
    for width in (DESK, PHONE):
        page = open_page(tmp_path / "run" / "report.html", width)
        page.wait_for_selector("#explore[data-drawn]")
        assert overhang(page) == 0
        assert find_faults(page) == []
        assert paper_overhang(page) == 0


def test_names_that_are_markup_are_shown_as_text(tmp_path: Path, open_page: Callable[..., Any]) -> None:
    material = build_material(tmp_path, treatments=("Control", BAD), blocks=2, notes=BAD.replace("<", "</"))
    names = [f"</script><img src=x onerror=alert({row})>" for row in range(len(material.trial_map))]
    for frame in (material.trial_map, material.strips):
        frame["strip"] = names
    material.points["strip"] = material.points["strip"].map(
        dict(zip([f"S{k + 1}" for k in range(4)], names, strict=True))
    )
    write_report(material, tmp_path)
    page = open_page(tmp_path / "report.html")
    page.wait_for_selector("#explore[data-drawn]")
    assert page.locator("script").count() == 2  # the data and the map's own
    assert page.locator("main img[src=x]").count() == 0
    assert BAD in page.locator("main").inner_text()
    page.locator("#explore-strip").select_option(index=2)
    assert page.locator("#explore-told").inner_text().startswith(f"Strip {names[1]}, {BAD}")


def test_without_scripts_the_printed_map_is_there(tmp_path: Path, open_page: Callable[..., Any]) -> None:
    write_report(build_material(tmp_path, blocks=2), tmp_path)
    page = open_page(tmp_path / "report.html", java_script_enabled=False)
    assert page.locator("#map figure img").is_visible()
    assert page.locator("#explore").is_hidden()


def test_paper_has_the_printed_map_and_every_table(tmp_path: Path, open_page: Callable[..., Any]) -> None:
    write_report(build_material(tmp_path, blocks=2), tmp_path)
    page = open_page(tmp_path / "report.html")
    page.wait_for_selector("#explore[data-drawn]")
    page.emulate_media(media="print")
    assert page.locator("#map figure img").is_visible()
    assert page.locator("#explore").is_hidden()
    assert all(table.is_visible() for table in page.locator("table").all())


def test_every_control_is_reached_by_the_keyboard_and_shows_it(tmp_path: Path, open_page: Callable[..., Any]) -> None:
    write_report(build_material(tmp_path, blocks=2), tmp_path)
    page = open_page(tmp_path / "report.html")
    page.wait_for_selector("#explore[data-drawn]")
    reached, bare = set(), []
    for _ in range(60):
        page.keyboard.press("Tab")
        name, outline = page.evaluate(
            "() => { const e = document.activeElement, s = getComputedStyle(e);"
            " return [e.id || e.value || e.dataset.zoom || e.tagName, s.outlineStyle] }"
        )
        reached.add(name)
        bare += [name] if outline == "none" and name != "BODY" else []
    # at the whole field there is nothing to zoom out of, and one radio button stands for its group
    assert {"after", "explore-strips", "explore-strip", "in", "explore-map"} <= reached
    assert bare == []


@pytest.mark.long
@pytest.mark.parametrize(("pairs", "length_m", "most_bytes"), [(12, 750.0, 6e6), (110, 9000.0, 15e6)])
def test_size_of_the_page(
    tmp_path: Path, open_page: Callable[..., Any], pairs: int, length_m: float, most_bytes: float
) -> None:
    material = build_material(tmp_path, blocks=pairs, length_m=length_m)
    write_report(material, tmp_path)
    assert (tmp_path / "report.html").stat().st_size < most_bytes
    page = open_page(tmp_path / "report.html")
    page.wait_for_selector("#explore[data-drawn]")
    marks = page.evaluate(
        "() => { const d = JSON.parse(document.getElementById('explore-data').textContent).marks;"
        " return d.records ? Array.from(new Uint16Array(Uint8Array.from(atob(d.records), c => c.charCodeAt(0)).buffer))"
        ".reduce((a, b) => a + b) : atob(d.kind).length / 2 }"
    )
    assert marks == len(material.points)  # every record is in some mark
