"""Write the pages that are tables of the code: ``python docs/make_tables.py``.

columns.md, flags.md, settings.md and commands.md say what columns.py, flags.py, configs/defaults.toml with config.py,
and the commands' own help say. tests/test_docs.py fails while a page is not current.
"""

import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import click
from pydantic_core import PydanticUndefined

from proofstrip import config
from proofstrip.cli.main import main
from proofstrip.columns import ARCHIVE_COLUMNS, ITEM_COLUMNS, POINT_COLUMNS, STRIP_COLUMNS, Column
from proofstrip.config_money import DeliveryPart
from proofstrip.flags import FLAGS, Flag
from proofstrip.layout.settings import ExpectPart, FieldPart, LayoutStripsPart, MachinesPart
from proofstrip.toml_file import Part
from proofstrip.units import Money

DOCS = Path(__file__).resolve().parent
NOTE = "Generated from the code by `python docs/make_tables.py`: change the code, not this page."
FLAGS_INTRO = """\
A record keeps its row whatever is wrong with it; its faults stand in `flags`, one bit each, as a sum. A record may
carry several. A record with a flag that excludes is not counted (`usable` is false); one with flags that only inform
is. A bit number is permanent, so old files stay readable; run.json repeats this table with the counts of its run."""
SETTINGS_INTRO = """\
Settings of a trial file (`trial.toml`). A quantity with a unit is one string, number and unit: `"30 ft"`, `"9.14 m"`,
`"5 mph"`; money is an amount, a currency code and what it is for: `"4.05 USD/bu"`, `"18000 USD"`, `"0.60 USD/ac"`. File
names start at the folder of the trial file. Every problem of a trial file is reported, with its line, before any data
is read; a key that is not listed here is refused. Limits of a quantity are in metres, seconds and metres a second."""
COMMANDS_INTRO = """\
Every command tells this by `--help` (or `-h`) too. Progress and warnings go to standard error, the answer to standard
output; with `--json`, standard output holds only JSON. Exit status: 0 done, warnings allowed; 1 the data cannot give an
answer, said in one paragraph; 2 wrong usage or settings.

    proofstrip [--version] [--help] COMMAND ..."""
# Flags of which there is more to say than the stage that sets them.
SET_BY = {
    Flag.MISSING: "clean, first",
    Flag.DUPLICATE: "clean, first",
    Flag.EXCLUDED_BY_HAND: "a person ([exclusions](exclusions.md))",
}
# What the parts of a trial file mean that no stage owns; a field of config.py without a line here stops this script.
MEANINGS = {
    "trial": {
        "name": "title of the report, and the name of the run folder",
        "field": "where it was",
        "season": "year of the harvest",
        "crop": "a crop of configs/crops.toml",
        "notes": 'stands in the report; with the word "invented" in it, the report says so at its top',
    },
    "harvest": {
        "files": "names and globs of the raw files, beside the trial file",
        "crs": "coordinate system, only for files that have none: `EPSG:26915`",
        "time_zone": "IANA name of the zone whose clock wrote times without a zone: `America/Chicago`",
        "swath": "header width, only for files without a column for it",
        "rows": "rows of a row header, with `row_spacing`: passes are narrower by whole rows or not at all",
        "row_spacing": "distance of rows",
        "delay_applied_s": "seconds that the display already moved its records by; used where the data cannot tell",
    },
    "harvest.columns": {
        "column": "header of the column, for a quantity that is not recognised (docs/read.md lists the keys)",
        "unit": "its unit, where the header does not say it",
    },
    "trial_map": {
        "file": "polygons of the strips",
        "strip": "column with the strip's name",
        "treatment": "column with the treatment",
        "block": "column with the block; not set: the strips have no blocks",
        "control": "treatment that the others are compared with",
    },
    "scale": {"file": "scale tickets, one row a load ([strips](strips.md#scale-tickets))"},
    "zones": {
        "file": "a zone layer: polygons with a name each, or a raster of zone numbers",
        "zone": "name of its column, for polygons",
    },
    "ground_loss": {
        "file": "ground-loss counts, one row a frame ([ground loss](ground-loss.md))",
        "frame_area": 'area of every frame, such as `"1 ft^2"`, where the table has no column for it',
        "thousand_kernel_g": "weight of a thousand kernels, weighed from this field; not set: the crop's",
        "concentration": "header width over the width that straw and chaff fall on; 1: spread over the whole cut",
        "acts_on": "`harvest`: the treatment saves or loses grain; `crop`: it grows grain, and no balance is drawn",
    },
    "economics": {
        "price": "of the grain: one, a list of seasons whose mean is used, or a spread ([economics](economics.md))",
        "investment": "what the treatment costs once",
        "years": "years within which it is to come back; not given: one, and the answer says so",
        "area": "area harvested with it in a year",
        "life_years": "years it lasts",
        "interest_pct": "interest on the money in it, per cent a year",
        "salvage": "what it can be sold for after `life_years`",
        "repairs": 'by area or by year: `"0.40 USD/ac"`, `"350 USD/year"`',
        "fuel": "extra fuel by area",
        "wage": "of the extra labour, an hour",
        "labour": 'extra hours by area: `"0.02 h/ac"`; needs `wage`',
        "savings": "operating costs that it saves, by area or by year",
        "cost": "by treatment: what it costs per area each year",
        "delivery": "how the buyer settles grain, a table of its own: below",
    },
    "economics.delivery": {
        "moisture_pct": "moisture that the buyer pays at; not set: that of the yields",
        "shrink_pct": "taken off the weight for each point above it; not set: the water alone",
        "drying": 'charge for each point above it, by the weight delivered: `"0.05 USD/bu"`',
        "discount": 'steps such as `[{ above_pct = 18, off = "0.06 USD/bu" }]`: the highest one passed counts',
        "dockage_pct": "by treatment: share of the weight that is not paid, such as foreign matter",
    },
    "archive": {
        "licence": "terms of use: an SPDX name (`CC-BY-4.0`) or words; [`proofstrip archive`](archive.md) asks for it",
        "contact": "whom others can ask about the trial",
    },
}

LAYOUT_INTRO = """\
The file of [`proofstrip layout`](layout.md) has the parts below, and [trial], [economics], [stats] and [report] as
above: the trial file that it writes takes them over."""
LAYOUT_MODELS: dict[str, type[Part]] = {
    "field": FieldPart,
    "machines": MachinesPart,
    "strips": LayoutStripsPart,
    "expect": ExpectPart,
}
LAYOUT_MEANINGS = {
    "field": {
        "boundary": "polygons of the field: GeoPackage, Shapefile, GeoJSON, GeoParquet or KML, any coordinate system",
        "headland": "kept free along every edge of the field, and round holes in it",
    },
    "machines": {
        "header": "width of the combine's header",
        "planter": "width of the planter or drill",
        "sprayer": "width of the sprayer or spreader",
        "treated_with": "machine that makes the treatment; strips are whole passes of it",
    },
    "strips": {
        "treatments": "names, the control among them; two to eight",
        "control": "treatment that the others are compared with",
        "replicates": "number of blocks, each with one strip of every treatment; fewer than three are refused",
        "width": "width of a strip; not set: `passes`",
        "passes": "passes of the treating machine in a strip; neither set: one",
        "edge": "ground along either side of a strip that counted passes stay off: drift, overlap",
        "buffer": "ground between two strips that belongs to neither",
        "guard": "strip outside the outermost strips",
        "min_length": "shortest strip: 300 ft have worked, 750 ft are better (pnwsteep.wsu.edu, 1994)",
        "heading_deg": "direction of the strips from true north; not set: `ab_line`, or the field's long side",
        "ab_line": "file with a straight guidance line; strips then lie on whole passes from it",
        "design": "order of treatments in each block: drawn by lot, or as listed",
        "seed": "of the draw: the same seed gives the same order",
    },
    "expect": {
        "yield": 'expected yield, such as `"60 bu/ac"`',
        "sd_pct": "SD of the difference of two strips of a block without treatment, in % of the yield; not set: 2.8",
        "cv_pct": "instead of it: coefficient of variation of strips within a block",
        "confidence": "of the test to come; not set: that of [stats]",
    },
}


def make_columns_page() -> str:
    """Write columns.md."""
    return _page(
        "Columns",
        "A column exists in a file of this project only if it stands here. Lengths are metres, masses kilograms, times",
        "seconds; eastings and northings are metres in the trial map's projection, or the UTM zone of the field.",
        "",
        "## points.parquet",
        "",
        "One row a raw record, in reading order; nothing is dropped. Geometry: where the grain was cut.",
        "",
        *_column_table(POINT_COLUMNS),
        "",
        "## strips.csv",
        "",
        "One row a strip of the trial map.",
        "",
        *_column_table(STRIP_COLUMNS),
        "",
        "## In an archive",
        "",
        "points.parquet of an [archive](archive.md) has these in front, and degrees of WGS 84 as its geometry.",
        "",
        *_column_table(ARCHIVE_COLUMNS),
        "",
        "trials.parquet of an archive has one row an item; geometry: the ground of its strips and usable records.",
        "",
        *_column_table(ITEM_COLUMNS),
    )


def _column_table(columns: Iterable[Column]) -> list[str]:
    """Set columns out as a table."""
    rows = [(f"`{c.name}`", c.unit, c.dtype, _say_range(c.low, c.high), c.meaning) for c in columns]
    return _table(("column", "unit", "type", "possible", "meaning"), rows)


def _say_range(low: float | None, high: float | None) -> str:
    """Say what a value can be."""
    if low is None and high is None:
        return ""
    return f"{low:g} and more" if high is None else f"{low:g} to {high:g}"


def make_flags_page() -> str:
    """Write flags.md."""
    rows = [
        (
            f"`{m.name}`",
            str(int(m.flag)),
            "excludes" if m.excludes else "informs",
            SET_BY.get(m.flag, m.stage),
            m.phrase,
        )
        for m in FLAGS
    ]
    return _page("Flags", FLAGS_INTRO, "", *_table(("flag", "bit", "effect", "set by", "what it says"), rows))


def make_settings_page() -> str:
    """Write settings.md."""
    lines = [SETTINGS_INTRO]
    for part, meanings in MEANINGS.items():
        lines += ["", f"## [{part}]", "", *_written_table(_model_of(part), meanings)]
    for part, settings in _shipped_settings().items():
        lines += ["", f"## [{part}]", "", *_default_table(_model_of(part), settings)]
    lines += ["", "## Layout file", "", LAYOUT_INTRO]
    for part, meanings in LAYOUT_MEANINGS.items():
        lines += ["", f"### [{part}] of a layout", "", *_written_table(LAYOUT_MODELS[part], meanings)]
    return _page("Settings", *lines)


def _model_of(part: str) -> type[Part]:
    """Find the model of a part of the trial file."""
    if "." in part:
        return {"harvest.columns": config.ColumnChoice, "economics.delivery": DeliveryPart}[part]
    annotation: Any = config.Settings.model_fields[part].annotation
    options = [annotation, *getattr(annotation, "__args__", ())]
    return next(option for option in options if isinstance(option, type) and issubclass(option, Part))


def _written_table(model: type[Part], meanings: dict[str, str]) -> list[str]:
    """Set out a part that the user writes."""
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    fields.pop("columns", None)
    if fields.keys() != meanings.keys():
        raise SystemExit(f"MEANINGS of {model.__name__} and config.py differ: {fields.keys() ^ meanings.keys()}")
    rows = [(f"`{name}`", _say_default(field), _say_limits(field), meanings[name]) for name, field in fields.items()]
    return _table(("setting", "default", "allowed", "meaning"), rows)


def _say_default(field: Any) -> str:
    """Say what stands in where the user writes nothing."""
    if field.is_required():
        return "needed"
    value = field.default
    if value is PydanticUndefined or value in (None, "", {}, ()) or isinstance(value, Money):
        return "none"
    return f'`"{value}"`' if isinstance(value, str) else f"{value:g}"


def _say_limits(field: Any) -> str:
    """Say the limits of a value, in the unit that its field is named by."""
    words = {"gt": "above {:.10g}", "ge": "{:.10g} or more", "lt": "below {:.10g}", "le": "{:.10g} or less"}
    limits = [
        text.format(getattr(item, key)) for item in field.metadata for key, text in words.items() if hasattr(item, key)
    ]
    choices = [f'`"{value}"`' for value in getattr(field.annotation, "__args__", ()) if isinstance(value, str)]
    return ", ".join(limits) or " or ".join(choices)


def _shipped_settings() -> dict[str, list[tuple[str, str, str]]]:
    """Read defaults.toml with its comments: part -> (name, default, reason)."""
    text = (config.config_folder() / "defaults.toml").read_text(encoding="utf-8")
    parts: dict[str, list[tuple[str, str, str]]] = {}
    for line in text.splitlines():
        if header := re.fullmatch(r"\[(\w+)\]", line):
            parts[header[1]] = []
        elif setting := re.fullmatch(r'(# )?(\w+) = ("[^"]*"|\S+)\s+# (.*)', line):
            default = "not set" if setting[1] else f"`{setting[3]}`"
            parts[list(parts)[-1]].append((setting[2], default, setting[4]))
    return parts


def _default_table(model: type[Part], settings: list[tuple[str, str, str]]) -> list[str]:
    """Set out the settings of a stage."""
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    missing = fields.keys() ^ {name for name, _, _ in settings}
    if missing:
        raise SystemExit(f"configs/defaults.toml and {model.__name__} differ, or a line has no reason: {missing}")
    rows = [(f"`{name}`", default, _say_limits(fields[name]), reason) for name, default, reason in settings]
    return _table(("setting", "default", "allowed", "meaning and reason"), rows)


def make_commands_page() -> str:
    """Write commands.md."""
    lines = [COMMANDS_INTRO]
    for name, command in sorted(main.commands.items()):
        lines += ["", f"## proofstrip {name}", "", command.help or "", "", f"    {_say_usage(name, command)}"]
        options = [param for param in command.params if isinstance(param, click.Option)]
        if options:
            lines += ["", *_table(("option", "meaning"), [(_say_option(o), _say_help(o)) for o in options])]
    return _page("Commands", *lines)


def _say_usage(name: str, command: click.Command) -> str:
    """Give the line that calls a command."""
    arguments = [_say_argument(param) for param in command.params if isinstance(param, click.Argument)]
    options = [_say_option(param).strip("`") for param in command.params if isinstance(param, click.Option)]
    needed = {_say_option(p).strip("`") for p in command.params if isinstance(p, click.Option) and p.required}
    return " ".join(["proofstrip", name, *arguments, *(o if o in needed else f"[{o}]" for o in options)])


def _say_argument(param: click.Argument) -> str:
    """Give the name of what a command works on."""
    return param.metavar or (param.name or "").upper()


def _say_option(param: click.Option) -> str:
    """Give an option with what follows it."""
    kind = (
        ""
        if param.is_flag
        else " "
        + (
            param.metavar
            or {"directory": "DIR", "file": "FILE", "path": "FILE", "text": "TEXT"}.get(param.type.name, "N")
        )
    )
    return f"`{param.opts[-1]}{kind}`"


def _say_help(param: click.Option) -> str:
    """Give the help of an option, with its default where it shows one."""
    return (param.help or "") + (f" Default: {param.default}." if param.show_default else "")


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> list[str]:
    """Set rows out as a Markdown table."""
    lines = [head, tuple("---" for _ in head), *rows]
    return ["| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines]


def _page(title: str, *lines: str) -> str:
    """Put a page together."""
    return "\n".join([f"# {title}", "", NOTE, "", *lines, ""])


PAGES: dict[str, Callable[[], str]] = {
    "columns.md": make_columns_page,
    "flags.md": make_flags_page,
    "settings.md": make_settings_page,
    "commands.md": make_commands_page,
}

if __name__ == "__main__":
    for name, make in PAGES.items():
        (DOCS / name).write_text(make(), encoding="utf-8")
