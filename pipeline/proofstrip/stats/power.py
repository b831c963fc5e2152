"""How small a difference a trial can find, and how many more pairs would find a given one."""

import numpy as np
from scipy import optimize, special

from proofstrip.stats.multiple import NORMAL_REACH, dunnett_critical, legendre_nodes, scale_nodes

MOST_PAIRS = 200  # beyond this nobody lays out pairs: the answer is "no practical number"


def power_of(shift: float, df: float, critical: float) -> float:
    """Chance that |t| exceeds ``critical`` when the true difference is ``shift`` standard errors.

    Parameters
    ----------
    shift : float
        True difference over its standard error.
    df : float
        Degrees of freedom of the standard error.
    critical : float
        The test's critical value.

    Returns
    -------
    float

    Notes
    -----
    Noncentral t: P(T > c) + P(T < -c), integrated here because ``scipy.special.nctdtr`` gives NaN for many of them.

    Examples
    --------
    >>> round(power_of(0.0, 9.0, 2.262157), 4)
    0.05
    """
    if df >= 3:
        s, weights = scale_nodes(df)
        return float(1 - weights @ (special.ndtr(critical * s - shift) - special.ndtr(-critical * s - shift)))
    power = 0.0  # with so few degrees of freedom the scale is too spread out: integrate over the mean instead
    middle = max(-shift, -NORMAL_REACH)
    for low, high in ((-NORMAL_REACH, middle), (middle, NORMAL_REACH)):
        z, weights = legendre_nodes(low, high)
        density = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
        power += float((weights * density) @ special.chdtr(df, df * ((z + shift) / critical) ** 2))
    return power


def detectable_difference(se: float, df: float, critical: float, power: float) -> float:
    """Smallest true difference that the test finds with the chosen power.

    Parameters
    ----------
    se : float
        Standard error of the difference.
    df, critical : float
        Of the test.
    power : float
        0 to 1.

    Returns
    -------
    float
        In the unit of ``se``.

    Examples
    --------
    >>> round(detectable_difference(1 / 6**0.5, 5.0, 2.570582, 0.80), 2)  # six pairs, scatter 1
    1.43
    """
    high = critical + 5.0
    while power_of(high, df, critical) < power:
        high *= 2
    return float(se * optimize.brentq(lambda shift: power_of(shift, df, critical) - power, 0.0, high, xtol=1e-8))


def pairs_needed(
    true_difference: float, sd: float, confidence: float, power: float, treatments: int = 2, *, blocked: bool = True
) -> int | None:
    """Fewest pairs (blocks, or strips a treatment) that find a true difference with the chosen power.

    Parameters
    ----------
    true_difference : float
        Distance from the value that it must be told apart from.
    sd : float
        Standard deviation of the difference of two strips, of one block where there are blocks; same unit.
    confidence, power : float
        Of the test: t for two treatments, Dunnett's for several.
    treatments : int
        The control included.
    blocked : bool
        Without blocks there are more degrees of freedom for the same number of strips.

    Returns
    -------
    int or None
        None when more than ``MOST_PAIRS`` would be needed.

    Examples
    --------
    >>> pairs_needed(1.44, 1.0, 0.95, 0.80)
    6
    """
    if true_difference == 0:
        return None
    contrasts = treatments - 1
    correlation = np.full((contrasts, contrasts), 0.5) + 0.5 * np.eye(contrasts)

    def enough(pairs: int) -> bool:
        df = float((pairs - 1) * (contrasts if blocked else treatments))
        shift = abs(true_difference) * np.sqrt(pairs) / sd
        return power_of(shift, df, dunnett_critical(confidence, df, correlation)) >= power

    if not enough(MOST_PAIRS):
        return None
    too_few, found = 1, MOST_PAIRS
    while found - too_few > 1:
        middle = (too_few + found) // 2
        too_few, found = (too_few, middle) if enough(middle) else (middle, found)
    return found
