"""Prices of a kilogram of grain: one, the mean of seasons, or a spread of them as points of equal chance."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean

import numpy as np
import numpy.typing as npt
from scipy import special

from proofstrip.config_money import Price, PriceKind
from proofstrip.crops import Crop
from proofstrip.errors import SettingsError
from proofstrip.units import KG_PER_LB, Money

Floats = npt.NDArray[np.float64]
KG_PER = {"t": 1000.0, "kg": 1.0, "lb": KG_PER_LB, "cwt": 100 * KG_PER_LB}  # cwt: the hundredweight of 100 lb
POINTS = 400  # of a spread; with twice as many, the ends of a gain move by less than a thousandth of its range
MOST_SD = 0.3  # of the mean; a wider normal distribution would hold prices below zero


@dataclass(frozen=True)
class GrainPrice:
    """What a kilogram is sold for.

    Attributes
    ----------
    kind : str
        average, seasons, triangular or normal.
    mean : float
        [currency/kg]
    points : ndarray
        Prices of equal chance, rising; one where the price is taken as certain [currency/kg].
    per_bu : float or None
        The mean a bushel.
    """

    kind: PriceKind
    mean: float
    points: Floats
    per_bu: float | None

    def ends(self, confidence: float) -> tuple[float, float]:
        """Give the prices that hold ``confidence`` of the spread between them [currency/kg]."""
        low, high = np.quantile(self.points, [(1 - confidence) / 2, (1 + confidence) / 2], method="hazen")
        return float(low), float(high)


def spread_price(price: Price, crop: Crop) -> GrainPrice:
    """Turn a price of the settings into prices of a kilogram.

    Parameters
    ----------
    price : Price
    crop : Crop

    Returns
    -------
    GrainPrice

    Raises
    ------
    SettingsError
        When a price is per bushel and the crop has none, when low, likely and high do not rise, or when a standard
        deviation reaches down to prices below zero.
    """
    sums = [price_per_kg(one, crop) for one in price.sums]
    mean, points = fmean(sums), np.array([fmean(sums)])
    if price.kind == "seasons":
        points = np.sort(sums)
    elif price.kind == "triangular":
        points = _triangle(*sums)
    elif price.kind == "normal":
        mean, points = sums[0], _normal(*sums)
    return GrainPrice(price.kind, mean, points, None if crop.bushel_lb is None else mean * crop.bushel_lb * KG_PER_LB)


def _chances() -> Floats:
    """Give the middles of the slices of equal chance."""
    return (np.arange(POINTS) + 0.5) / POINTS


def _triangle(low: float, likely: float, high: float) -> Floats:
    """Give points of a triangular distribution; its mean is (low + likely + high) / 3."""
    if not low <= likely <= high or low == high:
        raise SettingsError(Path("[economics]"), ["price must rise from low over likely to high"])
    chance, peak = _chances(), (likely - low) / (high - low)
    rising = low + np.sqrt(chance * (high - low) * (likely - low))
    return np.where(chance < peak, rising, high - np.sqrt((1 - chance) * (high - low) * (high - likely)))


def _normal(mean: float, sd: float) -> Floats:
    """Give points of a normal distribution."""
    if sd > MOST_SD * mean:
        raise SettingsError(
            Path("[economics]"),
            [
                f"price: sd is {100 * sd / mean:.0f} % of the mean; above {100 * MOST_SD:.0f} % prices fall below "
                "zero: give low, likely and high instead"
            ],
        )
    return np.asarray(mean + sd * special.ndtri(_chances()))


def mean_price_per_kg(prices: Iterable[Money], crop: Crop) -> float:
    """Mean price of one kilogram over the sums given.

    Parameters
    ----------
    prices : iterable of Money
        Per bu, t, kg, lb or cwt (100 lb).
    crop : Crop

    Returns
    -------
    float
        [currency/kg]

    Raises
    ------
    SettingsError
        When a price is per bushel and the crop has none.
    """
    return fmean(price_per_kg(price, crop) for price in prices)


def price_per_kg(price: Money, crop: Crop) -> float:
    """Price of one kilogram, from a sum by weight or by bushel.

    Parameters
    ----------
    price : Money
    crop : Crop

    Returns
    -------
    float
        [currency/kg]

    Raises
    ------
    SettingsError
        When it is per bushel and the crop has none.
    """
    if price.per == "bu" and crop.bushel_lb is None:
        raise SettingsError(
            Path("[economics]"),
            [f"price is per bushel, and {crop.name} has no bushel here; give it per t, kg, lb or cwt"],
        )
    return price.amount / {**KG_PER, "bu": (crop.bushel_lb or 1.0) * KG_PER_LB}[price.per]
