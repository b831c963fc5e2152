"""One TOML file -> one frozen, strict settings object, a part per stage.

Every problem of a file is found before any data is read, and reported together, each with its line.
Settings that a trial file does not name come from ``configs/defaults.toml``.
"""

import difflib
from collections.abc import Collection
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import available_timezones

from pydantic import (
    BeforeValidator,
    Field,
    model_validator,
)

from proofstrip.config_money import EconomicsPart as EconomicsPart
from proofstrip.config_money import Percent
from proofstrip.crops import Crop, find_crop
from proofstrip.toml_file import Part, quantity, read_toml, validate


def config_folder() -> Path:
    """Give the folder of the shipped settings: inside the installed package, or the checkout's own."""
    shipped = Path(str(resources.files("proofstrip"))) / "configs"
    return shipped if shipped.is_dir() else Path(__file__).resolve().parents[2] / "configs"


def _crop(value: object) -> Crop:
    """Look a crop up by its name in configs/crops.toml."""
    if isinstance(value, str):
        return find_crop(value, config_folder())
    raise ValueError(f"needs the name of a crop in quotes; found {value!r}")


def _time_zone(value: object) -> object:
    """Refuse a name that the IANA time zone database does not have; say which are near."""
    if not isinstance(value, str):
        return value
    known = available_timezones()
    if value in known:
        return value
    wanted = value.strip().casefold().replace(" ", "_")
    places = {name.casefold(): name for name in known} | {name.rpartition("/")[2].casefold(): name for name in known}
    near = dict.fromkeys(places[key] for key in difflib.get_close_matches(wanted, places, n=3))
    hint = f"; did you mean {' or '.join(map(repr, near))}?" if near else ""
    raise ValueError(f"must be a name of the IANA time zone database, such as 'America/Chicago'; found {value!r}{hint}")


Metres = Annotated[float, quantity("m")]
Seconds = Annotated[float, quantity("s")]
MetresPerSecond = Annotated[float, quantity("m/s")]
SquareMetres = Annotated[float, quantity("m^2")]
CropName = Annotated[Crop, BeforeValidator(_crop)]
Share = Annotated[float, Field(ge=0, le=1)]


class TrialPart(Part):
    """What was tried, where and when."""

    name: str = Field(min_length=1)
    field: str = ""
    season: int = Field(ge=1900, le=2200)
    crop: CropName
    notes: str = ""


class ColumnChoice(Part):
    """Which column of the raw file holds a quantity, and in which unit."""

    column: str
    unit: str = ""


class HarvestPart(Part):
    """The raw records."""

    files: tuple[str, ...] = Field(min_length=1)
    crs: str | None = None
    time_zone: Annotated[str | None, BeforeValidator(_time_zone)] = None
    swath_m: Metres | None = Field(None, alias="swath", gt=0, le=30)
    rows: int | None = Field(None, ge=1, le=48)
    row_spacing_m: Metres | None = Field(None, alias="row_spacing", ge=0.1, le=2)
    delay_applied_s: float | None = Field(None, ge=-30, le=60)
    columns: dict[str, ColumnChoice] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _check_rows(self) -> "HarvestPart":
        """Refuse half of a row header, and one that is not as wide as the header."""
        if (self.rows is None) != (self.row_spacing_m is None):
            raise ValueError("rows and row_spacing tell of a row header together; give both or neither")
        if self.rows and self.row_spacing_m and self.swath_m:
            header_m = self.rows * self.row_spacing_m
            if abs(header_m - self.swath_m) > self.row_spacing_m / 4:
                raise ValueError(
                    f"{self.rows} rows of {self.row_spacing_m:.3g} m make {header_m:.2f} m, but swath is "
                    f"{self.swath_m:.2f} m; correct one of them"
                )
        return self


class TrialMapPart(Part):
    """The polygons of the strips."""

    file: str
    strip: str = "strip"
    treatment: str = "treatment"
    block: str | None = None
    control: str


class TablePart(Part):
    """A table beside the trial: scale tickets."""

    file: str


class GroundLossPart(TablePart):
    """Ground-loss counts, and what turns seeds into grain."""

    frame_area_m2: SquareMetres | None = Field(None, alias="frame_area", gt=0, le=100)
    thousand_kernel_g: float | None = Field(None, gt=0, le=2000)
    concentration: float = Field(1.0, ge=1, le=30)
    acts_on: Literal["harvest", "crop"] = "harvest"


class ZonesPart(Part):
    """A zone layer: polygons with a name each, or a raster of zone numbers."""

    file: str
    zone: str = "zone"


class CleanPart(Part):
    """Thresholds of the cleaning stage; reasons stand in configs/defaults.toml."""

    exclusions: str | None = Field(None, min_length=1)
    max_gap_s: Seconds = Field(alias="max_gap", gt=0)
    header_up_s: Seconds = Field(alias="header_up", ge=0)
    turn_length_m: Metres = Field(alias="turn_length", gt=0)
    max_turn_deg: float = Field(gt=0, le=180)
    min_pass_length_m: Metres = Field(alias="min_pass_length", ge=0)
    jump_m_s: MetresPerSecond = Field(alias="jump_speed", gt=0)
    jump_share: float = Field(gt=0)
    off_pass_m: Metres = Field(alias="off_pass", gt=0)
    off_pass_mad: float = Field(gt=0)
    delay_s: Seconds | None = Field(None, alias="delay")
    assumed_delay_s: Seconds = Field(alias="assumed_delay")
    delay_low_s: Seconds = Field(alias="delay_low")
    delay_high_s: Seconds = Field(alias="delay_high")
    delay_min_pairs: int = Field(ge=1)
    delay_min_confidence: Share
    delay_max_split_s: Seconds = Field(alias="delay_max_split", gt=0)
    delay_max_range_s: Seconds = Field(alias="delay_max_range", gt=0)
    delay_min_prominence: float = Field(ge=0)
    ramp_level: Share
    ramp_max_s: Seconds = Field(alias="ramp_max", ge=0)
    ramp_min_s: Seconds = Field(alias="ramp_min", ge=0)
    ramp_unsure_s: Seconds = Field(alias="ramp_unsure", ge=0)
    cell_m: Metres = Field(alias="cell", gt=0)
    full_width_share: Share
    narrow_share: Share
    recut_share: Share
    slow_share: float = Field(gt=0)
    fast_share: float = Field(gt=0)
    speed_change_log: float = Field(gt=0)
    stuck_s: Seconds = Field(alias="stuck", gt=0)
    max_flow_ratio: float = Field(gt=1)
    spike_mad: float = Field(gt=0)
    spike_s: Seconds = Field(alias="spike", gt=0)

    @model_validator(mode="after")
    def _check_ranges(self) -> "CleanPart":
        """Refuse a search range or a length of ramps that ends before it begins."""
        ranges = (
            ("delay_low", self.delay_low_s, "delay_high", self.delay_high_s),
            ("ramp_min", self.ramp_min_s, "ramp_max", self.ramp_max_s),
        )
        for low, smallest, high, largest in ranges:
            if smallest >= largest:
                raise ValueError(f"{low} must be below {high}; found {smallest:g} s and {largest:g} s")
        if self.slow_share >= self.fast_share:
            raise ValueError(f"slow_share must be below fast_share; found {self.slow_share:g} and {self.fast_share:g}")
        return self


class MoisturePart(Part):
    """Grain moisture."""

    standard_pct: float | None = Field(None, ge=0, lt=100)
    declared_pct: Percent | None = None
    use: Literal["auto", "record", "pass"]


class StripsPart(Part):
    """From records to strips."""

    max_other_share: Share
    min_covered_share: Share
    end_trim_m: Metres = Field(alias="end_trim", ge=0)


class StatsPart(Part):
    """The comparison of treatments."""

    confidence: float = Field(gt=0.5, lt=1)
    power: float = Field(gt=0.5, lt=1)
    permutations: int = Field(ge=999, le=1_000_000)
    seed: int = Field(ge=0)
    prior_effect_pct: float = Field(gt=0, le=100)
    prior_sd_pct: float = Field(gt=0, le=100)
    prior_sd_log: float = Field(gt=0, le=3)
    between_years_pct: float = Field(ge=0, le=100)
    factor: str | None = None
    covariate: str | None = None


class ReportPart(Part):
    """The page."""

    units: Literal["us", "metric"]
    paper: Literal["letter", "a4"]
    prepared_by: str = ""


class ArchivePart(Part):
    """On which terms others may use the archived trial, and whom they can ask."""

    licence: str = Field(min_length=1)
    contact: str = Field(min_length=1)


class Settings(Part):
    """One trial, complete: what the user wrote over the shipped defaults.

    Attributes
    ----------
    folder : pathlib.Path
        Where the trial file stands; relative file names start here.
    file : str
        Its name there.
    """

    folder: Path
    file: str = "trial.toml"
    trial: TrialPart
    harvest: HarvestPart
    trial_map: TrialMapPart
    scale: TablePart | None = None
    ground_loss: GroundLossPart | None = None
    zones: ZonesPart | None = None
    economics: EconomicsPart | None = None
    archive: ArchivePart | None = None
    clean: CleanPart
    moisture: MoisturePart
    strips: StripsPart
    stats: StatsPart
    report: ReportPart

    @property
    def standard_moisture_pct(self) -> float:
        """Moisture that yields are stated at: the trial's own setting, or the crop's."""
        own = self.moisture.standard_pct
        return self.trial.crop.standard_moisture_pct if own is None else own


class Defaults(Part):
    """The shipped settings alone."""

    clean: CleanPart
    moisture: MoisturePart
    strips: StripsPart
    stats: StatsPart
    report: ReportPart


def load_settings(path: Path) -> Settings:
    """Read a trial file over the shipped defaults.

    Parameters
    ----------
    path : pathlib.Path
        ``trial.toml``.

    Returns
    -------
    Settings

    Raises
    ------
    SettingsError
        With every problem of the file and its line.
    """
    text, written = read_toml(path)
    place = path.resolve()
    return validate(Settings, {**over_defaults(written), "folder": place.parent, "file": place.name}, path, text)


def over_defaults(written: dict[str, Any], parts: Collection[str] | None = None) -> dict[str, Any]:
    """Lay what a file says over the shipped defaults.

    Parameters
    ----------
    written : dict
    parts : collection of str, optional
        The parts that the file can have; not given: all.

    Returns
    -------
    dict
    """
    _, defaults = read_toml(config_folder() / "defaults.toml")
    merged = dict(written)
    for part in defaults if parts is None else parts:
        own = written.get(part, {})
        merged[part] = {**defaults[part], **own} if isinstance(own, dict) else own
    return merged


def load_defaults() -> Defaults:
    """Give the shipped settings of every stage, for calling a stage alone.

    Returns
    -------
    Defaults
    """
    path = config_folder() / "defaults.toml"
    text, values = read_toml(path)
    return validate(Defaults, values, path, text)
