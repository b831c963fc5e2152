"""Designs that the table tells: fixed order, check strips, sub-strips, conditions; and what is refused of them."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.stats.tables import loose_table, pair_table, settings

from proofstrip.errors import DataError
from proofstrip.stats import compare_treatments
from proofstrip.stats.contrasts import contrast_control
from proofstrip.stats.table import read_strips
from proofstrip.stats.trend import fit_trend


def ordered(slope: float, effect: float, seed: int, pairs: int = 8, noise: float = 0.5) -> pd.DataFrame:
    """Old and new in turns over a field that rises."""
    rng = np.random.default_rng(seed)
    ground = slope * np.arange(2 * pairs) + rng.normal(0, noise, 2 * pairs)
    table = pair_table(60 + ground[1::2] + effect, 60 + ground[::2])
    return table.assign(order=[place for pair in range(pairs) for place in (2 * pair + 1, 2 * pair)])


def test_a_trend_is_not_taken_for_an_effect() -> None:
    table = ordered(slope=1.0, effect=0.0, seed=1)
    plain = compare_treatments(table.drop(columns="order"), "old", settings(), "yield").differences[0]
    found = compare_treatments(table, "old", settings(), "yield")
    row = found.differences[0]
    assert plain.low > 0
    assert row.low < 0 < row.high
    assert found.trend.plain["new"] == pytest.approx(plain.difference)
    assert row.p_exact is None


def test_the_trend_model_keeps_its_level() -> None:
    # 2,000 invented trials without effect on a rising field: 5 % within three Monte Carlo standard errors.
    plots, wrong = read_strips(ordered(0.7, 0.0, 1), "old", "yield").plots, []
    for seed in range(2000):
        values = 60 + 0.7 * plots.order + np.random.default_rng(seed).normal(0, 0.5, len(plots.order))
        found = contrast_control(fit_trend(replace(plots, values=values)), 0.95)
        wrong.append(bool(found.decided[0]))
    assert abs(np.mean(wrong) - 0.05) < 3 * (0.05 * 0.95 / 2000) ** 0.5


@pytest.mark.parametrize("pairs", [4, 5])
def test_too_few_pairs_for_a_trend_are_only_warned_of(pairs: int) -> None:
    found = compare_treatments(ordered(1.0, 0.0, 1, pairs), "old", settings(), "yield")
    (sides,) = [check for check in found.checks if check.name == "sides"]
    assert found.trend is None
    assert sides.passed is False


def test_a_drawn_order_keeps_its_exact_p() -> None:
    table = ordered(0.5, 1.0, 1)
    table.loc[table["block"] == 3, "order"] = table.loc[table["block"] == 3, "order"].to_numpy()[::-1]
    found = compare_treatments(table, "old", settings(), "yield")
    assert found.trend is None
    assert found.differences[0].p_exact is not None


def checks_table(seed: int = 1) -> pd.DataFrame:
    """A check strip every fourth, each entry once, on a field that rises; entry e3 yields 8 more."""
    rng = np.random.default_rng(seed)
    names = ["check" if place % 4 == 0 else f"e{place}" for place in range(25)]
    values = 150 + np.arange(25) + rng.normal(0, 1, 25) + [8.0 * (name == "e3") for name in names]
    return pd.DataFrame({"strip": range(25), "treatment": names, "yield": values, "order": range(25)})


def test_single_strips_are_set_against_the_checks_beside_them() -> None:
    found = compare_treatments(checks_table(), "check", settings(0.9), "yield")
    table = checks_table().set_index("treatment")
    (own,) = [row for row in found.adjusted if row.treatment == "e3"]
    values = checks_table()["yield"]
    assert own.expected == pytest.approx(values[0] / 4 + 3 * values[4] / 4)
    assert own.difference == pytest.approx(table.loc["e3", "yield"] - own.expected)
    assert own.low > 0
    assert found.adjusted[0].treatment == "e3"
    assert all(row.p_value is None for row in found.differences)
    assert found.design == "unreplicated"


def test_the_error_of_check_strips_is_the_one_planted() -> None:
    # A 90 % interval of a single strip holds the truth (0) 94 to 95 times in 100 here, measured: the same check strips
    # give the expectation and its error, which makes it a little too wide.
    held = [
        row.low <= 0 <= row.high
        for seed in range(60)
        for row in compare_treatments(checks_table(seed), "check", settings(0.9), "yield").adjusted
        if row.treatment != "e3"
    ]
    assert 0.90 < np.mean(held) < 0.97


def test_without_an_order_nothing_is_adjusted() -> None:
    assert compare_treatments(checks_table().drop(columns="order"), "check", settings(), "yield").adjusted == ()


def split_table() -> pd.DataFrame:
    """Two treatments in whole strips, two varieties in sub-strips, four blocks."""
    rng = np.random.default_rng(1)
    return pd.DataFrame(
        [
            {
                "strip": f"{b}{t}{v}",
                "block": b,
                "treatment": t,
                "variety": v,
                "yield": 60 + 3 * (t == "new") + rng.normal(),
            }
            for b in range(4)
            for t in ("old", "new")
            for v in ("early", "late")
        ]
    )


def by_variety(table: pd.DataFrame) -> object:
    """Compare with the variety as the second factor."""
    return compare_treatments(table, "old", settings().model_copy(update={"factor": "variety"}), "yield")


def test_a_block_that_lacks_a_combination_is_left_out_and_named() -> None:
    found = by_variety(split_table().iloc[:-1])
    assert found.differences[0].pairs == 3
    assert any("Blocks 3 lack" in notice.message for notice in found.warnings)


def test_sub_strips_need_two_whole_blocks() -> None:
    table = split_table()
    with pytest.raises(DataError, match="1 of 4 blocks hold every treatment"):
        by_variety(table[(table["block"] == 0) | (table["variety"] == "early")])


def test_a_factor_that_is_not_there() -> None:
    with pytest.raises(DataError, match="no column 'variety' for the second factor"):
        by_variety(split_table().drop(columns="variety"))


def test_a_whole_strip_in_which_both_change() -> None:
    with pytest.raises(DataError, match="both the treatment and 'variety' change"):
        by_variety(split_table().assign(whole_strip="one"))


def look_at(column: str, **columns: object) -> object:
    """Look at a condition of five pairs."""
    table = pair_table([62, 63, 61, 64, 62.5], [60, 62.5, 59.5, 61, 61.5]).assign(**columns)
    return compare_treatments(table, "old", settings().model_copy(update={"covariate": column}), "yield")


def test_dates_are_days() -> None:
    dates = [day for day in ("2024-10-01", "2024-10-02", "2024-10-05", "2024-10-09", "2024-10-11") for _ in (0, 1)]
    (found,) = look_at("day", day=dates).conditions
    assert (found.lowest, found.highest, found.df) == (0.0, 10.0, 3.0)


def test_the_treated_strip_does_not_enter_a_condition() -> None:
    wet = [20.0, 12.0, 90.0, 13.0, 5.0, 14.0, 30.0, 15.0, 70.0, 16.0]  # treated strips hold nonsense
    (found,) = look_at("moisture", moisture=wet).conditions
    assert (found.lowest, found.highest) == (12.0, 16.0)


@pytest.mark.parametrize(
    ("column", "columns", "words"),
    [
        ("moistur", {"moisture": 1.0}, "Did you mean 'moisture'?"),
        ("yield", {}, "'yield' cannot be a condition"),
        ("yield_kg_ha", {"yield_kg_ha": 1.0}, "cannot be a condition"),
        ("zone", {"zone": ["a", None] * 5}, "5 of 5 strips of the control have none"),
        ("zone", {"zone": ["1", "1"] * 4 + ["x", "x"]}, "numbers and text are mixed, 'x'"),
    ],
)
def test_a_condition_that_cannot_be(column: str, columns: dict[str, object], words: str) -> None:
    with pytest.raises(DataError) as fault:
        look_at(column, **columns)
    assert words in str(fault.value)


def test_a_condition_that_never_changes_is_said() -> None:
    found = look_at("zone", zone="same")
    assert found.conditions == ()
    assert any(notice.code == "condition_too_few" for notice in found.warnings)


def test_residuals_of_pairs_and_of_strips() -> None:
    pairs = compare_treatments(pair_table([62, 63, 61.5], [60, 62.5, 59]), "old", settings(), "yield").residuals
    assert [row.residual for row in pairs] == pytest.approx([2 - 5 / 3, 0.5 - 5 / 3, 2.5 - 5 / 3])
    strips = compare_treatments(loose_table(old=[60, 62.0], new=[61, 65.0]), "old", settings(), "yield").residuals
    assert [row.residual for row in strips] == pytest.approx([-1, 1, -2, 2])
