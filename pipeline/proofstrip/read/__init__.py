"""Raw files -> points, trial map, exclusions, scale tickets, ground-loss counts; only here are raw units known."""

from proofstrip.read.exclusions import Exclusions, read_exclusions
from proofstrip.read.ground_loss import Counts, read_counts
from proofstrip.read.harvest import Harvest, SourceFile, read_harvest
from proofstrip.read.tickets import Tickets, read_tickets
from proofstrip.read.trial_map import TrialMap, read_trial_map

__all__ = [
    "Counts",
    "Exclusions",
    "Harvest",
    "SourceFile",
    "Tickets",
    "TrialMap",
    "read_counts",
    "read_exclusions",
    "read_harvest",
    "read_tickets",
    "read_trial_map",
]
