"""The page of text, and how numbers are said."""

import re

import numpy as np
import pytest
from tests.stats.tables import block_table, loose_table, pair_table, settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.page import write_page
from proofstrip.stats.verdict import give_verdict
from proofstrip.stats.wording import YieldUnit, choose_unit, list_words, say_money, say_p

OLD = [60.0, 62.0, 58.5, 61.0, 59.5, 63.0]
NEW = [62.5, 63.0, 61.5, 63.5, 61.0, 65.5]


def page_of(table: object) -> str:
    comparison = compare_treatments(table, "old", settings(0.9), "yield")
    return write_page(comparison, give_verdict(comparison), choose_unit("", "us", None))


def test_pairs() -> None:
    page = page_of(pair_table(NEW, OLD))
    assert page.splitlines()[0].startswith("With new, it yields 2.17 more than old (margin of error")
    for part in ("Design: pairs", "Against old", "exact p: from every way of swapping", "cannot be smaller than 0.031"):
        assert part in page
    assert "Median of the pairs (Hodges-Lehmann)" in page
    assert not any(line != line.rstrip() for line in page.splitlines())


def test_many_pairs_are_not_all_listed() -> None:
    rng = np.random.default_rng(1)
    old = rng.normal(60, 2, size=25)
    page = page_of(pair_table((old + rng.normal(1, 1, size=25)).tolist(), old.tolist()))
    assert "and 5 more pairs" in page
    assert "2,000 random ways" in page


def test_several_treatments_have_letters() -> None:
    rows = [[60.0, 62.5, 61.0], [58.0, 61.0, 60.5], [61.5, 63.0, 61.0], [59.0, 62.0, 61.5]]
    page = page_of(block_table(["old", "a", "b"], rows))
    assert "Tukey" in page
    assert "Least significant difference" in page
    assert "old (control)" in page


def test_large_sums_of_squares_are_written_out() -> None:
    page = page_of(pair_table([4000.0, 4500.0, 4210.0], [3900.0, 4000.0, 4155.0]))
    assert re.search(r"total +5 +[\d,]{7}$", page, flags=re.MULTILINE)
    assert "e+0" not in page


def test_unreplicated_shows_no_p() -> None:
    page = page_of(loose_table(old=[60.0], new=[63.0]))
    assert page.startswith("No answer.")
    assert "Design: unreplicated" in page
    assert "interval" not in page


def test_missing_strips_are_noted() -> None:
    table = pair_table(NEW, OLD)
    table.loc[0, "yield"] = np.nan
    assert "Note: 1 strip has no yield and cannot be compared: B1-new (new)." in page_of(table)


@pytest.mark.parametrize(
    ("unit", "units", "factor", "said"),
    [
        ("kg/ha", "us", 67.2511, "+4.2 bu/ac"),
        ("kg/ha", "us", None, "+252 lb/ac"),
        ("kg/ha", "metric", 67.2511, "+283 kg/ha"),
        ("bu/ac", "us", None, "+282.5 bu/ac"),
        ("", "metric", None, "+283"),
    ],
)
def test_units_of_yields(unit: str, units: str, factor: float | None, said: str) -> None:
    assert choose_unit(unit, units, factor).say(282.51, sign=True) == said


def test_minus_is_a_minus_and_zero_has_no_sign() -> None:
    unit = YieldUnit("bu/ac", 1.0, 1)
    assert unit.say(-1.26, sign=True) == "−1.3 bu/ac"
    assert unit.say(-0.01, sign=True) == "0.0 bu/ac"
    assert unit.span(-1.0, 2.0) == "−1.0 to +2.0 bu/ac"


def test_money_and_words() -> None:
    assert say_money(-3.047, "USD") == "−3.05 USD"
    assert say_money(-0.001, "USD") == "0.00 USD"
    assert say_money(1234.5, "CAD") == "1,234 CAD"
    assert say_p(0.0499) == "0.050"
    assert list_words(["a"]) == "a"
