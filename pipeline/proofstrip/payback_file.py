"""The file of ``proofstrip payback``: a yield gain that is already known, and what it is to pay for."""

from pydantic import Field, ValidationInfo, field_validator, model_validator

from proofstrip.config import CropName, EconomicsPart
from proofstrip.crops import Crop
from proofstrip.economics import Beside
from proofstrip.toml_file import Part
from proofstrip.units import parse_quantity


class PaybackPart(Part):
    """Crop, gain with its unit (and its interval, where it has one), what is known of the grain, and the money."""

    crop: CropName
    gain: str
    gain_low: str | None = None
    gain_high: str | None = None
    confidence: float = Field(0.90, gt=0.5, lt=1)
    yield_level: str | None = Field(None, alias="yield")
    moisture_pct: float | None = Field(None, ge=0, lt=60)
    economics: EconomicsPart

    @field_validator("gain", "gain_low", "gain_high", "yield_level")
    @classmethod
    def _check_gain(cls, text: str | None, found: ValidationInfo) -> str | None:
        """Take a gain that the crop's units can say."""
        crop = found.data.get("crop")
        if text is not None and crop is not None:
            _read_kg_ha(text, crop)
        return text

    @model_validator(mode="after")
    def _check_interval(self) -> "PaybackPart":
        """Take a whole interval or none, with the gain inside."""
        gain, low, high = self.gains_kg_ha
        if (low is None) != (high is None):
            raise ValueError("gain_low and gain_high belong together; give both or neither")
        if low is not None and high is not None and not low <= gain <= high:
            raise ValueError("gain does not lie between gain_low and gain_high")
        return self

    @property
    def gains_kg_ha(self) -> tuple[float, float | None, float | None]:
        """The gain, its low and its high end [kg/ha]."""
        ends = (None if end is None else _read_kg_ha(end, self.crop) for end in (self.gain_low, self.gain_high))
        return (_read_kg_ha(self.gain, self.crop), *ends)  # type: ignore[return-value]

    @property
    def beside(self) -> Beside:
        """What is known beside the gain."""
        level = None if self.yield_level is None else _read_kg_ha(self.yield_level, self.crop)
        return Beside(self.confidence, self.moisture_pct, level)


def _read_kg_ha(text: str, crop: Crop) -> float:
    """Read ``"3.1 bu/ac"`` or ``"210 kg/ha"``."""
    number, _, unit = text.strip().partition(" ")
    if unit.replace(" ", "") != "bu/ac":
        return parse_quantity(text, "kg/ha")
    if crop.kg_ha_per_bu_ac is None:
        raise ValueError(f"{text!r} is in bushels, and {crop.name} has no bushel here; give kg/ha, t/ha or lb/ac")
    return parse_quantity(f"{number} kg/ha", "kg/ha") * crop.kg_ha_per_bu_ac
