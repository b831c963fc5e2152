"""Raw files -> points, trial map and scale tickets; the only place where raw units and projections are known."""

from proofstrip.read.harvest import Harvest, SourceFile, read_harvest
from proofstrip.read.tickets import Tickets, read_tickets
from proofstrip.read.trial_map import TrialMap, read_trial_map

__all__ = ["Harvest", "SourceFile", "Tickets", "TrialMap", "read_harvest", "read_tickets", "read_trial_map"]
