"""The part of the page on ground losses, and what the answer rests on."""

from dataclasses import asdict, replace
from typing import Any

import pytest
from matplotlib.figure import Figure

from proofstrip.report.answer import give_answer
from proofstrip.report.losses import loss_section
from proofstrip.report.sheet import NARROW, WIDE
from proofstrip.report.words import Units
from proofstrip.tier import judge_evidence

US = Units("us", 62.77, "bu/ac", "bushels an acre", 1)
LOSSES = ("preharvest", "header", "machine", "harvest")


def losses(blocks: bool = True, names: tuple[str, ...] = ("plain", "fingers")) -> dict[str, Any]:
    strips = [
        {
            "strip": f"S{block}{place}",
            "treatment": name,
            "block": f"B{block}" if blocks else None,
            "frames": 12,
            "preharvest_kg_ha": 20.0,
            "header_kg_ha": 100.0 + block - 40 * place,
            "machine_kg_ha": -1.0,
            "harvest_kg_ha": 99.0 + block - 40 * place,
        }
        for block in range(3)
        for place, name in enumerate(names)
    ]
    difference = {"treatment": names[1], "control": names[0], "difference_kg_ha": -40.0, "confidence": 0.9}
    difference |= {"low_kg_ha": -50.0, "high_kg_ha": -30.0, "p_value": 0.01}
    return {
        "control": names[0],
        "checks": [{"name": "gain_against_ground_loss", "passed": True, "note": "They agree."}],
        "ground_loss": {
            "thousand_kernel_g": 28.0,
            "concentration": 6.0,
            "frames": 72,
            "dispersion": {"ratio": 9.2, "df": 60, "frames": 72, "p_value": 1e-9},
            "strips": strips,
            "treatments": [{**row, "strips": 3} for row in strips[: len(names)]],
            "differences": [{**difference, "loss": loss} for loss in ("header", "harvest")],
        },
    }


def test_nothing_counted_is_no_part() -> None:
    assert loss_section({"ground_loss": None}, US) is None


def test_part_says_what_was_counted_and_whether_it_is_the_gain() -> None:
    section = loss_section(losses(), US)
    assert section is not None
    said = " ".join([*section.text, *section.notes])
    for words in ("72 frames", "weigh 28 g", "6.0 times as dense", "They agree.", "heaps", "9.2 times", "below zero"):
        assert words in said
    assert [len(table.rows) for table in section.tables] == [2, 2, 6]
    # 100 kg/ha of 62.77 kg/ha a bushel an acre.
    assert "1.6" in section.tables[0].rows[0]


@pytest.mark.parametrize("blocks", [True, False])
@pytest.mark.parametrize("names", [("plain", "fingers"), ("plain", "fingers", "long fingers <b>")])
def test_losses_are_drawn_in_pairs_or_in_rows(blocks: bool, names: tuple[str, ...]) -> None:
    section = loss_section(losses(blocks, names), US)
    assert section is not None
    (picture,) = section.pictures
    assert "Header and machine loss" in picture.alt
    for sheet in (WIDE, NARROW):
        figure = picture.draw(sheet)
        assert isinstance(figure, Figure)
        labels = [axes.get_xlabel() for part in figure.subfigs for axes in part.axes] or [
            axes.get_xlabel() for axes in figure.axes
        ]
        assert any("Header and machine loss, bu/ac" in label for label in labels)


def test_first_screen_says_what_the_answer_rests_on() -> None:
    result = {**losses(), "verdict": {"word": "higher", "sentence": "More."}, "differences": []}
    assert give_answer(result, US).evidence is None
    result["evidence"] = asdict(judge_evidence(False, (), ()))
    head, text = give_answer(result, US).evidence or ("", "")
    assert head == "Rests on the monitor alone."
    assert text.startswith("No strip was weighed, so a treatment that misleads")
    assert text.endswith("Ground losses were not counted.")
    assert replace(judge_evidence(True, (), ()), tier="scale").sentence.startswith("Rests on the scale. Every strip")
