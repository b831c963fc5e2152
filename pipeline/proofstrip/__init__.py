"""From raw combine records of replicated strip trials to strip yields, a difference, and a payback answer."""

from importlib.metadata import version

__version__ = version("proofstrip")
