"""The sheet for the cab: one printed page with the map, the strips in order, and the rules of the day."""

from proofstrip import __version__
from proofstrip.layout.drawing import colours_of, describe_map, draw_map, letters_of
from proofstrip.layout.expect import Expectation
from proofstrip.layout.plan import Plan
from proofstrip.layout.settings import LayoutSettings
from proofstrip.layout.words import say_direction, say_length
from proofstrip.report.html import fill_template
from proofstrip.report.sheet import Sheet, svg_uri

# Room for map and table together on the smaller of A4 and letter, and the height of a row [mm].
ROOM_MM, ROW_MM = 164.0, 5.2
MAP_MM = (45.0, 100.0)
ROWS_A_COLUMN = 16
MM_PER_INCH = 25.4


def render_sheet(plan: Plan, settings: LayoutSettings, found: Expectation) -> str:
    """Set the sheet.

    Parameters
    ----------
    plan : Plan
    settings : LayoutSettings
    found : Expectation

    Returns
    -------
    str
        HTML, self-contained.
    """
    rows = _list_rows(plan, settings)
    columns = 1 if len(rows) <= ROWS_A_COLUMN else 2 if len(rows) <= 4 * ROWS_A_COLUMN else 3
    each = -(-len(rows) // columns)
    map_mm = min(max(ROOM_MM - ROW_MM * (each + 1), MAP_MM[0]), MAP_MM[1])
    picture = draw_map(plan, settings, Sheet(7.3), map_mm / MM_PER_INCH - 0.8)
    units, machines, trial = settings.report.units, settings.machines, settings.trial
    return fill_template(
        "layout/sheet.html",
        {
            "trial": trial,
            "crop": trial.crop.name.replace("_", " "),
            "invented": settings.invented,
            "map": svg_uri(picture),
            "map_mm": round(map_mm),
            "alt": describe_map(plan, settings),
            "parts": [rows[start : start + each] for start in range(0, len(rows), each)],
            "width": say_length(settings.strip_width_m, units),
            "header": say_length(machines.header_m, units),
            "passes": settings.header_passes,
            "tool": machines.treated_with,
            "tool_width": say_length(machines.treating_m, units),
            "tool_passes": round(settings.strip_width_m / machines.treating_m),
            "rest": _say_rest(settings),
            "looking": say_direction(plan.heading_deg),
            "heading": round(plan.heading_deg, 1) % 360,
            "blocks": settings.strips.replicates,
            "guards": len(plan.guards) > 0,
            "detectable": f"{found.detectable_pct:.1f}",
            "version": __version__,
        },
    )


def _list_rows(plan: Plan, settings: LayoutSettings) -> list[dict[str, str]]:
    """List the strips as the driver meets them."""
    letters, colours = letters_of(settings), colours_of(settings)
    ways = {
        strip: ", ".join(f"{row.pass_number} {say_direction(row.heading_deg)}" for row in own.itertuples())
        for strip, own in plan.lines.groupby("strip")
    }
    return [
        {
            "strip": row.strip,
            "block": row.block,
            "letter": letters[row.treatment],
            "colour": colours[row.treatment],
            "treatment": row.treatment,
            "length": say_length(row.length_m, settings.report.units),
            "ways": ways[row.strip],
        }
        for row in plan.strips.itertuples()
    ]


def _say_rest(settings: LayoutSettings) -> str:
    """Say what the counted passes leave standing at either edge of a strip; empty where nothing."""
    rest = (settings.strip_width_m - settings.header_passes * settings.machines.header_m) / 2
    return say_length(rest, settings.report.units) if rest > 0.01 else ""
