"""What cleaning removed: by reason and treatment, and how often chance alone deals the reasons out like that."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from proofstrip.balance import Chances, deal_labels
from proofstrip.config import StatsPart
from proofstrip.flags import EXCLUDING, FLAGS, Flag, has_flag

# What makes the ends of strips is asked of the whole strip; all else within the window that the yield is taken from.
ENDS = Flag.STRIP_END | Flag.ENTRY_RAMP | Flag.EXIT_RAMP
# A person's choice is told, and tested, apart.
BY_HAND = Flag.EXCLUDED_BY_HAND
ANY_REASON = "any_reason"


@dataclass(frozen=True)
class Removal:
    """What one reason took from one treatment.

    Attributes
    ----------
    reason : str
        Name of a flag; ``any_reason``: removed in the window for one or more of them.
    treatment : str
    within : str
        What the shares are of: the treatment's records in the common ``window``, or, for the ends of strips, in the
        whole ``strip``.
    records : int
    share_records, share_mass : float or None
        Of the treatment's records there, and of the grain that they logged.
    p_value : float or None
        How often labels dealt anew within their blocks set any treatment's strips as far from the control's; the same
        for all treatments of a reason. None where nothing was repeated.
    p_adjusted : float or None
        With an allowance for asking several reasons; none for ``any_reason``, which is asked alone.
    seldom : bool or None
        Chance does as much in at most 10 % of cases, the allowance counted, or as seldom as so few strips can show.
    """

    reason: str
    treatment: str
    within: Literal["window", "strip"]
    records: int
    share_records: float | None
    share_mass: float | None
    p_value: float | None
    p_adjusted: float | None
    seldom: bool | None


def count_removals(
    points: pd.DataFrame, strips: pd.DataFrame, control: str, settings: StatsPart
) -> tuple[Removal, ...]:
    """Count what each reason removed from each treatment, and hold it against chance.

    Parameters
    ----------
    points : pandas.DataFrame
        strip, flags, standard_mass_kg.
    strips : pandas.DataFrame
        The strip table.
    control : str
    settings : StatsPart
        Number and seed of random arrangements.

    Returns
    -------
    tuple of Removal
        Treatments in the order of the strip table; reasons that removed nothing are left out.
    """
    inside = points[points["strip"].notna() & ~has_flag(points["flags"], BY_HAND)]
    inside = inside[["strip", "flags"]].assign(mass=inside["standard_mass_kg"].fillna(0.0).clip(lower=0.0))
    reasons = [meaning.flag for meaning in FLAGS if meaning.excludes and meaning.flag != BY_HAND]
    tables = {str(flag.name).lower(): _sum_by_strip(inside, flag, strips) for flag in reasons}
    tables = {name: table for name, table in tables.items() if table["records"].sum() > 0}
    ratios = {name: table["records"] / table["of_records"] for name, table in tables.items()}
    shares = pd.DataFrame(ratios, index=strips.index)
    chances = deal_labels(strips, shares, control, settings)
    whole = _sum_by_strip(inside, EXCLUDING & ~ENDS & ~BY_HAND, strips)
    total = deal_labels(strips, (whole["records"] / whole["of_records"]).to_frame(), control, settings)
    found = _by_treatment(ANY_REASON, whole, strips, _read_chances(total, 0, 1))
    for place, (name, table) in enumerate(tables.items()):
        found += _by_treatment(name, table, strips, _read_chances(chances, place, len(tables)))
    return tuple(found)


def _read_chances(chances: Chances | None, place: int, count: int) -> tuple[float | None, float | None, bool | None]:
    """Give p of one of several questions alone, with its allowance, and whether chance seldom does as much."""
    if chances is None:
        return None, None, None
    together = float(chances.together[place])
    return float(chances.alone[place]), together if count > 1 else None, chances.seldom(together)


def _sum_by_strip(inside: pd.DataFrame, flag: Flag, strips: pd.DataFrame) -> pd.DataFrame:
    """Count records and grain that carry a flag, and what they are a part of, on the index of the strips."""
    base = inside if flag & ENDS else inside[~has_flag(inside["flags"], ENDS)]
    taken = base[has_flag(base["flags"], flag)]
    sums = {
        "records": taken.groupby("strip").size(),
        "mass": taken.groupby("strip")["mass"].sum(),
        "of_records": base.groupby("strip").size(),
        "of_mass": base.groupby("strip")["mass"].sum(),
    }
    columns = {name: strips["strip"].map(part).astype("float64") for name, part in sums.items()}
    table = pd.DataFrame(columns).fillna({"records": 0.0, "mass": 0.0})
    return table.assign(within="strip" if flag & ENDS else "window")


def _by_treatment(
    reason: str, table: pd.DataFrame, strips: pd.DataFrame, chances: tuple[float | None, float | None, bool | None]
) -> list[Removal]:
    """Give one reason's shares, treatment by treatment."""
    sums = table.drop(columns="within").groupby(strips["treatment"].astype(str).to_numpy(), sort=False).sum()
    within, (p, adjusted, seldom) = table["within"].iloc[0], chances
    found = []
    for treatment, row in zip(sums.index, sums.to_numpy(dtype=np.float64), strict=True):
        records, mass, of_records, of_mass = (float(part) for part in row)
        share, grain = records / of_records if of_records else None, mass / of_mass if of_mass else None
        found.append(Removal(reason, str(treatment), within, int(records), share, grain, p, adjusted, seldom))
    return found
