"""The map to move about in: it moves, zooms, changes its layers, and tells what the records hold."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.report.material import build_material

from proofstrip.flags import FLAGS
from proofstrip.report import ReportMaterial, write_report

KG_HA_PER_BU_AC = 67.2511  # soybean, 60 lb a bushel (University of Nebraska-Lincoln CropWatch, Dorn 2009)


@pytest.fixture(scope="module")
def material(tmp_path_factory: pytest.TempPathFactory) -> tuple[ReportMaterial, Path]:
    folder = tmp_path_factory.mktemp("map")
    made = build_material(folder, blocks=3, length_m=150.0)
    write_report(made, folder)
    return made, folder / "report.html"


@pytest.fixture
def page(material: tuple[ReportMaterial, Path], open_page: Callable[..., Any]) -> Any:
    return shown(open_page(material[1]))


def shown(page: Any) -> Any:
    page.wait_for_selector("#explore[data-drawn]")
    page.locator("#explore-map").scroll_into_view_if_needed()
    return page


def picture(page: Any) -> str:
    """What the canvas shows, once drawn."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return str(page.evaluate("() => document.getElementById('explore-map').toDataURL()"))


def middle(page: Any) -> tuple[float, float]:
    box = page.locator("#explore-map").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def told(page: Any) -> str:
    return re.sub(r"\s+", " ", page.locator("#explore-told").inner_text())


def record(page: Any) -> int:
    found = re.match(r"Record ([\d,]+)", told(page))
    assert found, told(page)
    return int(found[1].replace(",", ""))


def test_layers_change_the_picture(page: Any) -> None:
    seen = [picture(page)]
    for value in ("before", "reasons", "after"):
        page.locator(f"[name=explore-layer][value={value}]").check()
        seen.append(picture(page))
    assert len(set(seen)) == 3 and seen[0] == seen[-1]
    page.locator("#explore-strips").uncheck()
    assert picture(page) != seen[0]


def test_legend_goes_with_the_layer(page: Any) -> None:
    assert page.locator("#explore-yield .band").is_visible() and page.locator("#explore-reasons").is_hidden()
    assert "bu/ac" in page.locator("#explore-yield").inner_text()
    page.locator("[value=reasons]").check()
    assert page.locator("#explore-yield").is_hidden()
    phrase = next(meaning.phrase for meaning in FLAGS if meaning.name == "entry_ramp")
    assert phrase in page.locator("#explore-reasons").inner_text()


def test_one_reason_alone(page: Any) -> None:
    page.locator("[value=reasons]").check()
    every = picture(page)
    page.locator("#explore-reason").select_option(index=1)
    assert picture(page) != every


def test_buttons_zoom_and_give_the_whole_field_back(page: Any) -> None:
    whole = picture(page)
    page.locator("[data-zoom=in]").click()
    page.locator("[data-zoom=in]").click()
    near = picture(page)
    page.locator("[data-zoom=out]").click()
    assert len({whole, near, picture(page)}) == 3
    page.locator("[data-zoom=all]").click()
    assert picture(page) == whole


def test_wheel_zooms_only_a_map_that_was_clicked(page: Any) -> None:
    whole = picture(page)
    page.mouse.move(*middle(page))
    place = page.evaluate("() => scrollY")
    page.mouse.wheel(0, 40)
    page.wait_for_function("place => scrollY > place", arg=place)  # the page scrolled instead
    page.locator("#explore-map").click()
    page.mouse.move(0, 0)
    assert page.evaluate("() => document.activeElement.id") == "explore-map"
    page.mouse.move(*middle(page))
    page.mouse.wheel(0, -400)
    page.wait_for_function("() => !document.querySelector('[data-zoom=all]').disabled")
    assert picture(page) != whole


def test_dragging_moves_the_ground_with_the_pointer(page: Any) -> None:
    for _ in range(3):
        page.locator("[data-zoom=in]").click()
    x, y = middle(page)
    page.mouse.move(x + 2, y)
    under = record(page)
    page.mouse.down()
    page.mouse.move(x + 40, y + 20, steps=4)
    page.mouse.move(x + 82, y + 60, steps=4)
    page.mouse.up()
    page.mouse.move(x + 83, y + 60)
    page.mouse.move(x + 82, y + 60)
    assert record(page) == under


def test_what_is_told_is_what_the_record_holds(page: Any, material: tuple[ReportMaterial, Path]) -> None:
    points = material[0].points
    page.locator("[value=reasons]").check()
    x, y = middle(page)
    tall = page.locator("#explore-map").bounding_box()["height"]
    seen = {}
    for share in (-0.46, -0.43, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3, 0.43, 0.46):
        page.mouse.move(x - 3, y + share * tall)
        if told(page).startswith("Record"):
            seen[record(page)] = told(page)
    assert len(seen) >= 5
    for number, text in seen.items():
        row = points.loc[number]
        assert (f"strip {row['strip']}, {row['treatment']}" in text) == isinstance(row["strip"], str)
        grain = f"{row['yield_kg_ha'] / KG_HA_PER_BU_AC:.1f} bu/ac"
        assert (f"{grain} after cleaning" if row["usable"] else "not counted") in text
        for meaning in FLAGS:
            assert (meaning.phrase in text) == bool(row["flags"] & meaning.flag)
    north = [points.loc[number, "cut_northing_m"] for number in seen]
    assert north == sorted(north, reverse=True)  # from the top of the map downward


def test_keyboard_moves_zooms_and_tells(page: Any, material: tuple[ReportMaterial, Path]) -> None:
    points = material[0].points
    page.locator("#explore-map").focus()
    for key in ("+", "+", "+"):
        page.keyboard.press(key)
    start = record(page)
    assert page.locator("#explore-told").get_attribute("aria-live") == "polite"
    page.keyboard.press("ArrowUp")
    assert points.loc[record(page), "cut_northing_m"] > points.loc[start, "cut_northing_m"]
    page.keyboard.press("ArrowDown")
    assert record(page) == start
    page.keyboard.press("ArrowRight")
    assert points.loc[record(page), "cut_easting_m"] > points.loc[start, "cut_easting_m"]
    page.keyboard.press("0")
    assert page.locator("[data-zoom=all]").is_disabled()


def test_strip_is_found_by_name(page: Any, material: tuple[ReportMaterial, Path]) -> None:
    row = material[0].strips.iloc[2]
    whole = picture(page)
    page.locator("#explore-strip").select_option(label=f"strip {row['strip']}, {row['treatment']}")
    assert told(page).startswith(
        f"Strip {row['strip']}, {row['treatment']} {row['yield_bu_ac']:.1f}\N{NO-BREAK SPACE}bu/ac".replace(
            "\N{NO-BREAK SPACE}", " "
        )
    )
    assert picture(page) != whole


def test_finger_taps_scrolls_past_and_moves(
    material: tuple[ReportMaterial, Path], open_page: Callable[..., Any]
) -> None:
    page = shown(open_page(material[1], 390, 844, has_touch=True, is_mobile=True))
    canvas = page.locator("#explore-map")
    assert canvas.evaluate("e => e.style.touchAction") == "pan-y"  # the page scrolls past a map of the whole field
    page.touchscreen.tap(*middle(page))
    assert told(page).startswith("Record")
    page.locator("[data-zoom=in]").tap()
    page.locator("[data-zoom=in]").tap()
    assert canvas.evaluate("e => e.style.touchAction") == "none"
    before, (x, y) = picture(page), middle(page)
    finger = page.context.new_cdp_session(page)
    for kind, places in (
        ("touchStart", [(0, 0)]),
        ("touchMove", [(30, 10)]),
        ("touchMove", [(60, 30)]),
        ("touchEnd", []),
    ):
        touches = [{"x": x + dx, "y": y + dy} for dx, dy in places]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})
    assert picture(page) != before
