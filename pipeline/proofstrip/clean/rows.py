"""A row header takes a row or leaves it, so a pass is narrower by whole rows or not at all."""

import geopandas as gpd
import numpy as np

from proofstrip.clean.track import Floats
from proofstrip.errors import DataError

# A display may round the width, or count a little beyond the outer rows.
MOST_OFF = 0.25  # of a row


def snap_to_rows(width: Floats, swath: Floats, row_m: float) -> Floats:
    """Give the width of the rows that the header took.

    Parameters
    ----------
    width, swath : array of float, shape (n,)
        Cut width as found, and the header's [m].
    row_m : float
        Distance of rows [m].

    Returns
    -------
    array of float, shape (n,)
        The header's width less whole rows [m].

    Examples
    --------
    >>> snap_to_rows(np.array([8.9, 5.2]), np.array([9.12, 9.12]), 0.76).round(2).tolist()
    [9.12, 5.32]
    """
    return np.asarray(np.clip(swath - row_m * np.round((swath - width) / row_m), 0.0, swath), dtype=np.float64)


def check_header(points: gpd.GeoDataFrame, rows: int, row_m: float) -> None:
    """Refuse a logged header width that is not the width of whole rows of this header.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        With swath_m.
    rows : int
        Of the header.
    row_m : float
        [m]

    Raises
    ------
    DataError
    """
    swath = points["swath_m"].to_numpy(dtype=np.float64)
    taken = swath / row_m
    known = np.isfinite(taken)
    wrong = known & ((np.abs(taken - np.round(taken)) > MOST_OFF) | (taken > rows + MOST_OFF))
    # Fewer rows are a header in part; in part all day is another header.
    if known.any() and taken[known].max() < rows - MOST_OFF:
        wrong = known
    if wrong.any():
        first = float(swath[wrong][0])
        raise DataError(
            f"clean: [harvest] rows = {rows} with row_spacing {row_m:.3g} m make a header of {rows * row_m:.2f} m, but "
            f"{int(wrong.sum()):,} of {len(swath):,} records log a width that is not whole rows of it, the first "
            f"{first:.2f} m. Correct rows or row_spacing, or leave both out if it is no row header."
        )
