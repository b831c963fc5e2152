"""Treatments compared in something else than yield: pairs, strips without blocks, and chance."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from proofstrip.balance import compare_column
from proofstrip.config import load_defaults

PART = load_defaults().stats


def table(blocks, treatments):
    return pd.DataFrame({"treatment": treatments, "block": blocks})


def test_pairs_agree_with_the_reference_t_interval_and_with_all_sign_flips():
    control, tried = np.array([2.0, 2.4, 2.1, 2.6, 2.3]), np.array([2.5, 2.3, 2.6, 2.9, 2.4])
    strips = table(np.repeat(list("12345"), 2), ["control", "tried"] * 5)
    (found,) = compare_column(strips, pd.Series(np.column_stack([control, tried]).ravel()), "control", PART)
    reference = stats.ttest_rel(tried, control).confidence_interval(PART.confidence)
    assert (found.low, found.high) == pytest.approx((reference.low, reference.high))
    exact = stats.permutation_test((tried - control,), np.mean, permutation_type="samples", n_resamples=np.inf)
    assert found.p_value == pytest.approx(exact.pvalue)


def test_strips_without_blocks_agree_with_the_reference():
    control, tried = [2.0, 2.4, 2.1, 2.6], [2.5, 2.8, 2.6]
    strips = table(None, ["control"] * 4 + ["tried"] * 3)
    (found,) = compare_column(strips, pd.Series([*control, *tried]), "control", PART)
    reference = stats.ttest_ind(tried, control)
    interval = reference.confidence_interval(PART.confidence)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high))
    exact = stats.permutation_test(
        (tried, control), lambda a, b: abs(stats.ttest_ind(a, b).statistic), alternative="greater", n_resamples=np.inf
    )
    assert found.p_value == pytest.approx(exact.pvalue)


def test_one_pair_is_described_and_not_tested():
    (found,) = compare_column(table(["1", "1"], ["control", "tried"]), pd.Series([1.0, 3.0]), "control", PART)
    assert (found.difference, found.low, found.p_value) == (2.0, None, None)
    assert found.say("%") == ""


def test_strips_without_a_value_are_left_out():
    strips = table(list("1122"), ["control", "tried"] * 2)
    (found,) = compare_column(strips, pd.Series([1.0, 3.0, np.nan, 9.0]), "control", PART)
    assert found.difference == 2.0
    assert compare_column(strips, pd.Series([np.nan] * 4), "control", PART) == []
