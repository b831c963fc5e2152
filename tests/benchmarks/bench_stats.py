"""How long statistics take beside the plainest test: 2,000 strip tables of 12 strips.

Run from the checkout: ``python tests/benchmarks/bench_stats.py``. Not part of the tests: timings say nothing about
right and wrong. The aim: comparing 2,000 tables takes less than 60 times 2,000 calls of ``scipy.stats.ttest_rel``.
"""

import statistics
import time
from collections.abc import Callable

import numpy as np
import pandas as pd
import scipy.stats

from proofstrip.config import load_defaults
from proofstrip.stats import compare_treatments

TABLES = 2000
AIM = 60


def make_tables(treatments: int, blocks: int) -> list[pd.DataFrame]:
    """Make invented strip tables."""
    rng = np.random.default_rng(1)
    names = [f"t{number}" for number in range(treatments)] * blocks
    labels = np.repeat([f"block {number}" for number in range(blocks)], treatments)
    strips = [f"strip {number}" for number in range(len(names))]
    return [
        pd.DataFrame(
            {"strip": strips, "block": labels, "treatment": names, "yield_kg_ha": rng.normal(4000, 300, len(names))}
        )
        for _ in range(TABLES)
    ]


def time_all(work: Callable[[], object], runs: int = 3) -> float:
    """Give the median time of several runs [s]."""
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def main() -> None:
    """Print the figures."""
    settings = load_defaults().stats
    pairs = [table["yield_kg_ha"].to_numpy().reshape(6, 2) for table in make_tables(2, 6)]
    plain = time_all(lambda: [scipy.stats.ttest_rel(pair[:, 1], pair[:, 0]) for pair in pairs])
    print(f"scipy.stats.ttest_rel, 6 pairs: {plain:.2f} s for {TABLES} tables")
    for treatments, blocks in ((2, 6), (3, 4), (4, 3)):
        tables = make_tables(treatments, blocks)
        ours = time_all(lambda tables=tables: [compare_treatments(table, "t0", settings) for table in tables])
        print(
            f"compare_treatments, {treatments} treatments in {blocks} blocks: {ours:.2f} s for {TABLES} tables, "
            f"{ours / plain:.1f} times ttest_rel (aim: below {AIM})"
        )


if __name__ == "__main__":
    main()
