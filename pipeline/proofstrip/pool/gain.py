"""A pooled gain taken out of pool.json, to be priced by a payback file that names it."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import Field

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, load_crops
from proofstrip.economics import Beside, Payback, price_gain
from proofstrip.errors import DataError, SettingsError
from proofstrip.pool.choose import fold
from proofstrip.record import read_json
from proofstrip.report.words import count, make_units, number
from proofstrip.stats.wording import list_words
from proofstrip.toml_file import Part, find_lines, validate

TAKEN = ("crop", "gain", "gain_low", "gain_high", "confidence", "yield")  # what pool.json gives or does not need


class PooledPart(Part):
    """A payback file whose gain is that of trials pooled."""

    pool: str = Field(min_length=1)
    treatment: str | None = None
    moisture_pct: float | None = Field(None, ge=0, lt=60)
    economics: EconomicsPart


@dataclass(frozen=True)
class PooledGain:
    """The pooled yield difference of one treatment.

    Attributes
    ----------
    treatment, control : str
    crop : Crop
    kg_ha : tuple of float
        The mean of all fields, and the ends of its interval.
    confidence, df : float
        Of the interval.
    head : str
        What it is, for the first line of a page.
    """

    treatment: str
    control: str
    crop: Crop
    kg_ha: tuple[float, float, float]
    confidence: float
    df: float
    head: str


def price_pool_file(text: str, written: dict[str, Any], path: Path) -> tuple[Payback, str, int]:
    """Price the pooled gain that a payback file names.

    Parameters
    ----------
    text : str
    written : dict
        The file, and what it says.
    path : pathlib.Path
        The file: ``pool`` is found from its folder.

    Returns
    -------
    tuple of Payback, str and int
        The gain priced, the first lines of its page, and how many prices were given.

    Raises
    ------
    SettingsError
        When the file is wrong, or says beside ``pool`` what the pool gives.
    DataError
        When there is no such pool, or it has no gain in yield.
    """
    lines = find_lines(text)
    problems = [
        f"line {lines.get((key,), 0)}: [{key}] stands beside pool, which gives the gain; take out one of the two"
        for key in TAKEN
        if key in written
    ]
    if problems:
        raise SettingsError(path, problems)
    part = validate(PooledPart, written, path, text)
    found = read_gain(path.parent / part.pool, part.treatment)
    roles = {fold(found.treatment): "treatment", fold(found.control): "control"}
    cost = {roles.get(fold(name), name): amount for name, amount in part.economics.cost.items()}
    beside = Beside(found.confidence, part.moisture_pct, None, found.df)
    priced = price_gain(
        found.kg_ha[0], found.crop, part.economics.model_copy(update={"cost": cost}), *found.kg_ha[1:], beside
    )
    named = replace(priced, treatment=found.treatment, control=found.control)
    return named, found.head, len(part.economics.price.sums)


def read_gain(path: Path, treatment: str | None = None) -> PooledGain:
    """Read the pooled gain of a treatment.

    Parameters
    ----------
    path : pathlib.Path
        pool.json, or the folder it lies in.
    treatment : str, optional
        Needed where several were pooled.

    Returns
    -------
    PooledGain

    Raises
    ------
    DataError
        When there is no such pool or treatment, or no gain in kg/ha was pooled.
    """
    path = path / "pool.json" if path.is_dir() else path
    pool = _read(path)
    row = _find(pool["treatments"], treatment, path)
    names = f"{row['treatment']} against {row['control']}"
    crop = load_crops(config_folder()).get(str(pool["crop"]))
    if row["effect"] is None:
        raise DataError(f"{path}: there is no pooled answer for {names}: it stands on fewer than three trials.")
    if row["yield"] is None or crop is None:
        raise DataError(
            f"{path}: {names} was pooled in per cent only. A price needs bushels or kilograms: give every trial its "
            "difference in yield and its crop (docs/pool.md), or write the gain into the payback file: gain = ..."
        )
    middle, low, high = (float(row["yield"][f"{key}_kg_ha"]) for key in ("difference", "low", "high"))
    ends = middle, low, high
    head = _describe(row, crop, ends)
    head += "\nInvented data: for demonstration." if pool.get("invented") else ""
    return PooledGain(row["treatment"], row["control"], crop, ends, pool["confidence"], row["effect"]["df"], head)


def _describe(row: dict[str, Any], crop: Crop, ends: tuple[float, float, float]) -> str:
    """Say what was pooled, what its range holds, and whether it hangs on single trials."""
    units = make_units("us" if crop.kg_ha_per_bu_ac else "metric", crop.kg_ha_per_bu_ac)
    middle, low, high = (units.yield_text(end, sign=True) for end in ends)
    seasons, later = row["seasons"], row["next_season"]
    span = f"in {seasons[0]}" if len(seasons) == 1 else f"over {seasons[0]} to {seasons[-1]}"
    said = (
        f"{crop.name.replace('_', ' ')}, {row['treatment']} against {row['control']}: {middle} ({low} to {high}), mean "
        f"of {count(row['trials'], 'trial')} {span}\n"
        "The range is that of the mean; on another field the true difference is expected at "
        f"{number(later['low_pct'], 1, sign=True)} to {number(later['high_pct'], 1, sign=True)} %."
    )
    fragile = "\nWithout a single one of the trials the answer would be another one: pool.html names it."
    return said + (fragile if row["fragile"] else "")


def _read(path: Path) -> dict[str, Any]:
    """Read pool.json."""
    if not path.is_file():
        raise DataError(f"{path}: there is no such file. pool names the folder or the pool.json of proofstrip pool.")
    pool = read_json(path, "proofstrip pool")
    if not {"crop", "confidence", "treatments"} <= pool.keys():
        raise DataError(f"{path} is not the answer of proofstrip pool: it lacks crop, confidence or treatments.")
    return pool


def _find(rows: list[dict[str, Any]], treatment: str | None, path: Path) -> dict[str, Any]:
    """Find the treatment that is meant."""
    meant = [row for row in rows if treatment is None or fold(row["treatment"]) == fold(treatment)]
    if len(meant) != 1:
        names = list_words([repr(row["treatment"]) for row in rows])
        asked = "several treatments were pooled" if treatment is None else f"treatment {treatment!r} is not in it"
        raise DataError(f"{path}: {asked}. It has {names}; name one of them in the payback file: treatment = ...")
    return meant[0]
