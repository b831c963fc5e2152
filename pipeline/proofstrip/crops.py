"""Crop records: market moisture, weight of a bushel, seed weight and plausible ranges, each with its source."""

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path

from proofstrip.units import kg_ha_per_bu_ac


@dataclass(frozen=True)
class Crop:
    """One crop.

    Attributes
    ----------
    name : str
    standard_moisture_pct : float
        Moisture that yields are stated at, wet basis [%].
    bushel_lb : float or None
        Weight of a bushel [lb]; none where the trade has no bushel.
    thousand_kernel_weight_g : float
        [g]
    min_moisture_pct, max_moisture_pct : float
        Grain in a combine lies within [%].
    max_yield_kg_ha : float
        No field is better [kg/ha].
    source : str
        Where the figures come from.
    """

    name: str
    standard_moisture_pct: float
    bushel_lb: float | None
    thousand_kernel_weight_g: float
    min_moisture_pct: float
    max_moisture_pct: float
    max_yield_kg_ha: float
    source: str

    @property
    def kg_ha_per_bu_ac(self) -> float | None:
        """Kilograms a hectare in one bushel an acre."""
        return None if self.bushel_lb is None else kg_ha_per_bu_ac(self.bushel_lb)


def load_crops(folder: Path) -> dict[str, Crop]:
    """Read configs/crops.toml.

    Parameters
    ----------
    folder : pathlib.Path
        Folder of the shipped settings.

    Returns
    -------
    dict of str to Crop
    """
    table = tomllib.loads((folder / "crops.toml").read_text(encoding="utf-8"))
    return {name: Crop(**{"name": name, "bushel_lb": None, **values}) for name, values in table.items()}


def find_crop(name: str, folder: Path) -> Crop:
    """Look a crop up by name, whatever its case and spaces.

    Parameters
    ----------
    name : str
    folder : pathlib.Path
        Folder of the shipped settings.

    Returns
    -------
    Crop

    Raises
    ------
    ValueError
        When there is no such crop; names the nearest and all.
    """
    crops = load_crops(folder)
    wanted = name.strip().lower().replace(" ", "_").replace("-", "_")
    if wanted in crops:
        return crops[wanted]
    near = difflib.get_close_matches(wanted, crops, n=1)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    raise ValueError(f"crop {name!r} is not known.{hint} Known crops: {', '.join(crops)}")
