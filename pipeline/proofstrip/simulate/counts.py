"""Seeds counted on the ground: what fell before the harvest, what the header lost, what the machine lost."""

import numpy as np
import pandas as pd

from proofstrip.simulate.scenario import Scenario

ZONES = ("preharvest", "header", "total")


def list_losses(scenario: Scenario, ground: pd.DataFrame) -> pd.DataFrame:
    """List what each strip truly lost: the header leaves a share of the yield, less what a treatment adds to the tank.

    Parameters
    ----------
    scenario : Scenario
    ground : pandas.DataFrame
        See :class:`~proofstrip.simulate.harvest.Simulated`.

    Returns
    -------
    pandas.DataFrame
        Index strip; preharvest_kg_ha, header_kg_ha, machine_kg_ha.
    """
    by_strip = ground[ground["strip"] != ""].groupby("strip", observed=True)
    sums = by_strip[["area_m2", "true_mass_kg", "untreated_mass_kg"]].sum()
    rate = 10_000 / sums["area_m2"]
    true, untreated = sums["true_mass_kg"] * rate, sums["untreated_mass_kg"] * rate
    return pd.DataFrame(
        {
            "preharvest_kg_ha": scenario.preharvest_loss_kg_ha,
            "header_kg_ha": untreated * scenario.header_loss - (true - untreated),
            "machine_kg_ha": true * scenario.machine_loss,
        }
    )


def count_seeds(scenario: Scenario, ground: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Count the frames of each strip and zone; seeds lie in heaps, so counts scatter more than at random.

    Parameters
    ----------
    scenario : Scenario
    ground : pandas.DataFrame
    rng : numpy.random.Generator

    Returns
    -------
    pandas.DataFrame
        strip, zone, frame, seeds; no rows when the scenario counts none.
    """
    if not scenario.counts:
        return pd.DataFrame({"strip": [], "zone": [], "frame": [], "seeds": []})
    frames = np.arange(1, scenario.count_frames + 1)
    per_kg_ha = 100 / scenario.thousand_kernel_g * scenario.frame_m2
    rows = []
    for strip, lost in zip(*_lying(scenario, ground), strict=True):
        for zone, kg_ha in zip(ZONES, lost, strict=True):
            mean = np.full(len(frames), kg_ha * per_kg_ha)
            if scenario.seed_heaps > 0:
                mean = rng.gamma(1 / scenario.seed_heaps, mean * scenario.seed_heaps)
            seeds = rng.poisson(mean)
            rows += [(strip, zone, frame, count) for frame, count in zip(frames, seeds, strict=True)]
    return pd.DataFrame(rows, columns=["strip", "zone", "frame", "seeds"])


def _lying(scenario: Scenario, ground: pd.DataFrame) -> tuple[list[str], np.ndarray]:
    """Give what lies in each zone of each strip: each zone holds what fell in those before it [kg/ha]."""
    lost = list_losses(scenario, ground)
    return [str(strip) for strip in lost.index], lost.clip(lower=0).to_numpy().cumsum(axis=1)
