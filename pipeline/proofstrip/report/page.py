"""The page: the parts in their order, set by the template, and the pictures as files."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from proofstrip.report import choices as other_choices
from proofstrip.report import evidence, losses, pictures, sections, where
from proofstrip.report.answer import Answer, give_answer
from proofstrip.report.explore import explore_map
from proofstrip.report.html import fill_template, page_scripts, script_policy
from proofstrip.report.material import ReportMaterial
from proofstrip.report.pictures import Picture
from proofstrip.report.sections import Section
from proofstrip.report.sheet import save_png
from proofstrip.report.words import Units, choose_units, number, short


@dataclass(frozen=True)
class Head:
    """What stands above and below a page.

    Attributes
    ----------
    title, kicker, name, place : str
        Of the window; the kind of page; its heading; what it is about.
    footing : str
    invented : bool
        Says so in a band across the top.
    prepared_by : str
    wide : bool
        Give tables the room of a wide screen.
    """

    title: str
    kicker: str
    name: str
    place: str
    footing: str
    invented: bool
    prepared_by: str = ""
    wide: bool = False


def write_report(material: ReportMaterial, folder: Path) -> None:
    """Write report.html and figures/*.png.

    Parameters
    ----------
    material : ReportMaterial
    folder : pathlib.Path
        The run folder; made when it is not there.
    """
    units = choose_units(material.settings)
    parts = build_sections(material, units)
    drawn = [picture for part in parts for picture in part.pictures]
    (folder / "figures").mkdir(parents=True, exist_ok=True)
    footing = _footing(material)
    for picture in drawn:
        save_png(picture.alone(footing), folder / "figures" / f"{picture.name}.png")
    (folder / "report.html").write_text(render_page(material, units, parts), encoding="utf-8", newline="\n")


def build_sections(material: ReportMaterial, units: Units) -> list[Section]:
    """Put the parts below the answer in order: what the answer rests on, how far it holds, how it was had.

    Parameters
    ----------
    material : ReportMaterial
    units : Units

    Returns
    -------
    list of Section
    """
    result = material.result
    choices = other_choices.read_choices(result)
    drawn = evidence.evidence_pictures(material, units)
    strips = _picture_section("strips", "Strip by strip", pictures.strip_picture(material, units))
    strips.pictures.extend(picture for picture in drawn if picture.name == "rates")
    left_over = [picture for picture in drawn if picture.name != "rates"]
    weighed = bool((material.strips["source"] == "scale").any())
    groups: dict[str, list[Section | None]] = {
        "The answer:": [
            strips,
            sections.money_section(material, units, pictures.money_pictures(material, units)),
        ],
        "How far it holds:": [
            losses.loss_section(result, units),
            _choice_section(choices, units),
            where.where_section(result, weighed, units),
            sections.check_section(result),
            sections.statistics_section(material, units, left_over),
        ],
        "How it was done:": [
            _map_section(material, units),
            sections.removal_section(material),
            sections.combine_section(result, units),
            sections.run_section(material.run),
            sections.glossary_section(material.settings.economics is not None),
        ],
    }
    return [replace(part, group=group) for group, parts in groups.items() for part in parts if part is not None]


def _map_section(material: ReportMaterial, units: Units) -> Section:
    """Show the maps before and after cleaning, side by side for paper and to move about in on a screen."""
    drawn = _picture_section("map", "The map, before and after cleaning", pictures.map_picture(material, units))
    return replace(drawn, explore=explore_map(material, units)) if drawn.pictures else drawn


def _picture_section(anchor: str, title: str, picture: Picture | None) -> Section:
    """Make a part that is one picture, or says that there is nothing to draw."""
    if picture is None:
        return Section(anchor, title, ["There is nothing to draw: no strip or record with a yield."])
    return Section(anchor, title, pictures=[picture])


def _choice_section(choices: dict[str, list[dict[str, Any]]], units: Units) -> Section:
    """Show the answer under other choices."""
    title = "Would other choices change the answer?"
    if not choices:
        return Section("choices", title, ["No other choices were tried."])
    moved = [
        f"{row['label'][:1].lower()}{row['label'][1:]} ({row['moves']} answer for {name})"
        for name, rows in choices.items()
        for row in rows
        if row["moves"]
    ]
    text = f"Yes: {'; '.join(moved)}." if moved else "No: the answer is the same under every choice below."
    drawn = pictures.choice_pictures(choices, units)
    tables = [other_choices.choice_table(name, rows, units) for name, rows in choices.items()]
    return Section("choices", title, [text], drawn, tables)


def render_page(material: ReportMaterial, units: Units, parts: list[Section]) -> str:
    """Set the page.

    Parameters
    ----------
    material : ReportMaterial
    units : Units
    parts : list of Section

    Returns
    -------
    str
        HTML, self-contained.
    """
    trial = material.settings.trial
    moisture = number(material.settings.standard_moisture_pct, 1)
    place = [trial.field, trial.crop.name.replace("_", " "), str(trial.season), f"yields at {moisture} % moisture"]
    head = Head(
        title=f"{trial.name}: strip trial report, {trial.season}",
        kicker="Strip trial report",
        name=trial.name,
        place=" · ".join(filter(None, place)),
        footing=f"{trial.name}, {trial.season}",
        invented="invented" in trial.notes.lower(),
        prepared_by=material.settings.report.prepared_by,
    )
    return set_page(head, give_answer(material.result, units), parts, str(material.run.get("version") or ""))


def set_page(head: Head, answer: Answer, parts: list[Section], version: str) -> str:
    """Set any page of this look.

    Parameters
    ----------
    head : Head
    answer : Answer
        The first screen.
    parts : list of Section
    version : str
        Of the program.

    Returns
    -------
    str
        HTML, self-contained.
    """
    scripts = page_scripts(
        {
            "report/sort.js": any(table.sortable for part in parts for table in part.tables),
            "report/explore.js": any(part.explore for part in parts),
        }
    )
    return fill_template(
        "report/template.html",
        {
            "head": head,
            "answer": answer,
            "parts": parts,
            "groups": list(dict.fromkeys(part.group for part in parts if part.group)),
            "version": version,
            "scripts": scripts,
            "policy": script_policy(scripts),
        },
    )


def _footing(material: ReportMaterial) -> str:
    """Trial, field, season and crop, for pictures that stand alone."""
    trial = material.settings.trial
    names = [short(name, 40) for name in (trial.name, trial.field) if name]
    said = ", ".join([*names, str(trial.season), trial.crop.name.replace("_", " ")])
    return said + (". Invented data: for demonstration" if "invented" in trial.notes.lower() else "")
