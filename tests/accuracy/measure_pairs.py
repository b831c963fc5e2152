"""How much two strips of a block differ without any treatment: ``python -m tests.accuracy.measure_pairs``.

Behind the scatter that ``proofstrip layout`` assumes where the user gives none (docs/layout.md).
"""

from dataclasses import replace

import numpy as np

from proofstrip.simulate import SCENARIOS, Treatment, simulate_harvest

SEEDS = range(1, 16)


def measure(pass_error_sd: float) -> float:
    """Give the SD of the log ratio of the two strips of a pair, as a perfect pipeline would find it [%]."""
    scenario = replace(
        SCENARIOS["ordinary"], treatments=(Treatment("one"), Treatment("other")), pass_error_sd=pass_error_sd
    )
    ratios = []
    for seed in SEEDS:
        ground = simulate_harvest(scenario, seed).ground
        sums = (
            ground[ground["strip"] != ""]
            .groupby(["block", "treatment"], observed=True)[["sensed_mass_kg", "area_m2"]]
            .sum()
        )
        level = np.log(sums["sensed_mass_kg"] / sums["area_m2"]).unstack()
        ratios.append(level["other"] - level["one"])
    return float(100 * np.sqrt(np.mean(np.concatenate(ratios) ** 2)))


if __name__ == "__main__":
    for error in (0.0, 0.015, 0.03):
        print(f"pass error {100 * error:g} %: two strips of a pair differ by {measure(error):.2f} % (SD)")
