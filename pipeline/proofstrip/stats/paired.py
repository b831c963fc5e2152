"""Two treatments in pairs, beside the t test: the exact sign-flip test, the Hodges-Lehmann median, log ratios."""

import numpy as np
from numpy.typing import NDArray
from scipy import special

from proofstrip.stats.results import MedianDifference

Floats = NDArray[np.float64]

EXACT_PAIRS = 20  # 2^20 sign patterns are counted in a moment; beyond, random ones are drawn
EXACT_RANKS = 60  # beyond, the signed-rank distribution is as good as normal


def sign_flip_p(differences: Floats, draws: int, seed: int) -> tuple[float, float, int | None]:
    """Exact p of the mean pair difference when the two labels of every pair may be swapped.

    Parameters
    ----------
    differences : ndarray, shape (n,)
    draws : int
        Random sign patterns above ``EXACT_PAIRS`` pairs.
    seed : int

    Returns
    -------
    tuple of float, float, int or None
        Two-sided p; the smallest p that this number of pairs can give, 2 / 2^n; the draws, none when all were counted.

    Notes
    -----
    Valid by the randomisation alone, whatever the distribution of yields. Drawn p: (1 + hits) / (1 + draws).

    References
    ----------
    Fisher, R. A. (1935). The Design of Experiments, section 21.

    Examples
    --------
    >>> sign_flip_p(np.array([1.0, 2.0, 3.0, 4.0]), 10_000, 1)
    (0.125, 0.125, None)
    """
    n = len(differences)
    scale = float(np.abs(differences).sum())
    observed = abs(float(differences.sum())) - 1e-10 * scale
    if n <= EXACT_PAIRS:
        sums = np.zeros(1)
        for d in differences[1:]:  # by symmetry the first sign can stay
            sums = np.concatenate([sums + d, sums - d])
        hits = int((np.abs(sums + differences[0]) >= observed).sum())
        return hits / 2 ** (n - 1), 2 / 2**n, None
    rng = np.random.default_rng(seed)
    signs = 2 * rng.integers(0, 2, size=(draws, n), dtype=np.int8) - 1
    hits = int((np.abs(signs @ differences) >= observed).sum())
    return (1 + hits) / (1 + draws), 1 / (1 + draws), draws


def hodges_lehmann(differences: Floats, confidence: float) -> MedianDifference:
    """Median of all averages of two differences, with the interval of Wilcoxon's signed-rank test.

    Parameters
    ----------
    differences : ndarray, shape (n,)
    confidence : float
        Wanted; the interval has the next higher one that ranks allow, or the highest there is.

    Returns
    -------
    MedianDifference

    References
    ----------
    Hollander, M., Wolfe, D. A. and Chicken, E. (2014). Nonparametric Statistical Methods, 3rd ed., sections 3.2, 3.3.
    """
    n = len(differences)
    first, second = np.triu_indices(n)
    averages = np.sort((differences[first] + differences[second]) / 2)
    below = signed_rank_cdf(n)
    tail = (1 - confidence) / 2
    cut = int(np.searchsorted(below, tail, side="right"))  # number of averages to step in from each end
    cut = max(min(cut, len(averages) // 2), 1)
    reached = 1 - 2 * float(below[cut - 1])
    return MedianDifference(float(np.median(averages)), float(averages[cut - 1]), float(averages[-cut]), reached)


def signed_rank_cdf(n: int) -> Floats:
    """Give P(T+ <= 0), P(T+ <= 1), ... of the signed-rank statistic of n pairs."""
    ranks = n * (n + 1) // 2
    if n > EXACT_RANKS:
        mean, sd = ranks / 2, np.sqrt(n * (n + 1) * (2 * n + 1) / 24)
        return np.asarray(special.ndtr((np.arange(ranks + 1) + 0.5 - mean) / sd))
    chances = np.zeros(ranks + 1)
    chances[0] = 1.0
    for rank in range(1, n + 1):
        chances[rank:] = (chances[rank:] + chances[:-rank]) / 2
        chances[:rank] /= 2
    return np.cumsum(chances)
