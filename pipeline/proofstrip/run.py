"""The whole job: one trial file in, one run folder out."""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from proofstrip.along import Along, ZoneDifference, compare_along, compare_zones
from proofstrip.assign import assign_strips
from proofstrip.checks import check_strips, look_at_run, warn_in_answer
from proofstrip.clean import Delay, Track, clean_points, estimate_delays, follow_machines
from proofstrip.columns import POINT_COLUMNS, STRIP_COLUMNS, empty_frame
from proofstrip.config import Settings
from proofstrip.dose_money import price_rates
from proofstrip.drift import check_order, estimate_drift
from proofstrip.economics import Payback, delivered_moisture, price_treatments
from proofstrip.errors import DataError, Notice
from proofstrip.exclusions import ExclusionCount, count_exclusions, exclude_by_hand
from proofstrip.machines import check_machines, estimate_offsets, list_cells, machine_shares
from proofstrip.moisture import correct_moisture, note_stuck
from proofstrip.read import Exclusions, read_exclusions, read_harvest, read_tickets, read_trial_map
from proofstrip.read.files import short_name
from proofstrip.read.positions import WGS84
from proofstrip.read.zones import read_zones
from proofstrip.record import Clock, describe_inputs, write_json, write_tables, written_whole
from proofstrip.report import ReportMaterial, write_report
from proofstrip.result import Findings, describe_run
from proofstrip.scale import against_scale, check_sensor, ground_by_strip, weigh_strips
from proofstrip.sensitivity import Alternative, Material, check_cleaning, try_choices
from proofstrip.spatial import SpatialFit, fit_spatial
from proofstrip.stats import Comparison, compare_treatments
from proofstrip.stats.probability import give_probabilities
from proofstrip.stats.remarks import make_remarks
from proofstrip.stats.verdict import give_verdict
from proofstrip.stats.wording import choose_unit
from proofstrip.strips import make_strips, mark_windows

LOSS_UNUSED = "[ground_loss] is named in the trial file, but ground-loss counts do not enter the answer yet."


@dataclass(frozen=True)
class Work:
    """A trial on its way: each stage adds its part, none changes another's.

    Attributes
    ----------
    settings : Settings
    strips_map : geopandas.GeoDataFrame
        The trial map.
    raw, points : geopandas.GeoDataFrame
        Records as read, and as far as the stages have come.
    track : Track or None
    delays : tuple of Delay
    sensed, strips : pandas.DataFrame
        The strip table of the combine, and the one that is compared: of the scale, where every strip was weighed.
    comparison : Comparison or None
    exclusions : Exclusions or None
        What a person excluded.
    excluded : tuple of ExclusionCount
    alternatives, along, zones, spatial, paybacks, notices, inputs
        As the stages found them.
    """

    settings: Settings
    strips_map: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)
    raw: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)
    points: gpd.GeoDataFrame = field(default_factory=lambda: gpd.GeoDataFrame(empty_frame(POINT_COLUMNS)))
    track: Track | None = None
    delays: tuple[Delay, ...] = ()
    sensed: pd.DataFrame = field(default_factory=lambda: empty_frame(STRIP_COLUMNS))
    strips: pd.DataFrame = field(default_factory=lambda: empty_frame(STRIP_COLUMNS))
    comparison: Comparison | None = None
    exclusions: Exclusions | None = None
    excluded: tuple[ExclusionCount, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    along: tuple[Along, ...] = ()
    zones: tuple[ZoneDifference, ...] = ()
    spatial: tuple[SpatialFit, ...] = ()
    paybacks: tuple[Payback, ...] = ()
    notices: tuple[Notice, ...] = ()
    inputs: dict[str, str] = field(default_factory=dict)

    @property
    def followed(self) -> Track:
        """The track, once the machines were followed."""
        if self.track is None:
            raise RuntimeError("the stages are out of order: clean comes before this one")
        return self.track

    @property
    def weighed(self) -> bool:
        """Whether the strips' yields are the scale's."""
        return bool((self.strips["source"] == "scale").all())

    @property
    def compared(self) -> Comparison:
        """The comparison, once it was made."""
        if self.comparison is None:
            raise RuntimeError("the stages are out of order: stats comes before this one")
        return self.comparison


def read(work: Work) -> Work:
    """Read the trial map and the raw records, in one projection."""
    settings = work.settings
    part = settings.stats
    beside = [name for name in (part.factor or "factor", part.covariate, "dose", "whole_strip") if name]
    trial_map = read_trial_map(settings.trial_map, settings.folder, beside)
    west, south, east, north = (float(edge) for edge in trial_map.strips.to_crs(WGS84).total_bounds)
    harvest = read_harvest(
        settings.harvest, settings.folder, settings.trial.crop, trial_map.strips.crs, (west, south, east, north)
    )
    inputs = {short_name(source.path, settings.folder): source.sha256 for source in harvest.sources}
    inputs[_name_input(settings, settings.trial_map.file)] = trial_map.sha256
    exclusions = read_exclusions(settings.clean.exclusions, settings.folder, harvest.points.crs)
    if exclusions is not None:
        inputs[short_name(exclusions.path, settings.folder)] = exclusions.sha256
    unused = (Notice("ground_loss_unused", LOSS_UNUSED),) if settings.ground_loss else ()
    return replace(
        work,
        strips_map=trial_map.strips,
        raw=harvest.points,
        points=harvest.points,
        notices=(*trial_map.notices, *harvest.notices, *unused),
        exclusions=exclusions,
        inputs=inputs,
    )


def _name_input(settings: Settings, file: str) -> str:
    """Name an input as records name their source: files of one name in two folders stay apart."""
    return short_name(settings.folder / file, settings.folder)


def clean(work: Work) -> Work:
    """Find passes and travel delay, flag faults, put the grain on its ground."""
    settings = work.settings.clean
    track = follow_machines(work.points, settings)
    delays = estimate_delays(work.points, track, settings, work.settings.harvest.delay_applied_s)
    points = clean_points(work.points, track, delays, settings)
    return replace(work, track=track, delays=delays, points=points, notices=(*work.notices, *track.notices))


def moisture(work: Work) -> Work:
    """Bring the grain to standard moisture."""
    notices = (*work.notices, *note_stuck(work.points, work.settings))
    return replace(work, points=correct_moisture(work.points, work.settings), notices=notices)


def assign(work: Work) -> Work:
    """Give each record its strip."""
    return replace(work, points=assign_strips(work.points, work.strips_map, work.settings.strips))


def exclude(work: Work) -> Work:
    """Leave out what a person excluded."""
    points = exclude_by_hand(work.points, work.exclusions)
    excluded, notices = count_exclusions(points, work.exclusions)
    return replace(work, points=points, excluded=excluded, notices=(*work.notices, *notices))


def strips(work: Work) -> Work:
    """Sum up each strip in the window that its block shares."""
    points = mark_windows(work.points, work.strips_map, work.settings.strips)
    table = make_strips(points, work.strips_map, work.settings)
    return replace(work, points=points, sensed=table, strips=table)


def scale(work: Work) -> Work:
    """Put the scale in the place of the monitor, where every strip was weighed."""
    settings = work.settings
    if settings.scale is None:
        return work
    tickets = read_tickets(settings.scale, settings.folder)
    ground = ground_by_strip(work.followed, work.strips_map)
    table, notices = weigh_strips(work.sensed, tickets.loads, ground, settings)
    inputs = {**work.inputs, _name_input(settings, settings.scale.file): tickets.sha256}
    return replace(work, strips=table, inputs=inputs, notices=(*work.notices, *tickets.notices, *notices))


def stats(work: Work) -> Work:
    """Compare the treatments, and again under other choices of cleaning."""
    shares = None if work.weighed else machine_shares(list_cells(work.points))
    control, settings = work.settings.trial_map.control, work.settings.stats
    comparison = compare_treatments(work.strips, control, settings, machines=shares)
    material = Material(
        work.raw, work.followed, work.delays, work.points, work.strips_map, work.settings, work.exclusions
    )
    return replace(work, comparison=comparison, alternatives=try_choices(material, comparison, work.weighed))


def where(work: Work) -> Work:
    """Look where in the field the treatments differ: along the strips, by zone, and with like ground beside it."""
    settings, control = work.settings, work.settings.trial_map.control
    level, seed = settings.stats.confidence, settings.stats.seed
    zones: tuple[ZoneDifference, ...] = ()
    inputs = work.inputs
    if settings.zones is not None:
        zone, sha256 = read_zones(settings.zones, settings.folder, work.points)
        zones = compare_zones(work.points, work.strips_map, zone, control, level)
        inputs = {**inputs, _name_input(settings, settings.zones.file): sha256}
    return replace(
        work,
        along=compare_along(work.points, work.strips_map, control, level, seed),
        zones=zones,
        spatial=fit_spatial(work.points, work.strips_map, control, level),
        inputs=inputs,
    )


def economics(work: Work) -> Work:
    """Price the difference, where there are prices."""
    prices, settings = work.settings.economics, work.settings
    if prices is None:
        return work
    delivered = delivered_moisture(work.strips, settings.standard_moisture_pct)
    priced = price_treatments(work.compared, settings.trial.crop, prices, delivered, settings.standard_moisture_pct)
    return replace(work, paybacks=priced, comparison=price_rates(work.compared, settings.trial.crop, prices))


STAGES: tuple[Callable[[Work], Work], ...] = (
    read,
    clean,
    moisture,
    assign,
    exclude,
    strips,
    scale,
    stats,
    where,
    economics,
)


def run_trial(settings: Settings, folder: Path, say: Callable[[str], None] = lambda text: None) -> dict[str, Any]:
    """Run a trial from its raw files to its report.

    Parameters
    ----------
    settings : Settings
    folder : pathlib.Path
        The run folder, written whole or not at all.
    say : callable
        Told the name of each stage as it begins.

    Returns
    -------
    dict
        result.json.

    Raises
    ------
    DataError
        When the data cannot give an answer.
    """
    work, clock = Work(settings), Clock()
    for stage in STAGES:
        say(stage.__name__)
        began = time.perf_counter()
        work = stage(work)
        clock.note(stage.__name__, len(work.points), time.perf_counter() - began)
    say("report")
    result = describe_run(_conclude(work), _describe_trial(settings), settings.trial.crop)
    run = describe_inputs(settings, work.inputs, clock, work.points["flags"])
    with written_whole(folder) as fresh:
        write_tables(fresh, work.points, work.strips)
        write_json(fresh / "result.json", result)
        write_json(fresh / "run.json", run)
        write_report(ReportMaterial(result, work.strips, work.points, work.strips_map, run, settings), fresh)
    return result


def _conclude(work: Work) -> Findings:
    """Put checks and warnings together, and decide."""
    control, comparison = work.settings.trial_map.control, work.compared
    cells, confidence = list_cells(work.points), work.settings.stats.confidence
    ratios = against_scale(cells, work.sensed, work.strips)
    own = (
        check_machines(work.sensed, machine_shares(cells), control, not work.weighed),
        check_order(cells, control),
        *check_strips(work.points, work.sensed, control, work.settings.stats),
        *check_sensor(work.sensed, work.strips, control),
        check_cleaning(comparison, work.alternatives),
    )
    looked = look_at_run(work.points, work.strips, work.delays, work.settings.moisture.declared_pct)
    bushel = work.settings.trial.crop.kg_ha_per_bu_ac
    units, part = work.settings.report.units, work.settings.stats
    verdict = give_verdict(comparison, work.paybacks, own, units, bushel)
    verdict = replace(verdict, sentence=" ".join([verdict.sentence, *warn_in_answer(own)]))
    odds = give_probabilities(comparison, work.paybacks, part)
    remarks = make_remarks(comparison, odds, choose_unit(comparison.unit, units, bushel), part)
    warnings = (*work.notices, *looked, *comparison.warnings)
    return Findings(
        work.delays,
        work.points,
        comparison,
        work.paybacks,
        work.alternatives,
        (*own, *comparison.checks),
        warnings,
        verdict,
        work.excluded,
        odds,
        remarks,
        estimate_offsets(cells, work.strips_map, confidence, ratios),
        estimate_drift(ratios, confidence, "tickets") if len(ratios) else estimate_drift(cells, confidence),
        work.along,
        work.zones,
        work.spatial,
    )


def _describe_trial(settings: Settings) -> dict[str, Any]:
    """Say which trial it is."""
    trial = settings.trial
    return {
        "name": trial.name,
        "field": trial.field,
        "season": trial.season,
        "crop": trial.crop.name,
        "control": settings.trial_map.control,
        "standard_moisture_pct": settings.standard_moisture_pct,
        "notes": trial.notes,
    }


def read_result(folder: Path) -> dict[str, Any]:
    """Read the result of a run folder.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    dict

    Raises
    ------
    DataError
        When there is no result, or the file holds something else.
    """
    path = folder / "result.json"
    if not path.is_file():
        raise DataError(f"{folder} is not a run folder: it has no result.json. Make one with proofstrip run.")
    try:
        result: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as fault:
        raise DataError(f"{path} is not JSON: {fault}. Make it again with proofstrip run.") from fault
    if not isinstance(result, dict) or not {"trial", "treatments", "differences", "verdict"} <= result.keys():
        raise DataError(f"{path} is not the result of a run: it lacks trial, treatments, differences or verdict.")
    return result
