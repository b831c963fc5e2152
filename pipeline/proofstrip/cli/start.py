"""``proofstrip start``: a first trial file for raw files that are there."""

from pathlib import Path

import click

from proofstrip.cli.inspect import crop_option
from proofstrip.crops import Crop
from proofstrip.read.first_draft import write_first_draft
from proofstrip.read.survey import survey_files
from proofstrip.whole import write_file


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--map", "map_file", type=click.Path(dir_okay=False, path_type=Path), help="Trial map with the strips.")
@crop_option
@click.option(
    "--to",
    "trial",
    metavar="TRIAL.toml",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="Trial file to write; one that is there is left alone.",
)
def start(files: tuple[Path, ...], map_file: Path | None, crop: Crop | None, trial: Path) -> None:
    """Write a commented trial file for these raw files."""
    if trial.exists():
        raise click.UsageError(f"{trial} is there already; name another file.")
    if not trial.parent.is_dir():
        raise click.UsageError(f"there is no folder {trial.parent}; make it, or name a file in another one.")
    surveys = [survey for path in files for survey in survey_files(path, crop)]
    text = write_first_draft(surveys, map_file, crop, trial.parent)
    write_file(trial, text)
    click.echo(f"Wrote {trial}. Fill in what is empty, then: proofstrip run {trial}")
