"""Travel delay as accepted and by the ends of passes alone: ``python -m tests.accuracy.measure_delay [--seeds 3]``.

Every scenario is harvested; each machine's estimate, or refusal, and what entries and exits look like are held against
the mean time that its grain took.
"""

import argparse

import numpy as np

from proofstrip.clean.halves import find_half_times
from proofstrip.simulate import SCENARIOS, simulate_harvest
from tests.accuracy.harvests import judge_delays, plant, walk
from tests.accuracy.page import number, table

NOTHING = float("nan")


def measure(name: str, seed: int) -> list[tuple[float, float]]:
    """Give, for each machine of one harvest, the error of an accepted estimate and that of the ends of passes [s]."""
    harvest = simulate_harvest(plant(SCENARIOS[name], 5.0), seed)
    work = walk(harvest)
    flow = work.points["mass_flow_kg_s"].to_numpy(dtype=float)[work.track.row]
    halves = find_half_times(work.track, flow)
    found = []
    for delay, judged in zip(work.delays, judge_delays(harvest, work), strict=True):
        by_ends = halves.delay_of(work.track.names.index(delay.machine))
        away = NOTHING if by_ends is None else by_ends - (delay.seconds - judged.error_s)
        found.append((judged.error_s if judged.estimated else NOTHING, away))
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=3)
    seeds = parser.parse_args().seeds
    rows, every = [], []
    for name in SCENARIOS:
        errors = np.array([pair for seed in range(1, seeds + 1) for pair in measure(name, seed)])
        every.append(errors)
        cells = []
        for column in errors.T:
            known = column[np.isfinite(column)]
            cells += [str(len(known)), *(number(float(f(known)) if len(known) else NOTHING) for f in (np.min, np.max))]
        rows.append((f"`{name}`", *cells))
    head = [f"{way}: {what}" for way in ("accepted", "ends") for what in ("told", "least s", "most s")]
    print(table(("scenario", *head), rows))
    ends = np.concatenate(every)[:, 1]
    ends = ends[np.isfinite(ends)]
    spread = f"{ends.min():+.1f} to {ends.max():+.1f} s, mean {ends.mean():+.2f} s"
    print(f"\nends of passes: {len(ends)} machines, {spread}")


if __name__ == "__main__":
    main()
