"""``proofstrip run``: the whole job."""

import re
from pathlib import Path

import click

from proofstrip.config import load_settings
from proofstrip.report.answer import chances_of
from proofstrip.run import run_trial


@click.command()
@click.argument("trial", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Run folder; by default runs/<trial name> beside the trial file.",
)
@click.option("--pdf", is_flag=True, help="Set the report as report.pdf too; needs proofstrip[pdf].")
def run(trial: Path, out: Path | None, pdf: bool) -> None:
    """Run a trial from its raw files to its report."""
    settings = load_settings(trial)
    folder = out or trial.parent / "runs" / folder_name(settings.trial.name)
    result = run_trial(settings, folder, lambda stage: click.echo(f"{stage} ...", err=True), pdf)
    for notice in result["warnings"]:
        click.echo(f"warning: {notice['message']}", err=True)
    click.echo(result["verdict"]["sentence"])
    goal, chances = chances_of(result)
    if chances:
        told = "; ".join(f"{name}, {chance}" for name, chance in chances.items())
        click.echo(f"Chance that it {goal}: {told}.")
    click.echo(f"Evidence: {result['evidence']['sentence']}")
    click.echo(f"Report: {folder / 'report.html'}")
    if pdf:
        click.echo(f"PDF: {folder / 'report.pdf'}")


def folder_name(name: str) -> str:
    """Make a folder name of a trial's name.

    Examples
    --------
    >>> folder_name("Strip trial / 2024")
    'Strip_trial_2024'
    """
    return re.sub(r"[^\w-]+", "_", name).strip("_") or "trial"
