"""One invented harvest, three ways to its strip yields, and how far each is from the truth."""

import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from proofstrip.config import load_settings
from proofstrip.errors import DataError
from proofstrip.run import assign, clean, moisture, read, strips
from proofstrip.simulate import SCENARIOS, Scenario, Simulated, render_folder, simulate_harvest
from proofstrip.strips import project_along
from proofstrip.units import M2_PER_HA
from proofstrip.work import Work
from tests.accuracy import faults, plain_ways
from tests.accuracy.figures import Tally

OURS, TEXTBOOK, RAW = "proofstrip", "textbook", "raw"
WAYS = (OURS, TEXTBOOK, RAW)
STAGES = (read, clean, moisture, assign, strips)
# The ordinary harvest with one thing changed, on the same draws: a quarter of the seeds tells what the change does.
VARIANTS = frozenset(
    {
        "fast_log",
        "angled",
        "no_header_switch",
        "header_stuck",
        "header_late",
        "header_inverted",
        "drier",
        "point_rows",
        "already_shifted",
        "log_5_s",
        "control_first",
        "racetrack",
        "headland_first",
        "recut",
    }
)
# Harvests of one seed share everything but the effect, so that the slope is not drowned in soil and noise. A second
# effect on the same noise tells nothing else, so later seeds have one effect each.
PAIRS_PCT = ((2.0, 5.0), (0.0, 10.0))
PAIRED_SEEDS = 2
EFFECTS_PCT = (0.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class Estimate:
    """One way's answer on one harvest.

    Attributes
    ----------
    strip_pct : tuple of float
        Each strip's yield against a perfect pipeline's on the stretch that the way counts [%].
    found, perfect, true : float
        Mean log ratio of treated and control strips, times 100: as found, by a perfect pipeline on the same stretch
        with the same sensor, and what the treatment did there.
    noise : float
        What the sensor's noise alone does to the effect, over the records that the way counts: a perfect pipeline has
        the same readings.
    noise_pct : tuple of float
        And to each strip [%].
    """

    strip_pct: tuple[float, ...]
    found: float
    perfect: float
    true: float
    noise: float
    noise_pct: tuple[float, ...]

    @property
    def error(self) -> float:
        """How far the effect is off."""
        return self.found - self.perfect

    @property
    def beyond(self) -> float:
        """How far the effect is off when the noise in the same grain is taken off."""
        return self.error - self.noise

    @property
    def beyond_pct(self) -> tuple[float, ...]:
        """What is left of each strip's error when the noise in its own grain is taken off [%]."""
        return tuple(error - noise for error, noise in zip(self.strip_pct, self.noise_pct, strict=True))


@dataclass(frozen=True)
class DelayFound:
    """One machine's delay: estimated or not, and how far off [s]."""

    estimated: bool
    error_s: float


@dataclass(frozen=True)
class Harvested:
    """What one harvest says about the pipelines.

    Attributes
    ----------
    scenario : str
    seed : int
    planted_pct : float
        Effect planted in the last treatment [%].
    stopped : str
        What the pipeline said when it refused to go on; empty: it did not.
    """

    scenario: str
    seed: int
    planted_pct: float
    stopped: str = ""
    estimates: dict[str, Estimate] = field(default_factory=dict)
    delays: tuple[DelayFound, ...] = ()
    width_m: tuple[float, ...] = ()
    tallies: dict[str, Tally] = field(default_factory=dict)
    lost: dict[str, tuple[int, int]] = field(default_factory=dict)


def list_effects(seed: int) -> tuple[float, ...]:
    """Give the effects to plant with a seed [%].

    Examples
    --------
    >>> [list_effects(seed) for seed in (1, 2, 8)]
    [(2.0, 5.0), (0.0, 10.0), (0.0,)]
    """
    if seed <= PAIRED_SEEDS:
        return PAIRS_PCT[(seed - 1) % len(PAIRS_PCT)]
    return (EFFECTS_PCT[seed % len(EFFECTS_PCT)],)


def plant(scenario: Scenario, effect_pct: float) -> Scenario:
    """Give the last treatment of a scenario another effect."""
    *others, tried = scenario.treatments
    return replace(scenario, treatments=(*others, replace(tried, effect=1 + effect_pct / 100)))


def walk(harvest: Simulated, **clean: float) -> Work:
    """Walk an invented harvest from its written files to the strip table, with other settings of cleaning if wanted."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in render_folder(harvest).items():
            (Path(folder) / name).write_text(text, encoding="utf-8", newline="\n")
        settings = load_settings(Path(folder) / "trial.toml")
        work = Work(settings.model_copy(update={"clean": settings.clean.model_copy(update=clean)}))
        for stage in STAGES:
            work = stage(work)
    return work


def harvest_once(name: str, seed: int, effect_pct: float) -> Harvested:
    """Simulate one harvest and judge all three ways on it.

    Parameters
    ----------
    name : str
        Of the scenario.
    seed : int
    effect_pct : float
        To plant [%].

    Returns
    -------
    Harvested
    """
    scenario = plant(SCENARIOS[name], effect_pct)
    harvest = simulate_harvest(scenario, seed)
    try:
        work = walk(harvest)
    except DataError as error:
        return Harvested(name, seed, effect_pct, stopped=str(error))
    applied = {delay.machine: delay.seconds for delay in work.delays}
    placed = faults.place_records(harvest, work.points, applied)
    # The same draws, so that the two logs differ by the noise alone.
    silent = simulate_harvest(replace(scenario, noise_kg_s=0.0), seed)
    return Harvested(
        name,
        seed,
        effect_pct,
        estimates=estimate_effects(harvest, silent, work),
        delays=judge_delays(harvest, work),
        width_m=tuple(faults.width_errors(placed)),
        tallies=faults.judge_flags(harvest, work.points, placed),
        lost=faults.count_lost(harvest, placed),
    )


def estimate_effects(harvest: Simulated, silent: Simulated, work: Work) -> dict[str, Estimate]:
    """Judge the three ways on one harvest.

    Parameters
    ----------
    harvest, silent : Simulated
        With and without noise, else alike.
    work : Work
        As far as the strip table.

    Returns
    -------
    dict of str to Estimate
        A way that finds no yield in some strip is judged on the others.
    """
    strips_map, standard = work.strips_map, work.settings.standard_moisture_pct
    flow, calm = (part.records["mass_flow_kg_s"].to_numpy() for part in (harvest, silent))
    points = work.points.assign(calm_share=np.divide(calm, flow, out=np.ones(len(flow)), where=flow > 0))
    used = points[points["usable"] & points["strip"].notna()]
    ours = work.strips.set_index("strip")["yield_kg_ha"]
    wet = used["mass_flow_kg_s"] * used["duration_s"]
    share = (wet * used["calm_share"]).groupby(used["strip"]).sum() / wet.groupby(used["strip"]).sum()
    raw = work.raw.assign(calm_flow_kg_s=calm)
    textbook = plain_ways.clean_by_textbook(raw, strips_map, standard, harvest.scenario.shift_applied_s)
    mapped = plain_ways.average_points(raw, strips_map, standard)
    truth = Truth(harvest, strips_map)
    return {
        OURS: truth.judge(ours, ours * share, project_along(used, strips_map), used["strip"]),
        TEXTBOOK: truth.judge(*_average(textbook, standard), _along(textbook, strips_map)),
        RAW: truth.judge(*_average(mapped, standard), None),
    }


def _average(points: gpd.GeoDataFrame, standard_pct: float) -> "tuple[pd.Series[float], pd.Series[float]]":
    """Give each strip's mean yield with the noise in, and without it over the same points."""
    calm = plain_ways.map_yield(points.assign(mass_flow_kg_s=points["calm_flow_kg_s"]), standard_pct)
    return points.groupby("strip")["yield_kg_ha"].mean(), calm.groupby(points["strip"]).mean()


def _along(points: gpd.GeoDataFrame, strips_map: gpd.GeoDataFrame) -> "pd.Series[float]":
    """Give each point's place along its block, by its strip."""
    placed = points.assign(cut_easting_m=points.geometry.x, cut_northing_m=points.geometry.y)
    return pd.Series(project_along(placed, strips_map).to_numpy(), index=points["strip"].to_numpy())


class Truth:
    """What was cut, strip by strip and step by step, readable over any stretch of the strips."""

    def __init__(self, harvest: Simulated, strips_map: gpd.GeoDataFrame) -> None:
        """Lay the ground along the strips."""
        ground = harvest.ground[harvest.ground["strip"] != ""]
        ground = ground.rename(columns={"easting_m": "cut_easting_m", "northing_m": "cut_northing_m"})
        ground = ground.assign(strip=ground["strip"].astype(object))
        self.ground = ground.assign(along=project_along(ground, strips_map))
        self.treatment = strips_map.set_index("strip")["treatment"]
        self.control = harvest.scenario.treatments[0].name
        moved = harvest.records["distance_m"]
        self.half_record_m = float(moved[moved > 0].median()) / 2

    def judge(
        self,
        found: "pd.Series[float]",
        calm: "pd.Series[float]",
        along: "pd.Series[float] | None",
        strip: "pd.Series[str] | None" = None,
    ) -> Estimate:
        """Hold yields against the truth on the stretch that they were taken from.

        Parameters
        ----------
        found, calm : pandas.Series of float
            By strip, with the sensor's noise and without it [kg/ha].
        along : pandas.Series of float or None
            Places of the records counted [m]; none: the whole strips.
        strip : pandas.Series of str, optional
            Of the same records; not given: ``along`` is indexed by strip.

        Returns
        -------
        Estimate
        """
        ground = self.ground
        if along is not None:
            ends = along.groupby(along.index if strip is None else strip).agg(["min", "max"])
            low, high = (ground["strip"].map(ends[side]) for side in ("min", "max"))
            ground = ground[ground["along"].between(low - self.half_record_m, high + self.half_record_m)]
        names = ["sensed_mass_kg", "true_mass_kg", "untreated_mass_kg", "area_m2"]
        sums = ground.groupby("strip")[names].sum()
        perfect = sums["sensed_mass_kg"] / sums["area_m2"] * M2_PER_HA
        error = (found / perfect - 1).dropna()
        level = self._compare(np.log(found[found > 0]))
        return Estimate(
            tuple(float(value) for value in 100 * error),
            level,
            self._compare(np.log(perfect[error.index])),
            self._compare(np.log(sums["true_mass_kg"] / sums["untreated_mass_kg"])[error.index]),
            level - self._compare(np.log(calm[found > 0])),
            tuple(float(value) for value in 100 * (found / calm - 1)[error.index]),
        )

    def _compare(self, level: "pd.Series[float]") -> float:
        """Give the difference of the means of treated and control strips, times 100."""
        control = (level.index.map(self.treatment) == self.control).astype(bool)
        return float(100 * (level[~control].mean() - level[control].mean()))


def judge_delays(harvest: Simulated, work: Work) -> tuple[DelayFound, ...]:
    """Hold each machine's delay against the mean time that its grain took, weighed by flow.

    Parameters
    ----------
    harvest : Simulated
    work : Work

    Returns
    -------
    tuple of DelayFound
    """
    records = harvest.records
    known = records["true_delay_s"].notna() & ~records[["true_spike", "true_stuck", "true_duplicate"]].any(axis=1)
    flow = records["mass_flow_kg_s"].where(known, 0.0)
    machine = records["machine"].astype(str)
    true_s = (flow * records["true_delay_s"].fillna(0)).groupby(machine).sum() / flow.groupby(machine).sum()
    return tuple(
        DelayFound(
            delay.source == "estimated",
            delay.seconds - float(true_s[delay.machine] if delay.machine in true_s.index else true_s.iloc[0]),
        )
        for delay in work.delays
    )
