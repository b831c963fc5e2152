"""How often the checks of cleaning call a harmless trial harmed, and whether they find harm that was planted.

Run from the checkout: ``python -m tests.accuracy.measure_harm [--seeds 40] [--workers 2]``. The figures of
docs/checks.md come from here. Every harvest goes the whole way from raw records to its checks. Harm is planted as a
filter by value in the place of the spike filter: it takes the records whose yield is far below their pass's, which a
treatment that damages patches of its strips has most of. No filter sees a treatment.
"""

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from unittest.mock import patch

import numpy as np

from proofstrip import sensitivity
from proofstrip.checks import check_removals
from proofstrip.clean import filters, sensor
from proofstrip.clean.filters import Evidence
from proofstrip.clean.track import Bools
from proofstrip.config import CleanPart
from proofstrip.dependence import check_cleaning
from proofstrip.flags import Flag
from proofstrip.run import machines, side_effects, stats
from proofstrip.simulate import SCENARIOS, Scenario, Simulated, Treatment, simulate_harvest
from proofstrip.treatment_delay import note_delays
from tests.accuracy.harvests import plant, walk

LOW_SHARE = 0.75


def take_low(evidence: Evidence, settings: CleanPart) -> Bools:
    """Flag what lies far below its pass's median: a filter by value, as it must not be."""
    level = sensor.median_by_pass(np.where(evidence.sound, evidence.density, np.nan), evidence.cut.pass_id)
    return evidence.sound & (evidence.density < LOW_SHARE * level)


@contextmanager
def planted(flag: Flag | None) -> Iterator[None]:
    """Put the filter by value in the place of another, or of none."""
    changed = tuple((one, take_low if one is flag else judge) for one, judge in filters.FILTERS)
    with patch.object(filters, "FILTERS", changed):
        yield


def damage(loss: float, share: float) -> Scenario:
    """Give the ordinary trial a treatment that damages patches of 25 m of its strips."""
    tried = Treatment("tried", effect=1 - loss)
    return replace(
        SCENARIOS["ordinary"], treatments=(Treatment("control"), tried), effect_patch_share=share, effect_patch_m=25.0
    )


def delay_tried(harvest: Simulated, seconds: float) -> Simulated:
    """Let the grain of the tried strips reach the sensor later; a turn belongs to the pass before it."""
    records = harvest.records.copy()
    label = harvest.trial_map.set_index("strip")["treatment"]
    driven = records[(records["true_pass"] > 0) & (records["true_strip"] != "")]
    strip = driven.groupby("true_pass")["true_strip"].agg(lambda names: names.mode().iloc[0])
    tried = records["true_pass"].replace(0, np.nan).ffill().map(strip).map(label) == "tried"
    for _, own in records.groupby("machine", observed=True):
        late = np.interp(own["time"] - seconds, own["time"], own["mass_flow_kg_s"])
        records.loc[own.index, "mass_flow_kg_s"] = np.where(tried[own.index], late, own["mass_flow_kg_s"])
    return replace(harvest, records=records)


@dataclass(frozen=True)
class Case:
    """A trial; the flag in whose place the filter by value stands; how much later the tried grain arrives [s]."""

    scenario: Scenario
    flag: Flag | None = None
    later_s: float = 0.0


NULL = plant(SCENARIOS["ordinary"], 0.0)
HARMLESS = {
    "`ordinary`, 6 pairs": Case(NULL),
    "the same, 4 pairs": Case(replace(NULL, blocks=4)),
    "the same, 3 pairs": Case(replace(NULL, blocks=3)),
    "the same, 4 blocks of 5": Case(replace(NULL, blocks=4, treatments=tuple(Treatment(name) for name in "abcde"))),
    "`hard`, 6 pairs": Case(plant(SCENARIOS["hard"], 0.0)),
    "filter by value, no damage": Case(NULL, Flag.SPIKE),
    "damage, no filter by value": Case(damage(0.5, 0.2)),
}
HARM = {
    "filter by value as `spike`": Case(damage(0.5, 0.2), Flag.SPIKE),
    "the same, 4 pairs": Case(replace(damage(0.5, 0.2), blocks=4), Flag.SPIKE),
    "filter by value as `flow_range`": Case(damage(0.5, 0.2), Flag.FLOW_RANGE),
    "as `spike`, half the damage": Case(damage(0.4, 0.1), Flag.SPIKE),
    "grain 2 s later in one treatment": Case(NULL, None, 2.0),
    "2 s later, 4 pairs": Case(replace(NULL, blocks=4), None, 2.0),
}
LOOKS = ("removed", "by its margin alone", "depends", "by its margin alone", "delay differs")


def look(case: Case, seed: int) -> tuple[bool, ...]:
    """Walk one harvest and ask the checks; then the same without a word on chance."""
    harvest = simulate_harvest(case.scenario, seed)
    harvest = delay_tried(harvest, case.later_s) if case.later_s else harvest
    levels = tuple(choice for choice in sensitivity.CLEANING if choice.name in sensitivity.LEVELS)
    with planted(case.flag), patch.object(sensitivity, "list_choices", lambda material: levels):
        work = stats(machines(side_effects(walk(harvest))))
    control, comparison = work.settings.trial_map.control, work.compared
    silent = tuple(replace(row, seldom=None) for row in work.removals)
    unshifted = tuple(replace(row, shift=None) for row in work.alternatives)
    checks = (
        check_removals(work.removals, control),
        check_removals(silent, control),
        check_cleaning(comparison, work.alternatives),
        check_cleaning(comparison, unshifted),
    )
    failed = (check.passed is False for check in checks)
    return (*failed, bool(note_delays(work.treatment_delays, control)))


def measure(cases: dict[str, Case], seeds: int, workers: int) -> Iterator[str]:
    """Walk many harvests of each case and give the rows of a table."""
    yield "| trial | harvests | " + " | ".join(LOOKS) + " |"
    yield "|---|---" + "|---" * len(LOOKS) + "|"
    with ProcessPoolExecutor(workers) as pool:
        for name, case in cases.items():
            found = np.array(list(pool.map(partial(look, case), range(1, seeds + 1))))
            cells = " | ".join(f"{share:.0f} %" for share in 100 * found.mean(axis=0))
            yield f"| {name} | {seeds} | {cells} |"


def main() -> None:
    """Measure harmless trials, and planted harm."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.measure_harm", description=__doc__)
    parser.add_argument("--seeds", type=int, default=40)
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    for title, cases in (("Harmless", HARMLESS), ("Harm", HARM)):
        print(f"\n{title}: share of harvests in which a check fails\n")
        for row in measure(cases, chosen.seeds, chosen.workers):
            print(row, flush=True)


if __name__ == "__main__":
    main()
