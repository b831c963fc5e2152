"""From records as logged to records with faults flagged and grain back on the ground it was cut from.

Three steps, because a travel delay can only be found once the passes are known, and is asked for again with other
delays when the answer's sensitivity is looked at:

    track  = follow_machines(points, settings)             where each machine went, its passes, its cut width
    delays = estimate_delays(points, track, settings, applied_s)
    points = clean_points(points, track, delays, settings)

Nothing is dropped; no treatment is known here, and nothing of one pass is judged by another treatment's pass.
"""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.clean.delay import Delay, delay_by_record, estimate_delays
from proofstrip.clean.filters import FILTERS, Evidence, apply_filters
from proofstrip.clean.position import (
    PLACED,
    duplicate,
    expect_distance,
    mend_positions,
    missing,
    position_frozen,
    position_jump,
)
from proofstrip.clean.settle import settle_width
from proofstrip.clean.shift import Cut, find_cut
from proofstrip.clean.track import (
    Floats,
    Track,
    drop_short_runs,
    find_headings,
    find_logs,
    find_spans,
    find_turns,
    move_to_end,
    number_passes,
    order_records,
    spread_ties,
    stand_for_start,
    sum_within,
)
from proofstrip.clean.width import measure_overlap
from proofstrip.config import CleanPart
from proofstrip.errors import DataError
from proofstrip.flags import EXCLUDING, Flag

__all__ = ["FILTERS", "Delay", "Track", "clean_points", "estimate_delays", "follow_machines"]

HEADING_REACH_M = 6.0


def follow_machines(points: gpd.GeoDataFrame, settings: CleanPart) -> Track:
    """Follow each machine through its records: positions mended, passes found, cut width measured.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        As ``read_harvest`` gives it.
    settings : CleanPart

    Returns
    -------
    Track
        Records without a time or a place, and repeated ones, are not on it.

    Raises
    ------
    DataError
        When no record can be placed, or the log cannot be one machine's.
    """
    placed = points[list(PLACED)].notna().all(axis=1) & ~duplicate(points)
    if not placed.any():
        raise DataError(
            f"clean: none of the {len(points):,} records has a time, a position, a duration and a distance, "
            "so no pass can be followed. Look at the columns with proofstrip inspect."
        )
    track = _lay_track(points, order_records(points, placed.to_numpy()), settings)
    faulty = position_jump(track, settings) | position_frozen(track)
    easting, northing = mend_positions(track, faulty)
    track = replace(track, easting=easting, northing=northing)
    track = replace(track, heading=find_headings(track, HEADING_REACH_M), turn=find_turns(track, settings))
    track = number_passes(track)
    width = settle_width(track, measure_overlap(track, settings.cell_m), settings)
    return replace(track, cut_width=np.where(track.pass_id > 0, width, 0.0))


def _lay_track(points: gpd.GeoDataFrame, row: np.ndarray, settings: CleanPart) -> Track:
    """Put the records in order, with positions as logged."""

    def column(name: str) -> Floats:
        return np.asarray(points[name].to_numpy(dtype=np.float64)[row], dtype=np.float64)

    machine = pd.Categorical(points["machine"]).codes.astype(np.int64)[row]
    duration, distance = column("duration_s"), column("distance_m")
    easting, northing = column("easting_m"), column("northing_m")
    time = spread_ties(column("time"), machine, duration)
    if stand_for_start(np.diff(time), duration, machine):
        time = time + duration
    log = find_logs(time, machine, duration, settings.max_gap_s)
    if stand_for_start(np.hypot(np.diff(easting), np.diff(northing)), distance, machine):
        easting, northing = move_to_end(easting, northing, distance, log)
    span = find_spans(time, duration, log)
    distance = expect_distance(distance, duration, log) * span / np.maximum(duration, 1e-3)
    swath = column("swath_m")
    known = np.isfinite(swath) & (swath > 0)
    swath = np.where(known, swath, np.median(swath[known]) if known.any() else 0.0)
    up = (points["header_down"] == False).fillna(False).to_numpy(dtype=bool)[row]  # noqa: E712 - three-valued
    nothing = np.zeros(len(row))
    return Track(
        row=row,
        machine=machine,
        log=log,
        time=time,
        duration=duration,
        span=span,
        easting=easting,
        northing=northing,
        distance=distance,
        odometer=sum_within(distance, log),
        swath=swath,
        heading=nothing,
        header_up=drop_short_runs(up, log, duration, settings.header_up_s),
        turn=nothing.astype(bool),
        pass_id=nothing.astype(np.int64),
        cut_width=swath,
    )


def clean_points(
    points: gpd.GeoDataFrame, track: Track, delays: tuple[Delay, ...], settings: CleanPart
) -> gpd.GeoDataFrame:
    """Put the grain back on the ground it was cut from, and flag what is wrong with each record.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        As ``read_harvest`` gives it.
    track : Track
        Of the same points, from ``follow_machines``.
    delays : tuple of Delay
        One a machine.
    settings : CleanPart

    Returns
    -------
    geopandas.GeoDataFrame
        With cut_easting_m, cut_northing_m, cut_width_m, area_m2, wet_mass_kg, pass_id, flags and usable added;
        heading_deg is the direction of movement and geometry the place where the grain was cut.
    """
    names = [str(name) for name in pd.Categorical(points["machine"]).categories]
    cut = find_cut(track, delay_by_record(track, names, delays))
    flags = np.zeros(len(points), dtype=np.int32)
    flags[missing(points).to_numpy()] |= Flag.MISSING
    flags[duplicate(points).to_numpy()] |= Flag.DUPLICATE
    for flag, mask in apply_filters(_gather(points, track, cut, delays, settings), settings):
        flags[track.row[mask]] |= flag
    return _write_back(points, track, cut, flags)


def _gather(
    points: gpd.GeoDataFrame, track: Track, cut: Cut, delays: tuple[Delay, ...], settings: CleanPart
) -> Evidence:
    """Put together what the filters look at."""
    flow = points["mass_flow_kg_s"].to_numpy(dtype=np.float64)[track.row]
    names = [str(name) for name in pd.Categorical(points["machine"]).categories]
    sure = np.isin(track.machine, [names.index(delay.machine) for delay in delays if delay.source != "assumed"])
    grounded = (cut.area > 0) & np.isfinite(flow)
    density = np.divide(flow * track.duration, cut.area, out=np.full(len(track), np.nan), where=grounded)
    logged = _lay_track(points, track.row, settings)
    return Evidence(track, logged, cut, flow, density, grounded & (cut.pass_id > 0), sure)


def _write_back(points: gpd.GeoDataFrame, track: Track, cut: Cut, flags: np.ndarray) -> gpd.GeoDataFrame:
    """Put what was found on the track into the frame; records that are not on it keep no place of their own."""

    def spread(values: np.ndarray, fill: float) -> np.ndarray:
        column = np.full(len(points), fill, dtype=values.dtype)
        column[track.row] = values
        return column

    easting, northing = spread(cut.easting, np.nan), spread(cut.northing, np.nan)
    new = points.assign(
        cut_easting_m=easting,
        cut_northing_m=northing,
        cut_width_m=spread(cut.width, np.nan),
        area_m2=spread(cut.area, np.nan),
        heading_deg=spread(np.degrees(track.heading[cut.place]) % 360.0, np.nan),
        wet_mass_kg=points["mass_flow_kg_s"] * points["duration_s"],
        pass_id=spread(cut.pass_id.astype(np.int32), 0),
        flags=flags,
        usable=(flags & int(EXCLUDING)) == 0,
    )
    return new.set_geometry(gpd.points_from_xy(easting, northing, crs=points.crs))
