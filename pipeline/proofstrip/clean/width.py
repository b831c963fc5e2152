"""How much standing crop the header met: ownership of the ground in harvest order.

Each pass claims the ground cells whose centre its header covers; a later pass finds them taken. A pass never counts
against itself, because positions jitter along the track. Satellite error makes false overlap, so measured overlap is
drawn to what is typical for the field's passes wherever it does not clearly differ.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import ndimage

from proofstrip.clean.track import Floats, Ints, Track, first_of_run
from proofstrip.config import CleanPart

TILE_BITS = 6
TILE = 1 << TILE_BITS
# The grid is turned against the rows by the golden ratio's angle, so that no row runs along a line of cells.
GRID_TURN_RAD = float(np.arctan(0.618))
EDGE_PROBE_M = 0.75
STEADY_MAD_M = 0.3
RUNNING_M = 30.0
LEAST_OVERLAP_M = 0.15


@dataclass(frozen=True)
class Ground:
    """A grid of cells that remembers which pass cut each; stored in tiles, and only where passes run.

    Attributes
    ----------
    origin : tuple of float
        Corner of the grid, in turned coordinates [m].
    cell, turn : float
        Side of a cell [m]; how far the grid is turned [rad].
    tile_of : array of int, shape (rows, columns)
        Number of the tile that stores each square of ``TILE`` x ``TILE`` cells; 0 = none.
    owner : array of int, shape (tiles * TILE * TILE,)
        Pass that cut each cell, tile after tile; 0 = nobody.
    """

    origin: tuple[float, float]
    cell: float
    turn: float
    tile_of: Ints
    owner: NDArray[np.int32]

    def turned(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """Give coordinates along the grid, in cells."""
        cos, sin = np.cos(self.turn), np.sin(self.turn)
        across = (easting * cos - northing * sin - self.origin[0]) / self.cell
        along = (easting * sin + northing * cos - self.origin[1]) / self.cell
        return across, along

    def locate(self, across: Floats, along: Floats) -> Ints:
        """Give the place in ``owner`` of each place in turned coordinates."""
        column, row = across.astype(np.int32), along.astype(np.int32)
        tile = self.tile_of.ravel()[(row >> TILE_BITS) * np.int32(self.tile_of.shape[1]) + (column >> TILE_BITS)]
        return tile * (TILE * TILE) + (((row & (TILE - 1)) << TILE_BITS) | (column & (TILE - 1)))


@dataclass(frozen=True)
class Overlap:
    """What the header of each record met.

    Attributes
    ----------
    taken : array of float, shape (n,)
        Share of the header over ground that an earlier pass cut.
    edges : array of int, shape (n,)
        How many sides of the header ran along ground already cut: 0, 1 or 2.
    """

    taken: Floats
    edges: Ints


def lay_grid(track: Track, cell_m: float) -> Ground:
    """Make the empty grid around the passes of a track.

    Parameters
    ----------
    track : Track
        With at least one record.
    cell_m : float
        [m]

    Returns
    -------
    Ground
    """
    cutting = track.pass_id > 0
    doubled = 2 * track.heading[cutting]
    turn = float(np.arctan2(np.sin(doubled).sum(), np.cos(doubled).sum()) / 2) + GRID_TURN_RAD
    bare = Ground((0.0, 0.0), cell_m, turn, np.zeros((0, 0), dtype=np.int64), np.zeros(0, dtype=np.int32))
    across, along = bare.turned(track.easting, track.northing)
    reach = (float(track.swath.max()) / 2 + EDGE_PROBE_M + float(track.distance.max())) / cell_m + TILE
    corner = (float(across.min() - reach), float(along.min() - reach))
    row = ((along - corner[1]) // TILE).astype(int)
    column = ((across - corner[0]) // TILE).astype(int)
    spread = int(np.ceil(reach / TILE))
    used = np.zeros((row.max() + spread + 2, column.max() + spread + 2), dtype=bool)
    used[row[cutting], column[cutting]] = True
    used = ndimage.binary_dilation(used, structure=np.ones((2 * spread + 1, 2 * spread + 1), dtype=bool))
    tile_of = np.zeros(used.shape, dtype=np.int64)
    tile_of[used] = np.arange(1, used.sum() + 1)
    owner = np.zeros((int(used.sum()) + 1) * TILE * TILE, dtype=np.int32)
    return Ground((corner[0] * cell_m, corner[1] * cell_m), cell_m, turn, tile_of, owner)


def measure_overlap(track: Track, cell_m: float) -> Overlap:
    """Walk the passes in harvest order; measure what each finds taken, then claim its ground.

    Parameters
    ----------
    track : Track
        With passes.
    cell_m : float
        Side of a cell [m].

    Returns
    -------
    Overlap
        Zero outside passes.

    References
    ----------
    Drummond, Fraisse and Sudduth 1999, Trans. ASAE 42(5):1221 (area of polygons cut in harvest order; from memory):
    the grid gives the same area without polygon subtraction.
    """
    taken, edges = np.zeros(len(track)), np.zeros(len(track), dtype=np.int64)
    if not (track.pass_id > 0).any():
        return Overlap(taken, edges)
    ground = lay_grid(track, cell_m)
    start = np.flatnonzero((first_of_run(track.pass_id) == np.arange(len(track))) & (track.pass_id > 0))
    length = pd.Series(track.pass_id[track.pass_id > 0]).value_counts()
    for first in start[np.argsort(track.time[start], kind="stable")]:
        run = slice(first, first + int(length[track.pass_id[first]]))
        taken[run], edges[run] = _cut_pass(track, ground, run)
    return Overlap(taken, edges)


def _cut_pass(track: Track, ground: Ground, run: slice) -> tuple[Floats, Ints]:
    """Measure the ground under one pass, then claim it."""
    width = float(np.median(track.swath[run]))
    if not width > 0:  # no header width: the pass neither finds nor claims ground
        return np.zeros(len(track.swath[run])), np.zeros(len(track.swath[run]), dtype=np.int64)
    spacing = ground.cell / 1.4
    sides = int(np.ceil(width / spacing))
    lateral = ((np.arange(sides) + 0.5) / sides - 0.5) * width
    # As many places along each record as its way needs: over lost records it is many times the usual.
    steps = np.ceil(track.distance[run] / spacing).astype(np.int64) + 1
    first, record = np.cumsum(steps) - steps, np.repeat(np.arange(len(steps)), steps)
    share = (np.arange(len(record)) - first[record] + 0.5) / steps[record]
    back = share * track.distance[run][record]
    sin, cos = np.sin(track.heading[run])[record], np.cos(track.heading[run])[record]
    across, along = ground.turned(track.easting[run][record] - back * sin, track.northing[run][record] - back * cos)
    # One metre to the right of the track, in turned coordinates.
    right = _turn_vector(cos, -sin, ground)
    u, v = across[:, None] + right[0][:, None] * lateral, along[:, None] + right[1][:, None] * lateral
    cell = ground.locate(u, v)
    free = ground.owner[cell] == 0
    taken = 1 - np.bincount(record, weights=free.mean(axis=1)) / steps
    edges = _touching_edges(ground, (across[first], along[first]), (right[0][first], right[1][first]), width)
    # Claim by cell centre: marking every touched cell would widen each swath by half a cell. Only the outermost places
    # can lie in a cell whose centre is outside.
    outer = np.flatnonzero(np.abs(lateral) > width / 2 - ground.cell * np.sqrt(0.5))
    off_u, off_v = np.floor(u[:, outer]) + 0.5 - u[:, outer], np.floor(v[:, outer]) + 0.5 - v[:, outer]
    sideways = (off_u * right[0][:, None] + off_v * right[1][:, None]) * ground.cell**2
    free[:, outer] &= np.abs(lateral[outer] + sideways) <= width / 2
    ground.owner[cell[free]] = track.pass_id[run][0]
    return taken, edges


def _turn_vector(easting: Floats, northing: Floats, ground: Ground) -> tuple[Floats, Floats]:
    """Give a vector of metres in cells along the turned grid."""
    cos, sin = np.cos(ground.turn), np.sin(ground.turn)
    return (easting * cos - northing * sin) / ground.cell, (easting * sin + northing * cos) / ground.cell


def _touching_edges(ground: Ground, centre: tuple[Floats, Floats], right: tuple[Floats, Floats], width: float) -> Ints:
    """Count the sides where the ground just outside the header was already cut."""
    edges = np.zeros(len(centre[0]), dtype=np.int64)
    for side in (-1, 1):
        reach = side * (width / 2 + EDGE_PROBE_M)
        edges += ground.owner[ground.locate(centre[0] + right[0] * reach, centre[1] + right[1] * reach)] > 0
    return edges


def settle_width(track: Track, overlap: Overlap, settings: CleanPart) -> Floats:
    """Turn measured overlap into cut width, ignoring what position noise alone would give.

    Measured overlap is smoothed by a running median within the pass; where it lies within ``full_width_share`` of the
    header of what is typical for the machine's passes beside cut ground, the typical value stands in.

    Parameters
    ----------
    track : Track
    overlap : Overlap
    settings : CleanPart

    Returns
    -------
    array of float, shape (n,)
        Cut width, never above the header width [m].
    """
    if len(track) == 0:
        return np.zeros(0)
    steps = track.distance[track.distance > 0]
    step_m = max(float(np.median(steps)), 0.1) if len(steps) else 0.1
    records = max(3, int(RUNNING_M / step_m) | 1)
    measured = _smooth_within(overlap.taken * track.swath, track.pass_id, records)
    expected = _typical_overlap(track, overlap, measured) * overlap.edges
    plain = np.abs(measured - expected) <= settings.full_width_share * track.swath
    return np.clip(track.swath - np.where(plain, expected, measured), 0.0, track.swath)


def _smooth_within(values: Floats, pass_id: Ints, records: int) -> Floats:
    """Take the running median within each pass, or the pass's own median where the pass is steady."""
    smooth = np.zeros_like(values)
    first = first_of_run(pass_id)
    for start in np.flatnonzero((first == np.arange(len(values))) & (pass_id > 0)):
        stop = start + int(np.searchsorted(first[start:], start, side="right"))
        part = values[start:stop]
        middle = float(np.median(part))
        steady = float(np.median(np.abs(part - middle))) * 1.4826 < STEADY_MAD_M
        smooth[start:stop] = ndimage.median_filter(part, min(records, len(part)), mode="nearest")
        if steady:
            calm = np.abs(smooth[start:stop] - middle) < 2 * STEADY_MAD_M
            smooth[start:stop][calm] = middle
    return smooth


def _typical_overlap(track: Track, overlap: Overlap, measured: Floats) -> Floats:
    """Give, by machine, the overlap that is usual where one side of the header runs along cut ground."""
    beside = (track.pass_id > 0) & (overlap.edges == 1) & (track.swath > 0)
    by_pass = pd.DataFrame(
        {
            "machine": track.machine[beside],
            "pass": track.pass_id[beside],
            "overlap": measured[beside] / track.swath[beside],
        }
    )
    medians = by_pass.groupby(["machine", "pass"])["overlap"].median()
    usual = medians[medians < 0.2].groupby("machine").median()
    share = pd.Series(track.machine).map(usual).fillna(0.0).to_numpy()
    return np.where(share * track.swath < LEAST_OVERLAP_M, 0.0, share * track.swath)
