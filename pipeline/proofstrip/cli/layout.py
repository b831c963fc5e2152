"""``proofstrip layout``: strips for the coming season."""

from pathlib import Path

import click

from proofstrip.cli.run import folder_name
from proofstrip.layout import expect, load_layout, plan_layout, write_layout
from proofstrip.layout.summary import say_layout
from proofstrip.read.boundary import read_ab_line, read_boundary


@click.command()
@click.argument("layout_file", metavar="LAYOUT.toml", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder to write, new or empty; by default layouts/<trial name> beside the layout file.",
)
def layout(layout_file: Path, out: Path | None) -> None:
    """Lay out strips for the coming season, and say what they can find."""
    settings = load_layout(layout_file)
    boundary = read_boundary(settings.field.boundary, settings.folder)
    line = settings.strips.ab_line
    plan = plan_layout(settings, boundary, read_ab_line(line, settings.folder, boundary.crs) if line else None)
    folder = out or layout_file.parent / "layouts" / folder_name(settings.trial.name)
    found = expect(settings)
    write_layout(plan, settings, found, folder)
    for notice in plan.notices:
        click.echo(f"warning: {notice.message}", err=True)
    click.echo(say_layout(plan, settings, found))
    click.echo(f"Layout: {folder}")
