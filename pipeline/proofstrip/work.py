"""A trial on its way from raw files to the answer: what the stages hand on."""

from dataclasses import dataclass, field
from typing import TypeVar

import geopandas as gpd
import pandas as pd

from proofstrip.along import Along, ZoneDifference
from proofstrip.clean import Delay, Track
from proofstrip.columns import POINT_COLUMNS, STRIP_COLUMNS, empty_frame
from proofstrip.config import Settings
from proofstrip.drift import Drift
from proofstrip.economics import Payback
from proofstrip.errors import Notice
from proofstrip.exclusions import ExclusionCount
from proofstrip.ground_loss import StripLosses
from proofstrip.loss_balance import Balance, LossDifference
from proofstrip.machines import MachineOffset
from proofstrip.moisture import Moisture
from proofstrip.read import Counts, Exclusions
from proofstrip.removals import Removal
from proofstrip.scale import RATIO_COLUMNS, Weighed
from proofstrip.sensitivity import Alternative
from proofstrip.spatial import SpatialFit
from proofstrip.stats import Check, Comparison
from proofstrip.stats.further import Probability
from proofstrip.stats.remarks import Remark
from proofstrip.stats.verdict import Verdict
from proofstrip.tier import Evidence
from proofstrip.treatment_delay import TreatmentDelay

T = TypeVar("T")


@dataclass(frozen=True)
class Work:
    """A trial on its way: each stage adds its part, none changes another's.

    Attributes
    ----------
    settings : Settings
    inputs : dict of str to str
        File -> SHA-256.
    strips_map : geopandas.GeoDataFrame
        The trial map.
    raw, points : geopandas.GeoDataFrame
        Records as read, and as far as the stages have come.
    exclusions : Exclusions or None
        What a person excluded.
    counts : Counts or None
        Ground-loss counts.
    loads : pandas.DataFrame or None
        Scale tickets, and which grain each was: see ``loads.match_loads``.
    track : Track or None
    delays : tuple of Delay
    excluded : tuple of ExclusionCount
    sensed, strips : pandas.DataFrame
        The strip table of the combine, and the one that is compared: of the scale, where every strip was weighed
        alone.
    moisture : Moisture or None
        What each record's grain is taken to have.
    scale : Weighed or None
        What the tickets are good for.
    factor : pandas.Series of float or None
        What they multiply each record's grain by, where they scale the combines.
    removals : tuple of Removal
        What cleaning removed, by reason and treatment.
    treatment_delays : tuple of TreatmentDelay
    cells : pandas.DataFrame
        Yield by strip, machine and pass: see ``machines.list_cells``.
    ratios : pandas.DataFrame
        The monitor against the scale, a row for each weighing.
    offsets : tuple of MachineOffset
        Empty with one combine.
    drift : tuple of Drift
    comparison : Comparison or None
    alternatives : tuple of Alternative
    along, zones, spatial : tuple of Along, tuple of ZoneDifference, tuple of SpatialFit
        Where in the field the treatments differ.
    losses : StripLosses or None
        What lay on the ground, where it was counted.
    loss_differences : tuple of LossDifference
    balances : tuple of Balance
    paybacks : tuple of Payback
        Empty without prices.
    odds : tuple of Probability
    checks : tuple of Check
    notices : tuple of Notice
    remarks : tuple of Remark
    verdict : Verdict or None
    evidence : Evidence or None
    """

    settings: Settings
    inputs: dict[str, str] = field(default_factory=dict)
    strips_map: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)
    raw: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)
    points: gpd.GeoDataFrame = field(default_factory=lambda: gpd.GeoDataFrame(empty_frame(POINT_COLUMNS)))
    exclusions: Exclusions | None = None
    counts: Counts | None = None
    loads: pd.DataFrame | None = None
    track: Track | None = None
    delays: tuple[Delay, ...] = ()
    excluded: tuple[ExclusionCount, ...] = ()
    sensed: pd.DataFrame = field(default_factory=lambda: empty_frame(STRIP_COLUMNS))
    strips: pd.DataFrame = field(default_factory=lambda: empty_frame(STRIP_COLUMNS))
    moisture: Moisture | None = None
    scale: Weighed | None = None
    factor: "pd.Series[float] | None" = None
    removals: tuple[Removal, ...] = ()
    treatment_delays: tuple[TreatmentDelay, ...] = ()
    cells: pd.DataFrame = field(default_factory=pd.DataFrame)
    ratios: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(RATIO_COLUMNS)))
    offsets: tuple[MachineOffset, ...] = ()
    drift: tuple[Drift, ...] = ()
    comparison: Comparison | None = None
    alternatives: tuple[Alternative, ...] = ()
    along: tuple[Along, ...] = ()
    zones: tuple[ZoneDifference, ...] = ()
    spatial: tuple[SpatialFit, ...] = ()
    losses: StripLosses | None = None
    loss_differences: tuple[LossDifference, ...] = ()
    balances: tuple[Balance, ...] = ()
    paybacks: tuple[Payback, ...] = ()
    odds: tuple[Probability, ...] = ()
    checks: tuple[Check, ...] = ()
    notices: tuple[Notice, ...] = ()
    remarks: tuple[Remark, ...] = ()
    verdict: Verdict | None = None
    evidence: Evidence | None = None

    @property
    def followed(self) -> Track:
        """The track, once the machines were followed."""
        return _made(self.track, "clean")

    @property
    def settled(self) -> Moisture:
        """The moisture of the grain, once it was settled."""
        return _made(self.moisture, "moisture")

    @property
    def compared(self) -> Comparison:
        """The comparison, once it was made."""
        return _made(self.comparison, "stats")

    @property
    def decided(self) -> Verdict:
        """The verdict, once it was given."""
        return _made(self.verdict, "decide")

    @property
    def weighed(self) -> bool:
        """Whether the strips' yields are the scale's."""
        return bool((self.strips["source"] == "scale").all())


def _made(part: T | None, stage: str) -> T:
    """Give a part that a stage has made; without it the stages are out of order."""
    if part is None:
        raise RuntimeError(f"the stages are out of order: {stage} comes before this one")
    return part
