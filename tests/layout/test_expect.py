"""What a design can find, against statsmodels and the table of the paired t test."""

import numpy as np
import pytest
from statsmodels.stats.power import TTestPower
from tests.layout.fields import make_settings

from proofstrip.layout import expect
from proofstrip.layout.expect import find_detectable
from proofstrip.layout.summary import say_expectation

PRICES = (
    '[expect]\nyield = "60 bu/ac"\nsd_pct = {sd}\n[economics]\nprice = "10 USD/bu"\n[economics.cost]\nB = "18 USD/ac"'
)


@pytest.mark.parametrize(
    ("confidence", "pairs", "factor"),
    # Noncentral t, 80 % power, two-sided: the table that stands in tests/stats/test_power.py, checked there too.
    [(0.95, 3, 3.26), (0.95, 6, 1.43), (0.95, 12, 0.89), (0.90, 4, 1.65), (0.90, 6, 1.19), (0.90, 12, 0.77)],
)
def test_pairs_find_what_tables_say(confidence, pairs, factor) -> None:
    found = find_detectable(2.7, pairs, 2, confidence, 0.80)
    reference = TTestPower().solve_power(nobs=pairs, alpha=1 - confidence, power=0.80, alternative="two-sided")
    assert found == pytest.approx(2.7 * reference, rel=1e-5)
    assert found == pytest.approx(2.7 * factor, abs=0.0051 * 2.7)


def test_dunnett_design_finds_what_simulated_blocks_do() -> None:
    rng, blocks, kinds, sd = np.random.default_rng(7), 5, 3, 1.0
    true = find_detectable(sd, blocks, kinds, 0.90, 0.80)
    # Dunnett's two-sided critical value for 2 comparisons and 8 degrees of freedom at 0.10 from an own large draw.
    noise = rng.normal(size=(200_000, blocks, kinds)) * sd / np.sqrt(2)
    residual = noise - noise.mean(axis=1, keepdims=True) - noise.mean(axis=2, keepdims=True)
    residual += noise.mean(axis=(1, 2), keepdims=True)
    se = np.sqrt((residual**2).sum(axis=(1, 2)) / ((blocks - 1) * (kinds - 1)) * 2 / blocks)
    apart = (noise.mean(axis=1)[:, 1:] - noise.mean(axis=1)[:, :1]) / se[:, None]
    critical = np.quantile(np.abs(apart).max(axis=1), 0.90)
    power = np.mean(np.abs(apart[:, 0] + true / se) > critical)
    assert power == pytest.approx(0.80, abs=0.006)  # 200,000 draws: standard error 0.001, the critical value's the same


def test_a_cv_of_strips_is_root_two_less_than_the_sd_of_differences(tmp_path) -> None:
    by_sd, by_cv = (
        expect(make_settings(tmp_path, more=f"[expect]\n{key}")) for key in ("sd_pct = 4.0", "cv_pct = 2.8284")
    )
    assert by_sd.detectable_pct == pytest.approx(by_cv.detectable_pct, rel=1e-4)


def test_break_even_by_hand(tmp_path) -> None:
    found = expect(make_settings(tmp_path, replicates=6, more=PRICES.format(sd=2.7)))
    (one,) = found.break_even
    assert one.difference_kg_ha == pytest.approx(
        1.8 * 67.2511, rel=1e-5
    )  # 18 USD/ac at 10 USD/bu; kg/ha in a bushel an acre
    assert one.difference_pct == pytest.approx(3.0)
    assert one.replicates == 7  # 1.19 x 2.7 = 3.2 % with six, 1.07 x 2.7 = 2.9 % with seven
    assert found.detectable_kg_ha == pytest.approx(found.detectable_pct / 100 * 60 * 67.2511, rel=1e-5)


def test_sentences(tmp_path) -> None:
    settings = make_settings(tmp_path, replicates=6, more=PRICES.format(sd=2.7))
    said = " ".join(say_expectation(settings, expect(settings)))
    assert "A true difference of 3.2 % (129 kg/ha) or more is found in 80% of trials, at 90% confidence" in said
    assert "B pays from 121 kg/ha (3.0 %) on: a gain between that and 3.2 % would pay and may be missed" in said
    assert "it needs 7 replicates" in said
    assert "Assumed" not in said
    few = make_settings(tmp_path, replicates=3)
    said = " ".join(say_expectation(few, expect(few)))
    assert "Assumed for that: two strips of a block differ by 2.8 % (SD)" in said
    assert "cannot give a p-value below 0.25" in said
