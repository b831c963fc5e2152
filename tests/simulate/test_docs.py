"""docs/simulate.md names every knob with its default, and every scenario."""

from dataclasses import fields
from pathlib import Path

import pytest

from proofstrip.simulate import SCENARIOS, Scenario

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "simulate.md").read_text(encoding="utf-8")
SPELT_OUT = {
    "treatments": "control x 1, tried x 1.04",
    "combines": "one: gain 1, delay 11 s, mixing 3 s",
}


@pytest.mark.parametrize("name", [item.name for item in fields(Scenario) if item.name not in ("name", "note")])
def test_the_page_gives_each_knob_its_default(name):
    value = getattr(Scenario(), name)
    default = SPELT_OUT.get(name, "none" if value is None else str(value))
    assert f"| `{name}` | {default} |" in PAGE


@pytest.mark.parametrize("scenario", SCENARIOS.values(), ids=lambda item: item.name)
def test_the_page_says_what_each_scenario_is_for(scenario):
    assert f"| `{scenario.name}` | {scenario.note} |" in PAGE
