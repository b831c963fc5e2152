"""``proofstrip simulate``: raw records whose truth is known."""

from pathlib import Path

import click

from proofstrip.simulate import SCENARIOS, render_folder, simulate_harvest
from proofstrip.whole import written_whole


@click.command()
@click.argument("scenario", type=click.Choice(sorted(SCENARIOS)))
@click.option("--seed", default=1, show_default=True, help="The same seed gives the same bytes.")
@click.option(
    "--to",
    "folder",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder to write; new or empty.",
)
def simulate(scenario: str, seed: int, folder: Path) -> None:
    """Write an invented harvest whose truth is known, as a trial that runs."""
    if folder.exists() and any(folder.iterdir()):
        raise click.UsageError(f"{folder} holds files already; nothing was written. Name a new or an empty folder.")
    files = render_folder(simulate_harvest(SCENARIOS[scenario], seed))
    with written_whole(folder) as fresh:
        for name, text in files.items():
            (fresh / name).write_text(text, encoding="utf-8", newline="\n")
    click.echo(f"{folder}: invented harvest '{scenario}', seed {seed}: {', '.join(files)}")
