"""From records as logged to records with faults flagged and grain back on the ground it was cut from.

Three steps, because a travel delay can only be found once the passes are known, and is asked for again with other
delays when the answer's sensitivity is looked at:

    track  = follow_machines(points, settings)             where each machine went, its passes, its cut width
    delays = estimate_delays(points, track, settings, applied_s)
    track  = confirm_widths(points, track, delays, settings)    overlap that the flow confirms
    points = clean_points(points, track, delays, settings)

Nothing is dropped; no treatment is known here, and nothing of one pass is judged by another treatment's pass.
"""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.clean.confirm import confirm_overlap
from proofstrip.clean.delay import Delay, delay_by_record, estimate_delays
from proofstrip.clean.filters import FILTERS, Evidence, apply_filters
from proofstrip.clean.header import settle_header
from proofstrip.clean.interleaved import refuse_interleaved
from proofstrip.clean.position import (
    PLACED,
    duplicate,
    expect_distance,
    mend_positions,
    missing,
    off_pass,
    position_frozen,
    position_jump,
)
from proofstrip.clean.repeated import find_repeated
from proofstrip.clean.rows import check_header, snap_to_rows
from proofstrip.clean.set_width import find_full_header, join_widths, judge_set_width, say_unsupported
from proofstrip.clean.settle import see_passes, settle_width
from proofstrip.clean.shift import Cut, find_cut
from proofstrip.clean.track import (
    Floats,
    Track,
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
from proofstrip.clean.way import check_way, spread_frozen
from proofstrip.clean.width import measure_overlap
from proofstrip.config import CleanPart
from proofstrip.days import name_days
from proofstrip.errors import DataError
from proofstrip.flags import EXCLUDING, Flag

__all__ = [
    "FILTERS",
    "Delay",
    "Track",
    "check_header",
    "clean_points",
    "confirm_widths",
    "estimate_delays",
    "follow_machines",
]

HEADING_REACH_M = 6.0


def follow_machines(points: gpd.GeoDataFrame, settings: CleanPart, row_m: float | None = None) -> Track:
    """Follow each machine through its records: positions mended, passes found, cut width measured.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        As ``read_harvest`` gives it.
    settings : CleanPart
    row_m : float, optional
        Distance of rows under a row header, which cuts whole rows [m].

    Returns
    -------
    Track
        Records without a time or a place, and repeated ones, are not on it.

    Raises
    ------
    DataError
        When no record can be placed, or the log cannot be one machine's.
    """
    repeated = duplicate(points).to_numpy()
    again, told = find_repeated(points, repeated)
    repeated = repeated | again
    placed = points[list(PLACED)].notna().all(axis=1).to_numpy() & ~repeated
    if not placed.any():
        raise DataError(
            f"clean: none of the {len(points):,} records has a time, a position, a duration and a distance, "
            "so no pass can be followed. Look at the columns with proofstrip inspect."
        )
    logged = _lay_track(points, order_records(points, placed), settings)
    refuse_interleaved(logged, points.get("source_file"))
    jumped, frozen = position_jump(logged, settings), position_frozen(logged)
    easting, northing = mend_positions(logged, jumped | frozen)
    frozen = frozen | logged.frozen
    track = replace(logged, easting=easting, northing=northing, jumped=jumped, frozen=frozen)
    track = replace(track, heading=find_headings(track, HEADING_REACH_M), turn=find_turns(track, settings))
    track = check_way(track)
    state, flow = _header_state(points)[track.row], points["mass_flow_kg_s"].to_numpy(dtype=np.float64)[track.row]
    header_up, notices = settle_header(track, state, flow, settings)
    track = judge_set_width(
        number_passes(replace(track, header_up=header_up, notices=(*told, *track.notices, *notices)))
    )
    overlap = measure_overlap(track, settings.cell_m)
    track = replace(track, overlap=overlap, seen=see_passes(track, overlap))
    ground = settle_width(track, overlap, settings, track.seen)
    notices = say_unsupported(track, ground)
    width = _find_width(track, ground, row_m)
    beside = off_pass(track, settings)
    track = replace(track, notices=(*track.notices, *notices))
    return replace(track, cut_width=width, beside=beside, repeated=np.flatnonzero(repeated))


def _find_width(track: Track, ground: Floats, row_m: float | None) -> Floats:
    """Give the cut width within passes, from what the ground shows; whole rows under a row header."""
    width = join_widths(track, ground)
    if row_m is not None:
        width = snap_to_rows(width, track.swath, row_m)
    return np.where(track.pass_id > 0, width, 0.0)


def confirm_widths(
    points: gpd.GeoDataFrame,
    track: Track,
    delays: tuple[Delay, ...],
    settings: CleanPart,
    row_m: float | None = None,
) -> Track:
    """Believe measured overlap as far as the flow along the passes of its machine confirms it.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        mass_flow_kg_s [kg/s].
    track : Track
        Of the same points, from ``follow_machines``.
    delays : tuple of Delay
        One a machine, or one a machine and day.
    settings : CleanPart
    row_m : float, optional
        Distance of rows under a row header [m].

    Returns
    -------
    Track
        With its cut width settled anew.
    """
    if track.overlap is None or track.seen is None:
        return track
    flow = points["mass_flow_kg_s"].to_numpy(dtype=np.float64)[track.row]
    told = confirm_overlap(track, track.seen.signed, flow, delay_by_record(track, delays))
    ground = settle_width(track, track.overlap, settings, track.seen, told)
    return replace(track, cut_width=_find_width(track, ground, row_m))


def _header_state(points: gpd.GeoDataFrame) -> Floats:
    """Give the logged header state: 1 = up, 0 = down, NaN = not logged."""
    down = points["header_down"].astype("Float64").to_numpy(dtype=np.float64, na_value=np.nan)
    return np.asarray(1.0 - down, dtype=np.float64)


def _lay_track(points: gpd.GeoDataFrame, row: np.ndarray, settings: CleanPart) -> Track:
    """Put the records in order, with positions as logged."""

    def column(name: str) -> Floats:
        return np.asarray(points[name].to_numpy(dtype=np.float64)[row], dtype=np.float64)

    kind = pd.Categorical(points["machine"])
    machine = kind.codes.astype(np.int64)[row]
    duration, distance = column("duration_s"), column("distance_m")
    easting, northing = column("easting_m"), column("northing_m")
    time = spread_ties(column("time"), machine, duration)
    if stand_for_start(np.diff(time), duration, machine):
        time = time + duration
    log = find_logs(time, machine, duration, settings.max_gap_s)
    if stand_for_start(np.hypot(np.diff(easting), np.diff(northing)), distance, machine):
        easting, northing = move_to_end(easting, northing, distance, log)
    easting, northing, distance, frozen = spread_frozen(easting, northing, distance, time, log)
    span = find_spans(time, duration, log)
    distance = expect_distance(distance, duration, log) * span / np.maximum(duration, 1e-3)
    swath = column("swath_m")
    known = np.isfinite(swath) & (swath > 0)
    day = pd.Categorical(name_days(points).to_numpy()[row])
    full = find_full_header(np.where(known, swath, 0.0), machine, day.codes.astype(np.int64))
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
        swath=full,
        heading=nothing,
        header_up=nothing.astype(bool),
        turn=nothing.astype(bool),
        pass_id=nothing.astype(np.int64),
        cut_width=full,
        set_width=np.where(known, swath, full),
        frozen=frozen,
        names=tuple(str(name) for name in kind.categories),
        day=day.codes.astype(np.int64),
        day_names=tuple(str(name) for name in day.categories),
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
        One a machine, or one a machine and day.
    settings : CleanPart

    Returns
    -------
    geopandas.GeoDataFrame
        With cut_easting_m, cut_northing_m, cut_width_m, area_m2, wet_mass_kg, pass_id, flags and usable added;
        heading_deg is the direction of movement and geometry the place where the grain was cut.
    """
    cut = find_cut(track, delay_by_record(track, delays))
    flags = np.zeros(len(points), dtype=np.int32)
    flags[missing(points).to_numpy()] |= Flag.MISSING
    flags[track.repeated] |= Flag.DUPLICATE
    for flag, mask in apply_filters(_gather(points, track, cut, delays), settings):
        flags[track.row[mask]] |= flag
    return _write_back(points, track, cut, flags)


def _gather(points: gpd.GeoDataFrame, track: Track, cut: Cut, delays: tuple[Delay, ...]) -> Evidence:
    """Put together what the filters look at."""
    flow = points["mass_flow_kg_s"].to_numpy(dtype=np.float64)[track.row]
    sure = np.ones(len(track), dtype=bool)
    for delay in delays:
        sure[delay.holds(track)] = delay.source != "assumed"
    grounded = (cut.area > 0) & np.isfinite(flow)
    density = np.divide(flow * track.duration, cut.area, out=np.full(len(track), np.nan), where=grounded)
    return Evidence(track, cut, flow, density, grounded & (cut.pass_id > 0), sure)


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
