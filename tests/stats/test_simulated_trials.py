"""Trials whose truth is known: error rates and coverage, seeded."""

import numpy as np
import pytest
from scipy import special
from tests.stats.tables import pair_table, settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.contrasts import contrast_control
from proofstrip.stats.design import Plots
from proofstrip.stats.linear import fit_blocks, fit_unblocked
from proofstrip.stats.mixed import fit_mixed
from proofstrip.stats.paired import sign_flip_p
from proofstrip.stats.power import detectable_difference

TABLES = 2000


def block_plots(cells: np.ndarray) -> Plots:
    """Complete blocks, or incomplete ones where cells are NaN."""
    block, treatment = np.nonzero(np.isfinite(cells))
    names = tuple(map(str, range(cells.shape[1])))
    return Plots(cells[block, treatment], treatment, block, None, names, tuple(map(str, range(len(cells)))))


def test_six_null_pairs_are_called_different_as_often_as_promised() -> None:
    rng = np.random.default_rng(2026)
    cells = 4000 + rng.normal(0, 250, size=(TABLES, 6, 1)) + rng.normal(0, 100, size=(TABLES, 6, 2))
    plots = [block_plots(table) for table in cells]
    found = [contrast_control(fit_blocks(one), 0.95) for one in plots]
    rate = np.mean([contrasts.decided[0] for contrasts in found])
    assert 0.035 <= rate <= 0.065
    covered = np.mean(
        [abs(c.difference[0]) <= c.critical[0] * c.se[0] for c in found]  # the true difference is zero
    )
    assert 0.935 <= covered <= 0.965


def test_six_null_pairs_through_the_front_door() -> None:
    rng = np.random.default_rng(7)
    wrong = 0
    for _ in range(300):
        old = 4000 + rng.normal(0, 250, size=6)
        new = old + rng.normal(0, 150, size=6)
        row = compare_treatments(pair_table(new.tolist(), old.tolist()), "old", settings(0.90), "yield").differences[0]
        wrong += row.p_value < 0.10
    assert 15 <= wrong <= 48  # 30 expected, 3.5 standard deviations each way


def test_interval_covers_a_true_gain() -> None:
    rng = np.random.default_rng(3)
    truth = 180.0
    cells = 4000 + rng.normal(0, 250, size=(TABLES, 6, 1)) + rng.normal(0, 100, size=(TABLES, 6, 2))
    cells[:, :, 1] += truth
    covered = 0
    for table in cells:
        contrasts = contrast_control(fit_blocks(block_plots(table)), 0.90)
        covered += abs(contrasts.difference[0] - truth) <= contrasts.critical[0] * contrasts.se[0]
    assert covered / TABLES == pytest.approx(0.90, abs=0.02)


def test_sign_flip_never_exceeds_its_level() -> None:
    # Exact whatever the distribution: here log-normal pair differences, symmetric about zero by construction.
    rng = np.random.default_rng(5)
    signs = rng.choice([-1, 1], size=(TABLES, 7))
    differences = signs * np.exp(rng.normal(0, 1.5, size=(TABLES, 7)))
    rate = np.mean([sign_flip_p(row, 999, 1)[0] <= 0.05 for row in differences])
    assert rate <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / TABLES)
    assert rate >= 0.03  # attainable levels are multiples of 2/128: 3/64 is the largest below 5 %


def test_detectable_difference_is_found_with_its_power() -> None:
    rng = np.random.default_rng(6)
    critical = float(-special.stdtrit(5, 0.05))
    truth = detectable_difference(np.sqrt(2) * 100 / np.sqrt(6), 5.0, critical, 0.80)
    cells = 4000 + rng.normal(0, 250, size=(TABLES, 6, 1)) + rng.normal(0, 100, size=(TABLES, 6, 2))
    cells[:, :, 1] += truth
    found = np.mean([contrast_control(fit_blocks(block_plots(table)), 0.90).decided[0] for table in cells])
    assert found == pytest.approx(0.80, abs=0.03)


def test_dunnett_keeps_the_family_error_in_blocks() -> None:
    rng = np.random.default_rng(8)
    cells = 60 + rng.normal(0, 3, size=(TABLES, 4, 1)) + rng.normal(0, 2, size=(TABLES, 4, 5))
    wrong = np.mean([contrast_control(fit_blocks(block_plots(table)), 0.95).decided.any() for table in cells])
    assert 0.035 <= wrong <= 0.065


def test_incomplete_blocks_keep_the_family_error() -> None:
    # Five blocks of four treatments with four strips lost: REML with few blocks is where plain standard errors fail.
    rng = np.random.default_rng(9)
    wrong = 0
    for _ in range(300):
        cells = 60 + rng.normal(0, 3, size=(5, 1)) + rng.normal(0, 2, size=(5, 4))
        cells[[0, 1, 2, 3], [1, 2, 3, 1]] = np.nan
        wrong += contrast_control(fit_mixed(block_plots(cells)), 0.95).p_values().min() < 0.05
    assert 4 <= wrong <= 30  # 15 expected; 2,000 such tables are measured in tests/accuracy


def test_welch_holds_where_the_pooled_test_does_not() -> None:
    rng = np.random.default_rng(10)
    treatment = np.repeat([0, 1], [10, 4])
    welch = pooled = 0
    for _ in range(TABLES):
        values = 60 + rng.normal(0, np.where(treatment == 0, 1.0, 4.0))
        fit = fit_unblocked(Plots(values, treatment, np.zeros(14, dtype=np.intp), None, ("a", "b"), ()))
        welch += contrast_control(fit, 0.95).decided[0]
        pooled += fit.anova[0].p < 0.05
    assert pooled / TABLES > 0.15
    assert 0.035 <= welch / TABLES <= 0.075
