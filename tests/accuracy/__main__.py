"""The public scoreboard: ``python -m tests.accuracy [--part PART] [--scenarios NAME ...] [--seeds N] [--workers N]``.

Prints its tables and writes them into docs/accuracy.md. Part ``cleaning`` harvests invented fields and holds strip
yields, effects, delays, widths and flags against their truth, beside two plain ways to do without; part ``stats``
counts how often equal treatments are called different. Run from the checkout.
"""

import argparse
import pickle
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from proofstrip.simulate import SCENARIOS
from tests.accuracy import null_trials
from tests.accuracy.harvests import VARIANTS, Harvested, harvest_once, list_effects
from tests.accuracy.page import render_cleaning, write_part
from tests.accuracy.scores import score_scenario

Job = tuple[str, int, float]


def list_jobs(names: list[str], seeds: int) -> list[Job]:
    """List every harvest, seed after seed, so that a run that is stopped has whole seeds."""
    return [
        (name, seed, effect)
        for seed in range(1, seeds + 1)
        for name in names
        if name not in VARIANTS or seed <= max(seeds // 4, 3)
        for effect in list_effects(seed)
    ]


def harvest_job(job: Job) -> Harvested:
    """Do one job in a worker."""
    return harvest_once(*job)


def harvest_all(jobs: list[Job], workers: int, minutes: float) -> list[Harvested]:
    """Do the jobs in order; once the time is up, only what was begun is finished."""
    done: list[Harvested] = []
    began = time.monotonic()
    with ProcessPoolExecutor(workers) as pool:
        begun = [pool.submit(harvest_job, job) for job in jobs]
        for place, future in enumerate(begun):
            if time.monotonic() - began > 60 * minutes:
                pool.shutdown(cancel_futures=True)
                return done
            done.append(future.result())
            if (place + 1) % 25 == 0:
                print(f"{place + 1} of {len(jobs)} harvests", file=sys.stderr, flush=True)
    return done


def measure_cleaning(names: list[str], seeds: int, keep: Path | None, pace: tuple[int, float]) -> str:
    """Harvest and score; gives the Markdown. ``pace``: workers, and the minutes that it may take."""
    jobs = list_jobs(names, seeds)
    done = harvest_all(jobs, *pace)
    # The seed of the first harvest that is missing is not whole.
    whole = jobs[len(done)][1] - 1 if len(done) < len(jobs) else seeds
    done = [one for one in done if one.seed <= whole]
    if keep:
        keep.write_bytes(pickle.dumps(done))
    scores = [score_scenario(name, [one for one in done if one.scenario == name]) for name in names]
    chosen = "" if names == list(SCENARIOS) else f" --scenarios {' '.join(names)}"
    return render_cleaning(scores, whole, f"python -m tests.accuracy --part cleaning{chosen} --seeds {whole}")


def main() -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("--part", choices=("all", "cleaning", "stats"), default="all")
    parser.add_argument("--scenarios", nargs="+", metavar="NAME", choices=list(SCENARIOS), default=list(SCENARIOS))
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=1e9, help="stop after so long, with the seeds that are whole")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="keep every harvest's figures (a pickle)")
    chosen = parser.parse_args()
    if chosen.part in ("all", "cleaning"):
        text = measure_cleaning(chosen.scenarios, chosen.seeds, chosen.keep, (chosen.workers, chosen.minutes))
        print(text)
        # A part of the scenarios is for looking, not for the page.
        if chosen.scenarios == list(SCENARIOS):
            write_part("cleaning", text)
    if chosen.part in ("all", "stats"):
        text = null_trials.measure_stats(chosen.workers)
        print(text)
        write_part("stats", text)


if __name__ == "__main__":
    main()
