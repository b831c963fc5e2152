"""How much standing crop the header met: ownership of the ground in harvest order.

Each pass claims the ground cells whose centre its header covers; a later pass finds them taken. A pass never counts
against itself, because positions jitter along the track. What the overlap measured here is worth, settle.py decides.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import ndimage

from proofstrip.clean.overlap import Overlap
from proofstrip.clean.track import Floats, Ints, Track, first_of_run
from proofstrip.errors import DataError

TILE_BITS = 6
TILE = 1 << TILE_BITS
# Bits for whether a tile is used, and numbers of tiles: half a gigabyte.
MAX_TILES = 50_000_000
# The grid is turned against the rows by the golden ratio's angle, so that no row runs along a line of cells.
GRID_TURN_RAD = float(np.arctan(0.618))
EDGE_PROBE_M = 0.75
EDGE_PROBES = 3


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
    if (int(row.max()) + 1) * (int(column.max()) + 1) > MAX_TILES:
        wide, high = (float(np.ptp(edge)) * cell_m / 1000 for edge in (across, along))
        raise DataError(
            f"the records spread over {wide:,.0f} km by {high:,.0f} km, too far to follow what was cut; name only the "
            "files of this field in [harvest] files, or take out records of other places."
        )
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
    taken, gap = np.zeros(len(track)), np.zeros(len(track))
    edges, side = np.zeros(len(track), dtype=np.int64), np.zeros(len(track), dtype=np.int64)
    if not (track.pass_id > 0).any():
        return Overlap(taken, edges, gap, side)
    ground = lay_grid(track, cell_m)
    start = np.flatnonzero((first_of_run(track.pass_id) == np.arange(len(track))) & (track.pass_id > 0))
    length = pd.Series(track.pass_id[track.pass_id > 0]).value_counts()
    for first in start[np.argsort(track.time[start], kind="stable")]:
        run = slice(first, first + int(length[track.pass_id[first]]))
        taken[run], edges[run], gap[run], side[run] = _cut_pass(track, ground, run)
    return Overlap(taken, edges, gap, side)


def _cut_pass(track: Track, ground: Ground, run: slice) -> tuple[Floats, Ints, Floats, Ints]:
    """Measure the ground under one pass, then claim it."""
    width = float(np.median(track.swath[run]))
    if not width > 0:  # no header width: the pass neither finds nor claims ground
        nothing = np.zeros(len(track.swath[run]))
        return nothing, nothing.astype(np.int64), nothing, nothing.astype(np.int64)
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
    edges, gap, side = _look_beside(ground, (across[first], along[first]), (right[0][first], right[1][first]), width)
    # Claim by cell centre: marking every touched cell would widen each swath by half a cell. Only the outermost places
    # can lie in a cell whose centre is outside.
    outer = np.flatnonzero(np.abs(lateral) > width / 2 - ground.cell * np.sqrt(0.5))
    off_u, off_v = np.floor(u[:, outer]) + 0.5 - u[:, outer], np.floor(v[:, outer]) + 0.5 - v[:, outer]
    sideways = (off_u * right[0][:, None] + off_v * right[1][:, None]) * ground.cell**2
    free[:, outer] &= np.abs(lateral[outer] + sideways) <= width / 2
    ground.owner[cell[free]] = track.pass_id[run][0]
    return taken, edges, gap, side


def _turn_vector(easting: Floats, northing: Floats, ground: Ground) -> tuple[Floats, Floats]:
    """Give a vector of metres in cells along the turned grid."""
    cos, sin = np.cos(ground.turn), np.sin(ground.turn)
    return (easting * cos - northing * sin) / ground.cell, (easting * sin + northing * cos) / ground.cell


def _look_beside(
    ground: Ground, centre: tuple[Floats, Floats], right: tuple[Floats, Floats], width: float
) -> tuple[Ints, Floats, Ints]:
    """Count the sides where the ground just outside the header was cut, and measure what was left standing there."""
    edges, gap, side = np.zeros(len(centre[0]), dtype=np.int64), np.zeros(len(centre[0])), 0
    outside = width / 2 + EDGE_PROBE_M * (np.arange(EDGE_PROBES) + 0.5) / EDGE_PROBES
    for way_out, reach in ((-1, -outside), (1, outside)):
        place = (middle[:, None] + way[:, None] * reach for middle, way in zip(centre, right, strict=True))
        cut = (ground.owner[ground.locate(*place)] > 0).mean(axis=1)
        edges += cut > 0
        side = side + way_out * (cut > 0)
        gap += np.where(cut > 0, (1 - cut) * EDGE_PROBE_M, 0.0)
    return edges, gap, np.asarray(side, dtype=np.int64)
