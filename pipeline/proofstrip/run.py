"""The whole job: one trial file in, one run folder out."""

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from proofstrip.along import ZoneDifference, compare_along, compare_zones
from proofstrip.assign import assign_strips
from proofstrip.checks import check_removals, check_strips, look_at_run, warn_in_answer
from proofstrip.choice_answers import find_choice_moves, price_choices
from proofstrip.clean import check_header, clean_points, confirm_widths, estimate_delays, follow_machines
from proofstrip.config import Settings
from proofstrip.dependence import check_cleaning
from proofstrip.drift import check_order, estimate_drift
from proofstrip.economics import Payback, delivered_moisture, price_blocks, price_rates, price_treatments
from proofstrip.exclusions import count_exclusions, exclude_by_hand
from proofstrip.factor import scale_points, spread_factors
from proofstrip.ground_loss import add_up_losses
from proofstrip.loads import match_loads, weigh_by_monitor
from proofstrip.loss_balance import balance_gain, check_balance, compare_losses
from proofstrip.machines import check_machines, estimate_offsets, list_cells, machine_shares
from proofstrip.moisture import Known, correct_moisture, settle_moisture
from proofstrip.read import read_counts, read_exclusions, read_harvest, read_tickets, read_trial_map
from proofstrip.read.files import refuse_changed, short_name
from proofstrip.read.positions import WGS84
from proofstrip.read.zones import read_zones
from proofstrip.record import Clock, describe_inputs, write_json, write_record, write_tables
from proofstrip.removals import count_removals
from proofstrip.report import ReportMaterial, write_report
from proofstrip.report.paper import find_weasyprint, write_pdf
from proofstrip.result import describe_run
from proofstrip.scale import check_sensor, mean_yield, set_against_monitor, use_tickets
from proofstrip.sensitivity import Material, try_choices
from proofstrip.spatial import fit_spatial
from proofstrip.stats import Comparison, compare_treatments
from proofstrip.stats.moves import check_blocks, check_choices
from proofstrip.stats.probability import give_probabilities
from proofstrip.stats.remarks import make_remarks
from proofstrip.stats.verdict import give_verdict
from proofstrip.stats.wording import choose_unit
from proofstrip.strips import make_strips, mark_windows
from proofstrip.tier import judge_evidence
from proofstrip.treatment_delay import compare_delays, note_delays
from proofstrip.whole import written_whole
from proofstrip.work import Work


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
    counts = None
    if settings.ground_loss is not None:
        counts = read_counts(settings.ground_loss, settings.folder, set(trial_map.strips["strip"]))
        inputs[_name_input(settings, settings.ground_loss.file)] = counts.sha256
    exclusions = read_exclusions(settings.clean.exclusions, settings.folder, harvest.points.crs)
    if exclusions is not None:
        inputs[short_name(exclusions.path, settings.folder)] = exclusions.sha256
    return replace(
        work,
        strips_map=trial_map.strips,
        raw=harvest.points,
        points=harvest.points,
        notices=(*trial_map.notices, *harvest.notices, *(counts.notices if counts else ())),
        counts=counts,
        exclusions=exclusions,
        inputs=inputs,
    )


def weigh(work: Work) -> Work:
    """Read the scale tickets, and find out which grain each load was."""
    settings = work.settings
    if settings.scale is None:
        return work
    tickets = read_tickets(settings.scale, settings.folder)
    return replace(
        work,
        loads=match_loads(tickets.loads, work.strips_map["strip"].tolist(), work.points),
        notices=(*work.notices, *tickets.notices),
        inputs={**work.inputs, _name_input(settings, settings.scale.file): tickets.sha256},
    )


def _name_input(settings: Settings, file: str) -> str:
    """Name an input as records name their source: files of one name in two folders stay apart."""
    return short_name(settings.folder / file, settings.folder)


def clean(work: Work) -> Work:
    """Find passes and travel delay, flag faults, put the grain on its ground."""
    settings = work.settings.clean
    harvest = work.settings.harvest
    if harvest.rows is not None and harvest.row_spacing_m is not None:
        check_header(work.points, harvest.rows, harvest.row_spacing_m)
    track = follow_machines(work.points, settings, harvest.row_spacing_m)
    delays = estimate_delays(work.points, track, settings, harvest.delay_applied_s)
    track = confirm_widths(work.points, track, delays, settings, harvest.row_spacing_m)
    points = clean_points(work.points, track, delays, settings)
    return replace(work, track=track, delays=delays, points=points, notices=(*work.notices, *track.notices))


def moisture(work: Work) -> Work:
    """Bring the grain to standard moisture."""
    known = Known(work.followed, work.delays, work.strips_map, work.loads)
    found = settle_moisture(work.points, work.settings, known)
    points = correct_moisture(work.points, found.pct, work.settings)
    return replace(work, points=points, moisture=found, notices=(*work.notices, *found.notices))


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
    """Put the scale in the place of the monitor where every strip was weighed alone, else scale the monitor by it."""
    settings = work.settings
    if work.loads is None:
        return work
    monitor = weigh_by_monitor(work.points, work.followed, work.strips_map)
    ratios = set_against_monitor(work.loads, monitor, work.strips_map, settings.standard_moisture_pct)
    weighed, table, notices = use_tickets(work.sensed, ratios, monitor, list_cells(work.points), settings)
    work = replace(work, strips=table, ratios=ratios, notices=(*work.notices, *notices), scale=weighed)
    if not weighed.factors:
        return work
    factor = spread_factors(work.points, weighed.factors)
    points = scale_points(work.points, factor)
    table = make_strips(points, work.strips_map, settings).assign(source="scaled")
    scaled = replace(weighed, mean_before_kg_ha=mean_yield(work.sensed), mean_after_kg_ha=mean_yield(table))
    return replace(work, points=points, sensed=table, strips=table, factor=factor, scale=scaled)


def side_effects(work: Work) -> Work:
    """Look at what cleaning did to treatments that it knew nothing of: what it removed, the delay it applied."""
    compared = (work.sensed, work.settings.trial_map.control, work.settings.stats)
    by_treatment = compare_delays(work.points, work.followed, *compared)
    return replace(
        work,
        removals=count_removals(work.points, *compared),
        treatment_delays=by_treatment,
        notices=(*work.notices, *note_delays(by_treatment, work.settings.trial_map.control)),
    )


def machines(work: Work) -> Work:
    """Hold the combines against each other, the scale and the clock."""
    cells, confidence = list_cells(work.points), work.settings.stats.confidence
    # Loads by combine have no hour of their own; a load that several combines cut tells of none.
    timed = work.ratios[(work.ratios["machine"] != "") & (work.ratios["strips"].map(len) > 0)]
    return replace(
        work,
        cells=cells,
        offsets=estimate_offsets(cells, work.strips_map, confidence, work.ratios),
        drift=estimate_drift(timed, confidence, "tickets") if len(timed) else estimate_drift(cells, confidence),
    )


def stats(work: Work) -> Work:
    """Compare the treatments, and again under other choices of cleaning."""
    shares = None if work.weighed else machine_shares(work.cells)
    control, settings = work.settings.trial_map.control, work.settings.stats
    comparison = compare_treatments(work.strips, control, settings, machines=shares)
    material = Material(
        points=work.raw,
        track=work.followed,
        delays=work.delays,
        cleaned=work.points,
        strips=work.strips_map,
        settings=work.settings,
        moisture_pct=work.settled.pct,
        factor=work.factor,
        exclusions=work.exclusions,
    )
    return replace(work, comparison=comparison, alternatives=try_choices(material, comparison, work.weighed))


def ground_loss(work: Work) -> Work:
    """Add up what was counted on the ground, and set it against the gain."""
    settings, part = work.settings, work.settings.ground_loss
    if part is None or work.counts is None:
        return work
    frames = work.counts.frames
    losses = add_up_losses(frames, work.strips, settings.trial.crop, part.thousand_kernel_g, part.concentration)
    return replace(
        work,
        losses=losses,
        loss_differences=compare_losses(losses, work.strips, settings.trial_map.control, settings.stats),
        balances=balance_gain(losses, work.strips, work.compared, settings.stats),
        notices=(*work.notices, *losses.notices),
    )


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
    crop, standard, comparison = settings.trial.crop, settings.standard_moisture_pct, work.compared

    def price(other: Comparison) -> tuple[Payback, ...]:
        return price_treatments(other, crop, prices, delivered, standard)

    by_block = check_blocks(comparison.differences, price_blocks(comparison, price))
    checks = tuple(by_block if check.name == by_block.name else check for check in comparison.checks)
    return replace(
        work,
        paybacks=price(comparison),
        alternatives=price_choices(work.alternatives, comparison, price),
        comparison=replace(price_rates(comparison, crop, prices), checks=checks),
    )


def decide(work: Work) -> Work:
    """Put checks and warnings together, and give the verdict."""
    control, comparison, settings = work.settings.trial_map.control, work.compared, work.settings
    units, bushel = settings.report.units, settings.trial.crop.kg_ha_per_bu_ac
    unit = choose_unit(comparison.unit, units, bushel)
    acts_on = settings.ground_loss.acts_on if settings.ground_loss else "harvest"
    sensor = check_sensor(work.ratios, "none" if work.scale is None else work.scale.use, control)
    own = (
        check_machines(work.sensed, machine_shares(work.cells), control, not work.weighed),
        check_order(work.cells, control),
        *check_strips(work.points, work.sensed, control, settings.stats),
        check_removals(work.removals, control),
        *sensor,
        *check_balance(work.balances, acts_on, work.weighed, unit),
        check_cleaning(comparison, work.alternatives),
        check_choices(find_choice_moves(work.alternatives, comparison)),
    )
    looked = look_at_run(work.strips, work.delays)
    verdict = give_verdict(comparison, work.paybacks, own, units, bushel, settings.trial.crop.name)
    odds = give_probabilities(comparison, work.paybacks, settings.stats)
    return replace(
        work,
        odds=odds,
        checks=(*own, *comparison.checks),
        notices=(*work.notices, *looked, *comparison.warnings),
        remarks=make_remarks(comparison, odds, unit, settings.stats),
        verdict=replace(
            verdict, sentence=" ".join([verdict.sentence, *warn_in_answer(own, verdict.word == "refused")])
        ),
        evidence=judge_evidence(work.weighed, sensor, work.balances, acts_on, work.factor is not None),
    )


STAGES: tuple[Callable[[Work], Work], ...] = (
    read,
    weigh,
    clean,
    moisture,
    assign,
    exclude,
    strips,
    scale,
    side_effects,
    machines,
    stats,
    ground_loss,
    where,
    economics,
    decide,
)


def work_through(settings: Settings, say: Callable[[str], None] = lambda text: None) -> tuple[Work, Clock]:
    """Take a trial through every stage; nothing is written.

    Parameters
    ----------
    settings : Settings
    say : callable
        Told the name of each stage as it begins.

    Returns
    -------
    tuple of Work and Clock

    Raises
    ------
    DataError
        When the data cannot give an answer, or a file changed while it was read.
    """
    work, clock = Work(settings), Clock()
    for stage in STAGES:
        say(stage.__name__)
        began = time.perf_counter()
        work = stage(work)
        clock.note(stage.__name__, len(work.points), time.perf_counter() - began)
    refuse_changed(work.inputs, settings.folder)
    return work, clock


def run_trial(
    settings: Settings, folder: Path, say: Callable[[str], None] = lambda text: None, pdf: bool = False
) -> dict[str, Any]:
    """Run a trial from its raw files to its report.

    Parameters
    ----------
    settings : Settings
    folder : pathlib.Path
        The run folder, written whole or not at all.
    say : callable
        Told the name of each stage as it begins.
    pdf : bool
        Set the report as report.pdf too.

    Returns
    -------
    dict
        result.json.

    Raises
    ------
    DataError
        When the data cannot give an answer, or a PDF is wanted and cannot be set.
    """
    if pdf:
        find_weasyprint()
    work, clock = work_through(settings, say)
    say("report")
    result = describe_run(work)
    run = describe_inputs(settings, work.inputs, clock, work.points["flags"])
    with written_whole(folder) as fresh:
        write_tables(fresh, work.points, work.strips)
        write_json(fresh / "result.json", result)
        write_report(ReportMaterial(result, work.strips, work.points, work.strips_map, run, settings), fresh)
        if pdf:
            write_pdf(fresh, settings.report.paper)
        write_record(fresh, folder, run, settings)
    return result
