"""The pictures of the page: each drawn for a desk, for a phone, and as a file of its own."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from matplotlib.figure import Figure

from proofstrip.report import charts, figures, tables
from proofstrip.report.map import paint_yield
from proofstrip.report.map_figure import describe_map, draw_map
from proofstrip.report.material import ReportMaterial
from proofstrip.report.money import Curve, net_curve
from proofstrip.report.price_line import describe_line, draw_price, price_line
from proofstrip.report.sheet import NARROW, WIDE, Sheet, standalone, svg_uri
from proofstrip.report.words import Units, money, number, short

MOST_TREATMENTS = 3  # pictures of more would bury the answer; the tables hold them all


@dataclass(frozen=True)
class Picture:
    """One picture.

    Attributes
    ----------
    name : str
        Of the file in figures/, without its ending.
    heading, caption, alt : str
        ``alt`` says what it shows, with the numbers.
    draw : callable
        From a sheet to a Figure.
    """

    name: str
    heading: str
    caption: str
    alt: str
    draw: Callable[[Sheet], Figure]

    @property
    def wide(self) -> str:
        """Data URI for a desk and for paper."""
        return svg_uri(self.draw(WIDE))

    @property
    def narrow(self) -> str:
        """Data URI for a phone."""
        return svg_uri(self.draw(NARROW))

    def alone(self, footing: str) -> Figure:
        """Draw the figure with its own heading and a line below it."""
        return self.draw(standalone(self.heading, footing))


def strip_picture(material: ReportMaterial, units: Units) -> Picture | None:
    """Draw the strips: pairs where the design has them, else a row a treatment."""
    result, strips = material.result, material.strips
    control = material.settings.trial_map.control
    if strips.empty or not strips["yield_kg_ha"].notna().any():
        return None
    pairs = figures.find_pairs(strips, control)
    if pairs is None:
        return _treatment_picture(material, control, units)
    tried = next(str(name) for name in strips["treatment"] if name != control)
    entry: dict[str, Any] = next((row for row in result.get("differences") or [] if row["treatment"] == tried), {})
    complete = pairs.dropna()
    said = "; ".join(
        f"{block}: {units.yields(row.control)} and {units.yields(row.treatment)}"
        for block, row in complete.head(12).iterrows()
    )
    more = f" The first 12 of {len(complete)} pairs are listed." if len(complete) > 12 else ""
    alt = f"Yield of {control} and {tried} in each pair, {units.yield_name}: {said}.{more}"
    return Picture(
        "pairs",
        "Yield in each pair of strips",
        f"Each line is a pair of neighbouring strips: hollow {control}, filled {tried}."
        + (
            " At the right each difference, and their mean with its margin of error."
            if entry.get("low_kg_ha") is not None
            else ""
        ),
        alt,
        lambda sheet: figures.draw_pairs(pairs, (control, tried), entry, units, sheet),
    )


def _treatment_picture(material: ReportMaterial, control: str, units: Units) -> Picture:
    """Draw a row a treatment."""
    letters = material.result.get("letters") or {}
    entries = [{**row, "letters": letters.get(row["treatment"])} for row in material.result.get("treatments") or []]
    if not entries:
        means = material.strips.groupby("treatment", sort=False)["yield_kg_ha"].mean()
        entries = [{"treatment": name, "mean_kg_ha": value} for name, value in means.items()]
    entries.sort(key=lambda row: row["treatment"] != control)
    said = "; ".join(
        f"{row['treatment']} {units.yields(row['mean_kg_ha'])}" + (f" ({row['letters']})" if row.get("letters") else "")
        for row in entries
    )
    caption = "Each dot is a strip; the bar is the mean, printed at the right."
    if "block" in material.strips and material.strips["block"].notna().all():
        caption += " A line joins the strips of a block."
    if letters:
        caption += " This trial cannot tell apart treatments that share a letter."
    return Picture(
        "strips",
        "Yield of each strip, by treatment",
        caption,
        f"Yield of each strip by treatment, {units.yield_name}. Means: {said}.",
        lambda sheet: figures.draw_strips(material.strips, entries, units, sheet),
    )


def map_picture(material: ReportMaterial, units: Units) -> Picture | None:
    """Draw the maps before and after cleaning."""
    if material.points.empty or material.trial_map.empty:
        return None
    moisture = material.settings.standard_moisture_pct
    painted = paint_yield(material.points, material.trial_map, moisture)
    if painted is None:
        return None
    control = material.settings.trial_map.control
    return Picture(
        "map",
        "Yield before and after cleaning",
        "Before: every record where the display put it, the removed ones in grey. After: only the records that are "
        "counted, where their grain was cut; white is not counted.",
        describe_map(painted, material.points, units),
        lambda sheet: draw_map(painted, control, units, moisture, sheet),
    )


def money_pictures(material: ReportMaterial, units: Units) -> list[Picture]:
    """Draw the net gain over the area, a picture a treatment, and the gain over the price."""
    priced = price_picture(material, units)
    return [*_area_pictures(material, units), *([] if priced is None else [priced])]


def _area_pictures(material: ReportMaterial, units: Units) -> list[Picture]:
    """Draw the net gain over the area, a picture a treatment."""
    part, entries = material.settings.economics, material.result.get("economics") or []
    if part is None or not part.investment.amount:
        return []  # without an outlay the net gain is a straight line through zero: the table says all of it
    curves = {str(entry["treatment"]): net_curve(entry, part, units) for entry in entries}
    known = {name: curve for name, curve in curves.items() if curve is not None}
    best = sorted(known, key=lambda name: -known[name].net[-1])[:MOST_TREATMENTS]
    best = [name for name in known if name in best]
    return [
        _money_picture(name, known[name], units, "money" if len(known) == 1 else f"money_{place}")
        for place, name in enumerate(best, start=1)
    ]


def price_picture(material: ReportMaterial, units: Units) -> Picture | None:
    """Draw the gain over the price of the grain, of the treatment that gains most: the tables hold the others."""
    entries = [entry for entry in material.result.get("economics") or [] if entry.get("price_by_gain")]
    best = max(entries, key=lambda entry: float(entry["net_gain_per_ac"]), default=None)
    line = None if best is None else price_line(best, units)
    if best is None or line is None:
        return None
    name = str(best["treatment"])
    band = "" if line.low is None else ", with the margin of error of the yield difference as a band"
    return Picture(
        "price",
        f"Gain of {short(name, 40)} over the price of the grain",
        f"{tables.capital(name)}: the gain at other prices{band}.",
        f"{tables.capital(name)}. {describe_line(line)}",
        lambda sheet: draw_price(line, sheet),
    )


def _money_picture(treatment: str, curve: Curve, units: Units, name: str) -> Picture:
    """Draw the net gain of one treatment."""
    area, currency = f"{units.area_word}s", curve.currency
    end = f"{money(curve.net[-1], currency)} on {number(curve.areas[-1])} {area}"
    if curve.low is not None and curve.high is not None:
        end += f", between {money(curve.low[-1], currency)} and {money(curve.high[-1], currency)}"
    even = "" if curve.break_even is None else f"; it breaks even on {number(curve.break_even)} {area}"
    return Picture(
        name,
        f"Net gain of {short(treatment, 40)} over the area harvested",
        f"{tables.capital(treatment)}: net gain over the area harvested a year, with the margin of error as a band.",
        f"Net gain a year of {treatment}: {money(curve.net[0], currency)} on no {area}, {end}{even}.",
        lambda sheet: charts.draw_money(curve, units.area_word, sheet),
    )


def choice_pictures(choices: dict[str, list[dict[str, Any]]], units: Units) -> list[Picture]:
    """Draw the difference under each other choice, a picture a treatment."""
    drawn = {name: [row for row in rows if row["difference_kg_ha"] is not None] for name, rows in choices.items()}
    known = {name: rows for name, rows in drawn.items() if len(rows) > 1}
    best = sorted(known, key=lambda name: -known[name][0]["difference_kg_ha"])[:MOST_TREATMENTS]
    best = [name for name in known if name in best]
    return [
        _choice_picture(name, known[name], units, "choices" if len(known) == 1 else f"choices_{place}")
        for place, name in enumerate(best, start=1)
    ]


def _choice_picture(treatment: str, rows: list[dict[str, Any]], units: Units, name: str) -> Picture:
    """Draw the other choices of one treatment."""
    said = "; ".join(
        f"{row['label']}: {units.yields(row['difference_kg_ha'], sign=True)} ({tables.interval(row, units)})"
        for row in rows
    )
    return Picture(
        name,
        f"The difference of {short(treatment, 40)} under other choices",
        f"{tables.capital(treatment)}: the diamond is the answer above, each dot the difference under another choice, "
        "with its margin of error.",
        f"Difference of {treatment} under each choice, {units.yield_name}: {said}.",
        lambda sheet: charts.draw_choices(rows, units, sheet),
    )
