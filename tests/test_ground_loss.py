"""Ground loss: seeds become grain, zones become losses, and losses are set against the gain."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from proofstrip.config import config_folder, load_defaults
from proofstrip.crops import find_crop
from proofstrip.errors import DataError
from proofstrip.ground_loss import add_up_losses, measure_dispersion, to_kg_ha
from proofstrip.loss_balance import balance_gain, check_balance, compare_losses
from proofstrip.stats import compare_treatments
from proofstrip.stats.wording import choose_unit
from proofstrip.tier import judge_evidence

SOYBEAN = find_crop("soybean", config_folder())
STATS = load_defaults().stats
# 100 g a thousand and a frame of 1 m2: a seed is a kilogram a hectare.
GRAMS = 100.0
PAIRS = 6
NOISE = np.array([4.0, -3.0, 1.0, -5.0, 2.0, 1.0])


def strip_table(tried_gain: float = 60.0) -> pd.DataFrame:
    rows = []
    for pair in range(PAIRS):
        level = 3000.0 + 40 * pair
        rows.append((f"P{pair}", "plain", f"B{pair}", level))
        rows.append((f"T{pair}", "tried", f"B{pair}", level + tried_gain + NOISE[pair]))
    return pd.DataFrame(rows, columns=["strip", "treatment", "block", "yield_kg_ha"])


def frames_of(strips: pd.DataFrame, header: dict[str, float], frames: int = 4, spread: float = 0.0) -> pd.DataFrame:
    """Count 20 before the harvest, the header's loss by treatment, 30 in the machine."""
    rows = []
    for place, row in enumerate(strips.itertuples()):
        lost = header[row.treatment] + spread * (-1) ** (place // 2)
        for zone, seeds in (("preharvest", 20.0), ("header", 20.0 + lost), ("total", 50.0 + lost)):
            rows += [(row.strip, zone, seeds, 1.0)] * frames
    return pd.DataFrame(rows, columns=["strip", "zone", "seeds", "area_m2"])


def test_zones_become_losses() -> None:
    strips = strip_table()
    found = add_up_losses(frames_of(strips, {"plain": 100, "tried": 40}), strips, SOYBEAN, GRAMS)
    first, second = found.table.iloc[0], found.table.iloc[1]
    assert first[["preharvest_kg_ha", "header_kg_ha", "machine_kg_ha", "harvest_kg_ha"]].tolist() == [20, 100, 30, 130]
    assert second["harvest_kg_ha"] == 70
    assert found.notices == ()
    assert found.table["frames"].tolist() == [12] * 12


def test_frames_of_unlike_size_weigh_by_their_ground() -> None:
    frames = pd.DataFrame({"strip": "P0", "zone": "preharvest", "seeds": [10.0, 100.0], "area_m2": [1.0, 4.0]})
    assert add_up_losses(frames, strip_table(), SOYBEAN, GRAMS).table["preharvest_kg_ha"].iloc[0] == 22.0


def test_what_falls_in_a_narrow_row_is_spread_over_the_cut() -> None:
    strips = strip_table()
    frames = frames_of(strips, {"plain": 100, "tried": 40})
    table = add_up_losses(frames, strips, SOYBEAN, GRAMS, concentration=6.0).table
    assert table["machine_kg_ha"].tolist() == pytest.approx([5.0] * 12)
    assert table["harvest_kg_ha"].iloc[0] == pytest.approx(105.0)


def test_kernel_weight_of_the_crop_stands_in() -> None:
    strips = strip_table()
    found = add_up_losses(frames_of(strips, {"plain": 100, "tried": 40}), strips, SOYBEAN, None)
    assert found.thousand_kernel_g == SOYBEAN.thousand_kernel_weight_g
    assert found.table["header_kg_ha"].iloc[0] == pytest.approx(156.0)


def test_preharvest_of_the_block_stands_in_and_is_said() -> None:
    strips = strip_table()
    frames = frames_of(strips, {"plain": 100, "tried": 40})
    frames.loc[(frames["strip"] == "P0") & (frames["zone"] == "preharvest"), "seeds"] = 28.0
    frames = frames[~((frames["strip"] == "T0") & (frames["zone"] == "preharvest"))]
    found = add_up_losses(frames, strips, SOYBEAN, GRAMS)
    assert found.table["preharvest_kg_ha"].tolist()[:3] == [28.0, 28.0, 20.0]
    assert "1 strip without a preharvest frame (T0)" in found.notices[0].message


@pytest.mark.parametrize(
    ("zone", "lost", "kept", "said"),
    [
        ("preharvest", ["header_kg_ha", "harvest_kg_ha"], "machine_kg_ha", "No frame was counted in the standing crop"),
        ("header", ["header_kg_ha", "machine_kg_ha"], "harvest_kg_ha", "cannot be told apart"),
        ("total", ["machine_kg_ha", "harvest_kg_ha"], "header_kg_ha", "machine loss is not known"),
    ],
)
def test_a_zone_that_was_not_counted_is_named(zone: str, lost: list[str], kept: str, said: str) -> None:
    strips = strip_table()
    frames = frames_of(strips, {"plain": 100, "tried": 40})
    found = add_up_losses(frames[frames["zone"] != zone], strips, SOYBEAN, GRAMS)
    assert found.table[lost].isna().all(axis=None)
    assert found.table[kept].notna().all()
    assert said in " ".join(notice.message for notice in found.notices)


def test_few_frames_and_swapped_zones_are_said() -> None:
    strips = strip_table()
    frames = frames_of(strips, {"plain": 100, "tried": 40}, frames=2)
    frames["zone"] = frames["zone"].map({"preharvest": "header", "header": "preharvest", "total": "total"})
    said = " ".join(notice.message for notice in add_up_losses(frames, strips, SOYBEAN, GRAMS).notices)
    assert "36 of 36 means of strip and zone rest on fewer than 4 frames" in said
    assert "zones were swapped" in said


def test_more_than_any_crop_bears_is_refused() -> None:
    frames = pd.DataFrame({"strip": ["P0"], "zone": ["total"], "seeds": [4000.0], "area_m2": [0.0929]})
    with pytest.raises(DataError, match=r"strip 'P0', total: 4000 seeds on 0.0929 m2 .* no soybean field bears"):
        add_up_losses(frames, strip_table(), SOYBEAN, None)


def test_frames_at_random_scatter_as_poisson_says() -> None:
    rng = np.random.default_rng(1)
    strip = np.repeat([f"S{k}" for k in range(40)], 20)
    rate = np.repeat(rng.uniform(2, 30, 40), 20)
    frames = pd.DataFrame({"strip": strip, "zone": "total", "seeds": rng.poisson(rate).astype(float), "area_m2": 1.0})
    found = measure_dispersion(frames)
    assert found is not None
    assert (found.df, found.frames) == (760, 800)
    # SD of the index is sqrt(2 / df) = 0.05.
    assert found.ratio == pytest.approx(1.0, abs=0.15)
    heaps = frames.assign(seeds=rng.negative_binomial(3, 3 / (3 + rate)).astype(float))
    uneven = measure_dispersion(heaps)
    assert uneven is not None
    assert uneven.uneven
    assert uneven.ratio > 3


def test_nothing_repeated_or_nothing_found_has_no_scatter() -> None:
    frames = pd.DataFrame({"strip": ["a", "b"], "zone": "total", "seeds": [3.0, 5.0], "area_m2": 1.0})
    assert measure_dispersion(frames) is None
    assert measure_dispersion(pd.concat([frames, frames]).assign(seeds=0.0)) is None


def settle(gain: float, header: dict[str, float], spread: float = 4.0):
    strips = strip_table(gain)
    losses = add_up_losses(frames_of(strips, header, spread=spread), strips, SOYBEAN, GRAMS)
    comparison = compare_treatments(strips, "plain", STATS)
    return losses, strips, balance_gain(losses, strips, comparison, STATS)


def test_losses_are_compared_in_pairs_like_yields() -> None:
    losses, strips, _ = settle(60, {"plain": 100, "tried": 40})
    found = {row.loss: row for row in compare_losses(losses, strips, "plain", STATS)}
    row = found["header"]
    assert (row.treatment, row.control, row.pairs) == ("tried", "plain", PAIRS)
    assert row.difference_kg_ha == pytest.approx(-60.0)
    # No machine loss differs: there is nothing to compare.
    assert set(found) == {"header", "harvest"}


def test_the_same_amount_on_every_strip_changes_no_difference() -> None:
    strips = strip_table()
    frames = frames_of(strips, {"plain": 5, "tried": -10}, spread=6.0)
    losses = add_up_losses(frames, strips, SOYBEAN, GRAMS)
    assert losses.table["header_kg_ha"].min() < 0
    (row,) = [row for row in compare_losses(losses, strips, "plain", STATS) if row.loss == "header"]
    table = strips.assign(up=losses.table["header_kg_ha"] + 1000)
    (other,) = compare_treatments(table, "plain", STATS, "up").differences
    assert row.difference_kg_ha == pytest.approx(other.difference)
    assert row.low_kg_ha == pytest.approx(other.low)


@pytest.mark.parametrize(
    ("gain", "header", "word"),
    [
        (60, {"plain": 100, "tried": 40}, "agrees"),
        (0, {"plain": 100, "tried": 100}, "agrees"),
        (60, {"plain": 100, "tried": 95}, "too_large"),
        (200, {"plain": 100, "tried": 40}, "too_large"),
        (5, {"plain": 100, "tried": 40}, "too_small"),
        (-60, {"plain": 40, "tried": 100}, "agrees"),
        (-5, {"plain": 40, "tried": 100}, "too_large"),
    ],
)
def test_a_gain_is_held_against_what_was_saved(gain: float, header: dict[str, float], word: str) -> None:
    _, _, (balance,) = settle(gain, header)
    assert balance.word == word
    assert balance.unexplained_kg_ha == pytest.approx(balance.gain_kg_ha - balance.saved_kg_ha)


def test_counts_that_scatter_neither_confirm_nor_deny() -> None:
    strips = strip_table(60)
    frames = frames_of(strips, {"plain": 300, "tried": 250})
    wild = pd.Series(dict(zip(strips["strip"], np.tile([150.0, 0.0, 0.0, 150.0], 3), strict=True)))
    behind = frames["zone"] != "preharvest"
    frames.loc[behind, "seeds"] += frames.loc[behind, "strip"].map(wild)
    losses = add_up_losses(frames, strips, SOYBEAN, GRAMS)
    (balance,) = balance_gain(losses, strips, compare_treatments(strips, "plain", STATS), STATS)
    assert balance.word == "too_rough"
    unit = choose_unit("kg/ha", "us", SOYBEAN.kg_ha_per_bu_ac)
    (check,) = check_balance((balance,), "harvest", False, unit)
    assert check.passed is None
    assert judge_evidence(False, (), (balance,)).tier == "monitor"


def test_gain_beyond_all_that_was_lost_is_called_the_sensors() -> None:
    _, _, balances = settle(200, {"plain": 100, "tried": 40})
    unit = choose_unit("kg/ha", "us", SOYBEAN.kg_ha_per_bu_ac)
    (check,) = check_balance(balances, "harvest", False, unit)
    assert check.passed is False
    assert "Even all that plain lost, 1.9 bu/ac, is less than the gain." in check.note
    assert "likely the sensor's doing" in check.note
    (weighed,) = check_balance(balances, "harvest", True, unit)
    assert "sensor" not in weighed.note
    (crop,) = check_balance(balances, "crop", False, unit)
    assert crop.passed is None


def test_without_counts_behind_the_machine_header_loss_is_set_against_the_gain() -> None:
    strips = strip_table(60)
    frames = frames_of(strips, {"plain": 100, "tried": 40}, spread=4.0)
    losses = add_up_losses(frames[frames["zone"] != "total"], strips, SOYBEAN, GRAMS)
    (balance,) = balance_gain(losses, strips, compare_treatments(strips, "plain", STATS), STATS)
    assert (balance.loss, balance.word, balance.most_kg_ha) == ("header", "agrees", pytest.approx(100.0))


def test_one_pair_gives_figures_and_no_judgement() -> None:
    strips = strip_table(60).head(2)
    losses = add_up_losses(frames_of(strips, {"plain": 100, "tried": 40}), strips, SOYBEAN, GRAMS)
    (balance,) = balance_gain(losses, strips, compare_treatments(strips, "plain", STATS), STATS)
    assert balance.word is None
    assert balance.saved_kg_ha == pytest.approx(60.0)


def test_counts_in_one_treatment_only_are_no_comparison() -> None:
    strips = strip_table(60)
    frames = frames_of(strips, {"plain": 100, "tried": 40})
    losses = add_up_losses(frames[frames["strip"].str.startswith("T")], strips, SOYBEAN, GRAMS)
    assert compare_losses(losses, strips, "plain", STATS) == ()
    assert balance_gain(losses, strips, compare_treatments(strips, "plain", STATS), STATS) == ()


@pytest.mark.parametrize(
    ("weighed", "word", "acts_on", "tier"),
    [
        (True, "agrees", "harvest", "scale_and_counts"),
        (False, "agrees", "harvest", "monitor_and_counts"),
        (True, None, "harvest", "scale"),
        (False, "too_rough", "harvest", "monitor"),
        (True, "too_large", "harvest", "in_conflict"),
        (False, "too_small", "harvest", "in_conflict"),
        (False, "too_large", "crop", "monitor"),
    ],
)
def test_tier_says_which_measures_agree(weighed: bool, word: str | None, acts_on: str, tier: str) -> None:
    _, _, (balance,) = settle(60, {"plain": 100, "tried": 40})
    found = judge_evidence(weighed, (), (replace(balance, word=word),), acts_on)
    assert found.tier == tier
    assert judge_evidence(weighed, (), (), acts_on).tier == ("scale" if weighed else "monitor")


def test_seeds_to_grain_by_weight() -> None:
    assert to_kg_ha(np.array([4.0]), np.array([0.09290304]), 156.2)[0] / 67.2511 == pytest.approx(1.0, abs=2e-4)


def test_tickets_that_scale_the_combine_are_told_from_no_scale_at_all():
    alone, scaled = (judge_evidence(False, (), (), scaled=scaled).sentence for scaled in (False, True))
    assert "No strip was weighed, so a treatment that misleads" in alone
    assert (
        "Scale tickets set the level of the combine's yields, but no strip was weighed alone, so a treatment" in scaled
    )
