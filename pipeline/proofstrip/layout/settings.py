"""The file of ``proofstrip layout``: trial, field, machines, strips and what is expected of them."""

from pathlib import Path
from typing import Literal

from pydantic import Field, field_validator, model_validator

from proofstrip.config import EconomicsPart, Metres, ReportPart, StatsPart, TrialPart
from proofstrip.crops import Crop
from proofstrip.toml_file import Part
from proofstrip.units import parse_quantity

# 300 ft strips have worked, 750 ft and more are better: on-farm test design, pnwsteep.wsu.edu, 1994.
MIN_LENGTH_M = 91.44
LEAST_REPLICATES = 3
# Widths are written rounded: 12.19 m for 40 ft.
WIDTH_TOLERANCE_M = 0.02


class FieldPart(Part):
    """The ground."""

    boundary: str = Field(min_length=1)
    headland_m: Metres = Field(alias="headland", ge=0, le=200)


class MachinesPart(Part):
    """Working widths, and the machine that makes the treatment."""

    header_m: Metres = Field(alias="header", gt=0, le=30)
    planter_m: Metres | None = Field(None, alias="planter", gt=0, le=60)
    sprayer_m: Metres | None = Field(None, alias="sprayer", gt=0, le=80)
    treated_with: Literal["planter", "sprayer", "header"]

    @model_validator(mode="after")
    def _check_treated_with(self) -> "MachinesPart":
        """Refuse a machine whose width is not given."""
        if self.treated_with == "planter" and self.planter_m is None:
            raise ValueError('treated_with = "planter" needs the planter\'s width; add planter = "40 ft"')
        if self.treated_with == "sprayer" and self.sprayer_m is None:
            raise ValueError('treated_with = "sprayer" needs the sprayer\'s width; add sprayer = "90 ft"')
        return self

    @property
    def treating_m(self) -> float:
        """Width of the machine that makes the treatment [m]."""
        widths = {"planter": self.planter_m, "sprayer": self.sprayer_m, "header": self.header_m}
        return float(widths[self.treated_with] or 0.0)


class LayoutStripsPart(Part):
    """What the strips are to be."""

    treatments: tuple[str, ...] = Field(min_length=2, max_length=8)
    control: str
    replicates: int = Field(ge=1, le=40)
    width_m: Metres | None = Field(None, alias="width", gt=0)
    passes: int | None = Field(None, ge=1, le=20)
    edge_m: Metres = Field(0.0, alias="edge", ge=0)
    buffer_m: Metres = Field(0.0, alias="buffer", ge=0)
    guard_m: Metres = Field(0.0, alias="guard", ge=0)
    min_length_m: Metres = Field(MIN_LENGTH_M, alias="min_length", gt=0)
    heading_deg: float | None = Field(None, ge=0, lt=360)
    ab_line: str | None = None
    design: Literal["randomised", "systematic"] = "randomised"
    seed: int = Field(ge=0)

    @field_validator("treatments")
    @classmethod
    def _check_treatments(cls, names: tuple[str, ...]) -> tuple[str, ...]:
        """Refuse empty and repeated names."""
        empty = [name for name in names if not name.strip()]
        if empty or len({name.casefold() for name in names}) < len(names):
            raise ValueError(f"needs a name of its own for each treatment; found {', '.join(map(repr, names))}")
        return names

    @field_validator("replicates")
    @classmethod
    def _check_replicates(cls, count: int) -> int:
        """Refuse designs that cannot answer."""
        if count < LEAST_REPLICATES:
            raise ValueError(
                f"must be {LEAST_REPLICATES} or more; found {count}. One strip or two of each treatment show "
                "nothing of how much two strips differ anyway, so no test can tell the treatment from the luck of the "
                "ground; six are better"
            )
        return count

    @model_validator(mode="after")
    def _check_choices(self) -> "LayoutStripsPart":
        """Refuse what is said twice, and a control that is no treatment."""
        if self.control not in self.treatments:
            listed = ", ".join(map(repr, self.treatments))
            raise ValueError(f"control = {self.control!r} is no treatment; treatments are {listed}")
        if self.width_m is not None and self.passes is not None:
            raise ValueError("width and passes say the same; give one of them")
        if self.heading_deg is not None and self.ab_line is not None:
            raise ValueError("heading_deg and ab_line say the same; give one of them")
        return self


class ExpectPart(Part):
    """What is known before: yield level and scatter."""

    yield_level: str | None = Field(None, alias="yield")
    sd_pct: float | None = Field(None, gt=0, le=50)
    cv_pct: float | None = Field(None, gt=0, le=50)
    confidence: float | None = Field(None, gt=0.5, lt=1)

    @model_validator(mode="after")
    def _check_scatter(self) -> "ExpectPart":
        """Refuse the scatter said twice."""
        if self.sd_pct is not None and self.cv_pct is not None:
            raise ValueError("sd_pct and cv_pct say the same; give one of them")
        return self


class LayoutSettings(Part):
    """One layout file, complete.

    Attributes
    ----------
    folder : pathlib.Path
        Where the file stands; relative file names start here.
    """

    folder: Path
    trial: TrialPart
    field: FieldPart
    machines: MachinesPart
    strips: LayoutStripsPart
    expect: ExpectPart = Field(default_factory=lambda: ExpectPart.model_validate({}))
    economics: EconomicsPart | None = None
    stats: StatsPart
    report: ReportPart

    @property
    def confidence(self) -> float:
        """Of the intervals and tests to come."""
        return self.stats.confidence if self.expect.confidence is None else self.expect.confidence

    @property
    def strip_width_m(self) -> float:
        """Width of a strip [m]: as written, or the treating machine's passes, one where nothing is written."""
        if self.strips.width_m is not None:
            return self.strips.width_m
        return self.machines.treating_m * (self.strips.passes or 1)

    @property
    def header_passes(self) -> int:
        """Full header widths that fit into a strip, its edges left out."""
        room = self.strip_width_m - 2 * self.strips.edge_m
        return int((room + WIDTH_TOLERANCE_M) // self.machines.header_m)

    @property
    def yield_kg_ha(self) -> float | None:
        """Expected yield [kg/ha]."""
        return None if self.expect.yield_level is None else read_yield(self.expect.yield_level, self.trial.crop)

    @property
    def invented(self) -> bool:
        """Whether the notes call the trial invented."""
        return "invented" in self.trial.notes.lower()


def read_yield(text: str, crop: Crop) -> float:
    """Read a yield such as ``"62 bu/ac"`` or ``"4200 kg/ha"``.

    Parameters
    ----------
    text : str
    crop : Crop
        Its bushel, where it has one.

    Returns
    -------
    float
        [kg/ha]

    Raises
    ------
    ValueError
        When it is no yield, or in bushels of a crop without one.
    """
    number, _, unit = text.strip().partition(" ")
    if unit.replace(" ", "") != "bu/ac":
        found = parse_quantity(text, "kg/ha")
    elif crop.bushel_lb is None:
        raise ValueError(f"{text!r} is in bushels, and {crop.name} has no bushel here; give kg/ha, t/ha or lb/ac")
    else:
        found = parse_quantity(f"{number} lb/ac", "kg/ha") * crop.bushel_lb
    if not 0 < found <= crop.max_yield_kg_ha:
        raise ValueError(f"{text!r} is no yield of {crop.name}; at most {crop.max_yield_kg_ha:,.0f} kg/ha is possible")
    return found
