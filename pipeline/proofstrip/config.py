"""One TOML file -> one frozen, strict settings object, a part per stage.

Every problem of a file is found before any data is read, and reported together, each with its line.
Settings that a trial file does not name come from ``configs/defaults.toml``.
"""

from collections.abc import Collection
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    Field,
    field_validator,
    model_validator,
)

from proofstrip.crops import Crop, find_crop
from proofstrip.toml_file import Part, read_toml, validate
from proofstrip.units import Money, parse_money, parse_quantity


def config_folder() -> Path:
    """Give the folder of the shipped settings: inside the installed package, or the checkout's own."""
    shipped = Path(str(resources.files("proofstrip"))) / "configs"
    return shipped if shipped.is_dir() else Path(__file__).resolve().parents[2] / "configs"


def _quantity(unit: str) -> BeforeValidator:
    """Read ``"30 ft"`` into ``unit``; a number without a unit is refused."""

    def read(value: object) -> object:
        if isinstance(value, str):
            return parse_quantity(value, unit)
        raise ValueError(f'needs a number and a unit in quotes, such as "12 {unit}"; found {value!r}')

    return BeforeValidator(read)


def _money(value: object) -> object:
    """Read ``"11.40 USD/bu"``."""
    if isinstance(value, str):
        return parse_money(value)
    raise ValueError(f'needs an amount and a currency in quotes, such as "11.40 USD/bu"; found {value!r}')


def _money_list(value: object) -> object:
    """Read one price or a list of season prices."""
    return tuple(_money(item) for item in (value if isinstance(value, list) else [value]))


def _crop(value: object) -> Crop:
    """Look a crop up by its name in configs/crops.toml."""
    if isinstance(value, str):
        return find_crop(value, config_folder())
    raise ValueError(f"needs the name of a crop in quotes; found {value!r}")


Metres = Annotated[float, _quantity("m")]
Seconds = Annotated[float, _quantity("s")]
MetresPerSecond = Annotated[float, _quantity("m/s")]
SquareMetres = Annotated[float, _quantity("m^2")]
Hectares = Annotated[float, _quantity("hectare")]
MoneyAmount = Annotated[Money, BeforeValidator(_money)]
CropName = Annotated[Crop, BeforeValidator(_crop)]
MoneyList = Annotated[tuple[Money, ...], BeforeValidator(_money_list)]
Share = Annotated[float, Field(ge=0, le=1)]
Percent = Annotated[float, Field(ge=0, le=100)]


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
    swath_m: Metres | None = Field(None, alias="swath", gt=0, le=30)
    delay_applied_s: float | None = Field(None, ge=-30, le=60)
    columns: dict[str, ColumnChoice] = Field(default_factory=dict)


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


class EconomicsPart(Part):
    """Prices, the investment and how long it may take to pay back; one currency throughout."""

    price: MoneyList = Field(min_length=1)
    investment: MoneyAmount = Money(0.0, "", "")
    years: float = Field(1.0, gt=0, le=50)
    area_ha: Hectares | None = Field(None, alias="area", gt=0)
    life_years: float | None = Field(None, gt=0, le=100)
    interest_pct: Percent = 0.0
    cost: dict[str, MoneyAmount] = Field(default_factory=dict)

    @field_validator("price")
    @classmethod
    def _check_price(cls, prices: tuple[Money, ...]) -> tuple[Money, ...]:
        """Take prices of grain only."""
        for price in prices:
            _require_per(price, ("bu", "t", "kg", "lb", "cwt"), "a price")
            if price.amount <= 0:
                raise ValueError(f"a price is above zero; found {price.amount:g}")
        return prices

    @field_validator("investment")
    @classmethod
    def _check_investment(cls, investment: Money) -> Money:
        """Take a plain sum only."""
        _require_per(investment, ("",), "an investment")
        if investment.amount < 0:
            raise ValueError(f"an investment is zero or more; found {investment.amount:g}")
        return investment

    @field_validator("cost")
    @classmethod
    def _check_cost(cls, costs: dict[str, Money]) -> dict[str, Money]:
        """Take costs of ground only."""
        for name, cost in costs.items():
            _require_per(cost, ("ac", "ha"), f"the cost of {name!r}")
        return costs

    @model_validator(mode="after")
    def _check_currency(self) -> "EconomicsPart":
        """Refuse sums in several currencies."""
        sums = [*self.price, *self.cost.values(), *([self.investment] if self.investment.currency else [])]
        found = sorted({item.currency for item in sums})
        if len(found) > 1:
            raise ValueError(f"sums are in {' and '.join(found)}; give all of them in one currency")
        return self

    @property
    def currency(self) -> str:
        """ISO 4217 code of every sum."""
        return self.price[0].currency


def _require_per(money: Money, allowed: tuple[str, ...], what: str) -> None:
    """Refuse a sum for a unit that does not fit."""
    if money.per not in allowed:
        units = " or ".join(f"/{unit}" if unit else "no unit" for unit in allowed)
        raise ValueError(f"{what} has {units} after the currency; found {'/' + money.per if money.per else 'no unit'}")


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
    prepared_by: str = ""


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
