"""Where the strips and passes of an invented trial lie.

Two frames are used. *Field* coordinates: ``across_m`` to the right of the first strip's left edge, ``along_m`` from
the start of the strips; passes run along, arcs included. *Ground* coordinates: projected easting and northing.
"""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from proofstrip.simulate.scenario import Scenario

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CRS = "EPSG:32612"
# A salt desert, where nothing grows: nobody's field. The projection's scale is 1 here: a grid metre is a ground metre.
ORIGIN_M = (319_700.0, 4_520_000.0)


@dataclass(frozen=True)
class Frame:
    """Turns field coordinates into ground coordinates.

    Attributes
    ----------
    heading_deg : float
        Direction of the rows at half their length [deg].
    radius_m : float
        Radius of the arc at ``across_m`` = 0; infinite for straight rows [m].
    length_m : float
        Length of the strips at ``across_m`` = 0 [m].
    """

    heading_deg: float
    radius_m: float
    length_m: float

    def flatten(self, across_m: Floats, along_m: Floats) -> tuple[Floats, Floats]:
        """Give plane coordinates, rows up the page at half their length [m]."""
        if not np.isfinite(self.radius_m):
            return across_m, along_m
        angle = (along_m - self.length_m / 2) / self.radius_m
        reach = self.radius_m + across_m
        return reach * np.cos(angle) - self.radius_m, reach * np.sin(angle) + self.length_m / 2

    def place(self, across_m: Floats, along_m: Floats) -> tuple[Floats, Floats]:
        """Give easting and northing [m]."""
        right, up = self.flatten(across_m, along_m)
        turn = np.deg2rad(self.heading_deg)
        return (
            ORIGIN_M[0] + right * np.cos(turn) + up * np.sin(turn),
            ORIGIN_M[1] - right * np.sin(turn) + up * np.cos(turn),
        )

    def stretch(self, across_m: Floats) -> Floats:
        """Give metres of ground per metre of ``along_m``."""
        return 1 + across_m / self.radius_m


@dataclass(frozen=True)
class Layout:
    """Strips and passes, strips numbered from the left, passes in order of their place from the left.

    Attributes
    ----------
    frame : Frame
    strip_edges_m : Floats
        ``across_m`` of the edges, one more than strips.
    strip_treatment, strip_block : Ints
        Per strip: index of its treatment, its block from 0.
    pass_across_m : Floats
        Per pass: planned centre, as steered [m].
    pass_strip, pass_combine, pass_direction, pass_number : Ints
        Per pass: strip, combine, 1 for along and -1 for against, and number from 1 in order of cutting.
    """

    frame: Frame
    strip_edges_m: Floats
    strip_treatment: Ints
    strip_block: Ints
    pass_across_m: Floats
    pass_strip: Ints
    pass_combine: Ints
    pass_direction: Ints
    pass_number: Ints

    @property
    def strip_names(self) -> list[str]:
        """Names of the strips."""
        return [f"S{number + 1:02d}" for number in range(len(self.strip_treatment))]


def lay_out(scenario: Scenario, rng: np.random.Generator) -> Layout:
    """Place strips and passes, draw the treatments and the order of cutting.

    Parameters
    ----------
    scenario : Scenario
    rng : numpy.random.Generator

    Returns
    -------
    Layout
    """
    treatment, block = _arrange(scenario, rng)
    strips = len(treatment)
    passes_m = (scenario.passes_per_strip - 1 + scenario.narrow_last_share) * scenario.spacing_m
    width_m = passes_m if scenario.strip_width_m is None else scenario.strip_width_m
    edges = np.arange(strips + 1, dtype=np.float64) * width_m
    own = (width_m - passes_m) / 2 + (np.arange(scenario.passes_per_strip) + 0.5) * scenario.spacing_m
    own[-1] = (width_m + passes_m) / 2 - scenario.spacing_m / 2
    across = (edges[:-1, None] + own).ravel()
    strip = np.repeat(np.arange(strips), scenario.passes_per_strip)
    combine = _share_out(scenario, treatment[strip], block[strip], strip)
    order = _order_passes(scenario, treatment[strip], strip)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(1, len(order) + 1)
    direction = np.ones(len(order), dtype=np.int64)
    if scenario.path != "one_way":
        for machine in range(len(scenario.combines)):
            own_order = order[combine[order] == machine]
            direction[own_order[1::2]] = -1
    radius = np.inf if scenario.curve_radius_m is None else scenario.curve_radius_m
    # The overlap of two neighbours varies by overlap_sd when each is off its line by that over root two.
    steered = across + rng.normal(0, scenario.overlap_sd_m / np.sqrt(2), len(across))
    frame = Frame(scenario.heading_deg, radius, scenario.strip_length_m)
    return Layout(frame, edges, treatment, block, steered, strip, combine, direction, number)


def _arrange(scenario: Scenario, rng: np.random.Generator) -> tuple[Ints, Ints]:
    """Give treatment and block of each strip."""
    kinds = len(scenario.treatments)
    rows = np.tile(np.arange(kinds), (scenario.blocks, 1))
    if scenario.arrangement == "randomised":
        rows = rng.permuted(rows, axis=1)
    elif scenario.arrangement == "mirrored":
        rows[1::2] = rows[1::2, ::-1]
    return rows.ravel(), np.repeat(np.arange(scenario.blocks), kinds)


def _share_out(scenario: Scenario, treatment: Ints, block: Ints, strip: Ints) -> Ints:
    """Give the combine of each pass."""
    machines = len(scenario.combines)
    if scenario.combine_takes == "halves":
        half: Ints = strip * machines // (strip[-1] + 1)
        return half
    by = {"blocks": block, "strips": strip, "treatments": treatment}[scenario.combine_takes]
    return by % machines


def _order_passes(scenario: Scenario, treatment: Ints, strip: Ints) -> Ints:
    """Give the passes in order of cutting."""
    keys = {"across": np.zeros_like(strip), "by_treatment": treatment, "every_second": strip % 2}
    order: Ints = np.argsort(keys[scenario.pass_order], kind="stable").astype(np.int64)
    if scenario.path != "racetrack":
        return order
    half = (len(order) + 1) // 2
    turns = np.empty_like(order)
    turns[::2], turns[1::2] = order[:half], order[half:]
    return turns


def find_end(scenario: Scenario, across_m: Floats) -> Floats:
    """Give where the crop ends along the strips.

    Parameters
    ----------
    scenario : Scenario
    across_m : Floats
        [m]

    Returns
    -------
    Floats
        ``along_m`` of the far end [m].

    Examples
    --------
    >>> find_end(Scenario(end_slant=0.5), np.array([0.0, 20.0])).tolist()
    [400.0, 390.0]
    """
    return scenario.strip_length_m - scenario.end_slant * across_m


def draw_map(scenario: Scenario, layout: Layout) -> gpd.GeoDataFrame:
    """Draw the strips as polygons.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout

    Returns
    -------
    geopandas.GeoDataFrame
        strip, treatment, block, geometry, in a UTM projection.
    """
    along = np.linspace(0, scenario.strip_length_m, 2 if scenario.curve_radius_m is None else 201)
    shapes = []
    for left, right in zip(layout.strip_edges_m[:-1], layout.strip_edges_m[1:], strict=True):
        across = np.repeat([left, right], len(along)).astype(float)
        up = np.concatenate([along, along[::-1]]) * (find_end(scenario, across) / scenario.strip_length_m)
        shapes.append(Polygon(np.column_stack(layout.frame.place(across, up))))
    columns = {
        "strip": layout.strip_names,
        "treatment": [scenario.treatments[kind].name for kind in layout.strip_treatment],
        "block": [f"B{number + 1}" for number in layout.strip_block],
    }
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS)
