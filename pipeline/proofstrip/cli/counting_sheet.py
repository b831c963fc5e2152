"""``proofstrip counting-sheet``: a sheet to print for counting ground loss, and a table to type the counts into."""

from pathlib import Path

import click

from proofstrip.cells import guard_frame
from proofstrip.config import load_settings
from proofstrip.read import read_trial_map
from proofstrip.report.counting import FRAME_M2, list_frames, render_counting_sheet
from proofstrip.units import parse_quantity
from proofstrip.whole import write_file

MOST_FRAMES = 8


def _area(context: click.Context, option: click.Parameter, text: str | None) -> float | None:
    """Read an area with its unit."""
    try:
        area = None if text is None else parse_quantity(text, "m^2")
    except ValueError as fault:
        raise click.BadParameter(f"{fault}; write for example '1 ft^2' or '0.25 m^2'") from fault
    if area is not None and not 0 < area <= 100:
        raise click.BadParameter(f"{text!r} is no frame: its area is above zero and up to 100 m^2")
    return area


@click.command("counting-sheet")
@click.argument("trial", metavar="TRIAL.toml", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--to", "sheet", metavar="SHEET.html", required=True, type=click.Path(dir_okay=False, path_type=Path),
    help="Sheet to write, for A4 and letter; one that is there is left alone.",
)  # fmt: skip
@click.option(
    "--table", metavar="COUNTS.csv", type=click.Path(dir_okay=False, path_type=Path),
    help="Table to write, a row a frame, the seeds left open; one that is there is left alone.",
)  # fmt: skip
@click.option(
    "--frames",
    default=4,
    show_default=True,
    type=click.IntRange(1, MOST_FRAMES),
    help="Frames of each zone of a strip.",
)
@click.option(
    "--frame", "frame_m2", metavar="AREA", callback=_area,
    help="Area of a frame, such as '1 ft^2'; by default that of [ground_loss], else 1 ft^2, metric 0.25 m^2.",
)  # fmt: skip
def counting_sheet(trial: Path, sheet: Path, table: Path | None, frames: int, frame_m2: float | None) -> None:
    """Write a sheet to print for counting seeds on the ground, strip by strip."""
    for path in filter(None, (sheet, table)):
        _refuse_there(path)
    settings = load_settings(trial)
    strips = read_trial_map(settings.trial_map, settings.folder).strips["strip"].astype(str).tolist()
    part, units = settings.ground_loss, settings.report.units
    area = frame_m2 or (part.frame_area_m2 if part else None) or FRAME_M2[units]
    write_file(sheet, render_counting_sheet(settings, strips, frames, area))
    click.echo(
        f"Wrote {sheet}: {len(strips)} strips. Engine off, key out, header down or locked, before anybody counts."
    )
    if table is not None:
        frame = guard_frame(list_frames(strips, frames, area, units))
        write_file(table, frame.to_csv(index=False, lineterminator="\n"))
        click.echo(
            f'Wrote {table}. Fill in the seeds, then name it in the trial file: [ground_loss] file = "{table.name}"'
        )


def _refuse_there(path: Path) -> None:
    """Refuse to write over a file, or into a folder that is not there."""
    if path.exists():
        raise click.UsageError(f"{path} is there already; name another file.")
    if not path.parent.is_dir():
        raise click.UsageError(f"there is no folder {path.parent}; make it, or name a file in another one.")
