"""Raw files -> points, trial map, exclusions, scale tickets; the only place that knows raw units and projections."""

from proofstrip.read.exclusions import Exclusions, read_exclusions
from proofstrip.read.harvest import Harvest, SourceFile, read_harvest
from proofstrip.read.tickets import Tickets, read_tickets
from proofstrip.read.trial_map import TrialMap, read_trial_map

__all__ = [
    "Exclusions",
    "Harvest",
    "SourceFile",
    "Tickets",
    "TrialMap",
    "read_exclusions",
    "read_harvest",
    "read_tickets",
    "read_trial_map",
]
