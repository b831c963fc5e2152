"""Ground loss: seeds in frames -> kilograms a hectare by strip, before the harvest, at the header and in the machine.

Three zones are counted in a strip. What lies in the standing crop fell before the harvest; on the ground that the
header has cut but the machine has not yet driven over lies that and what the header lost; behind the machine lies all.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from proofstrip.crops import Crop
from proofstrip.errors import DataError, Notice
from proofstrip.units import KG_PER_LB, M2_PER_ACRE, M_PER_FT

Floats = npt.NDArray[np.float64]
ZONES = ("preharvest", "header", "total")
LOSSES = ("preharvest", "header", "machine", "harvest")
# Frames of a strip and zone from which on its mean is worth something; common practice, no source.
FEW_FRAMES = 4
# Scatter among frames that chance gives less often than this is called uneven.
UNEVEN_P = 0.05


@dataclass(frozen=True)
class Dispersion:
    """How much more the frames of one place differ than seeds that fell at random would (1: as much).

    Attributes
    ----------
    ratio : float
        Pearson's chi-square over its degrees of freedom: Fisher's index of dispersion, pooled.
    df, frames : int
    p_value : float
        How often frames differ so much when seeds fall at random (Poisson).
    """

    ratio: float
    df: int
    frames: int
    p_value: float

    @property
    def uneven(self) -> bool:
        """Whether seeds lie in heaps."""
        return self.ratio > 1 and self.p_value < UNEVEN_P


@dataclass(frozen=True)
class StripLosses:
    """What lay on the ground, strip by strip.

    Attributes
    ----------
    table : pandas.DataFrame
        A row per strip of the strip table: strip, treatment, block, frames, preharvest_kg_ha, header_kg_ha,
        machine_kg_ha, harvest_kg_ha (header and machine); NaN where a zone was not counted.
    dispersion : Dispersion or None
        None where no strip has two frames in a zone, or no frame holds a seed.
    thousand_kernel_g : float
    notices : tuple of Notice
    """

    table: pd.DataFrame
    dispersion: Dispersion | None
    thousand_kernel_g: float
    notices: tuple[Notice, ...]


def to_kg_ha(seeds: Floats, area_m2: Floats, thousand_kernel_g: float) -> Floats:
    """Turn seeds on an area into kilograms a hectare: seeds / m2 x g a thousand / 100.

    Parameters
    ----------
    seeds, area_m2 : numpy.ndarray of float64
    thousand_kernel_g : float
        Weight of a thousand kernels [g].

    Returns
    -------
    numpy.ndarray of float64
        [kg/ha]

    Examples
    --------
    >>> float(to_kg_ha(np.array([9800.0]), np.array([1.0]), 33.0)[0])
    3234.0
    """
    return seeds / area_m2 * thousand_kernel_g / 100


def seeds_per_ft2(bushel_lb: float, thousand_kernel_g: float) -> float:
    """Give the seeds on a square foot that are one bushel an acre.

    Parameters
    ----------
    bushel_lb : float
        Weight of a bushel [lb].
    thousand_kernel_g : float
        [g]

    Returns
    -------
    float

    Examples
    --------
    >>> round(seeds_per_ft2(60, 156.2), 2)
    4.0
    """
    return bushel_lb * KG_PER_LB * 1e6 / thousand_kernel_g / (M2_PER_ACRE / M_PER_FT**2)


def add_up_losses(
    frames: pd.DataFrame, strips: pd.DataFrame, crop: Crop, thousand_kernel_g: float | None, concentration: float = 1.0
) -> StripLosses:
    """Add up the frames of each strip.

    Header loss = header zone - preharvest. Machine loss = (total - header zone) / concentration. Harvest loss = both.

    Parameters
    ----------
    frames : pandas.DataFrame
        strip, zone, seeds, area_m2: a row per frame.
    strips : pandas.DataFrame
        strip, treatment, block.
    crop : Crop
    thousand_kernel_g : float or None
        None: the crop's [g].
    concentration : float
        Width of the header over the width that the machine drops straw and chaff on.

    Returns
    -------
    StripLosses

    Raises
    ------
    DataError
        When more grain lies in a strip than the crop can bear.

    References
    ----------
    Zones and their differences: Shay, Ellis and Hires, Measuring and reducing soybean harvesting losses, University of
    Missouri Extension G1280, 1993. Concentration: Hofman, How to estimate grain harvest losses, NDSU, 2003.
    """
    grams = crop.thousand_kernel_weight_g if thousand_kernel_g is None else thousand_kernel_g
    places = frames.groupby(["strip", "zone"], as_index=False)
    sums = places.agg(seeds=("seeds", "sum"), area_m2=("area_m2", "sum"), frames=("seeds", "size"))
    sums["kg_ha"] = to_kg_ha(sums["seeds"].to_numpy(), sums["area_m2"].to_numpy(), grams)
    _refuse_too_much(sums, crop, grams)
    by_zone, counts = (
        sums.pivot_table(index="strip", columns="zone", values=name).reindex(index=strips["strip"], columns=list(ZONES))
        for name in ("kg_ha", "frames")
    )
    before, stood_in = _fill_preharvest(by_zone["preharvest"], strips)
    total = by_zone["header"] + (by_zone["total"] - by_zone["header"]) / concentration
    if concentration == 1:
        total = by_zone["total"]
    table = pd.DataFrame(
        {
            "strip": strips["strip"].to_numpy(),
            "treatment": strips["treatment"].to_numpy(),
            "block": strips["block"].to_numpy(),
            "frames": counts.sum(axis=1).to_numpy(dtype=np.int64),
            "preharvest_kg_ha": before.to_numpy(),
            "header_kg_ha": (by_zone["header"] - before).to_numpy(),
            "machine_kg_ha": (total - by_zone["header"]).to_numpy(),
            "harvest_kg_ha": (total - before).to_numpy(),
        }
    )
    notices = [*stood_in, *_note_uncounted(by_zone, strips), *_note_few(counts), *_note_below_zero(table)]
    return StripLosses(table, measure_dispersion(frames), grams, tuple(notices))


def measure_dispersion(frames: pd.DataFrame) -> Dispersion | None:
    """Compare the scatter of the frames of one strip and zone with that of seeds that fall at random.

    Parameters
    ----------
    frames : pandas.DataFrame
        strip, zone, seeds, area_m2.

    Returns
    -------
    Dispersion or None
        None where nothing was repeated or no seed was found.

    References
    ----------
    Fisher, Statistical Methods for Research Workers, 1925, section 19: index of dispersion of the Poisson series.
    """
    places = frames.groupby(["strip", "zone"])
    density = places["seeds"].transform("sum") / places["area_m2"].transform("sum")
    expected = (density * frames["area_m2"]).to_numpy(dtype=np.float64)
    filled = expected > 0
    seeds = frames["seeds"].to_numpy(dtype=np.float64)[filled]
    df = int(filled.sum()) - int((places["seeds"].sum() > 0).sum())
    if df < 1:
        return None
    chi2 = float(((seeds - expected[filled]) ** 2 / expected[filled]).sum())
    return Dispersion(chi2 / df, df, int(filled.sum()), float(special.chdtrc(df, chi2)))


def _refuse_too_much(sums: pd.DataFrame, crop: Crop, grams: float) -> None:
    """Refuse more grain on the ground than any field bears: a unit or a count is wrong."""
    for row in sums[sums["kg_ha"] > crop.max_yield_kg_ha].head(1).itertuples():
        raise DataError(
            f"ground loss, strip {row.strip!r}, {row.zone}: {row.seeds:g} seeds on {row.area_m2:.3g} m2 at {grams:g} g "
            f"a thousand kernels would be {row.kg_ha:,.0f} kg/ha on the ground; no {crop.name.replace('_', ' ')} field "
            f"bears more than {crop.max_yield_kg_ha:,.0f}. Correct the count, the unit of the frame area, or "
            "thousand_kernel_g."
        )


def _fill_preharvest(counted: "pd.Series[float]", strips: pd.DataFrame) -> tuple["pd.Series[float]", list[Notice]]:
    """Let the block's, then the field's, preharvest loss stand in where a strip has no frame of its own."""
    own = counted.set_axis(strips.index)
    blocks = strips["block"].astype(object).where(strips["block"].notna(), "")
    filled = own.fillna(own.groupby(blocks).transform("mean")).fillna(own.mean())
    lent = strips.loc[own.isna() & filled.notna(), "strip"].tolist()
    if not lent:
        return filled.set_axis(counted.index), []
    said = (
        f"{_count(lent, 'strip')} without a preharvest frame ({_name(lent)}): the mean of the block, or of the field, "
        "stands in. A treatment that works at the harvest cannot change what fell before it."
    )
    return filled.set_axis(counted.index), [Notice("preharvest_stands_in", said)]


def _note_uncounted(by_zone: pd.DataFrame, strips: pd.DataFrame) -> list[Notice]:
    """Name what was not counted, so that nobody looks for it in the tables."""
    said = []
    if by_zone["preharvest"].isna().all():
        said.append(
            "No frame was counted in the standing crop, so header loss cannot be told from what fell before harvest."
        )
    for zone in ("header", "total"):
        without = by_zone.index[by_zone[zone].isna()].tolist()
        if len(without) == len(strips):
            lost = "header and machine loss cannot be told apart" if zone == "header" else "machine loss is not known"
            said.append(f"No frame was counted in zone {zone}, so {lost}.")
        elif without:
            said.append(f"{_count(without, 'strip')} without a frame in zone {zone}: {_name(without)}.")
    return [Notice("ground_loss_uncounted", text) for text in said]


def _note_few(counts: pd.DataFrame) -> list[Notice]:
    """Say where a mean rests on few frames."""
    given = counts.to_numpy(dtype=np.float64)
    few, means = int((given < FEW_FRAMES).sum()), int(np.isfinite(given).sum())
    if not few:
        return []
    said = (
        f"{few} of {means} means of strip and zone rest on fewer than {FEW_FRAMES} "
        "frames; seeds lie unevenly, so such a mean says little."
    )
    return [Notice("few_frames", said)]


def _note_below_zero(table: pd.DataFrame) -> list[Notice]:
    """Say where a later zone holds less than an earlier one on the whole: zones may be swapped."""
    said = {"header": "header than in the standing crop", "machine": "machine than at the header"}
    return [
        Notice(
            "loss_below_zero",
            f"On the whole fewer seeds were counted behind the {where}, which cannot be. Look whether zones were "
            "swapped, or frames counted in unlike places.",
        )
        for loss, where in said.items()
        if table[f"{loss}_kg_ha"].mean() < 0
    ]


def _count(names: list[str], what: str) -> str:
    """Say how many."""
    return f"{len(names)} {what}{'' if len(names) == 1 else 's'}"


def _name(names: list[str]) -> str:
    """Name the first few."""
    return ", ".join(map(str, names[:6])) + (" ..." if len(names) > 6 else "")
