"""Single strips between check strips: what the ground would have yielded under the control, and how far off that is.

This is a model (the ground changes evenly from one check strip to the next), not replication: a strip that stands once
gets an adjusted difference and what the check strips say about its error, and no p-value.

References
----------
Federer, W. T. (1956). Augmented (or hoonuiaku) designs. Hawaiian Planters' Record 55, 191-208.
Kempton, R. A. (1984). The design and analysis of unreplicated field trials. Vorträge für Pflanzenzüchtung 7, 219-242.
"""

import numpy as np
from scipy import special

from proofstrip.stats.design import Plots
from proofstrip.stats.further import AdjustedStrip
from proofstrip.stats.linear import Floats

FEWEST_CHECKS = 4  # two inner ones at the least, each told from its neighbours


def adjust_by_checks(plots: Plots, strips: tuple[str, ...], confidence: float) -> tuple[AdjustedStrip, ...]:
    """Set every treatment that stands once against the check strips on its two sides.

    Parameters
    ----------
    plots : Plots
        Without blocks.
    strips : tuple of str
        Names of the strips, in the order of the plots.
    confidence : float

    Returns
    -------
    tuple of AdjustedStrip
        Empty without an order, with fewer than four strips of the control, or without a treatment that stands once.

    Notes
    -----
    expected = the straight line between the nearest check on each side (beyond the last: that check). The error comes
    from the inner check strips, each predicted by its own neighbours: e = c - w1 c1 - w2 c2 has variance
    s2 (1 + w1^2 + w2^2). Degrees of freedom after Satterthwaite, for the e overlap.
    """
    single = np.bincount(plots.treatment, minlength=len(plots.treatments)) == 1
    if plots.blocks or plots.order is None or (plots.treatment == 0).sum() < FEWEST_CHECKS or not single[1:].any():
        return ()
    control = plots.treatment == 0
    rank = np.argsort(plots.order[control], kind="stable")
    places, checks = plots.order[control][rank], plots.values[control][rank]
    if (np.diff(places) <= 0).any():
        return ()
    variance, df = _check_error(places, checks)
    t = -float(special.stdtrit(df, (1 - confidence) / 2))
    rows = []
    for plot in np.flatnonzero(single[plots.treatment] & ~control).tolist():
        weights = _weights(places, float(plots.order[plot]))
        expected = float(weights @ checks)
        se = float(np.sqrt(variance * (1 + weights @ weights)))
        d = float(plots.values[plot]) - expected
        name = plots.treatments[plots.treatment[plot]]
        rows.append(AdjustedStrip(strips[plot], name, expected, d, se, df, d - t * se, d + t * se))
    return tuple(sorted(rows, key=lambda row: -row.difference))


def _weights(places: Floats, place: float) -> Floats:
    """Give the share of each check strip in what is expected at a place."""
    weights = np.zeros(len(places))
    right = int(np.searchsorted(places, place))
    if right in (0, len(places)):
        weights[min(right, len(places) - 1)] = 1.0
        return weights
    share = (place - places[right - 1]) / (places[right] - places[right - 1])
    weights[right - 1], weights[right] = 1 - share, share
    return weights


def _check_error(places: Floats, checks: Floats) -> tuple[float, float]:
    """Give the variance of one strip about its neighbours, and its degrees of freedom."""
    rows = []
    for inner in range(1, len(places) - 1):
        own = np.zeros(len(places))
        others = np.delete(np.arange(len(places)), inner)
        own[others] = -_weights(places[others], float(places[inner]))
        own[inner] = 1.0
        rows.append(own / np.linalg.norm(own))
    contrasts = np.array(rows)
    spread = contrasts @ contrasts.T
    return float(((contrasts @ checks) ** 2).mean()), float(np.trace(spread) ** 2 / (spread**2).sum())
