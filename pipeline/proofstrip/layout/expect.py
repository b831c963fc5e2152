"""What a design can find: the smallest difference, in per cent and in yield, and what breaking even would need."""

from dataclasses import dataclass

import numpy as np

from proofstrip.config import EconomicsPart
from proofstrip.economics import price_gain
from proofstrip.layout.settings import LayoutSettings
from proofstrip.stats.multiple import dunnett_critical
from proofstrip.stats.power import detectable_difference, pairs_needed

# SD of the difference of two neighbouring strips, per cent of the yield, where the user gives none: simulated strips of
# one pass under a monitor whose error from pass to pass is 1.5 %; none, and 3 % (tests/accuracy/measure_pairs.py).
SD_PCT = 2.8
SD_RANGE_PCT = (2.4, 4.3)


@dataclass(frozen=True)
class BreakEven:
    """What one treatment must yield more than the control to pay.

    Attributes
    ----------
    treatment : str
    difference_kg_ha : float
        Below zero where the treatment costs less than the control.
    difference_pct : float
        Of the expected yield.
    replicates : int or None
        Fewest that find a difference of this size; none where no practical number does, or nothing is to be found.
    """

    treatment: str
    difference_kg_ha: float
    difference_pct: float
    replicates: int | None


@dataclass(frozen=True)
class Expectation:
    """What the design can find.

    Attributes
    ----------
    sd_pct : float
        SD of the difference of two strips of a block, per cent of the yield.
    assumed : bool
        Whether that is the default and not the user's.
    confidence, power : float
    detectable_pct : float
        Smallest true difference from the control that is found with that power.
    detectable_range_pct : tuple of float
        The same at the ends of the range of the default; the same twice where the user gave the scatter.
    detectable_kg_ha : float or None
        None without an expected yield.
    break_even : tuple of BreakEven
        One for each treatment beside the control; none without prices or an expected yield.
    exact_floor : float or None
        Smallest p-value that the exact test of the pairs can give; none for more than two treatments.
    """

    sd_pct: float
    assumed: bool
    confidence: float
    power: float
    detectable_pct: float
    detectable_range_pct: tuple[float, float]
    detectable_kg_ha: float | None
    break_even: tuple[BreakEven, ...]
    exact_floor: float | None


def find_detectable(sd: float, replicates: int, treatments: int, confidence: float, power: float) -> float:
    """Give the smallest true difference from the control that blocks of strips find.

    Parameters
    ----------
    sd : float
        Standard deviation of the difference of two strips of a block.
    replicates, treatments : int
        Blocks, and strips in each, the control included.
    confidence, power : float
        Two-sided; Dunnett's for more than two treatments.

    Returns
    -------
    float
        In the unit of ``sd``.

    Examples
    --------
    >>> round(find_detectable(1.0, 6, 2, 0.95, 0.80), 2)  # 1.43: tables of the paired t test
    1.43
    """
    contrasts = treatments - 1
    correlation = np.full((contrasts, contrasts), 0.5) + 0.5 * np.eye(contrasts)
    df = float((replicates - 1) * contrasts)
    return detectable_difference(sd / replicates**0.5, df, dunnett_critical(confidence, df, correlation), power)


def expect(settings: LayoutSettings) -> Expectation:
    """Say what the design can find.

    Parameters
    ----------
    settings : LayoutSettings

    Returns
    -------
    Expectation
    """
    strips, level = settings.strips, settings.yield_kg_ha
    kinds, confidence, power = len(strips.treatments), settings.confidence, settings.stats.power
    own = settings.expect.sd_pct
    if settings.expect.cv_pct is not None:
        own = settings.expect.cv_pct * 2**0.5  # two strips differ by root two of what one scatters
    sd = SD_PCT if own is None else own
    ends = SD_RANGE_PCT if own is None else (own, own)
    found, low, high = (find_detectable(s, strips.replicates, kinds, confidence, power) for s in (sd, *ends))
    return Expectation(
        sd_pct=sd,
        assumed=own is None,
        confidence=confidence,
        power=power,
        detectable_pct=found,
        detectable_range_pct=(low, high),
        detectable_kg_ha=None if level is None else found / 100 * level,
        break_even=_find_break_even(settings, sd) if level and settings.economics else (),
        exact_floor=2.0 ** (1 - strips.replicates) if kinds == 2 else None,
    )


def _find_break_even(settings: LayoutSettings, sd_pct: float) -> tuple[BreakEven, ...]:
    """Find what each treatment must yield more, and the replicates that would find it."""
    strips, level, prices = settings.strips, settings.yield_kg_ha, settings.economics
    found = []
    for name in strips.treatments:
        if name == strips.control or prices is None or level is None:
            continue
        difference = _price(settings, prices, name)
        needed = pairs_needed(
            100 * difference / level, sd_pct, settings.confidence, settings.stats.power, len(strips.treatments)
        )
        found.append(BreakEven(name, difference, 100 * difference / level, needed))
    return tuple(found)


def _price(settings: LayoutSettings, prices: EconomicsPart, name: str) -> float:
    """Give the difference at which a treatment's costs and its share of the investment come back [kg/ha]."""
    roles = {"treatment": name, "control": settings.strips.control}
    cost = {role: prices.cost[own] for role, own in roles.items() if own in prices.cost}
    # Nothing was delivered yet, so the buyer's schedule has nothing to work on.
    plain = prices.model_copy(update={"cost": cost, "delivery": None})
    return price_gain(0.0, settings.trial.crop, plain).break_even_difference_kg_ha
