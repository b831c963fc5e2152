"""What a grower should know of a layout although it can be made."""

from itertools import pairwise

import numpy as np
import shapely

from proofstrip.errors import Notice
from proofstrip.layout.place import Place, Sizes, longest_stretches, shrink
from proofstrip.layout.settings import WIDTH_TOLERANCE_M, LayoutSettings
from proofstrip.layout.shapes import is_right_of
from proofstrip.layout.words import say_length


def notice_ground(
    settings: LayoutSettings, sizes: Sizes, ground: shapely.Geometry, places: list[Place]
) -> list[Notice]:
    """Say what holes in the field did, and where blocks had to part."""
    units, notices = settings.report.units, []
    holes = sum(len(part.interiors) for part in shapely.get_parts(ground))
    if holes:
        lost = _lost_to_holes(settings.field.headland_m, sizes, ground, places)
        cut = [f"B{number} by {say_length(loss, units)}" for number, loss in enumerate(lost, start=1) if loss > 1.0]
        ends = f"they end before it, and are shorter for it in {', '.join(cut)}" if cut else "it shortens none of them"
        said = (
            f"The boundary has {holes} hole{'s' if holes > 1 else ''} (a pond, a waterway, trees). Strips keep the "
            f"headland of {say_length(settings.field.headland_m, units)} from it; {ends}."
        )
        notices.append(Notice("hole", said))
    apart = [
        f"B{number} and B{number + 1}"
        for number, (one, other) in enumerate(pairwise(places), start=1)
        if not is_right_of(one, other, sizes)
    ]
    if apart:
        said = (
            f"Blocks lie apart, because the ground between them has no room or only short strips: {', '.join(apart)}."
        )
        notices.append(Notice("blocks_apart", said))
    return notices


def _lost_to_holes(headland_m: float, sizes: Sizes, ground: shapely.Geometry, places: list[Place]) -> list[float]:
    """Give how much longer the strips of each block would be on the same ground without its holes [m]."""
    parts = shrink(
        shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(ground)]), headland_m
    )
    left, width = np.array([place.left_m - sizes.guard_m for place in places]), sizes.block_m + 2 * sizes.guard_m
    longest = np.max([np.subtract(*longest_stretches(part, left, width)[::-1]) for part in parts], axis=0)
    return [float(length) - place.length_m for length, place in zip(longest, places, strict=True)]


def notice_order(settings: LayoutSettings, order: np.ndarray) -> list[Notice]:
    """Warn where the order is the same in every block."""
    if not (order == order[0]).all():
        return []
    names = ", ".join(settings.strips.treatments[kind] for kind in order[0])
    systematic = settings.strips.design == "systematic"
    why = 'design = "systematic"' if systematic else f"the draw of seed {settings.strips.seed}, by chance"
    todo = 'set design = "randomised"' if systematic else "draw again with another seed, before anything is sown"
    said = (
        f"Every block has the same order ({names}): {why}. A trend across the field then goes with the treatment, and "
        f"no draw stands behind the p-values; {todo}."
    )
    return [Notice("order_systematic", said)]


def notice_passes(settings: LayoutSettings) -> list[Notice]:
    """Warn of strips that are cut in one direction, and of ground that is left standing."""
    units, header, passes = settings.report.units, settings.machines.header_m, settings.header_passes
    notices = []
    if passes == 1:
        said = (
            "Each strip is one combine pass, so it is cut in one direction only, and wind, slope, lodging and the "
            "travel delay are not the same in both. The sheet has all strips of a block cut the same way, and the next "
            "block the other way; strips of two passes would be better."
        )
        notices.append(Notice("one_direction", said))
    rest = settings.strip_width_m - passes * header
    if rest > WIDTH_TOLERANCE_M:
        said = (
            f"{passes} pass{'es' if passes > 1 else ''} of the {say_length(header, units)} header leave "
            f"{say_length(rest / 2, units)} standing at either edge of each strip. Cut that afterwards, and keep those "
            "passes out of the log that is analysed: they cover two treatments."
        )
        notices.append(Notice("ground_left", said))
    return notices
