"""What scale tickets that are not one load a strip are worth: ``python -m tests.accuracy.measure_tickets [SEEDS]``.

Two combines, one of which reads 6 % high; the strips are held against the grain that truly stood there, not against
what the sensor made of it. Behind the figures in docs/machines.md.
"""

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from proofstrip.config import load_settings
from proofstrip.run import assign, clean, exclude, moisture, read, scale, strips, weigh
from proofstrip.simulate import SCENARIOS, Scenario, Simulated, render_folder, simulate_harvest
from proofstrip.strips import make_strips, project_along
from proofstrip.work import Work
from tests.accuracy.harvests import Truth

STAGES = (read, weigh, clean, moisture, assign, exclude, strips, scale)
LOADS = ("combine", "block")


def walk(harvest: Simulated) -> Work:
    """Walk an invented harvest from its written files to the tickets."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in render_folder(harvest).items():
            (Path(folder) / name).write_text(text, encoding="utf-8")
        work = Work(load_settings(Path(folder) / "trial.toml"))
        for stage in STAGES:
            work = stage(work)
    return work


def errors_by_combine(harvest: Simulated, work: Work, scaled: bool) -> dict[str, np.ndarray]:
    """Give the errors of the strips' yields against what stood there [%], by combine."""
    points = work.points
    if not scaled:
        points = points.assign(standard_mass_kg=points["standard_mass_kg"] / work.factor)
    table = make_strips(points, work.strips_map, work.settings).set_index("strip")
    # In the place of what a perfect pipeline would find with this sensor, what there was.
    true = replace(harvest, ground=harvest.ground.assign(sensed_mass_kg=harvest.ground["true_mass_kg"]))
    truth = Truth(true, work.strips_map)
    used = points[points["usable"] & points["strip"].notna()]
    found = {}
    for name, own in table.groupby("machines"):
        mine = used[used["strip"].isin(own.index)]
        judged = truth.judge(
            own["yield_kg_ha"], own["yield_kg_ha"], project_along(mine, work.strips_map), mine["strip"]
        )
        found[str(name)] = np.array(judged.strip_pct)
    return found


def measure(scenario: Scenario, seeds: range) -> str:
    """Give a row: error of the factors, error of the strips and gap between the combines, before and after."""
    off, rms, gap = [], {False: [], True: []}, {False: [], True: []}
    for seed in seeds:
        harvest = simulate_harvest(scenario, seed)
        work = walk(harvest)
        sums = harvest.ground.groupby("machine", observed=True)[["true_mass_kg", "sensed_mass_kg"]].sum()
        true = sums["true_mass_kg"] / sums["sensed_mass_kg"]
        off += [100 * np.log(found.factor / true[found.machine]) for found in work.scale.factors]
        for scaled in (False, True):
            one, other = errors_by_combine(harvest, work, scaled).values()
            rms[scaled].append(np.mean(np.r_[one, other] ** 2))
            gap[scaled].append(other.mean() - one.mean())

    def told(scaled: bool) -> str:
        parts = (np.sqrt(np.mean(rms[scaled])), np.mean(gap[scaled]), np.sqrt(np.mean(np.square(gap[scaled]))))
        return " | ".join(f"{part:.2f}" for part in parts)

    return f"{np.sqrt(np.mean(np.square(off))):.2f} | {told(False)} | {told(True)}"


def main() -> None:
    """Print the table."""
    seeds = range(1, 1 + int(sys.argv[1]) if len(sys.argv) > 1 else 7)
    print("| harvest, loads by | factor RMS % | strips RMS % | gap % | gap RMS % | strips RMS % | gap % | gap RMS % |")
    print("|---|---|---|---|---|---|---|---|")
    for name in ("two_combines", "hard"):
        for load_of in LOADS:
            scenario = replace(SCENARIOS[name], tickets=True, load_of=load_of)
            print(f"| `{name}`, {load_of} | {measure(scenario, seeds)} |", flush=True)


if __name__ == "__main__":
    main()
