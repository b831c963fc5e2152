"""How a yield difference and a price that are both uncertain come together in one gain.

The yield difference follows the t distribution of its own comparison, the price its points of equal chance; both are
taken as independent. At one price the gain is a straight line of the difference, so its distribution is the mean of t
distributions over the prices: no number is drawn, and every run gives the same digits.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """A figure with the ends of its interval; none where there is no such end."""

    value: float
    low: float | None = None
    high: float | None = None

    def scaled(self, factor: float, shift: float = 0.0) -> "Spread":
        """Give factor x figure + shift; ``factor`` is not negative."""
        low, high = (None if end is None else factor * end + shift for end in (self.low, self.high))
        return Spread(factor * self.value + shift, low, high)


@dataclass(frozen=True)
class Needed:
    """What a sum takes to come back: the figure, the best and the worst end; none where it never does."""

    value: float | None = None
    low: float | None = None
    high: float | None = None

    @classmethod
    def of(cls, cost: float, gain: Spread) -> "Needed":
        """Divide a cost by the gain and its ends; the best end of the gain gives the low end."""
        if cost <= 0:
            return cls()
        return cls(
            *(None if end is None or end <= 0 else cost / end for end in (gain.value, gain.high, gain.low)),
        )

    def scaled(self, factor: float) -> "Needed":
        """Give the same in another unit."""
        return Needed(*(None if end is None else factor * end for end in (self.value, self.low, self.high)))


@dataclass(frozen=True)
class Belief:
    """How likely a true yield difference is, given the trial.

    Attributes
    ----------
    value : float
        The difference seen; half of the chance lies on either side [kg/ha].
    below, above : float
        Scale on either side: one standard error, unless an interval was given that is not even [kg/ha].
    df : float
        Degrees of freedom of t; infinite: normal.
    """

    value: float
    below: float
    above: float
    df: float

    @classmethod
    def of_interval(cls, difference: Spread, confidence: float, df: float) -> "Belief | None":
        """Give the belief whose middle is a given interval; none without one."""
        if difference.low is None or difference.high is None:
            return None
        reach = _quantile((1 + confidence) / 2, df)
        return cls(
            difference.value,
            (difference.value - difference.low) / reach,
            (difference.high - difference.value) / reach,
            df,
        )

    def below_chance(self, yields: Floats) -> Floats:
        """Chance that the true difference is below each of some yields [kg/ha]."""
        distance = yields - self.value
        scale = np.where(distance < 0, self.below, self.above)
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.where(scale > 0, distance / scale, np.where(distance == 0, 0.0, np.sign(distance) * np.inf))
        return np.asarray(special.ndtr(z) if np.isinf(self.df) else special.stdtr(self.df, z))

    def quantile(self, chance: float) -> float:
        """Give the difference that the true one is below with a given chance [kg/ha]."""
        z = _quantile(chance, self.df)
        return self.value + z * (self.below if z < 0 else self.above)


def _quantile(chance: float, df: float) -> float:
    """Give the quantile of t, or of the normal where df is infinite."""
    return float(special.ndtri(chance) if np.isinf(df) else special.stdtrit(df, chance))


@dataclass(frozen=True)
class GainLine:
    """The gain as a straight line of the yield difference, at each price of equal chance.

    Attributes
    ----------
    slope, level : ndarray
        gain = slope x difference + level [currency/kg, currency/ha].
    """

    slope: Floats
    level: Floats

    def chance_above(self, gain: float, belief: Belief) -> float:
        """Chance that the gain is above a sum [currency/ha]."""
        return float(1 - belief.below_chance((gain - self.level) / self.slope).mean())

    def interval(self, belief: Belief, confidence: float) -> tuple[float, float]:
        """Give the ends that leave the same chance on both sides [currency/ha]."""
        return self._quantile((1 - confidence) / 2, belief), self._quantile((1 + confidence) / 2, belief)

    def _quantile(self, chance: float, belief: Belief) -> float:
        """Give the gain that the true one is below with a given chance."""
        # At each price its own quantile; that of all prices together lies between the outermost of them.
        own = self.slope * belief.quantile(chance) + self.level
        low, high = float(own.min()), float(own.max())

        def missing(gain: float) -> float:
            return 1 - self.chance_above(gain, belief) - chance

        # A yield difference without scatter goes up in steps, which may lie on either side of the ends.
        if high - low <= 1e-12 * max(abs(low), abs(high)) or missing(low) >= 0:
            return low
        return high if missing(high) <= 0 else float(optimize.brentq(missing, low, high, xtol=1e-10))
