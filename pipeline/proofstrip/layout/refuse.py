"""The paragraph for a field that does not hold the strips: how many blocks fit, and what would."""

from dataclasses import replace

import numpy as np
import shapely

from proofstrip.errors import DataError
from proofstrip.layout.place import Sizes, count_places, find_places, longest_stretches
from proofstrip.layout.settings import LEAST_REPLICATES, WIDTH_TOLERANCE_M, LayoutSettings
from proofstrip.layout.words import say_area, say_length
from proofstrip.units import M_PER_FT

# Shorter passes never fill the machine (configs/defaults.toml, min_pass_length), so no shorter strip is proposed.
SHORTEST_M = 40.0
TRIED_LENGTHS = 30


def refuse_field(
    settings: LayoutSettings, sizes: Sizes, ground: shapely.Geometry, parts: list[shapely.Polygon]
) -> DataError:
    """Say why the strips do not fit, and what would.

    Parameters
    ----------
    settings : LayoutSettings
    sizes : Sizes
    ground : shapely.Geometry
        The field, in field coordinates.
    parts : list of shapely.Polygon
        What the headland leaves of it.

    Returns
    -------
    DataError
    """
    units, strips = settings.report.units, settings.strips
    headland = say_length(settings.field.headland_m, units)
    if not parts:
        return DataError(
            f"layout: the field of {say_area(shapely.area(ground), units)} is nowhere wider than two headlands of "
            f"{headland}, so no ground is left for strips; check the boundary and [field] headland."
        )
    fitting = count_places(parts, sizes)
    kinds = len(strips.treatments)
    said = (
        f"layout: the field holds {fitting} of the {strips.replicates} blocks wanted. A block is {kinds} strips of "
        f"{say_length(settings.strip_width_m, units)}, {say_length(sizes.block_m, units)} across with its buffers"
        + (f" and {say_length(sizes.guard_m, units)} of guard on either side" if sizes.guard_m else "")
        + f", and every strip at least {say_length(sizes.min_length_m, units)} long within headlands of {headland}; "
        f"{_say_room(parts, sizes, units)}."
    )
    fits = _find_what_fits(settings, sizes, parts, fitting)
    return DataError(
        f"{said} What would fit: {'; '.join(fits)}." if fits else f"{said} Take a larger field or fewer treatments."
    )


def _say_room(parts: list[shapely.Polygon], sizes: Sizes, units: str) -> str:
    """Say how much room there is across, and how long the longest strips would be."""
    across = max(part.bounds[2] - part.bounds[0] for part in parts)
    longest = 0.0
    for part in parts:
        west, _, east, _ = part.bounds
        left = np.arange(west, max(east - sizes.block_m, west) + 0.5, 1.0)
        low, high = longest_stretches(part, left, sizes.block_m)
        longest = max(longest, float((high - low).max()))
    run = f"a whole block is straight for {say_length(longest, units)} at most" if longest else "no block fits across"
    return f"across the strips there are {say_length(across, units)}, and {run}"


def _find_what_fits(settings: LayoutSettings, sizes: Sizes, parts: list[shapely.Polygon], fitting: int) -> list[str]:
    """Try fewer blocks, narrower strips, no guard, and shorter strips, each alone."""
    units, strips, machines = settings.report.units, settings.strips, settings.machines
    wanted, kinds, found = strips.replicates, len(strips.treatments), []
    if fitting >= LEAST_REPLICATES:
        found.append(f"replicates = {fitting}")
    tool = machines.treating_m
    least = tool * -(-(machines.header_m + 2 * strips.edge_m - WIDTH_TOLERANCE_M) // tool)
    if least < settings.strip_width_m - WIDTH_TOLERANCE_M:
        narrow = replace(sizes, block_m=kinds * least + (kinds - 1) * sizes.buffer_m)
        if find_places(parts, narrow, wanted):
            found.append(f"strips of {say_length(least, units)}, the narrowest that the header allows")
    if sizes.guard_m and find_places(parts, replace(sizes, guard_m=0.0), wanted):
        found.append("no guard")
    for length in np.linspace(sizes.min_length_m, SHORTEST_M, TRIED_LENGTHS)[1:]:
        if find_places(parts, replace(sizes, min_length_m=float(length)), wanted):
            step = M_PER_FT if units == "us" else 1.0
            rounded = say_length(np.floor(length / step) * step, units)
            found.append(f'min_length = "{rounded}", though short strips scatter more')
            break
    return found
