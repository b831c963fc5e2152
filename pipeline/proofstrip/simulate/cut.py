"""What the header meets: the ground that is still standing under it, and the grain on that ground."""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from proofstrip.simulate.crop import Crop
from proofstrip.simulate.drive import Drive
from proofstrip.simulate.layout import Floats, Ints, Layout, find_end
from proofstrip.simulate.scenario import Scenario

GRID_M = 1.0
SAMPLES = 5


@dataclass(frozen=True)
class Pieces:
    """Ground cut in one step within one strip; a step that crosses into a neighbour has two pieces.

    Attributes
    ----------
    step : Ints
        Step of the combine's drive.
    strip : Ints
        Strip of the ground, -1 outside the trial.
    width_m, area_m2 : Floats
    yield_kg_ha, untreated_kg_ha : Floats
        Grain at standard moisture, and what the same ground would have given without treatment.
    moisture_pct : Floats
    """

    step: Ints
    strip: Ints
    width_m: Floats
    area_m2: Floats
    yield_kg_ha: Floats
    untreated_kg_ha: Floats
    moisture_pct: Floats


@dataclass(frozen=True)
class Tracks:
    """When and where each pass ran, on one grid along the strips.

    Attributes
    ----------
    along_m : Floats
        The grid [m].
    across_m, time_s : Floats
        Passes down, grid across.
    """

    along_m: Floats
    across_m: Floats
    time_s: Floats


def trace_passes(scenario: Scenario, layout: Layout, drives: list[Drive]) -> Tracks:
    """Read each pass's line and times from the drives.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    drives : list of Drive

    Returns
    -------
    Tracks
    """
    grid = np.arange(0, scenario.strip_length_m + GRID_M, GRID_M)
    across, time = np.empty((2, len(layout.pass_across_m), len(grid)))
    for drive in drives:
        for index, steps in _slices(drive):
            edges = slice(steps.start, steps.stop + 1)
            order = slice(None, None, int(layout.pass_direction[index]))
            along = drive.along_m[edges][order]
            across[index] = np.interp(grid, along, drive.across_m[edges][order])
            time[index] = np.interp(grid, along, drive.edge_time_s[edges][order])
    return Tracks(grid, across, time)


def _slices(drive: Drive) -> list[tuple[int, slice]]:
    """Give the steps of each pass of a drive."""
    starts = np.flatnonzero(np.diff(drive.pass_index, prepend=-1) != 0)
    ends = np.append(starts[1:], len(drive.pass_index))
    return [
        (int(drive.pass_index[start]), slice(int(start), int(end)))
        for start, end in zip(starts, ends, strict=True)
        if drive.pass_index[start] >= 0
    ]


def find_standing(scenario: Scenario, layout: Layout, drive: Drive, tracks: Tracks) -> tuple[Floats, Floats]:
    """Find the left and right edge of the standing crop under the header at each step.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    drive : Drive
    tracks : Tracks
        Of all passes of all combines.

    Returns
    -------
    tuple of Floats
        ``across_m`` of the edges; equal where nothing stands [m].

    Notes
    -----
    Passes run along each other, so at any place along the strips a pass is an interval across, and what stands is
    the header's interval less the intervals of the passes that came by earlier. Two passes that overlap at all are
    less than a header apart; one on the left can only take ground from the left edge. Exact for any order of
    passes and any number of combines.
    """
    half = scenario.header_width_m / 2
    middle = (drive.across_m[1:] + drive.across_m[:-1]) / 2
    along = (drive.along_m[1:] + drive.along_m[:-1]) / 2
    time = (drive.edge_time_s[1:] + drive.edge_time_s[:-1]) / 2
    left, right = middle - half, middle + half
    for index, steps in _slices(drive):
        apart = layout.pass_across_m - layout.pass_across_m[index]
        for other in np.flatnonzero((np.abs(apart) < 2 * half + 1) & (np.arange(len(apart)) != index)):
            earlier = np.interp(along[steps], tracks.along_m, tracks.time_s[other]) < time[steps]
            line = np.interp(along[steps], tracks.along_m, tracks.across_m[other])
            if apart[other] < 0:
                left[steps] = np.where(earlier, np.maximum(left[steps], line + half), left[steps])
            else:
                right[steps] = np.where(earlier, np.minimum(right[steps], line - half), right[steps])
    none = (drive.pass_index < 0) | ~drive.header_down
    left = np.where(none, middle, left)
    return left, np.where(none, middle, np.maximum(right, left))


def cut_crop(scenario: Scenario, crop: Crop, drive: Drive, tracks: Tracks) -> Pieces:
    """Cut what stands under the header, strip by strip.

    Parameters
    ----------
    scenario : Scenario
    crop : Crop
    drive : Drive
    tracks : Tracks

    Returns
    -------
    Pieces
        In order of steps.
    """
    layout = crop.layout
    left, right = find_standing(scenario, layout, drive, tracks)
    walls = np.concatenate([[-np.inf], layout.strip_edges_m, [np.inf]])
    own = np.append(layout.pass_strip, 0)[drive.pass_index]
    sides = []
    for side in (-1, 0, 1):
        strip = own + side
        low, high = np.maximum(left, walls[strip + 1]), np.minimum(right, walls[strip + 2])
        strip = np.where(strip < len(layout.strip_treatment), strip, -1)
        sides.append(_cut_side(crop, drive, strip, (low, high)))
    order = np.argsort(np.concatenate([part.step for part in sides]), kind="stable")

    def joined(name: str) -> Any:
        return np.concatenate([getattr(part, name) for part in sides])[order]

    return Pieces(**{field.name: joined(field.name) for field in fields(Pieces)})


def _cut_side(crop: Crop, drive: Drive, strip: Ints, edges_m: tuple[Floats, Floats]) -> Pieces:
    """Cut what each step takes between two edges, averaging the crop over places spread evenly between them."""
    along_m = np.clip(drive.along_m, 0, crop.scenario.strip_length_m)
    step = np.flatnonzero((edges_m[1] > edges_m[0]) & (np.diff(along_m) != 0))
    strip, low, high = strip[step], edges_m[0][step], edges_m[1][step]
    along = (along_m[step] + along_m[step + 1]) / 2
    hours = drive.edge_time_s[step] / 3600
    soil, grain, water, stands = np.zeros((4, len(step)))
    for share in (np.arange(SAMPLES) + 0.5) / SAMPLES:
        across = low + share * (high - low)
        standing = along <= find_end(crop.scenario, across)
        stands += standing
        bare = crop.read_soil(across, along) * standing
        here = bare * crop.read_effect(across, along, strip)
        soil += bare / SAMPLES
        grain += here / SAMPLES
        water += here * crop.read_moisture(across, along, strip, hours) / SAMPLES
    stands /= SAMPLES
    width = (high - low) * stands
    area = width * np.abs(np.diff(along_m))[step] * crop.layout.frame.stretch((low + high) / 2)
    water = water / np.maximum(grain, 1e-9)
    some = stands > 0
    grain, soil = (part[some] / stands[some] for part in (grain, soil))
    return Pieces(step[some], strip[some], width[some], area[some], grain, soil, water[some])
