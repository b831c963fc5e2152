"""The page as its readers get it: complete, self-contained, in one system of units, whatever the trial lacks."""

import base64
import itertools
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest

from proofstrip.report import ReportMaterial, write_report
from proofstrip.report.html import script_policy
from proofstrip.units import HA_PER_ACRE

VOID = {"meta", "img", "source", "br", "link", "hr", "input"}
US_UNITS = r"\b(bu/ac|lb/ac|acres?|ac|lb|ft|mph|bushels?)\b"
METRIC_UNITS = r"\b(kg/ha|t/ha|ha|kg|km/h|hectares?|tonnes?)\b|\d\s?m\b"


class Page(HTMLParser):
    """Reads a page: open tags must close in order; collects text, images, headings, tables."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.words: list[str] = []
        self.attributes: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, (tag, self.open[-3:])
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if not {"style", "pre", "script"} & set(self.open):
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words).replace("\N{NO-BREAK SPACE}", " "))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.attributes if name == tag]


def write(material: ReportMaterial, folder: Path) -> tuple[str, Page]:
    write_report(material, folder)
    html = (folder / "report.html").read_text(encoding="utf-8")
    return html, Page(html)


def scripts_of(html: str) -> list[str]:
    """The programs on a page; data in a script element are none."""
    return re.findall(r"<script>(.*?)</script>", html, flags=re.DOTALL)


def check_sound(html: str, page: Page) -> None:
    """What holds for every page."""
    said = page.text + " ".join(str(image.get("alt")) for image in page.all("img"))
    assert not re.search(r"(?<![\w-])(nan|NaN|None|inf|NaT)(?![\w-])", said)
    assert "{{" not in said and "<NA>" not in said
    assert not re.search(r"""(src|href|srcset|url)\s*[=(]\s*["']?(https?:)?//""", html)
    assert all(
        (image["src"] or "").startswith("data:image/") and len(image["alt"] or "") > 20 for image in page.all("img")
    )
    assert all((source["srcset"] or "").startswith("data:image/") for source in page.all("source"))
    assert len(page.all("script")) - len(scripts_of(html)) in (0, 1)  # the map's data
    policy = next(meta for meta in page.all("meta") if meta.get("http-equiv") == "Content-Security-Policy")
    assert policy["content"] == script_policy(scripts_of(html))
    assert [attributes["lang"] for attributes in page.all("html")] == ["en"]
    ids = {attributes["id"] for _, attributes in page.attributes if "id" in attributes}
    assert {link["href"] for link in page.all("a")} <= {f"#{name}" for name in ids}
    levels = [int(tag[1]) for tag, _ in page.attributes if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert len(page.all("caption")) == len(page.all("table"))
    assert all(cell.get("scope") in ("col", "row") for cell in page.all("th"))


def result_with(material: ReportMaterial, **parts: Any) -> ReportMaterial:
    return replace(material, result={**material.result, **parts})


@pytest.mark.usefixtures("words_only")
def test_full_page_holds_every_number_rounded(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material()
    html, page = write(material, tmp_path)
    check_sound(html, page)
    entry, worth = material.result["differences"][0], material.result["economics"][0]
    # 60 lb a bushel of soybean: 67.2511 kg/ha is 1 bu/ac (University of Nebraska-Lincoln CropWatch, Dorn 2009)
    for key in ("difference_kg_ha", "low_kg_ha", "high_kg_ha"):
        assert f"{entry[key] / 67.2511:+.1f}" in page.text
    for row in material.result["treatments"]:
        assert f"{row['mean_kg_ha'] / 67.2511:.1f}" in page.text
    for strip in material.strips["yield_kg_ha"]:
        assert f"{strip / 67.2511:.1f}" in page.text
    assert f"Gain per acre {worth['gain_per_ac']:.2f} USD" in page.text
    assert f"Earns {worth['net_gain_per_ac']:.2f} USD an acre After the outlay." in page.text
    assert f"{worth['gain_per_ac_low']:.2f} to {worth['gain_per_ac_high']:.2f} USD" in page.text
    assert f"{worth['break_even_ac']:,.0f}" in page.text
    assert f"{worth['break_even_ac_low']:,.0f} to {worth['break_even_ac_high']:,.0f}" in page.text
    assert "0.012" in page.text and "0.031" in page.text and "about 1 time in 81" in page.text
    assert "1.8 bu/ac" in page.text and "2.7 %" in page.text  # LSD and CV
    assert "11.2 seconds, estimated from the records themselves" in page.text
    assert material.result["verdict"]["sentence"] in page.text
    assert "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08" in page.text
    assert "not financial advice" in page.text and "legal for trade" in page.text


@pytest.mark.usefixtures("words_only")
def test_answer_comes_first_and_red_flags_with_it(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    html, page = write(make_material(), tmp_path)
    first = page.text[: page.text.index("On this page")] if "On this page" in page.text else page.text[:2500]
    assert "All treated strips were cut northward." in first
    order = [
        html.index(f'<section id="{name}"')
        for name in ("strips", "money", "choices", "checks", "map", "removed", "delay")
    ]
    assert order == sorted(order) and html.index('id="answer"') < order[0]


@pytest.mark.usefixtures("words_only")
def test_us_page_has_no_metric_units(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material()
    _, page = write(material, tmp_path)
    assert re.search(US_UNITS, page.text)
    assert not re.search(METRIC_UNITS, page.text)


@pytest.mark.usefixtures("words_only")
def test_metric_page_has_no_us_units(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material(units="metric")
    html, page = write(material, tmp_path)
    check_sound(html, page)
    assert not re.search(US_UNITS, page.text)
    entry, worth = material.result["differences"][0], material.result["economics"][0]
    assert f"{entry['difference_kg_ha']:+.0f} kg/ha" in page.text
    assert f"Earns {worth['net_gain_per_ac'] / HA_PER_ACRE:.2f} USD a hectare" in page.text
    # 11.40 USD a bushel of 60 lb is 418.88 USD a tonne: 1 t of soybean is 36.7437 bu (same source)
    assert "419 USD a tonne" in page.text


@pytest.mark.usefixtures("words_only")
def test_crop_without_bushel_is_in_pounds(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material(crop="dry_bean", economics="")
    html, page = write(material, tmp_path)
    check_sound(html, page)
    # 1 lb/ac = 1.120851156 kg/ha, from the definitions of pound and acre
    gap = material.result["differences"][0]["difference_kg_ha"] / 1.120851156
    assert f"{gap:+.0f} lb/ac" in page.text
    assert 'id="money"' not in html


def test_names_are_text_not_markup(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    bad = "<script>alert(1)</script>"
    html, page = write(make_material(treatments=("Control", bad), notes="$x_1$ & <b>"), tmp_path)
    check_sound(html, page)
    assert bad not in html and bad in page.text


@pytest.mark.usefixtures("words_only")
def test_invented_data_is_called_invented(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    _, page = write(make_material(notes="An INVENTED field"), tmp_path)
    assert "Invented data: for demonstration" in page.text
    _, page = write(make_material(notes="A field"), tmp_path)
    assert "nvented" not in page.text


def test_unreplicated_trial_gets_no_chance(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    html, page = write(make_material(blocks=1), tmp_path)
    check_sound(html, page)
    assert "Cannot be said" in page.text and "time in" not in page.text[: page.text.index("The statistics")]


@pytest.mark.usefixtures("words_only")
def test_refused_verdict_shows_no_money(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material()
    verdict = {"word": "refused", "sentence": "One combine cut all treated strips, another all the rest."}
    html, page = write(
        result_with(material, verdict=verdict, economics=[], differences=[], anova=[], lsd=None), tmp_path
    )
    check_sound(html, page)
    assert "No answer" in page.text and verdict["sentence"] in page.text
    assert "USD" not in page.text.partition("The money")[0]


@pytest.mark.usefixtures("words_only")
def test_the_reason_for_no_answer_stands_in_the_first_paragraph_and_nowhere_else_on_the_first_screen(
    make_material: Callable[..., ReportMaterial], tmp_path: Path
) -> None:
    reason = "One combine cut all treated strips, another all the rest. Let every combine cut every treatment."
    forbids = {"name": "machine_by_treatment", "passed": False, "value": 1.0, "allowed": "shared", "note": reason}
    other = {"name": "speed_by_treatment", "passed": False, "value": 9.0, "allowed": "3 %", "note": "Driven slower."}
    checks = [{**forbids, "forbids": True}, {**other, "forbids": False}]
    verdict = {"word": "refused", "sentence": f"No answer. {reason}"}
    _, page = write(result_with(make_material(), verdict=verdict, checks=checks), tmp_path)
    first = page.text[: page.text.index("Strip by strip")]
    assert first.count("One combine cut all treated strips, another all the rest.") == 1
    assert first.count("Let every combine cut every treatment.") == 1
    assert (
        first.index("One combine") < first.index("Read this before you use the answer") < first.index("Driven slower")
    )
    assert first.count("No answer") == 1  # the heading alone; "Measured, but no answer" is the figure's


@pytest.mark.parametrize("treatments", [("Control", "Lifters"), ("Control", "Lifters", "Reel")])
@pytest.mark.usefixtures("words_only")
def test_refused_verdict_keeps_figures_but_claims_nothing(
    make_material: Callable[..., ReportMaterial], tmp_path: Path, treatments: tuple[str, ...]
) -> None:
    verdict = {"word": "refused", "sentence": "No answer."}
    html, page = write(result_with(make_material(treatments=treatments, blocks=2), verdict=verdict), tmp_path)
    check_sound(html, page)
    first = page.text[: page.text.index("Strip by strip")]
    assert "Measured, but no answer" in first
    assert not re.search("USD|chance|Margin", first)
    assert page.text.count("A check forbids an answer") == 2


@pytest.mark.parametrize("count", [3, 8])
def test_several_treatments(make_material: Callable[..., ReportMaterial], tmp_path: Path, count: int) -> None:
    names = ("Control", *(f"Rate {place} of a product with quite a long name" for place in range(1, count)))
    material = make_material(treatments=names, blocks=4)
    html, page = write(material, tmp_path)
    check_sound(html, page)
    assert all(page.text.count(name) >= 3 for name in names)
    assert (tmp_path / "figures" / "strips.png").is_file()


@pytest.mark.usefixtures("words_only")
def test_choice_that_turns_the_answer_stands_in_the_first_screen(
    make_material: Callable[..., ReportMaterial], tmp_path: Path
) -> None:
    material = make_material(blocks=2)
    note = (
        "With a travel delay 4 s longer, the yield answer for Lifters changes from “a higher yield” to “a lower yield”."
    )
    moves = {"name": "other_choices", "passed": False, "value": 1.0, "allowed": "0 changes", "note": note}
    checks = [check for check in material.result["checks"] if check["passed"]]
    sentence = f"{material.result['verdict']['sentence']} {note}"
    verdict = {**material.result["verdict"], "sentence": sentence}
    html, page = write(result_with(material, verdict=verdict, checks=[*checks, moves]), tmp_path)
    check_sound(html, page)
    first = page.text[: page.text.index("Strip by strip")]
    assert first.count(note) == 1
    # The first paragraph itself says that the answer moves, the box below how.
    (paragraph,) = re.findall(r'<p class="sentence[^"]*">(.*?)</p>', html)
    assert "hangs on how the data was taken: see below" in paragraph


@pytest.mark.usefixtures("words_only")
def test_choice_without_an_answer_is_listed(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material(blocks=2)
    lost = {"difference_kg_ha": None, "low_kg_ha": None, "high_kg_ha": None, "moves": True, "note": "no answer: empty"}
    rows = [{**row, **lost} for row in material.result["sensitivity"]]
    html, page = write(result_with(material, sensitivity=rows), tmp_path)
    check_sound(html, page)
    assert "no answer: empty" in page.text and not (tmp_path / "figures" / "choices.png").exists()


@pytest.mark.parametrize("source", ["estimated", "declared", "assumed"])
@pytest.mark.usefixtures("words_only")
def test_delay_says_how_it_was_had(make_material: Callable[..., ReportMaterial], tmp_path: Path, source: str) -> None:
    delay = {"machine": "A", "seconds": -4.0, "low": None, "high": None, "source": source, "reason": "too few passes"}
    _, page = write(result_with(make_material(blocks=2), delay=[delay]), tmp_path)
    assert source in page.text and "Too few passes." in page.text
    assert "\N{MINUS SIGN}4.0 seconds" in page.text and "already moved the records" in page.text


def test_single_strip(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    html, page = write(make_material(treatments=("Control",), blocks=1), tmp_path)
    check_sound(html, page)
    assert "S1" in page.text


@pytest.mark.usefixtures("words_only")
def test_prepared_by_stands_under_the_title(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material(blocks=2)
    part = material.settings.report.model_copy(update={"prepared_by": "Made-up Agronomy & Sons"})
    settings = material.settings.model_copy(update={"report": part})
    html, page = write(replace(material, settings=settings), tmp_path)
    assert "Prepared by Made-up Agronomy & Sons" in page.text and "Agronomy &amp; Sons" in html


def test_everything_optional_missing(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material(economics="")
    strips = material.strips.drop(columns="block").assign(yield_kg_ha=np.nan, moisture_pct=np.nan, direction=None)
    points = material.points.iloc[:0]
    empty: dict[str, Any] = {
        "delay": [{"machine": "x", "seconds": None, "low": None, "high": None, "source": "assumed", "reason": None}],
        "records": None, "treatments": [], "differences": [], "anova": None, "lsd": None, "cv_pct": float("nan"),
        "letters": None, "economics": None, "sensitivity": None, "checks": None, "warnings": None, "verdict": {},
    }  # fmt: skip
    bare = replace(material, result=empty, strips=strips, points=points, run={})
    html, page = write(bare, tmp_path)
    check_sound(html, page)


def test_two_hundred_strips(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    html, page = write(make_material(blocks=100, length_m=120.0), tmp_path)
    check_sound(html, page)
    assert page.text.count("S200") >= 1
    assert len(html) < 6e6


@pytest.mark.usefixtures("words_only")
def test_money_that_never_comes_back(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    html, page = write(make_material(step=-150.0), tmp_path)
    check_sound(html, page)
    assert "Loses " in page.text and "never" in page.text


@pytest.mark.usefixtures("words_only")
def test_interval_that_reaches_zero_has_no_upper_end(
    make_material: Callable[..., ReportMaterial], tmp_path: Path
) -> None:
    html, page = write(make_material(step=100.0), tmp_path)
    check_sound(html, page)
    assert re.search(r"\d or more", page.text)


def test_same_material_same_bytes(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material(blocks=3)
    for name in ("a", "b"):
        write_report(material, tmp_path / name)
    files = sorted(path.relative_to(tmp_path / "a") for path in (tmp_path / "a").rglob("*.*"))
    assert len(files) >= 4
    assert all((tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes() for file in files)


@pytest.mark.usefixtures("words_only")
def test_material_is_left_as_it_was(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    material = make_material(blocks=2)
    strips, points = material.strips.copy(), material.points.copy()
    write_report(material, tmp_path)
    assert strips.equals(material.strips) and points.equals(gpd.GeoDataFrame(material.points))


def test_pictures_are_svg_and_png(make_material: Callable[..., ReportMaterial], tmp_path: Path) -> None:
    html, page = write(make_material(), tmp_path)
    for source in (str(image["src"]) for image in page.all("img")):
        svg = base64.b64decode(source.partition("base64,")[2]).decode()
        assert svg.startswith("<svg") and not re.search(r'(?<!xmlns)(?<!xmlns:xlink)="https?:', svg)
    assert {path.name for path in (tmp_path / "figures").iterdir()} == {
        "pairs.png",
        "map.png",
        "money.png",
        "choices.png",
    }
    assert len(html) < 6e6
