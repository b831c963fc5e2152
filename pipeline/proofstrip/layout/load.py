"""A layout file read whole: every problem with its line, and no design that cannot be made or harvested."""

from pathlib import Path

from proofstrip.config import over_defaults
from proofstrip.errors import SettingsError
from proofstrip.layout.settings import WIDTH_TOLERANCE_M, LayoutSettings, read_yield
from proofstrip.layout.words import say_length
from proofstrip.toml_file import find_lines, line_of, read_toml, validate

Problem = tuple[tuple[str, ...], str]


def load_layout(path: Path) -> LayoutSettings:
    """Read a layout file over the shipped defaults, and refuse widths that do not go together.

    Parameters
    ----------
    path : pathlib.Path
        ``LAYOUT.toml``.

    Returns
    -------
    LayoutSettings

    Raises
    ------
    SettingsError
        With every problem of the file and its line.
    """
    text, written = read_toml(path)
    merged = over_defaults(written, ("stats", "report"))
    settings = validate(LayoutSettings, {**merged, "folder": path.resolve().parent}, path, text)
    lines = find_lines(text)
    problems = []
    for place, said in (*_check_widths(settings), *_check_money(settings)):
        line = line_of(place, lines)
        problems.append((f"line {line}: " if line else "") + f"[{place[0]}] {said}")
    if problems:
        raise SettingsError(path, problems)
    return settings


def _check_widths(settings: LayoutSettings) -> list[Problem]:
    """Find strips that cannot be made or harvested."""
    machines, strips, units = settings.machines, settings.strips, settings.report.units
    tool, name, strip = machines.treating_m, machines.treated_with, settings.strip_width_m
    place = ("strips", "width" if strips.width_m is not None else "passes" if strips.passes else "treatments")
    problems: list[Problem] = []
    if name == "header" and strips.edge_m > 0:
        problems.append(
            (
                ("strips", "edge"),
                "edge is for treatments that drift or overlap; the header's own passes do not: leave it out",
            )
        )
    elif settings.header_passes < 1:
        problems.append((place, _say_narrow(settings)))
    if _is_broken(strip, tool):
        fewer, more = (say_length(max(1, strip // tool + step) * tool, units) for step in (0, 1))
        problems.append(
            (
                place,
                f"a strip of {say_length(strip, units)} is no whole number of passes of the {say_length(tool, units)} "
                f"{name} that makes the treatment; give {fewer} or {more}",
            )
        )
    if name == "sprayer" and strips.ab_line is None:
        return problems
    for key, width in (("buffer", strips.buffer_m), ("guard", strips.guard_m)):
        if _is_broken(width, tool):
            problems.append(
                (
                    ("strips", key),
                    f"{key} = {say_length(width, units)} is no whole number of passes of the "
                    f"{say_length(tool, units)} {name}, so the strips beside it would not lie on its passes; "
                    f"give {say_length(tool * -(-width // tool), units)}, or leave it out",
                )
            )
    return problems


def _say_narrow(settings: LayoutSettings) -> str:
    """Say that a header would cut two treatments, and what would do."""
    machines, units = settings.machines, settings.report.units
    strip, edge, header = settings.strip_width_m, settings.strips.edge_m, machines.header_m
    room = f"a strip of {say_length(strip, units)}"
    if edge:
        room += f" less {say_length(edge, units)} at either edge leaves {say_length(max(strip - 2 * edge, 0.0), units)}"
    passes = int(-(-(header + 2 * edge - WIDTH_TOLERANCE_M) // machines.treating_m))
    enough = say_length(passes * machines.treating_m, units)
    return (
        f"{room}, and the header is {say_length(header, units)} wide: every pass of the combine would cut two "
        f"treatments. Make strips {enough} wide ({passes} passes of the {machines.treated_with}), or take a narrower "
        "header"
    )


def _is_broken(width_m: float, tool_m: float) -> bool:
    """Tell whether a width is no whole number of passes."""
    return abs(width_m - round(width_m / tool_m) * tool_m) > WIDTH_TOLERANCE_M


def _check_money(settings: LayoutSettings) -> list[Problem]:
    """Find yields and costs that mean nothing here."""
    problems: list[Problem] = []
    crop, prices = settings.trial.crop, settings.economics
    if settings.expect.yield_level is not None:
        try:
            read_yield(settings.expect.yield_level, crop)
        except ValueError as fault:
            problems.append((("expect", "yield"), f"yield: {fault}"))
    for name in prices.cost if prices else ():
        if name not in settings.strips.treatments:
            listed = ", ".join(map(repr, settings.strips.treatments))
            problems.append((("economics", "cost", name), f"cost names {name!r}; treatments are {listed}"))
    if prices and crop.bushel_lb is None and any(price.per == "bu" for price in prices.price.sums):
        problems.append(
            (("economics", "price"), f"price is per bushel, and {crop.name} has no bushel here; give it per t")
        )
    return problems
