"""The charts: which design is drawn how, and that labels stay readable."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from proofstrip.report import ReportMaterial
from proofstrip.report.figures import MAX_HEIGHT_IN, draw_pairs, draw_strips, find_pairs, natural_key
from proofstrip.report.sheet import NARROW, WIDE, Sheet, standalone, svg_uri
from proofstrip.report.words import Units

from .texts import check_texts

UNITS = Units("us", 67.2511, "bu/ac", "bushels an acre", 1)
PAIRS = pd.DataFrame({
    "strip": ["1", "2", "3", "4"], "treatment": ["A", "B", "B", "A"], "block": ["10", "10", "9", "9"],
    "yield_kg_ha": [3000.0, 3200.0, 3300.0, 3100.0],
})  # fmt: skip


def test_pairs_are_found_and_in_natural_order() -> None:
    pairs = find_pairs(PAIRS, "A")
    assert pairs is not None
    assert pairs.index.tolist() == ["9", "10"] and pairs["control"].tolist() == [3100.0, 3000.0]


@pytest.mark.parametrize(
    "change",
    [
        {"block": None},
        {"block": ["1", "1", "1", "1"]},
        {"treatment": ["A", "B", "C", "A"]},
        {"yield_kg_ha": np.nan},
    ],
)
def test_other_designs_are_not_drawn_as_pairs(change: dict[str, object]) -> None:
    assert find_pairs(PAIRS.assign(**change), "A") is None


def test_pair_that_lost_a_strip_keeps_its_row() -> None:
    pairs = find_pairs(PAIRS.assign(yield_kg_ha=[3000.0, np.nan, 3300.0, 3100.0]), "A")
    assert pairs is not None and len(pairs) == 2 and pairs["treatment"].isna().sum() == 1
    figure = draw_pairs(pairs, ("A", "B"), {}, UNITS, WIDE)
    assert svg_uri(figure).startswith("data:image/svg+xml")


def test_natural_order() -> None:
    assert sorted(["B10", "B2", "A", "7"], key=natural_key) == ["7", "A", "B2", "B10"]


@pytest.mark.parametrize("sheet", [WIDE, NARROW, standalone("Heading", "caption of the trial")])
@pytest.mark.parametrize("blocks", [1, 6, 30])
def test_labels_of_pairs_do_not_touch_or_leave(sheet: Sheet, blocks: int) -> None:
    rng = np.random.default_rng(3)
    pairs = pd.DataFrame({"control": rng.normal(3400, 200, blocks), "treatment": rng.normal(3450, 200, blocks)})
    pairs.index = pd.Index([f"Block {row} by the creek" for row in range(blocks)])
    mean = {"difference_kg_ha": 50.0, "low_kg_ha": -80.0, "high_kg_ha": 180.0}
    figure = draw_pairs(pairs, ("Usual practice", "A product with a name that is long"), mean, UNITS, sheet)
    assert figure.get_figheight() <= MAX_HEIGHT_IN + 0.7
    check_texts(figure, apart=True)


@pytest.mark.parametrize("sheet", [WIDE, NARROW, standalone("Heading", "caption of the trial")])
def test_labels_of_treatments_do_not_touch_or_leave(sheet: Sheet, make_material: Callable[..., ReportMaterial]) -> None:
    names = ("Untreated check", *(f"Rate {row} of a product with a long name" for row in range(7)))
    material = make_material(treatments=names, blocks=3)
    entries = [{**row, "letters": "abc"} for row in material.result["treatments"]]
    figure = draw_strips(material.strips, entries, UNITS, sheet)
    check_texts(figure, apart=True)
