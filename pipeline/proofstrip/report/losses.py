"""The part of the page on ground losses: what was counted, what each treatment left, and whether it is the gain."""

from typing import Any

import pandas as pd

from proofstrip.report import figures
from proofstrip.report.pictures import Picture
from proofstrip.report.sections import Section
from proofstrip.report.tables import Row, Table, capital, interval
from proofstrip.report.words import Units, number, p_value, percent
from proofstrip.stats.wording import list_words

NAMES = {"preharvest": "Before harvest", "header": "Header", "machine": "Machine", "harvest": "Header and machine"}
SAID = (
    "What lay in the standing crop fell before the harvest. Header loss is what lay on ground the header had cut, less "
    "that; machine loss is what lay behind the combine, less what the header zone held."
)
BELOW_ZERO = "A loss can come out a little below zero, because frames differ by chance; it is left as it came out."


def loss_section(result: dict[str, Any], units: Units) -> Section | None:
    """Say what lay on the ground; none where nothing was counted.

    Parameters
    ----------
    result : dict
        result.json.
    units : Units

    Returns
    -------
    Section or None
    """
    found = result.get("ground_loss")
    if not found:
        return None
    text = [f"{_say_counting(found)} {SAID}", *_say_balance(result), *_say_scatter(found)]
    shown = [_treatment_table(found, units)]
    if found["differences"]:
        shown.append(_difference_table(found, units))
    shown.append(_strip_table(found, units))
    picture = _picture(found, str(result.get("control")), units)
    below = any((row[f"{loss}_kg_ha"] or 0) < 0 for row in found["strips"] for loss in NAMES)
    return Section(
        "losses",
        "Grain on the ground",
        text,
        pictures=[picture] if picture else [],
        tables=shown,
        notes=[BELOW_ZERO] if below else [],
    )


def _say_counting(found: dict[str, Any]) -> str:
    """Say how much was counted, and what turned seeds into grain."""
    said = (
        f"Seeds were counted in {number(found['frames'])} frames on the ground; a thousand kernels are taken to weigh "
    )
    said += f"{number(found['thousand_kernel_g'], 1).removesuffix('.0')} g."
    if found["concentration"] != 1:
        said += f" What fell behind the machine lay {number(found['concentration'], 1)} times as dense as it was cut."
    return said


def _say_balance(result: dict[str, Any]) -> list[str]:
    """Say whether the ground accounts for the gain, as the check does."""
    return [
        capital(str(check["note"]))
        for check in result.get("checks") or []
        if check.get("name") == "gain_against_ground_loss"
    ]


def _say_scatter(found: dict[str, Any]) -> list[str]:
    """Say how unevenly the seeds lay."""
    scatter = found.get("dispersion")
    if not scatter:
        return []
    times = number(scatter["ratio"], 1)
    if scatter["ratio"] > 1 and scatter["p_value"] < 0.05:
        return [
            f"Seeds lay in heaps: frames of one place differ {times} times as much (variance over mean) as seeds that "
            "fell at random would. The comparison goes by the scatter between strips, so it holds all the same; more "
            "frames would sharpen it."
        ]
    return [f"Frames of one place differ as seeds that fell at random do (variance over mean {times})."]


def _treatment_table(found: dict[str, Any], units: Units) -> Table:
    """Give the mean losses of each treatment."""
    rows: list[Row] = [
        [
            str(row["treatment"]),
            number(row["strips"]),
            *(units.yields(row[f"{loss}_kg_ha"]) for loss in NAMES),
        ]
        for row in found["treatments"]
    ]
    return Table(f"Grain on the ground, {units.yield_name}", ("Treatment", "Strips", *NAMES.values()), "lrrrrr", rows)


def _difference_table(found: dict[str, Any], units: Units) -> Table:
    """Set each loss of each treatment against the control."""
    rows: list[Row] = [
        [
            f"{row['treatment']} against {row['control']}",
            NAMES[row["loss"]].lower(),
            units.yields(row["difference_kg_ha"], sign=True),
            interval(row, units),
            p_value(row["p_value"]),
        ]
        for row in found["differences"]
    ]
    confidence = percent(found["differences"][0]["confidence"], 0)
    head = ("Comparison", "Loss", f"Difference, {units.yield_name}", f"Margin of error, {confidence}", "p-value")
    return Table("Losses against the control", head, "llrrr", rows)


def _strip_table(found: dict[str, Any], units: Units) -> Table:
    """List the losses of every strip."""
    rows: list[Row] = [
        [
            str(row["strip"]),
            str(row["treatment"]),
            number(row["frames"]),
            *(units.yields(row[f"{loss}_kg_ha"]) for loss in NAMES),
        ]
        for row in found["strips"]
    ]
    head = ("Strip", "Treatment", "Frames", *NAMES.values())
    return Table(f"Losses strip by strip, {units.yield_name}", head, "llrrrrr", rows, folded=True)


def _picture(found: dict[str, Any], control: str, units: Units) -> Picture | None:
    """Draw the loss that is set against the gain, in pairs or a row a treatment."""
    losses = pd.DataFrame(found["strips"])
    loss = next((name for name in ("harvest", "header", "machine") if losses[f"{name}_kg_ha"].notna().any()), None)
    if loss is None:
        return None
    table = losses.rename(columns={f"{loss}_kg_ha": "yield_kg_ha"})
    entries = [row for row in found["differences"] if row["loss"] == loss]
    what = f"{NAMES[loss]} loss" if loss != "harvest" else "Header and machine loss"
    pairs = figures.find_pairs(table, control)
    heading = f"{what}, strip by strip"
    if pairs is not None and entries:
        tried = str(entries[0]["treatment"])
        said = "; ".join(
            f"{block}: {units.yields(row.control)} and {units.yields(row.treatment)}"
            for block, row in pairs.dropna().head(12).iterrows()
        )
        return Picture(
            "losses",
            heading,
            f"{what} in each pair of strips: hollow {control}, filled {tried}. Further left is less grain lost.",
            f"{what} of {control} and {tried} in each pair, {units.yield_name}: {said}.",
            lambda sheet: figures.draw_pairs(pairs, (control, tried), entries[0], units, sheet, what),
        )
    means = table.groupby("treatment", sort=False)["yield_kg_ha"].mean()
    rows = [{"treatment": name, "mean_kg_ha": value} for name, value in means.items()]
    said = list_words([f"{row['treatment']} {units.yields(row['mean_kg_ha'])}" for row in rows])
    return Picture(
        "losses",
        heading,
        "Each dot is a strip; the bar is the mean, printed at the right. Further left is less grain lost.",
        f"{what} of each strip by treatment, {units.yield_name}. Means: {said}.",
        lambda sheet: figures.draw_strips(table, rows, units, sheet, what),
    )
