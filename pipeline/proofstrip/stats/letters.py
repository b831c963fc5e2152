"""Compact letter display: treatments that share a letter do not differ."""

import string

import numpy as np
from numpy.typing import NDArray


def assign_letters(names: list[str], means: list[float], differ: NDArray[np.bool_]) -> dict[str, str]:
    """Give each treatment its letters; ``a`` goes to the highest mean.

    Parameters
    ----------
    names : list of str
    means : list of float
    differ : ndarray of bool, shape (k, k)
        Symmetric: which two treatments differ.

    Returns
    -------
    dict of str to str
        In the order of ``names``.

    References
    ----------
    Piepho, H.-P. (2004). An algorithm for a letter-based representation of all-pairwise comparisons.
    Journal of Computational and Graphical Statistics 13, 456-466 (insert and absorb).

    Examples
    --------
    >>> unlike = np.array([[False, False, True], [False, False, False], [True, False, False]])
    >>> assign_letters(["low", "middle", "high"], [1.0, 2.0, 3.0], unlike)
    {'low': 'b', 'middle': 'ab', 'high': 'a'}
    """
    order = sorted(range(len(names)), key=lambda i: (-means[i], i))
    columns: list[frozenset[int]] = [frozenset(order)]
    for a, i in enumerate(order):
        for j in order[a + 1 :]:
            if differ[i, j]:
                columns = _split(columns, i, j)
    columns.sort(key=lambda column: sorted(order.index(i) for i in column))
    given = {i: "" for i in order}
    for number, column in enumerate(columns):
        for i in column:
            given[i] += _letter(number)
    return {name: given[i] for i, name in enumerate(names)}


def _split(columns: list[frozenset[int]], i: int, j: int) -> list[frozenset[int]]:
    """Take two differing treatments out of every shared column, and drop columns that another one contains."""
    together = [column for column in columns if i in column and j in column]
    if not together:
        return columns
    kept = [column for column in columns if not (i in column and j in column)]
    for new in [column - {k} for column in together for k in (i, j)]:
        if not any(new <= column for column in kept):
            kept = [column for column in kept if not column <= new]
            kept.append(new)
    return kept


def _letter(number: int) -> str:
    """Name a column: a to z, A to Z, then a2, b2 and so on."""
    alphabet = string.ascii_letters
    round_number, place = divmod(number, len(alphabet))
    return alphabet[place] + (str(round_number + 1) if round_number else "")
