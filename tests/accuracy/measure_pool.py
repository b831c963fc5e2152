"""How often pooling errs: intervals of the mean and of another field over 2,000 sets of trials a row.

Run from the checkout: ``python tests/accuracy/measure_pool.py`` (some minutes). A quick, seeded version stands in
tests/pool/test_pool_simulated.py; the figures of docs/pool.md come from here.

Trials of 4 to 6 pairs; the scatter of a pair difference is 2.7 % in every trial, or drawn evenly from 1.4 to 5.4 %;
true differences scatter between trials by tau. Each trial's standard error is estimated from its own pairs.
"""

import itertools
import sys

import numpy as np

from proofstrip.pool.synthesis import pool_effects
from proofstrip.pool.variance import share_variance

SETS = 2000
CONFIDENCE = 0.95


def draw_trials(
    rng: np.random.Generator, count: int, tau: float, unlike: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Draw trials without effect: their mean differences, squared standard errors and numbers of pairs."""
    pairs = rng.integers(4, 7, size=count)
    scatter = rng.uniform(0.014, 0.054, size=count) if unlike else np.full(count, 0.027)
    true = rng.normal(0, tau, size=count)
    drawn = [rng.normal(true[j], scatter[j], size=pairs[j]) for j in range(count)]
    return (
        np.array([one.mean() for one in drawn]),
        np.array([one.var(ddof=1) / len(one) for one in drawn]),
        pairs.astype(float),
    )


def measure(count: int, tau: float, unlike: bool, shared: bool) -> tuple[float, float, float, float]:
    """Give the share of false effects, of means and other fields covered, and the median half-width of the mean [%]."""
    rng = np.random.default_rng([count, round(1e4 * tau), unlike])
    false, other, width = [], [], []
    for _ in range(SETS):
        y, v, pairs = draw_trials(rng, count, tau, unlike)
        if shared:
            v = share_variance(v, pairs - 1, pairs)[0]
        found = pool_effects(y, v, CONFIDENCE)
        another = rng.normal(0, tau)
        false.append(found.low > 0 or found.high < 0)
        other.append(found.prediction_low <= another <= found.prediction_high)
        width.append(50 * (found.high - found.low))
    wrong = float(np.mean(false))
    return 100 * wrong, 100 - 100 * wrong, 100 * float(np.mean(other)), float(np.median(width))


def main(counts: tuple[int, ...]) -> None:
    """Print a row for each kind of trials."""
    print("trials  tau %  scatter  variance  false effect %  mean covered %  other field covered %  half-width, points")
    for count, tau, unlike, shared in itertools.product(counts, (0.0, 0.02), (False, True), (False, True)):
        wrong, mean, other, width = measure(count, tau, unlike, shared)
        kinds = f"{'unlike' if unlike else 'alike':>7}  {'shared' if shared else 'own':>8}"
        found = f"{wrong:14.1f}  {mean:14.1f}  {other:21.1f}  {width:18.2f}"
        print(f"{count:6d}  {100 * tau:5.1f}  {kinds}  {found}", flush=True)


if __name__ == "__main__":
    main(tuple(map(int, sys.argv[1:])) or (3, 5, 10))
