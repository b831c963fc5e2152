"""The page of a season as its readers open it: sorted by mouse and keyboard, on a desk, a phone and paper."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from proofstrip.season.book import set_book
from proofstrip.season.outcome import Outcome

from .conftest import find_faults, overhang, paper_overhang

DESK, PHONE = 1280, 390
BAD = "<img src=x onerror=alert(1)>"


def make_trial(name: str, gain: float | None, difference: float, tier: str | None) -> Outcome:
    """Make one trial of a season."""
    ends = {"low_kg_ha": difference - 60.0, "high_kg_ha": difference + 60.0, "low_pct": difference / 40 - 1}
    row = {
        "treatment": "lifters", "control": "plain header", "pairs": 6, "difference_kg_ha": difference,
        "difference_pct": difference / 40, "high_pct": difference / 40 + 1, **ends,
    }  # fmt: skip
    money = {
        "treatment": "lifters", "currency": "USD", "net_gain_per_ac": gain, "net_gain_per_ac_low": (gain or 0) - 5,
        "net_gain_per_ac_high": (gain or 0) + 5, "investment": 9500.0, "area_ac": 900.0,
    }  # fmt: skip
    trial = {"name": name, "field": "Home", "season": 2024, "crop": "soybean", "notes": ""}
    entry = {
        "trial": trial, "verdict": {"word": "pays"}, "differences": [row], "records_read": 100,
        "economics": [] if gain is None else [money], "evidence": None if tier is None else {"tier": tier},
    }  # fmt: skip
    return Outcome(name.lower(), "ran", entry=entry)


@pytest.fixture
def season(tmp_path: Path) -> Path:
    trials = [
        make_trial("Creek", 9.0, 300.0, "scale_and_counts"),
        make_trial("Ridge", None, -20.0, "monitor"),
        make_trial("Bottom", -12.5, 100.0, None),
        make_trial(BAD, 110.0, 200.0, "monitor_and_counts"),
    ]
    trials.append(Outcome("torn", "refused", message=f"there is no such file {BAD}"))
    (tmp_path / "index.html").write_text(set_book(trials, "us"), encoding="utf-8")
    return tmp_path / "index.html"


def names(page: Any) -> list[str]:
    return [text.removesuffix(", Home") for text in page.locator(".sortable tbody th").all_inner_texts()]


def test_mouse_sorts_numbers_as_numbers_and_what_is_absent_last(season: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(season)
    head = page.get_by_role("button", name="Gain an acre")
    head.click()
    assert names(page) == ["Bottom", "Creek", BAD, "Ridge"]
    assert page.get_by_role("columnheader", name="Gain an acre").get_attribute("aria-sort") == "ascending"
    head.click()
    assert names(page) == [BAD, "Creek", "Bottom", "Ridge"]
    assert page.locator("[aria-sort]").count() == 1


def test_keyboard_sorts_from_weak_evidence_to_strong(season: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(season)
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.innerText") == "Rests on":
            break
    assert page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle") != "none"
    page.keyboard.press("Enter")
    assert names(page) == [BAD, "Ridge", "Creek", "Bottom"]
    page.keyboard.press("Space")
    assert names(page) == ["Creek", "Ridge", BAD, "Bottom"]


@pytest.mark.parametrize("width", [DESK, PHONE])
def test_page_fits_and_is_read_by_all(season: Path, open_page: Callable[..., Any], width: int) -> None:
    page = open_page(season, width)
    assert overhang(page) == 0
    assert find_faults(page) == []
    assert page.locator("main img").count() == 0
    region = page.locator(".sortable")
    assert region.evaluate("e => e.scrollWidth - e.clientWidth") == 0  # every column in sight
    assert page.get_by_role("cell", name="Scale and counts").is_visible()
    assert paper_overhang(page) == 0


def test_without_scripts_and_on_paper_it_is_a_plain_table(season: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(season, java_script_enabled=False)
    page.emulate_media(media="print")
    assert page.locator(".sortable button").count() == 0
    assert len(names(page)) == 4
    assert page.locator(".sortable td").first.evaluate("e => getComputedStyle(e).display") == "table-cell"
