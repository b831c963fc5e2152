"""How far strip yields and travel delays are from the truth, by scenario of the simulator.

Run from the checkout: ``python tests/accuracy/measure_clean.py [--seeds 20] [--spikes] [SCENARIO ...]``. The figures of
docs/clean.md come from here. A strip is compared with what a perfect pipeline would get from the same drifting sensor:
the sensed grain over the ground, in the same stretch of the same strip.
"""

import argparse
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from proofstrip.config import load_settings
from proofstrip.errors import DataError
from proofstrip.run import assign, clean, moisture, read, strips
from proofstrip.simulate import SCENARIOS, Scenario, Simulated, Treatment, render_folder, simulate_harvest
from proofstrip.strips import project_along
from proofstrip.units import M2_PER_HA
from proofstrip.work import Work

WRONG_S = 2.0
HEAD = (
    "strip bias %",
    "strip RMS %",
    "effect RMS %",
    "removed %",
    "estimated",
    "refused",
    "delay bias s",
    "delay RMS s",
    "wrong by more than 2 s",
)
STAGES = (read, clean, moisture, assign, strips)


@dataclass
class Figures:
    """What one scenario gave over all seeds."""

    strip_pct: list[float]
    effect_pct: list[float]
    delay_s: list[float]
    refused: int = 0
    stopped: int = 0
    removed: list[float] | None = None


def walk(harvest: Simulated, spike_mad: float | None) -> Work:
    """Walk an invented harvest from its written files to the strip table, with another limit of spikes if wanted."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in render_folder(harvest).items():
            (Path(folder) / name).write_text(text, encoding="utf-8", newline="\n")
        settings = load_settings(Path(folder) / "trial.toml")
        if spike_mad is not None:
            part = settings.clean.model_copy(update={"spike_mad": spike_mad})
            settings = settings.model_copy(update={"clean": part})
        work = Work(settings)
        for stage in STAGES:
            work = stage(work)
    return work


def perfect_yields(harvest: Simulated, work: Work) -> pd.Series:
    """Give the yield of each strip that a perfect pipeline would find in the stretch that was counted."""
    used = work.points[work.points["usable"] & work.points["strip"].notna()]
    along = project_along(used, work.strips_map).groupby(used["strip"])
    inside = harvest.ground["strip"].isin(work.strips["strip"])
    ground = harvest.ground[inside].rename(columns={"easting_m": "cut_easting_m", "northing_m": "cut_northing_m"})
    place = project_along(ground, work.strips_map)
    ground = ground[place.between(ground["strip"].map(along.min()), ground["strip"].map(along.max()))]
    sums = ground.groupby("strip")[["sensed_mass_kg", "area_m2"]].sum()
    return sums["sensed_mass_kg"] / sums["area_m2"] * M2_PER_HA


def effect_error_pct(found: pd.Series, perfect: pd.Series, work: Work) -> float:
    """Give the error of the mean log ratio of treated and control strips, in per cent."""
    error = np.log(found / perfect)
    label = work.strips.set_index("strip")["treatment"]
    control = label == work.settings.trial_map.control
    return float(100 * (error[~control].mean() - error[control].mean()))


def measure(scenario: Scenario, seeds: int, spike_mad: float | None = None) -> Figures:
    """Measure one scenario."""
    figures = Figures([], [], [], removed=[])
    for seed in range(1, seeds + 1):
        harvest = simulate_harvest(scenario, seed)
        try:
            work = walk(harvest, spike_mad)
        except DataError:
            figures.stopped += 1
            continue
        records = harvest.records[harvest.records["true_pass"] > 0]
        truth = records.groupby("machine")["true_delay_s"].mean()
        for delay in work.delays:
            if delay.source == "estimated":
                true_s = truth[delay.machine] if delay.machine in truth.index else truth.iloc[0]
                figures.delay_s.append(delay.seconds - float(true_s))
            else:
                figures.refused += 1
        found, perfect = work.strips.set_index("strip")["yield_kg_ha"], perfect_yields(harvest, work)
        figures.strip_pct += list(100 * (found / perfect - 1))
        figures.effect_pct.append(effect_error_pct(found, perfect, work))
        figures.removed.append(float(100 * work.strips["share_removed"].mean()))
    return figures


def rms(values: list[float]) -> float:
    """Give the root of the mean square; NaN of nothing."""
    return float(np.sqrt(np.nanmean(np.square(values)))) if values else float("nan")


def say(name: str, figures: Figures) -> None:
    """Print one row of the table."""
    delays = np.array(figures.delay_s)
    cells = (
        f"{np.nanmean(figures.strip_pct):+.2f}",
        f"{rms(figures.strip_pct):.2f}",
        f"{rms(figures.effect_pct):.2f}",
        f"{np.mean(figures.removed):.1f}",
        f"{len(delays)}",
        f"{figures.refused}",
        f"{delays.mean():+.1f}" if len(delays) else "-",
        f"{rms(figures.delay_s):.1f}" if len(delays) else "-",
        f"{int((np.abs(delays) > WRONG_S).sum())}",
    )
    print(f"| {name} | " + " | ".join(cells) + " |" + (f" stopped {figures.stopped}" if figures.stopped else ""))


# The ordinary harvest without one of its faults each: what that fault costs.
WITHOUT = {
    "no_tailings": replace(SCENARIOS["ordinary"], tailings_share=0.0),
    "no_steering_error": replace(SCENARIOS["ordinary"], overlap_sd_m=0.0, wander_m=0.0),
}
# A treatment that hurts in patches only, as plugging or lodging does: what a filter by value takes for an error.
DAMAGE = replace(
    SCENARIOS["patchy"],
    treatments=(Treatment("control"), Treatment("tried", effect=0.75)),
    effect_patch_share=0.1,
)
NO_LIMIT = 1e9


def compare_spike_limits(seeds: int) -> None:
    """Print how much an effect that is real and local shrinks under limits of the spike filter, seed by seed."""
    print("| patch m | spike_mad | shrinks the effect by points | standard error | removed % |")
    print("|---|---|---|---|---|")
    for patch_m in (10.0, 25.0):
        scenario = replace(DAMAGE, effect_patch_m=patch_m)
        without = np.array(measure(scenario, seeds, NO_LIMIT).effect_pct)
        for limit in (5.0, 3.5, 2.0):
            figures = measure(scenario, seeds, limit)
            change = np.array(figures.effect_pct) - without
            spread = change.std(ddof=1) / np.sqrt(len(change))
            removed = np.mean(figures.removed)
            print(f"| {patch_m:g} | {limit:g} | {change.mean():+.2f} | {spread:.2f} | {removed:.1f} |")


def main() -> None:
    """Measure the scenarios named, or all, or what the limit of spikes does."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenarios", nargs="*", metavar="SCENARIO", help=", ".join(SCENARIOS))
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--spikes", action="store_true", help="compare limits of the spike filter instead")
    chosen = parser.parse_args()
    if chosen.spikes:
        compare_spike_limits(chosen.seeds)
        return
    print("| " + " | ".join(("scenario", *HEAD)) + " |")
    print("|---" * (len(HEAD) + 1) + "|")
    known = SCENARIOS | WITHOUT
    for name in chosen.scenarios or known:
        say(name, measure(known[name], chosen.seeds))


if __name__ == "__main__":
    main()
