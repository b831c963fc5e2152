"""What limits of the spike filter do to damage that is real: ``python -m tests.accuracy.measure_spikes [--seeds 40]``.

A treatment costs a quarter of the yield in patches on a tenth of its ground, as plugging or lodging does: a filter by
value takes that for an error. Each harvest is cleaned with several limits and without any; docs/clean.md has the table.
"""

import argparse
from dataclasses import replace

import numpy as np

from proofstrip.simulate import SCENARIOS, Scenario, Treatment, simulate_harvest
from tests.accuracy.harvests import walk
from tests.accuracy.page import number, table

DAMAGE = replace(
    SCENARIOS["patchy"],
    treatments=(Treatment("control"), Treatment("tried", effect=0.75)),
    effect_patch_share=0.1,
)
NO_LIMIT = 1e9
LIMITS = (5.0, 3.5, 2.0)


def measure(scenario: Scenario, seed: int) -> list[tuple[float, float]]:
    """Give the effect [log ratio x 100] and the share of records removed [%] without a limit, then with each."""
    harvest = simulate_harvest(scenario, seed)
    found = []
    for limit in (NO_LIMIT, *LIMITS):
        strips = walk(harvest, spike_mad=limit).strips
        level = 100 * np.log(strips["yield_kg_ha"]).groupby(strips["treatment"]).mean()
        found.append((float(level["tried"] - level["control"]), 100 * float(strips["share_removed"].mean())))
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=40)
    seeds = parser.parse_args().seeds
    rows = []
    for patch_m in (10.0, 25.0):
        found = np.array([measure(replace(DAMAGE, effect_patch_m=patch_m), seed) for seed in range(1, seeds + 1)])
        for k, limit in enumerate(LIMITS, start=1):
            change, removed = found[:, k, 0] - found[:, 0, 0], found[:, k, 1].mean()
            error = change.std(ddof=1) / seeds**0.5
            rows.append(
                (f"{patch_m:g}", f"{limit:g}", number(change.mean(), sign=True), number(error), f"{removed:.1f}")
            )
    head = ("patch m", "spike_mad", "shrinks the effect by points", "standard error", "removed %")
    print(table(head, rows))


if __name__ == "__main__":
    main()
