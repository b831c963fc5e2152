"""Combines taken out beside blocks and treatments: held against statsmodels, and to what a combine must not change."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.anova import anova_lm

from proofstrip.config import load_defaults
from proofstrip.stats import compare_treatments
from proofstrip.stats.adjusted import judge_mix
from proofstrip.stats.table import read_strips

PART = load_defaults().stats


def trial(cut_by: str, blocks: int = 6, seed: int = 1, treatments: str = "on", offset: float = 1.0) -> pd.DataFrame:
    """Strips of ``treatments`` in blocks, each cut by the combine of a letter; b reads ``offset`` times too much."""
    rng = np.random.default_rng(seed)
    k = len(treatments)
    frame = pd.DataFrame({"treatment": list(treatments) * blocks, "block": np.repeat(np.arange(blocks), k)})
    frame["strip"] = [f"S{row}" for row in range(len(frame))]
    frame["machine"] = (list(cut_by) * len(frame))[: len(frame)]
    frame["yield_kg_ha"] = 4000 + rng.normal(0, 60, len(frame)) + 100 * (frame["treatment"] == "n")
    frame["yield_kg_ha"] *= np.where(frame["machine"] == "b", offset, 1.0)
    return frame


def shares(frame: pd.DataFrame) -> pd.DataFrame:
    return pd.get_dummies(frame.set_index("strip")["machine"], dtype=float)


def judged(frame: pd.DataFrame) -> str:
    return judge_mix(read_strips(frame, "o", "yield_kg_ha", machines=shares(frame)).plots)


@pytest.mark.parametrize(
    ("cut_by", "mix"),
    [("aabb", "balanced"), ("abba", "estimable"), ("ab", "confounded"), ("aaab", "estimable"), ("a", "one")],
)
def test_what_two_combines_do_to_pairs(cut_by, mix):
    assert judged(trial(cut_by)) == mix


def test_a_third_treatment_with_a_combine_of_its_own_is_confounded():
    assert judged(trial("aab", treatments="onx")) == "confounded"


def test_nothing_left_to_judge_by_is_confounded():
    assert judged(trial("aaab", blocks=2)) == "confounded"


def test_two_blocks_that_turn_the_combines_round_cancel_them():
    assert judged(trial("abba", blocks=2)) == "balanced"


@pytest.mark.parametrize(("cut_by", "treatments"), [("abba", "on"), ("abaabbba", "on"), ("abba", "onx")])
def test_difference_and_error_are_those_of_ordinary_least_squares(cut_by, treatments):
    frame = trial(cut_by, treatments=treatments, offset=1.06)
    model = smf.ols("yield_kg_ha ~ C(block) + machine + C(treatment, Treatment('o'))", frame).fit()
    name = "C(treatment, Treatment('o'))[T.n]"
    row = compare_treatments(frame, "o", PART, machines=shares(frame)).differences[0]
    assert row.treatment == "n"
    assert (row.difference, row.se, row.df) == pytest.approx((model.params[name], model.bse[name], model.df_resid))
    assert row.p_unadjusted == pytest.approx(model.pvalues[name])
    if treatments == "on":
        assert (row.low, row.high) == pytest.approx(tuple(model.conf_int(0.1).loc[name]))


def test_a_combine_that_reads_six_per_cent_high_changes_no_per_cent():
    plain, high = (trial("abba", offset=offset) for offset in (1.0, 1.06))
    rows = [compare_treatments(frame, "o", PART, machines=shares(frame)).differences[0] for frame in (plain, high)]
    for name in ("difference_pct", "low_pct", "high_pct"):
        assert getattr(rows[0], name) == pytest.approx(getattr(rows[1], name), abs=1e-8)
    assert rows[1].p_exact is None
    assert "combines taken out" in rows[1].method
    pairs = [pair.difference for pair in rows[1].pair_differences]
    assert np.mean(pairs) == pytest.approx(rows[1].difference)


def test_balanced_combines_leave_the_comparison_as_it_is():
    frame = trial("aabb", offset=1.06)
    assert compare_treatments(frame, "o", PART, machines=shares(frame)) == compare_treatments(frame, "o", PART)


def test_a_strip_s_end_cut_by_another_combine_takes_nothing_out():
    frame = trial("aabb")
    few = shares(frame)
    few.iloc[0] = [0.95, 0.05]
    assert judge_mix(read_strips(frame, "o", "yield_kg_ha", machines=few).plots) == "balanced"


def test_sums_of_squares_add_up_and_are_statsmodels_own_in_order():
    frame = trial("abba", offset=1.06)
    table = smf.ols("yield_kg_ha ~ C(block) + machine + treatment", frame).fit()

    theirs = anova_lm(table, typ=1)
    rows = {row.source: row for row in compare_treatments(frame, "o", PART, machines=shares(frame)).anova}
    assert [rows[name].ss for name in ("block", "combine", "treatment", "residual")] == pytest.approx(
        theirs["sum_sq"].tolist()
    )
    assert sum(rows[name].ss for name in ("block", "combine", "treatment", "residual")) == pytest.approx(
        rows["total"].ss
    )
    assert rows["treatment"].p == pytest.approx(theirs.loc["treatment", "PR(>F)"])


def test_without_blocks_too():
    frame = trial("abaabbba", blocks=8).drop(columns="block")
    model = smf.ols("yield_kg_ha ~ machine + C(treatment, Treatment('o'))", frame).fit()
    row = compare_treatments(frame, "o", PART, machines=shares(frame)).differences[0]
    assert (row.difference, row.se) == pytest.approx((model.params.iloc[-1], model.bse.iloc[-1]))
