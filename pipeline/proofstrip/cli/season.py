"""``proofstrip season``: every trial below a folder."""

import shutil
import sys
from pathlib import Path

import click

from proofstrip.season import Outcome, run_season
from proofstrip.season.store import is_local, join
from proofstrip.season.walk import failed


@click.command()
@click.argument("folder", metavar="FOLDER")
@click.option("--out", metavar="DIR", help="Where the run folders and the page go; by default runs/ in FOLDER.")
@click.option("--workers", type=click.IntRange(1, 1024), default=1, show_default=True, help="Processes here.")
@click.option("--scheduler", metavar="ADDRESS", help="Run on the Dask cluster of this scheduler: tcp://host:8786.")
@click.option("--rerun", is_flag=True, help="Run trials that have not changed too.")
def season(folder: str, out: str | None, workers: int, scheduler: str | None, rerun: bool) -> None:
    """Run every trial.toml below FOLDER, and write one page over all; FOLDER and DIR can be addresses of a store."""
    folder, out = _absolute(folder), _absolute(out or join(folder, "runs"))
    outcomes = run_season(folder, out, workers, scheduler, rerun, Teller())
    lost = failed(outcomes)
    click.echo(f"{len(outcomes) - len(lost)} of {len(outcomes)} trials have their answer.")
    for outcome in lost:
        click.echo(f"{outcome.state}: {outcome.name}: {outcome.message}", err=True)
    click.echo(f"Season: {join(out, 'index.html')}")
    sys.exit(1 if lost else 0)


def _absolute(address: str) -> str:
    """Make a folder of this machine mean the same to every worker."""
    return str(Path(address).resolve()) if is_local(address) else address


class Teller:
    """Says what has ended: a bar on a terminal, plain lines elsewhere."""

    def __init__(self) -> None:
        self.ended = 0

    def __call__(self, outcome: Outcome, total: int) -> None:
        """Say one."""
        self.ended += 1
        word = outcome.entry.get("verdict", {}).get("word", "").replace("_", " ")
        said = f"{outcome.name}: {outcome.state}{f', {word}' if word else ''}, {outcome.seconds:.1f} s"
        if not sys.stderr.isatty():
            click.echo(f"{self.ended}/{total} {said}", err=True)
            return
        filled = round(30 * self.ended / total)
        bar = f"[{'#' * filled}{' ' * (30 - filled)}] {self.ended}/{total} {said}"
        click.echo(f"\r\033[K{bar[: shutil.get_terminal_size().columns - 1]}", nl=False, err=True)
        if self.ended == total:
            click.echo(err=True)
