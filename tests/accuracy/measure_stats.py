"""How often each test calls equal treatments different: 2,000 null trials a design, nominal 5 %.

Run from the checkout: ``python tests/accuracy/measure_stats.py`` (about two minutes). The quick, seeded versions are in
tests/stats/test_simulated_trials.py; the figures of docs/stats.md come from here.
"""

import numpy as np

from proofstrip.stats.contrasts import contrast_control
from proofstrip.stats.design import Plots
from proofstrip.stats.linear import fit_blocks, fit_unblocked
from proofstrip.stats.mixed import fit_mixed
from proofstrip.stats.paired import sign_flip_p
from proofstrip.stats.permutation import permutation_p

TABLES = 2000


def make_plots(cells: np.ndarray) -> Plots:
    """Take a table of blocks x treatments, empty cells being absent."""
    block, treatment = np.nonzero(np.isfinite(cells))
    names, blocks = (tuple(map(str, range(size))) for size in cells.shape[::-1])
    return Plots(cells[block, treatment], treatment, block, None, names, blocks)


def null_cells(rng: np.random.Generator, blocks: int, treatments: int, block_sd: float) -> np.ndarray:
    """Draw yields that only blocks and chance make different (residual standard deviation 2)."""
    return 60 + rng.normal(0, block_sd, size=(blocks, 1)) + rng.normal(0, 2, size=(blocks, treatments))


def say(name: str, wrong: list[bool]) -> None:
    """Print a rate with its Monte Carlo range."""
    rate = float(np.mean(wrong))
    print(f"{name:<62}{100 * rate:5.1f} % (+- {196 * np.sqrt(rate * (1 - rate) / len(wrong)):.1f})")


def measure_pairs() -> None:
    """Measure the paired t and the sign-flip test."""
    for pairs in (4, 6, 8):
        rng = np.random.default_rng(pairs)
        cells = [null_cells(rng, pairs, 2, 5) for _ in range(TABLES)]
        say(f"{pairs} pairs, t test", [contrast_control(fit_blocks(make_plots(c)), 0.95).decided[0] for c in cells])
        say(f"{pairs} pairs, sign flips", [sign_flip_p(c[:, 1] - c[:, 0], 999, 1)[0] < 0.05 for c in cells])


def measure_blocks() -> None:
    """Measure Dunnett's test and the permutation of the largest t in complete blocks."""
    rng = np.random.default_rng(1)
    plots = [make_plots(null_cells(rng, 4, 5, 5)) for _ in range(TABLES)]
    say("4 blocks of 5, Dunnett", [contrast_control(fit_blocks(one), 0.95).decided.any() for one in plots])
    say("4 blocks of 5, re-randomised (999 draws)", [permutation_p(one, 999, 1)[0].min() < 0.05 for one in plots])


def measure_incomplete() -> None:
    """Measure Kenward-Roger with Dunnett where strips are lost and blocks are few."""
    for blocks, lost, block_sd in ((4, 3, 5.0), (5, 4, 5.0), (5, 4, 0.0), (8, 8, 2.0)):
        rng = np.random.default_rng(blocks)
        wrong = []
        for _ in range(TABLES):
            cells = null_cells(rng, blocks, 4, block_sd)
            cells[np.arange(lost) % blocks, rng.permutation(lost) % 3 + 1] = np.nan
            wrong.append(bool(contrast_control(fit_mixed(make_plots(cells)), 0.95).p_values().min() < 0.05))
        say(f"{blocks} blocks of 4, {lost} strips lost, block SD {block_sd:g}, Kenward-Roger", wrong)


def measure_unblocked() -> None:
    """Measure Welch's and the pooled test where scatter and numbers differ."""
    rng = np.random.default_rng(2)
    treatment = np.repeat([0, 1], [10, 4])
    welch, pooled = [], []
    for _ in range(TABLES):
        values = 60 + rng.normal(0, np.where(treatment == 0, 1.0, 4.0))
        fit = fit_unblocked(Plots(values, treatment, np.zeros(14, dtype=np.intp), None, ("a", "b"), ()))
        welch.append(bool(contrast_control(fit, 0.95).decided[0]))
        pooled.append(bool(fit.anova[0].p < 0.05))
    say("10 and 4 strips, scatter 1 and 4, Welch", welch)
    say("10 and 4 strips, scatter 1 and 4, pooled (not used)", pooled)


if __name__ == "__main__":
    measure_pairs()
    measure_blocks()
    measure_incomplete()
    measure_unblocked()
