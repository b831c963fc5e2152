"""The front door: which design a table has, and what is said of it."""

import dataclasses
import json

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from tests.stats.tables import block_table, loose_table, pair_table, settings

from proofstrip.result import describe_comparison
from proofstrip.stats import compare_treatments

OLD = [60.0, 62.0, 58.5, 61.0, 59.5, 63.0]
NEW = [62.5, 63.0, 61.5, 63.5, 61.0, 65.5]
THREE = [[60.0, 62.5, 61.0], [58.0, 61.0, 60.5], [61.5, 63.0, 61.0], [59.0, 62.0, 61.5]]


def test_pairs_are_recognised() -> None:
    comparison = compare_treatments(pair_table(NEW, OLD), "old", settings(), "yield")
    assert comparison.design == "paired"
    assert comparison.blocks == 6
    assert comparison.df_residual == 5


def test_complete_blocks_are_recognised() -> None:
    comparison = compare_treatments(block_table(["old", "a", "b"], THREE), "old", settings(), "yield")
    assert comparison.design == "complete_blocks"
    assert comparison.df_residual == 6
    assert [row.pairs for row in comparison.differences] == [4, 4]


def test_a_lost_strip_makes_blocks_incomplete() -> None:
    rows = [list(row) for row in THREE]
    rows[1][2] = None
    comparison = compare_treatments(block_table(["old", "a", "b"], rows), "old", settings(), "yield")
    assert comparison.design == "incomplete_blocks"
    assert [row.pairs for row in comparison.differences] == [4, 3]
    assert comparison.block_variance is not None


def test_strips_without_blocks_are_recognised() -> None:
    comparison = compare_treatments(loose_table(old=OLD, new=NEW[:4]), "old", settings(), "yield")
    assert comparison.design == "unblocked"
    assert comparison.blocks is None
    assert comparison.differences[0].pairs is None


@pytest.mark.parametrize("block", [None, "", float("nan")])
def test_an_empty_block_column_is_no_block(block: object) -> None:
    table = loose_table(old=OLD, new=NEW).assign(block=block)
    assert compare_treatments(table, "old", settings(), "yield").design == "unblocked"


def test_one_block_for_all_is_no_block() -> None:
    table = loose_table(old=OLD, new=NEW).assign(block="north field")
    comparison = compare_treatments(table, "old", settings(), "yield")
    assert comparison.design == "unblocked"
    assert [notice.code for notice in comparison.warnings] == ["one_block"]


def test_a_block_a_strip_is_no_block() -> None:
    table = loose_table(old=OLD, new=NEW)
    table["block"] = table["strip"]
    assert compare_treatments(table, "old", settings(), "yield").design == "unblocked"


def test_treatments_on_fields_of_their_own_are_not_replicated() -> None:
    # Six strips of each, but each treatment on its own field: the strips of a field are averaged, and one is left of
    # each.
    table = loose_table(old=OLD, new=NEW)
    table["block"] = table["treatment"].map({"old": "east field", "new": "west field"})
    comparison = compare_treatments(table, "old", settings(), "yield")
    assert comparison.design == "unreplicated"
    assert comparison.differences[0].p_value is None


def test_one_strip_a_treatment_is_described_without_p() -> None:
    comparison = compare_treatments(loose_table(old=[60.0], new=[63.0]), "old", settings(), "yield")
    row = comparison.differences[0]
    assert comparison.design == "unreplicated"
    assert row.difference == pytest.approx(3.0)
    assert row.difference_pct == pytest.approx(5.0)
    assert (row.se, row.low, row.p_value, row.p_exact, row.detectable) == (None,) * 5
    assert comparison.checks[0].passed is False
    assert comparison.checks[0].forbids


def test_one_pair_is_described_without_p() -> None:
    comparison = compare_treatments(pair_table([63.0], [60.0]).assign(block="x"), "old", settings(), "yield")
    assert comparison.design == "unreplicated"


def test_a_single_strip_among_replicated_treatments_gets_no_p() -> None:
    table = loose_table(old=OLD, new=NEW, once=[70.0])
    comparison = compare_treatments(table, "old", settings(), "yield")
    new, once = comparison.differences
    assert new.p_value is not None
    assert once.p_value is None
    assert once.low is None
    assert once.difference == pytest.approx(70.0 - np.mean(OLD))
    assert [notice.code for notice in comparison.warnings] == ["single_strip"]


def test_strips_of_one_treatment_in_a_block_count_once() -> None:
    table = pair_table(NEW, OLD)
    split = table.assign(strip=table["strip"] + "b", **{"yield": table["yield"] - 1.0})
    table["yield"] += 1.0
    twice = compare_treatments(pd.concat([table, split]), "old", settings(), "yield")
    once = compare_treatments(pair_table(NEW, OLD), "old", settings(), "yield")
    assert twice.differences == once.differences
    assert twice.treatments[0].strips == 12
    assert [notice.code for notice in twice.warnings] == ["strips_averaged"]


def test_missing_yields_are_named() -> None:
    table = pair_table(NEW, OLD)
    table.loc[2, "yield"] = np.nan
    comparison = compare_treatments(table, "old", settings(), "yield")
    assert comparison.differences[0].pairs == 5
    assert [(row.strips, row.missing) for row in comparison.treatments] == [(5, 1), (5, 1)]
    told = {notice.code: notice.message for notice in comparison.warnings}
    assert "B2-new (new)" in told["missing_yield"]
    assert "old in block 2" in told["broken_pair"]


def test_a_treatment_without_any_yield_is_named() -> None:
    table = block_table(["old", "a", "b"], THREE)
    table.loc[table["treatment"] == "b", "yield"] = np.nan
    comparison = compare_treatments(table, "old", settings(), "yield")
    assert comparison.design == "paired"
    assert comparison.treatments[2].mean is None
    assert "treatment_without_yield" in [notice.code for notice in comparison.warnings]


def test_a_treatment_in_blocks_of_its_own_is_not_compared() -> None:
    # c stands in blocks that share no treatment, at any remove, with those of the control.
    rows = [[60.0, 62.5, None, None], [58.0, 61.0, None, None], [61.5, 63.0, None, None]]
    rows += [[None, None, 70.0, 71.0], [None, None, 72.0, 71.5]]
    comparison = compare_treatments(block_table(["old", "a", "c", "d"], rows), "old", settings(), "yield")
    assert comparison.design == "paired"
    assert [row.treatment for row in comparison.differences] == ["a"]
    assert [(row.treatment, row.strips, row.missing) for row in comparison.treatments][2:] == [("c", 0, 2), ("d", 0, 2)]
    told = {notice.code: notice.message for notice in comparison.warnings}
    assert told["not_connected"].startswith("c, d: no block holds it together with old")


def test_treatments_tied_through_a_third_one_are_compared() -> None:
    rows = [[60.0, 62.5, None], [58.0, 61.0, None], [61.5, 63.0, None], [None, 64.0, 66.0], [None, 62.0, 65.0]]
    comparison = compare_treatments(block_table(["old", "a", "c"], rows), "old", settings(), "yield")
    assert comparison.design == "incomplete_blocks"
    assert comparison.differences[1].pairs == 0
    assert comparison.differences[1].difference > comparison.differences[0].difference
    assert comparison.differences[1].se > comparison.differences[0].se


def test_nothing_shares_a_block_with_the_control() -> None:
    rows = [[60.0, None, None], [None, 61.0, 63.0], [None, 62.0, 61.0]]
    comparison = compare_treatments(block_table(["old", "a", "b"], rows), "old", settings(), "yield")
    assert comparison.design == "unreplicated"
    assert [row.treatment for row in comparison.differences] == ["a", "b"]


def test_few_pairs_are_told_their_smallest_p() -> None:
    few = compare_treatments(pair_table(NEW[:4], OLD[:4]), "old", settings(0.9), "yield")
    assert "no p below 0.12" in {notice.code: notice.message for notice in few.warnings}["few_replicates"]
    assert not compare_treatments(pair_table(NEW[:5], OLD[:5]), "old", settings(0.9), "yield").warnings


def test_lsd_of_strips_without_blocks_is_pooled() -> None:
    comparison = compare_treatments(loose_table(old=OLD, new=NEW[:4]), "old", settings(0.95), "yield")
    variance = (5 * np.var(OLD, ddof=1) + 3 * np.var(NEW[:4], ddof=1)) / 8
    assert comparison.lsd == pytest.approx(2.306004 * np.sqrt(variance * (1 / 6 + 1 / 4)), rel=1e-6)


def test_scales_that_disagree_are_pointed_out() -> None:
    # A gain in every pair that is large in one very high yielding pair: clear in per cent, not in yield.
    old = np.array([20.0, 22.0, 21.0, 23.0, 20.5, 300.0])
    new = old * np.array([1.11, 1.09, 1.10, 1.12, 1.08, 1.10])
    comparison = compare_treatments(pair_table(new.tolist(), old.tolist()), "old", settings(), "yield")
    check = next(check for check in comparison.checks if check.name == "both_scales")
    assert check.passed is False
    assert "new" in check.note


def test_order_of_rows_does_not_matter() -> None:
    table = block_table(["old", "a", "b"], THREE)
    shuffled = table.sample(frac=1, random_state=4)
    first, second = (compare_treatments(t, "old", settings(), "yield") for t in (table, shuffled))
    by_name = {row.treatment: row for row in second.differences}
    for row in first.differences:
        other = by_name[row.treatment]
        assert (row.difference, row.se, row.p_value) == pytest.approx((other.difference, other.se, other.p_value))


def test_input_is_left_alone() -> None:
    table = pair_table(NEW, OLD)
    before = table.copy(deep=True)
    compare_treatments(table, "old", settings(), "yield")
    pd.testing.assert_frame_equal(table, before)


def test_same_table_same_answer() -> None:
    table = block_table(list("abcdef"), np.random.default_rng(3).normal(60, 3, size=(5, 6)).tolist())
    first, second = (compare_treatments(table, "a", settings(), "yield") for _ in range(2))
    assert first == second
    assert first.differences[0].p_exact_draws == 2000


def test_per_cent_does_not_move_with_calibration() -> None:
    # A factor on both strips of a pair (another combine, another day) leaves the log ratio alone.
    factors = np.array([1.0, 1.1, 0.9, 1.05, 1.2, 0.97])
    plain = compare_treatments(pair_table(NEW, OLD), "old", settings(), "yield").differences[0]
    table = pair_table((NEW * factors).tolist(), (OLD * factors).tolist())
    scaled = compare_treatments(table, "old", settings(), "yield").differences[0]
    assert scaled.difference_pct == pytest.approx(plain.difference_pct)
    assert (scaled.low_pct, scaled.high_pct) == pytest.approx((plain.low_pct, plain.high_pct))
    assert scaled.difference != pytest.approx(plain.difference)


def test_interval_and_p_agree() -> None:
    rng = np.random.default_rng(6)
    for _ in range(40):
        rows = (rng.normal(60, 2, size=(4, 3)) + np.arange(3)).tolist()
        comparison = compare_treatments(block_table(["old", "a", "b"], rows), "old", settings(0.9), "yield")
        for row in comparison.differences:
            assert (row.p_value < 0.1) == (row.low > 0 or row.high < 0)


def test_a_yield_of_zero_has_no_per_cent() -> None:
    row = compare_treatments(pair_table(NEW, [0.0, *OLD[1:]]), "old", settings(), "yield").differences[0]
    assert row.difference_pct is None
    assert row.p_value is not None


def test_unit_follows_the_column() -> None:
    for column, unit in (("yield_kg_ha", "kg/ha"), ("yield_bu_ac", "bu/ac"), ("yield", "")):
        table = pair_table(NEW, OLD).rename(columns={"yield": column})
        assert compare_treatments(table, "old", settings(), column).unit == unit


def test_result_is_plain_json() -> None:
    for table in (pair_table(NEW, OLD), loose_table(old=[60.0], new=[63.0])):
        described = describe_comparison(compare_treatments(table, "old", settings(), "yield"), None)
        text = json.dumps(described, allow_nan=False)
        assert json.loads(text)["differences"][0]["treatment"] == "new"


def test_results_are_frozen() -> None:
    comparison = compare_treatments(pair_table(NEW, OLD), "old", settings(), "yield")
    with pytest.raises(dataclasses.FrozenInstanceError):
        comparison.control = "new"  # type: ignore[misc]


def test_leaving_one_block_out() -> None:
    comparison = compare_treatments(pair_table(NEW, OLD), "old", settings(), "yield")
    found = comparison.differences[0].leave_one_out
    differences = np.subtract(NEW, OLD)
    without = [np.delete(differences, place).mean() for place in range(6)]
    assert (found.low, found.high) == pytest.approx((min(without), max(without)))
    assert not found.fragile


def test_a_conclusion_that_hangs_on_one_block_is_fragile() -> None:
    # Five pairs at +1 or near it and one at -1.2: with it zero lies in the interval, without it far outside.
    old = np.array([60.0, 62.0, 58.5, 61.0, 59.5, 63.0])
    new = old + np.array([1.0, 1.2, 0.9, 1.1, 0.8, -1.2])
    comparison = compare_treatments(pair_table(new.tolist(), old.tolist()), "old", settings(), "yield")
    found = comparison.differences[0].leave_one_out
    assert found.fragile
    assert found.blocks == ("6",)
    # scipy's own paired interval without that block.
    rest = stats.ttest_rel(new[:5], old[:5]).confidence_interval(0.95)
    assert (found.without[5].low, found.without[5].high) == pytest.approx((rest.low, rest.high))
    check = next(check for check in comparison.checks if check.name == "one_block_left_out")
    assert check.passed is False
    assert check.note == (
        "Leave out one part of the field (block 6) and the yield answer for new changes from “no clear difference” to "
        "“a higher yield”."
    )


def test_a_sign_that_nobody_acts_on_is_not_fragile() -> None:
    # Five pairs near nothing and one at +10: the sign hangs on it, but with it and without it there is no difference.
    old = np.array([60.0, 62.0, 58.5, 61.0, 59.5, 63.0])
    new = old + np.array([-0.3, 0.1, -0.2, 0.2, -0.1, 10.0])
    comparison = compare_treatments(pair_table(new.tolist(), old.tolist()), "old", settings(), "yield")
    assert not comparison.differences[0].leave_one_out.fragile


def test_equal_differences_are_no_measurement() -> None:
    table = pair_table([value + 2.0 for value in OLD], OLD)
    comparison = compare_treatments(table, "old", settings(), "yield")
    assert comparison.differences[0].p_value is None
    assert [check.name for check in comparison.checks if check.forbids and check.passed is False] == ["scatter"]


def test_two_hundred_treatments() -> None:
    rng = np.random.default_rng(1)
    names = [f"v{number}" for number in range(200)]
    rows = (rng.normal(60, 2, size=(3, 200)) + np.linspace(0, 12, 200)).tolist()
    comparison = compare_treatments(block_table(names, rows), "v0", settings(permutations=999), "yield")
    assert comparison.df_residual == 2 * 199
    assert len(comparison.differences) == 199
    assert len(comparison.letters) == 200
    assert "a" in comparison.letters["v199"]
    assert "a" not in comparison.letters["v0"]
