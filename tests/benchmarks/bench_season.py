"""How a season scales: two workers against one, and memory against the number of trials.

Run from the checkout: ``python tests/benchmarks/bench_season.py [--trials 300] [--alone 100] [--records 8000]``.
Invented trials are run by ``proofstrip season``: a tenth of them and all of them with two workers, then with one. What
is compared was measured in the same run, so that a ratio holds on a busy machine as far as it can. Not a test.
"""

import argparse
import resource
import shutil
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
    parser.add_argument("--alone", type=int, help="trials that one worker runs, by default all; rates are compared")
    parser.add_argument("--records", type=int, default=8000)
    asked = parser.parse_args()
    alone = asked.alone or asked.trials
    with tempfile.TemporaryDirectory() as scratch:
        script = Path(scratch) / "call.py"
        script.write_text(CALL, encoding="utf-8")
        few, some, many = (Path(scratch) / name for name in ("few", "some", "many"))
        write_trials(few, max(asked.trials // 10, 2), asked.records)
        write_trials(some, alone, asked.records)
        write_trials(many, asked.trials, asked.records)
        _, small = run_season(few, script, 2)
        two, both = run_season(many, script, 2)
        print(f"2 workers, {asked.trials} trials: {two:.1f} s, {two / asked.trials:.2f} s a trial", flush=True)
        print(f"largest process, GiB: {small:.2f} with a tenth of the trials, {both:.2f} with all", flush=True)
        one, _ = run_season(some, script, 1)
        size = sum(path.stat().st_size for path in (many / "runs").rglob("*") if path.is_file())
        print(f"1 worker, {alone} trials: {one:.1f} s, {one / alone:.2f} s a trial")
        print(f"two workers are {one / alone / (two / asked.trials):.2f} times as fast")
        print(f"{alone * asked.records / one:,.0f} records a core-second")
        print(f"{size / asked.trials / asked.records:,.0f} bytes a record kept in the run folders")


if __name__ == "__main__":
    main()
