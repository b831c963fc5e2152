"""What cleaning removed, by reason and treatment, and chance."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from proofstrip.balance import deal_labels
from proofstrip.config import load_defaults
from proofstrip.flags import Flag
from proofstrip.removals import ANY_REASON, count_removals

PART = load_defaults().stats
SPIKES = [0, 3, 1, 2, 0, 4, 1, 1]
# Four pairs of strips of ten records; the last two of each lie outside the window.
STRIPS = pd.DataFrame(
    {"strip": [f"S{k}" for k in range(8)], "treatment": ["control", "tried"] * 4, "block": list("11223344")}
)


def points(spikes: list[int]) -> pd.DataFrame:
    flags = [[int(Flag.SPIKE)] * n + [0] * (8 - n) + [int(Flag.STRIP_END)] * 2 for n in spikes]
    mass = [[3.0] * n + [1.0] * (10 - n) for n in spikes]
    return pd.DataFrame(
        {
            "strip": np.repeat(STRIPS["strip"], 10),
            "flags": np.concatenate(flags).astype("int32"),
            "standard_mass_kg": np.concatenate(mass),
        }
    )


def by_reason(found, reason):
    return {row.treatment: row for row in found if row.reason == reason}


def test_shares_of_records_and_grain_are_of_the_window_but_for_the_ends():
    found = count_removals(points(SPIKES), STRIPS, "control", PART)
    assert {row.reason for row in found} == {ANY_REASON, "spike", "strip_end"}
    tried = by_reason(found, "spike")["tried"]
    assert (tried.records, tried.within) == (10, "window")
    assert tried.share_records == pytest.approx(10 / 32)
    assert tried.share_mass == pytest.approx(30 / (30 + 22))
    ends = by_reason(found, "strip_end")["control"]
    assert (ends.within, ends.share_records) == ("strip", pytest.approx(0.2))
    assert by_reason(found, ANY_REASON)["tried"].records == 10


def test_p_is_that_of_all_ways_to_deal_the_labels_within_pairs():
    found = by_reason(count_removals(points(SPIKES), STRIPS, "control", PART), "spike")["tried"]
    apart = np.diff(np.reshape(SPIKES, (4, 2))).ravel()
    exact = stats.permutation_test((apart,), np.mean, permutation_type="samples", n_resamples=np.inf)
    assert found.p_value == pytest.approx(exact.pvalue)
    # The ends are alike in all strips, so they add nothing to the family.
    assert found.p_adjusted == found.p_value
    # One pair is alike, so four of the sixteen ways do as much.
    assert found.seldom is False


def test_several_reasons_have_the_allowance_of_the_largest_t():
    """Single-step max T (Westfall and Young 1993, section 2.3), counted here by hand over all sixteen ways."""
    rng = np.random.default_rng(3)
    apart = rng.normal(0.5, 1, size=(3, 4))
    shares = pd.DataFrame({f"reason {r}": np.ravel(np.column_stack([np.zeros(4), row])) for r, row in enumerate(apart)})
    chances = deal_labels(STRIPS, shares, "control", PART)

    def sizes(values):
        return np.abs(values.mean(axis=1) / values.std(axis=1, ddof=1))

    dealt = np.array([sizes(apart * np.array(signs)) for signs in product([1, -1], repeat=4)])
    own = sizes(apart) * (1 - 1e-9)
    assert chances.alone == pytest.approx((dealt >= own).mean(axis=0))
    assert chances.together == pytest.approx((dealt.max(axis=1)[:, None] >= own).mean(axis=0))
    assert chances.least == 0.125
    assert (chances.seldom(0.125), chances.seldom(0.25)) == (True, False)


def test_nothing_repeated_gives_shares_without_a_chance():
    two = STRIPS.head(2)
    found = count_removals(points(SPIKES).head(20), two, "control", PART)
    assert all(row.p_value is None and row.seldom is None for row in found)


def test_records_excluded_by_hand_are_no_removal_of_cleaning():
    frame = points([0] * 8)
    frame.loc[:30, "flags"] |= int(Flag.EXCLUDED_BY_HAND | Flag.SPIKE)
    found = count_removals(frame, STRIPS, "control", PART)
    assert by_reason(found, "spike") == {}
    assert by_reason(found, "excluded_by_hand") == {}


def test_a_reason_that_took_nothing_is_left_out_and_an_empty_strip_is_no_fault():
    found = count_removals(points([0] * 8).iloc[10:], STRIPS, "control", PART)
    assert {row.reason for row in found} == {ANY_REASON, "strip_end"}
