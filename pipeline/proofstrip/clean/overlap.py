"""What headers met of ground already cut: by record, and summed up by pass. width.py and settle.py fill them in."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray


@dataclass(frozen=True)
class Overlap:
    """What the header of each record met.

    Attributes
    ----------
    taken : array of float, shape (n,)
        Share of the header over ground that an earlier pass cut.
    edges : array of int, shape (n,)
        How many sides of the header ran along ground already cut: 0, 1 or 2.
    gap : array of float, shape (n,)
        Ground left standing between the header and the cut ground along these sides [m].
    side : array of int, shape (n,)
        Which side ran along cut ground: 1 the right, -1 the left, 0 both or none.
    """

    taken: NDArray[np.float64]
    edges: NDArray[np.int64]
    gap: NDArray[np.float64]
    side: NDArray[np.int64]


@dataclass(frozen=True)
class Seen:
    """What the passes show of their overlap.

    Attributes
    ----------
    signed : array of float, shape (n,)
        Of each record, below zero for a gap [m].
    measured, fine : array of float, shape (n,)
        Smoothed over some 30 m, steady passes to one level; and over some 16 m [m].
    passes : pandas.DataFrame
        A row a pass beside cut ground: machine, edges, header, level, halves.
    noise : array of float, shape (machines,)
        How far overlap wanders [m].
    """

    signed: NDArray[np.float64]
    measured: NDArray[np.float64]
    fine: NDArray[np.float64]
    passes: pd.DataFrame
    noise: NDArray[np.float64]
