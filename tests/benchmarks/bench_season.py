"""How a season scales: two workers against one, and memory against the number of trials.

Run from the checkout: ``python tests/benchmarks/bench_season.py [--trials 300] [--records 8000] [--runs 1]``. Invented
trials are run by ``proofstrip season`` with one worker and with two, in turn, and a tenth of them with one. What is
compared was measured in the same run, so that a ratio holds on a busy machine as far as it can. Not a test.
"""

import argparse
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from proofstrip.simulate import SCENARIOS, render_folder, simulate_harvest

FIELDS = 3
CALL = "from proofstrip.cli.main import main\nif __name__ == '__main__':\n    main()\n"


def write_trials(root: Path, trials: int, records: int) -> int:
    """Write trials, copies of a few invented fields under names of their own; give the records of one."""
    texts = []
    for seed in range(1, FIELDS + 1):
        field = replace(SCENARIOS["ordinary"], blocks=12, strip_length_m=540.0)
        texts.append(render_folder(simulate_harvest(field, seed)))
    for number in range(trials):
        folder = root / f"trial {number:04d}"
        folder.mkdir(parents=True)
        own = texts[number % FIELDS]
        lines = own["harvest.csv"].splitlines(keepends=True)
        if len(lines) - 1 < records:
            raise SystemExit(f"the invented field has {len(lines) - 1} records; ask for fewer with --records")
        for name, text in own.items():
            (folder / name).write_text(text, encoding="utf-8")
        (folder / "harvest.csv").write_text("".join(lines[: records + 1]), encoding="utf-8")
    return records


def run_season(root: Path, script: Path, workers: int) -> tuple[float, float]:
    """Run a season afresh; give the seconds, and the largest memory of one of its processes so far [GiB]."""
    shutil.rmtree(root / "runs", ignore_errors=True)
    began = time.perf_counter()
    command = [sys.executable, str(script), "season", str(root), "--workers", str(workers)]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=300)
    parser.add_argument("--records", type=int, default=8000)
    parser.add_argument("--runs", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        script = Path(scratch) / "call.py"
        script.write_text(CALL, encoding="utf-8")
        few, many = Path(scratch) / "few", Path(scratch) / "many"
        write_trials(few, max(asked.trials // 10, 2), asked.records)
        write_trials(many, asked.trials, asked.records)
        _, small = run_season(few, script, 1)
        ratios = []
        for _ in range(asked.runs):
            one, peak = run_season(many, script, 1)
            two, both = run_season(many, script, 2)
            ratios.append(one / two)
            size = sum(path.stat().st_size for path in (many / "runs").rglob("*") if path.is_file())
            rate = asked.trials * asked.records / one
            print(f"1 worker {one:.1f} s, 2 workers {two:.1f} s: {one / two:.2f} times as fast")
            print(f"{rate:,.0f} records a core-second; {size / asked.trials / asked.records:,.0f} bytes a record kept")
            print(f"largest process, GiB: {small:.2f} with a tenth of the trials, {peak:.2f} all, {both:.2f} two")
        print(f"median of {asked.runs}: {statistics.median(ratios):.2f} times as fast with two workers")


if __name__ == "__main__":
    main()
