"""Where in the field the treatments differ: along the strips, and by zone.

Stretches of one strip share their pass, their sensor and their pair, so they are no replicates: a stretch that looks
large by itself says little. Whole pairs change sign instead, and every stretch is held against the largest that chance
would show anywhere along the strips.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import geopandas as gpd
import numpy as np
import pandas as pd
import scipy.stats
from numpy.typing import NDArray

from proofstrip.strips import NO_BLOCK, long_axis
from proofstrip.units import log_ratio_pct

Floats = NDArray[np.float64]

CELL_M = 10.0
WINDOW_CELLS = 4
LEAST_GROUND = 0.5  # of what a window usually holds; less is an end or a gap
LEAST_PAIRS = 5  # with fewer, chance alone reaches every mean too often for an envelope at 90 %
EXACT_PAIRS = 12
DRAWS = 4095
LEAST_ZONE_M2 = 300.0


@dataclass(frozen=True)
class Stretch:
    """The difference in one window along the strips.

    Attributes
    ----------
    start_m, end_m : float
        From the low end of the field, along its longest strip [m].
    difference_pct : float
        Mean of the pairs, from log ratios [%].
    outside : bool
        Beyond the envelope.
    """

    start_m: float
    end_m: float
    difference_pct: float
    outside: bool


@dataclass(frozen=True)
class Along:
    """One treatment against the control along the strips.

    Attributes
    ----------
    treatment, control : str
    pairs : int
    from_end : str
        Where the metres are counted from: ``south`` or ``west``.
    envelope_pct : float or None
        What the largest window reaches by chance in one of (1 - confidence) of cases [%]; none with few pairs.
    p_somewhere : float or None
        Chance of a window as large as the largest, were there no difference anywhere.
    p_varies : float or None
        Chance of a change along the strips as large as this, were the difference the same everywhere.
    stretches : tuple of Stretch
    """

    treatment: str
    control: str
    pairs: int
    from_end: str
    envelope_pct: float | None
    p_somewhere: float | None
    p_varies: float | None
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True)
class ZoneDifference:
    """One treatment against the control in one zone.

    Attributes
    ----------
    treatment, control, zone : str
    pairs : int
        Blocks in which both strips have enough ground of the zone.
    difference_pct, low_pct, high_pct : float or None
        Mean log ratio and its paired t interval [%]; no interval with fewer than three pairs.
    p_differs : float or None
        Chance that zones differ as much, were the difference the same in all; the same for every zone of a treatment.
    """

    treatment: str
    control: str
    zone: str
    pairs: int
    difference_pct: float | None
    low_pct: float | None
    high_pct: float | None
    p_differs: float | None


def compare_along(
    points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, control: str, confidence: float, seed: int
) -> tuple[Along, ...]:
    """Follow the difference along the strips in windows of some 40 m.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        With strip, usable, standard_mass_kg, area_m2 and the place of the cut.
    strips : geopandas.GeoDataFrame
        strip, treatment, block and polygons, in the CRS of the points.
    control : str
    confidence : float
        Of the envelope.
    seed : int
        For drawn signs, where there are more than 12 pairs.

    Returns
    -------
    tuple of Along
        One a treatment that shares three blocks or more with the control, and windows that all of them cover.

    Notes
    -----
    Signs of whole pairs are exchanged, and the largest absolute mean over the windows is kept each time: the envelope
    holds for all windows together. For ``p_varies`` each pair's own mean is taken out first.

    References
    ----------
    Lawes, R. A. and Bramley, R. G. V. (2012). Agronomy Journal 104(2):371-382 (moving comparisons along strips);
    Nichols, T. E. and Holmes, A. P. (2002). Human Brain Mapping 15:1-25 (the largest statistic over places).
    """
    axis = field_axis(strips)
    used = points[points["usable"] & points["strip"].notna()]
    along = used["cut_easting_m"] * axis[0] + used["cut_northing_m"] * axis[1]
    if not (used["area_m2"] > 0).any() or strips["block"].isna().all():
        return ()
    low = float(along.min())
    cell = ((along - low) // CELL_M).astype(int)
    mass, area = (_lay_cells(used[name], used["strip"], cell, strips) for name in ("standard_mass_kg", "area_m2"))
    mass, area = _sum_windows(mass), _sum_windows(area)
    least = LEAST_GROUND * float(np.median(area[area > 0]))
    found = []
    for treatment in [name for name in pd.unique(strips["treatment"]) if name != control]:
        ratio = _log_ratios(mass, area, strips, (str(treatment), control), least)
        covered = np.isfinite(ratio).all(axis=0)
        if len(ratio) >= 3 and covered.any():
            start = np.flatnonzero(covered).astype(np.float64) * CELL_M
            end = "south" if abs(axis[1]) >= abs(axis[0]) else "west"
            found.append(_judge(ratio[:, covered], start, (str(treatment), control, end), confidence, seed))
    return tuple(found)


def field_axis(strips: gpd.GeoDataFrame) -> tuple[float, float]:
    """Give the direction of the longest side of the largest strip, to the north (or the east) [unit vector]."""
    east, north = long_axis(strips.geometry.iloc[int(strips.area.to_numpy().argmax())])
    forward = north if abs(north) >= abs(east) else east
    return (east, north) if forward >= 0 else (-east, -north)


def _lay_cells(values: pd.Series, strip: pd.Series, cell: pd.Series, strips: gpd.GeoDataFrame) -> Floats:
    """Sum values by strip (rows, in the order of the map) and cell along the field (columns)."""
    row = pd.Index(strips["strip"]).get_indexer(pd.Index(strip))
    columns = int(cell.max()) + 1
    place = row * columns + cell.to_numpy()
    total = np.bincount(place, weights=values.to_numpy(dtype=np.float64), minlength=len(strips) * columns)
    return np.asarray(total.reshape(len(strips), columns), dtype=np.float64)


def _sum_windows(cells: Floats) -> Floats:
    """Sum neighbouring cells to overlapping windows."""
    count = min(WINDOW_CELLS, cells.shape[1])
    return np.asarray(np.lib.stride_tricks.sliding_window_view(cells, count, axis=1).sum(axis=2), dtype=np.float64)


def _log_ratios(mass: Floats, area: Floats, strips: gpd.GeoDataFrame, pair: tuple[str, str], least_m2: float) -> Floats:
    """Log of treatment over control by block (rows) and place (columns); NaN where one lacks ground."""
    block = strips["block"].fillna(NO_BLOCK).to_numpy()
    label = strips["treatment"].to_numpy()
    rows = []
    for name in pd.unique(block):
        level = []
        for treatment in pair:
            mine = (block == name) & (label == treatment)
            ground, grain = area[mine].sum(axis=0), mass[mine].sum(axis=0)
            rate = np.divide(grain, ground, out=np.full(len(ground), np.nan), where=(ground > least_m2) & (grain > 0))
            level.append(np.log(rate))
        if all(np.isfinite(part).any() for part in level):
            rows.append(level[0] - level[1])
    return np.array(rows).reshape(len(rows), area.shape[1])


def _judge(ratio: Floats, start: Floats, names: tuple[str, str, str], confidence: float, seed: int) -> Along:
    """Hold the mean of each window against what exchanged signs of whole pairs give."""
    mean, pairs = ratio.mean(axis=0), len(ratio)
    envelope = p_somewhere = p_varies = None
    if pairs >= LEAST_PAIRS:
        largest = _largest_by_chance(ratio, seed)
        envelope = float(np.sort(largest)[int(np.ceil(confidence * len(largest))) - 1])
        p_somewhere = _share_reached(largest, float(np.abs(mean).max()))
        apart = ratio - ratio.mean(axis=1, keepdims=True)
        p_varies = _share_reached(_largest_by_chance(apart, seed), float(np.abs(apart.mean(axis=0)).max()))
    stretches = tuple(
        Stretch(
            float(at), float(at + WINDOW_CELLS * CELL_M), log_ratio_pct(value), bool(envelope is not None and reached)
        )
        for at, value, reached in zip(start, mean, np.abs(mean) > (envelope or np.inf) * (1 + 1e-9), strict=True)
    )
    return Along(
        names[0],
        names[1],
        pairs,
        names[2],
        None if envelope is None else log_ratio_pct(envelope),
        p_somewhere,
        p_varies,
        stretches,
    )


def _largest_by_chance(ratio: Floats, seed: int) -> Floats:
    """Give the largest absolute mean over the places under each exchange of signs, the observed one among them."""
    return np.concatenate([np.abs(signs @ ratio / len(ratio)).max(axis=1) for signs in _signs(len(ratio), seed)])


def _signs(pairs: int, seed: int) -> Iterator[Floats]:
    """List all signs of pairs, or draw them, the observed ones first."""
    if pairs <= EXACT_PAIRS:
        yield np.array(list(product((1.0, -1.0), repeat=pairs)))
        return
    drawn = np.random.default_rng(seed).choice((1.0, -1.0), size=(DRAWS, pairs))
    yield np.vstack([np.ones(pairs), drawn])


def _share_reached(largest: Floats, observed: float) -> float:
    """Give the share of exchanges that reach what was observed."""
    return float((largest >= observed * (1 - 1e-9) - 1e-12).mean())


def compare_zones(
    points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, zone: "pd.Series[str]", control: str, confidence: float
) -> tuple[ZoneDifference, ...]:
    """Compare the treatments zone by zone, pairs staying pairs.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        As for ``compare_along``.
    strips : geopandas.GeoDataFrame
    zone : pandas.Series of str
        Zone of each record, on the index of the points; empty: none.
    control : str
    confidence : float

    Returns
    -------
    tuple of ZoneDifference
        By treatment and zone.

    Notes
    -----
    ``p_differs`` exchanges the signs of each pair's deviations from its own mean over the zones that all pairs hold.
    """
    used = points[points["usable"] & points["strip"].notna() & zone.notna()]
    names = sorted(zone[used.index].unique())
    if not names:
        return ()
    cell = pd.Series(pd.Index(names).get_indexer(pd.Index(zone[used.index])), index=used.index)
    mass, area = (_lay_cells(used[name], used["strip"], cell, strips) for name in ("standard_mass_kg", "area_m2"))
    found = []
    for treatment in [str(name) for name in pd.unique(strips["treatment"]) if name != control]:
        ratio = _log_ratios(mass, area, strips, (treatment, control), LEAST_ZONE_M2)
        complete = ratio[np.isfinite(ratio).all(axis=1)]
        p_differs = None
        if len(complete) >= LEAST_PAIRS and len(names) > 1:
            apart = complete - complete.mean(axis=1, keepdims=True)
            p_differs = _share_reached(_largest_by_chance(apart, 0), float(np.abs(apart.mean(axis=0)).max()))
        found += [
            _zone_difference(ratio[:, place], (treatment, control, name), confidence, p_differs)
            for place, name in enumerate(names)
        ]
    return tuple(found)


def _zone_difference(
    ratio: Floats, names: tuple[str, str, str], confidence: float, p_differs: float | None
) -> ZoneDifference:
    """Give the mean of the pairs of one zone with its interval."""
    known = ratio[np.isfinite(ratio)]
    if len(known) == 0:
        return ZoneDifference(*names, 0, None, None, None, p_differs)
    middle = float(known.mean())
    if len(known) < 3:
        return ZoneDifference(*names, len(known), log_ratio_pct(middle), None, None, p_differs)
    reach = float(scipy.stats.t.ppf((1 + confidence) / 2, len(known) - 1) * scipy.stats.sem(known))
    return ZoneDifference(
        *names,
        len(known),
        log_ratio_pct(middle),
        log_ratio_pct(middle - reach),
        log_ratio_pct(middle + reach),
        p_differs,
    )
