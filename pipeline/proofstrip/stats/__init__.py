"""Statistics of strip yields: the strip is the unit, the design is recognised, the uncertainty is said."""

from proofstrip.stats.compare import compare_treatments
from proofstrip.stats.power import detectable_difference, pairs_needed
from proofstrip.stats.results import Check, Comparison, Difference, TreatmentSummary

__all__ = [
    "Check",
    "Comparison",
    "Difference",
    "TreatmentSummary",
    "compare_treatments",
    "detectable_difference",
    "pairs_needed",
]
