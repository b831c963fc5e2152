"""Harvests whose truth is known: ground, header, combine, sensors and display, built from the physics."""

from proofstrip.simulate.export import Story, format_log, list_truth, render_folder
from proofstrip.simulate.harvest import Simulated, simulate_harvest
from proofstrip.simulate.scenario import Combine, Scenario, Treatment
from proofstrip.simulate.scenarios import SCENARIOS

__all__ = [
    "SCENARIOS",
    "Combine",
    "Scenario",
    "Simulated",
    "Story",
    "Treatment",
    "format_log",
    "list_truth",
    "render_folder",
    "simulate_harvest",
]
