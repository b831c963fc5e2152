"""Harvests whose truth is known: ground, header, combine, sensors and display, built from the physics."""

from proofstrip.simulate.harvest import Simulated, simulate_harvest
from proofstrip.simulate.scenario import Combine, Scenario, Treatment
from proofstrip.simulate.scenarios import SCENARIOS

__all__ = ["SCENARIOS", "Combine", "Scenario", "Simulated", "Treatment", "simulate_harvest"]
