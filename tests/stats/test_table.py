"""Bad strip tables: each is refused in one paragraph that says what was found and what to do."""

import numpy as np
import pandas as pd
import pytest
from tests.stats.tables import loose_table, pair_table, settings

from proofstrip.errors import DataError
from proofstrip.stats import compare_treatments

OLD = [60.0, 62.0, 58.5, 61.0]
NEW = [62.5, 63.0, 61.5, 63.5]


def refusal(table: pd.DataFrame, control: str = "old") -> str:
    """Give the paragraph with which a table is refused."""
    with pytest.raises(DataError) as fault:
        compare_treatments(table, control, settings(), "yield")
    text = str(fault.value)
    assert text.startswith("strip table")
    assert "\n" not in text
    return text


def test_no_such_control() -> None:
    text = refusal(pair_table(NEW, OLD), "check")
    assert "'check'" in text
    assert "'new', 'old'" in text


@pytest.mark.parametrize("control", ["Old", "OLD", "olld", "old "])
def test_a_misspelt_control_finds_its_neighbour(control: str) -> None:
    assert "Did you mean 'old'?" in refusal(pair_table(NEW, OLD), control)


def test_one_strip() -> None:
    assert "the only treatment is 'old' (1 strip)" in refusal(loose_table(old=[60.0]))


def test_one_treatment() -> None:
    assert "the only treatment is 'old' (4 strips)" in refusal(loose_table(old=OLD))


def test_all_yields_equal() -> None:
    assert "all 8 strips have the same yield, 60" in refusal(pair_table([60.0] * 4, [60.0] * 4))


@pytest.mark.parametrize("bad", ["sixty", "62,5", "1.234,5", "12 bu"])
def test_text_for_a_yield(bad: str) -> None:
    table = pair_table(NEW, OLD).astype({"yield": object})
    table.loc[3, "yield"] = bad
    text = refusal(table)
    assert f"{bad!r} (strip B2-old)" in text
    assert "1 of 8" in text


@pytest.mark.parametrize("bad", [-3.0, np.inf, -np.inf])
def test_impossible_yields(bad: float) -> None:
    table = pair_table(NEW, OLD)
    table.loc[5, "yield"] = bad
    assert "(strip B3-old)" in refusal(table)


def test_no_yield_at_all() -> None:
    assert "all 8 values are empty" in refusal(pair_table(NEW, OLD).assign(**{"yield": np.nan}))


def test_no_yield_of_the_control() -> None:
    table = pair_table(NEW, OLD)
    table.loc[table["treatment"] == "old", "yield"] = np.nan
    assert "no strip of the control 'old' has a yield" in refusal(table)


def test_empty_table() -> None:
    assert "no rows" in refusal(pair_table(NEW, OLD).iloc[:0])


@pytest.mark.parametrize("column", ["strip", "treatment", "yield"])
def test_a_missing_column(column: str) -> None:
    text = refusal(pair_table(NEW, OLD).drop(columns=column))
    assert f"no column {column!r}" in text
    assert "it has 'strip'" in text or "it has 'block'" in text


def test_a_strip_twice() -> None:
    table = pair_table(NEW, OLD)
    table.loc[4, "strip"] = "B1-new"
    assert "1 names stand on more than one row (B1-new)" in refusal(table)


@pytest.mark.parametrize("empty", [None, "", "  ", float("nan")])
@pytest.mark.parametrize("column", ["strip", "treatment", "block"])
def test_an_empty_label(column: str, empty: object) -> None:
    table = pair_table(NEW, OLD).astype({"block": object})
    table.loc[2, column] = empty
    assert f"1 of 8 rows have no {column} (row 3)" in refusal(table)


@pytest.mark.parametrize("name", ["None", "NA", "nan", "null", "0", "-"])
def test_a_treatment_may_be_called_anything(name: str) -> None:
    table = pair_table(NEW, OLD)
    table["treatment"] = table["treatment"].replace("new", name)
    assert compare_treatments(table, "old", settings(), "yield").differences[0].treatment == name
    assert compare_treatments(table, name, settings(), "yield").control == name


def test_treatments_may_be_numbers() -> None:
    table = pair_table(NEW, OLD)
    table["treatment"] = table["treatment"].map({"new": 120.0, "old": 0.0})
    assert compare_treatments(table, "0", settings(), "yield").differences[0].treatment == "120"


def test_treatments_may_be_categories() -> None:
    table = pair_table(NEW, OLD).astype({"treatment": "category", "block": "category", "strip": "category"})
    assert compare_treatments(table, "old", settings(), "yield").differences[0].treatment == "new"


def test_similar_names_are_pointed_out() -> None:
    table = pair_table(NEW, OLD)
    table.loc[0, "treatment"] = "New"
    comparison = compare_treatments(table, "old", settings(), "yield")
    told = [notice.message for notice in comparison.warnings if notice.code == "similar_treatments"]
    assert len(told) == 1
    assert "'New', 'new'" in told[0]


def test_numbers_written_as_text_are_read() -> None:
    table = pair_table(NEW, OLD)
    as_text = table.astype({"yield": str, "block": str})
    assert compare_treatments(as_text, "old", settings(), "yield") == compare_treatments(
        table, "old", settings(), "yield"
    )
