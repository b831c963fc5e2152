"""Many trials: every trial file below a folder, each on its own, and one page over all of them."""

from proofstrip.season.outcome import Outcome
from proofstrip.season.walk import run_season

__all__ = ["Outcome", "run_season"]
