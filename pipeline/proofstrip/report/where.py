"""Where in the field: the difference along the strips, by zone, and with neighbouring ground taken into account."""

from typing import Any

from matplotlib.figure import Figure

from proofstrip.report.pictures import MOST_TREATMENTS, Picture
from proofstrip.report.sections import Section
from proofstrip.report.sheet import ACCENT, FAINT, SOFT, TINT, Sheet, drawing, new_figure, number_axis
from proofstrip.report.tables import Row, Table, between, capital
from proofstrip.report.words import Units, number, odds, short

USUAL_P = 0.1


def where_section(result: dict[str, Any], weighed: bool, units: Units) -> Section | None:
    """Say where along the strips, and in which zone, the treatments differ; by the monitor, also in weighed trials."""
    along, zones, spatial = (result.get(key) or [] for key in ("along", "zones", "spatial"))
    if not (along or zones or spatial):
        return None
    text = [_say_along(entry, units) for entry in along] + [_say_spatial(entry) for entry in spatial]
    if weighed:
        text.append("A scale weighs whole strips: inside them there is only the yield monitor, and this part uses it.")
    drawn = [_along_picture(entry, place, units) for place, entry in enumerate(along[:MOST_TREATMENTS], start=1)]
    return Section("where", "Where in the field?", text, drawn, [_zone_table(zones)] if zones else [])


def _say_along(entry: dict[str, Any], units: Units) -> str:
    """Say in words what the curve along the strips shows."""
    name, control = capital(entry["treatment"]), entry["control"]
    if entry["p_varies"] is None:
        return (
            f"{name} against {control}: {entry['pairs']} pairs are too few to say whether the difference changes along "
            "the strips; the curve is a description."
        )
    end = f"Reading from the {entry['from_end']} end: "
    if entry["p_varies"] <= USUAL_P:
        said = f"the difference changes along the strips (a change as large comes by chance {odds(entry['p_varies'])})."
    else:
        said = "nothing shows that the difference changes along the strips; such ups and downs come by chance."
    beyond = [stretch for stretch in entry["stretches"] if stretch["outside"]]
    more = " No short stretch by itself shows a difference." if not beyond else _say_beyond(beyond, units)
    return f"{name} against {control}. {end}{said}{more}"


def _say_beyond(beyond: list[dict[str, Any]], units: Units) -> str:
    """Name the stretches that chance does not explain."""
    low, high = (number(ends(part["difference_pct"] for part in beyond), 1, sign=True) for ends in (min, max))
    start, end = min(part["start_m"] for part in beyond), max(part["end_m"] for part in beyond)
    found = low if low == high else between(low, high)
    return (
        f" Taken by themselves, stretches between {units.length(start)} and {units.length(end)} {units.length_name} "
        f"show a difference beyond chance: {found} %."
    )


def _say_spatial(entry: dict[str, Any]) -> str:
    """Say what the model with correlated ground gives."""
    low, high = (number(entry[key], 1, sign=True) for key in ("low_pct", "high_pct"))
    return (
        f"A second opinion, from a model in which neighbouring ground is alike: {entry['treatment']} "
        f"{number(entry['difference_pct'], 1, sign=True)} % (margin of error {between(low, high)} %). The answer does "
        "not use it."
    )


def _along_picture(entry: dict[str, Any], place: int, units: Units) -> Picture:
    """Draw the curve of one treatment."""
    values = [stretch["difference_pct"] for stretch in entry["stretches"]]
    band = entry["envelope_pct"]
    chance = "" if band is None else f" Chance alone reaches {number(band, 1)} % somewhere along the strips."
    return Picture(
        f"along_{place}",
        f"Difference of {short(entry['treatment'], 40)} along the strips",
        f"{capital(entry['treatment'])} against {entry['control']} in stretches of {_stretch(entry, units)}; mean of "
        f"{entry['pairs']} pairs."
        + ("" if band is None else " The shaded band is what chance alone reaches somewhere along the strips."),
        f"Difference in per cent from the {entry['from_end']} end on: {number(values[0], 1, sign=True)} at first, "
        f"{number(values[-1], 1, sign=True)} at last, between {number(min(values), 1, sign=True)} and "
        f"{number(max(values), 1, sign=True)}.{chance}",
        lambda sheet: draw_along(entry, units, sheet),
    )


def _stretch(entry: dict[str, Any], units: Units) -> str:
    """Say how long a stretch is; all have one length."""
    first = entry["stretches"][0]
    return f"{units.length(first['end_m'] - first['start_m'])} {units.length_name}"


def draw_along(entry: dict[str, Any], units: Units, sheet: Sheet) -> Figure:
    """Draw the difference along the strips with what chance gives.

    Parameters
    ----------
    entry : dict
        One of ``along`` of result.json.
    units : Units
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    middle = [(stretch["start_m"] + stretch["end_m"]) / 2 / units.m_per_length for stretch in entry["stretches"]]
    value = [stretch["difference_pct"] for stretch in entry["stretches"]]
    colour = SOFT if entry["envelope_pct"] is None else ACCENT
    with drawing():
        figure, body = new_figure(sheet, 2.5)
        axes = body.add_subplot()
        if entry["envelope_pct"] is not None:
            high = entry["envelope_pct"]
            axes.axhspan(-100 * high / (100 + high), high, color=TINT, linewidth=0)
        axes.axhline(0, color=SOFT, linewidth=0.9)
        axes.plot(middle, value, color=colour, linewidth=2, marker="o" if len(middle) == 1 else None)
        beyond = [(at, y) for at, y, part in zip(middle, value, entry["stretches"], strict=True) if part["outside"]]
        if beyond:
            axes.scatter([at for at, _ in beyond], [y for _, y in beyond], s=26, color=ACCENT, zorder=3)
        axes.set_xlabel(f"{'Feet' if units.is_us else 'Metres'} from the {entry['from_end']} end")
        axes.set_ylabel("Difference, %")
        axes.margins(x=0.01)
        number_axis(axes.xaxis, 7 if sheet.is_wide else 4)
        number_axis(axes.yaxis, 5, sign=True)
        axes.grid(color=FAINT, linewidth=0.5)
        axes.set_axisbelow(True)
    return figure


def _zone_table(zones: list[dict[str, Any]]) -> Table:
    """Set the zones out, a row a treatment and zone."""
    rows: list[Row] = [
        [
            entry["treatment"],
            entry["zone"],
            number(entry["pairs"]),
            number(entry["difference_pct"], 1, sign=True),
            between(number(entry["low_pct"], 1, sign=True), number(entry["high_pct"], 1, sign=True)),
            odds(entry["p_differs"]),
        ]
        for entry in zones
    ]
    head = ("Treatment", "Zone", "Pairs", "Difference, %", "Margin of error, %", "Zones differ as much by chance")
    return Table("The difference by zone", head, "llrrrl", rows)
