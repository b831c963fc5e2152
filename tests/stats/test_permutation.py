"""Re-randomising: exact where all arrangements can be counted, seeded where not."""

from itertools import permutations, product

import numpy as np
import pytest
import scipy.stats
from tests.stats.tables import block_table, loose_table

from proofstrip.stats.design import Plots
from proofstrip.stats.paired import sign_flip_p
from proofstrip.stats.permutation import permutation_p
from proofstrip.stats.table import read_strips

ROWS = [[60.0, 62.5, 61.0], [58.0, 61.0, 60.5], [61.5, 63.0, 61.0]]


def plots_of(rows: list[list[float | None]]) -> Plots:
    names = list("abcdef")[: len(rows[0])]
    return read_strips(block_table(names, rows), "a", "yield").plots


def largest_t(cells: np.ndarray) -> np.ndarray:
    """t of each treatment against the first by the analysis of complete blocks, written out."""
    n, k = cells.shape
    rest = cells - cells.mean(axis=0) - cells.mean(axis=1, keepdims=True) + cells.mean()
    means = cells.mean(axis=0)
    return np.abs(means[1:] - means[0]) / np.sqrt(2 * (rest**2).sum() / ((n - 1) * (k - 1)) / n)


def test_all_arrangements_of_three_blocks() -> None:
    cells = np.array(ROWS)
    observed = largest_t(cells)
    every = [largest_t(np.array(rows)).max() for rows in product(*(permutations(row) for row in ROWS))]
    p, floor, draws = permutation_p(plots_of(ROWS), 10_000, 1)
    assert len(every) == 216
    assert draws is None
    assert p == pytest.approx([np.mean(np.array(every) >= t - 1e-9) for t in observed])
    assert floor == pytest.approx(np.mean(np.array(every) >= max(every) - 1e-9))


def test_two_treatments_without_blocks_are_scipys_permutation_test() -> None:
    old, new = [60.0, 62.0, 58.5, 61.0], [62.5, 63.0, 61.5, 63.5, 64.5]
    p, _, draws = permutation_p(read_strips(loose_table(old=old, new=new), "old", "yield").plots, 10_000, 1)
    reference = scipy.stats.permutation_test(
        (new, old),
        lambda a, b: abs(np.mean(a) - np.mean(b)),
        n_resamples=np.inf,
        alternative="greater",
        vectorized=False,
    )
    assert draws is None
    assert p[0] == pytest.approx(reference.pvalue)


def test_drawn_arrangements_come_near_the_counted_ones() -> None:
    plots = plots_of(ROWS)
    counted, _, _ = permutation_p(plots, 10_000, 1)
    drawn, floor, draws = permutation_p(plots, 215, 1)
    many = np.mean([permutation_p(plots, 215, seed)[0] for seed in range(40)], axis=0)
    assert draws == 215
    assert floor == pytest.approx(1 / 216)
    assert drawn == pytest.approx(counted, abs=0.12)
    assert many == pytest.approx(counted, abs=0.02)


def test_incomplete_blocks_stay_in_their_blocks() -> None:
    rows = [[60.0, 62.5, None], [58.0, None, 60.5], [61.5, 63.0, 61.0], [None, 64.0, 62.0]]
    plots = plots_of(rows)
    p, floor, draws = permutation_p(plots, 10_000, 1)
    assert draws is None  # 2 x 2 x 6 x 2 arrangements
    assert floor >= 1 / 48
    assert np.all((p >= floor) & (p <= 1))


def test_signs_are_drawn_above_twenty_pairs() -> None:
    rng = np.random.default_rng(2)
    differences = rng.normal(0.6, 1.0, size=25)
    p, floor, draws = sign_flip_p(differences, 5000, 1)
    assert draws == 5000
    assert floor == pytest.approx(1 / 5001)
    assert p == sign_flip_p(differences, 5000, 1)[0]
    assert p == pytest.approx(scipy.stats.ttest_1samp(differences, 0).pvalue, abs=0.01)


def test_exact_up_to_twenty_pairs() -> None:
    differences = np.random.default_rng(3).normal(0.3, 1.0, size=20)
    p, floor, draws = sign_flip_p(differences, 999, 1)
    assert draws is None
    assert floor == pytest.approx(2 / 2**20)
    assert p == pytest.approx(scipy.stats.ttest_1samp(differences, 0).pvalue, abs=0.02)
