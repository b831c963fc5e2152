"""Re-randomise the labels within blocks: how often does chance alone give as large a |t| against the control."""

from collections.abc import Iterator
from itertools import combinations, permutations, product
from math import comb, factorial, prod

import numpy as np
from numpy.typing import NDArray

from proofstrip.stats.design import Codes, Floats, Plots

LARGEST_T = 1e6
BATCH_CELLS = 500_000  # yields rearranged at once; bounds the memory of large tables


def permutation_p(plots: Plots, draws: int, seed: int) -> tuple[Floats, float, int | None]:
    """Give each treatment the chance that the largest |t| of a re-randomised trial reaches its own.

    Parameters
    ----------
    plots : Plots
    draws : int
        Random arrangements; all are counted where there are no more than this.
    seed : int

    Returns
    -------
    tuple of ndarray of shape (k - 1,), float, int or None
        The p of each treatment against the control; the smallest that could have come out; the draws, none when all
        arrangements were counted.

    Notes
    -----
    Yields change places within their block (everywhere, without blocks); block effects are taken out by least squares.
    The family is right under the hypothesis that no treatment does anything. Drawn p: (1 + hits) / (1 + draws).

    References
    ----------
    Westfall, P. H. and Young, S. S. (1993). Resampling-Based Multiple Testing, section 2.3 (single-step max T).
    """
    statistic = _Statistic(plots)
    observed = np.abs(statistic(plots.values[None, :])[0]) * (1 - 1e-9)
    exact = _count(plots) <= draws
    batches = [_all_orders(plots)] if exact else _drawn_orders(plots, draws, seed)
    largest = np.concatenate([np.abs(statistic(plots.values[orders])).max(axis=1) for orders in batches])
    hits = (largest[None, :] >= observed[:, None]).sum(axis=1)
    if exact:
        return hits / len(largest), float((largest >= largest.max() * (1 - 1e-9)).mean()), None
    return (1 + hits) / (1 + draws), 1 / (1 + draws), draws


def family_p(plots: Plots, family: Floats, draws: int, seed: int) -> tuple[Floats, Floats, float]:
    """Ask several things of the same plots: how often chance alone sets any treatment as far from the control.

    Parameters
    ----------
    plots : Plots
        Its own values are not looked at.
    family : ndarray, shape (questions, plots)
        What is asked about, in place of the yields.
    draws : int
        Random arrangements; all are counted where there are no more than this.
    seed : int

    Returns
    -------
    tuple of ndarray of shape (questions,), ndarray of shape (questions,), and float
        p of each question alone; with an allowance for asking them all: how often the largest |t| of any question
        reaches this one's; and the least that p can be with two treatments.

    References
    ----------
    Westfall, P. H. and Young, S. S. (1993). Resampling-Based Multiple Testing, section 2.3 (single-step max T).

    Examples
    --------
    The first differs in all of four pairs alike, the second in one alone: of 16 ways to deal the labels, two do as
    much as the first.

    >>> pairs = np.repeat(np.arange(4), 2)
    >>> plots = Plots(np.zeros(8), np.tile([0, 1], 4), pairs, None, ("a", "b"), tuple("1234"))
    >>> alone, together, least = family_p(plots, np.array([[0, 1.0] * 4, [0, 1.0] + [0.0] * 6]), 1000, 1)
    >>> alone.tolist(), together.tolist(), least
    ([0.125, 1.0], [0.125, 1.0], 0.125)
    """
    statistic = _Statistic(plots)

    def furthest(values: Floats) -> Floats:
        # Where nothing is left to chance t has no end; rounding must not tell such arrangements apart.
        return np.asarray(np.minimum(np.abs(statistic(values)).max(axis=1), LARGEST_T))

    observed = np.array([furthest(values[None, :])[0] for values in family]) * (1 - 1e-9)
    exact = _count(plots) <= draws
    batches = [_all_orders(plots)] if exact else _drawn_orders(plots, draws, seed)
    found = np.concatenate([np.stack([furthest(v[orders]) for v in family], axis=1) for orders in batches])
    hits = [(found >= observed).sum(axis=0), (found.max(axis=1)[:, None] >= observed).sum(axis=0)]
    alone, together = (h / len(found) if exact else (1 + h) / (1 + draws) for h in hits)
    return alone, together, 2 / len(found) if exact else 1 / (1 + draws)


class _Statistic:
    """t of every treatment against the control by least squares, for many rearranged sets of yields at once."""

    def __init__(self, plots: Plots) -> None:
        k = len(plots.treatments)
        blocks = np.eye(max(len(plots.blocks), 1))[plots.block]
        design = np.hstack([np.eye(k)[plots.treatment][:, 1:], blocks])
        basis, sizes, _ = np.linalg.svd(design, full_matrices=False)
        self.basis = basis[:, sizes > sizes.max() * 1e-10]
        self.effects = np.linalg.pinv(design)[: k - 1].T
        self.scale = np.sqrt(np.einsum("ij,ij->j", self.effects, self.effects))
        self.df = len(plots.values) - self.basis.shape[1]

    def __call__(self, values: Floats) -> Floats:
        """Give statistics, shape (arrangements, k - 1)."""
        centred = values - values.mean(axis=1, keepdims=True)
        fitted = centred @ self.basis
        rest = np.einsum("ij,ij->i", centred, centred) - np.einsum("ij,ij->i", fitted, fitted)
        s = np.sqrt(np.maximum(rest, 1e-300) / self.df)
        return np.asarray(centred @ self.effects / self.scale / s[:, None])


def _groups(plots: Plots) -> list[NDArray[np.intp]]:
    """Give the plots of each block."""
    return [np.flatnonzero(plots.block == block) for block in range(max(len(plots.blocks), 1))]


def _count(plots: Plots) -> int:
    """Count the arrangements: orders within each block, or ways to deal the treatments out without blocks."""
    if plots.blocks:
        return prod(factorial(len(group)) for group in _groups(plots))
    counts = np.bincount(plots.treatment)
    left, ways = len(plots.values), 1
    for count in counts.tolist():
        ways *= comb(left, count)
        left -= count
    return ways


def _all_orders(plots: Plots) -> Codes:
    """List every arrangement as an order of the plots."""
    n = len(plots.values)
    if plots.blocks:
        groups = _groups(plots)
        orders = np.tile(np.arange(n), (_count(plots), 1))
        choices = product(*(permutations(group.tolist()) for group in groups))
        places = np.concatenate(groups)
        orders[:, places] = np.array([[plot for part in choice for plot in part] for choice in choices])
        return orders
    orders_list: list[list[int]] = []
    sizes = np.bincount(plots.treatment).tolist()
    places = np.argsort(plots.treatment, kind="stable")

    def deal(chosen: list[int], left: list[int], sizes: list[int]) -> None:
        if not sizes:
            orders_list.append(chosen)
            return
        for group in combinations(left, sizes[0]):
            deal([*chosen, *group], [plot for plot in left if plot not in group], sizes[1:])

    deal([], list(range(n)), sizes)
    orders = np.empty((len(orders_list), n), dtype=np.intp)
    orders[:, places] = np.array(orders_list)
    return orders


def _drawn_orders(plots: Plots, draws: int, seed: int) -> Iterator[Codes]:
    """Draw arrangements at random, some at a time: sort random numbers within each block."""
    rng, groups, n = np.random.default_rng(seed), _groups(plots), len(plots.values)
    step = max(BATCH_CELLS // n, 1)
    for start in range(0, draws, step):
        keys = rng.random((min(step, draws - start), n))
        orders = np.empty(keys.shape, dtype=np.intp)
        for group in groups:
            orders[:, group] = group[np.argsort(keys[:, group], axis=1)]
        yield orders
