"""Whether the chances come true: ``python -m tests.accuracy.measure_calibration``.

Strip tables whose true effect is known go through the comparison, the prices and the chances. Of all trials that were
given a chance of about 80 in 100, does the effect exceed zero, or break-even, in 80 of 100? The yields of two strips of
a pair differ by a normal log ratio around the true effect. In each world effects and scatter are drawn from the prior
of the settings, or from one that is narrower or wider.
"""

import itertools
from dataclasses import dataclass

import numpy as np
import pandas as pd

from proofstrip.config import EconomicsPart, StatsPart, config_folder, load_defaults
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import price_treatments
from proofstrip.stats import compare_treatments
from proofstrip.stats.further import Probability
from proofstrip.stats.probability import find_posterior, give_probabilities
from tests.accuracy.page import table

TABLES = 2000
DRAWS = 40_000
EDGES = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)
BINS = [f"{100 * low:.0f} to {100 * high:.0f}" for low, high in itertools.pairwise(EDGES)]
# 60 bu/ac at 10 USD/bu: a cost of 12 USD/ac is earned by an effect of 2 %.
LEVEL_BU_AC, PRICES = 60.0, EconomicsPart(price=["10 USD/bu"], cost={"new": "12 USD/ac"})
# Spread of effects and typical scatter of a pair, as multiples of the prior's.
WORLDS = {
    "as the prior says": (1.0, 1.0),
    "effects half as wide": (0.5, 1.0),
    "effects twice as wide": (2.0, 1.0),
    "scatter twice as wide": (1.0, 2.0),
}


@dataclass(frozen=True)
class Said:
    """What one trial was told, and what was true.

    Attributes
    ----------
    chance, flat : float
        That the effect exceeds the goal: with the prior, and by the trial's strips alone.
    true : bool
    """

    chance: float
    flat: float
    true: bool


def draw_strips(rng: np.random.Generator, pairs: int, effect: float, scatter: float) -> pd.DataFrame:
    """Draw a strip table: blocks differ by 8 %, the two strips of a pair by the effect and the scatter (log ratios)."""
    block = LEVEL_BU_AC * np.exp(rng.normal(0, 0.08, size=pairs))
    ratio = np.exp(rng.normal(effect, scatter, size=pairs))
    number = np.arange(pairs)
    return pd.DataFrame(
        {
            "strip": [f"{name} {place}" for name in ("new", "old") for place in number],
            "block": [f"B{place}" for place in (*number, *number)],
            "treatment": np.repeat(["new", "old"], pairs),
            "yield_bu_ac": np.concatenate([block * ratio, block]),
        }
    )


def run_trial(
    rng: np.random.Generator, pairs: int, world: tuple[float, float], settings: StatsPart, crop: Crop
) -> tuple[Said, Said]:
    """Draw one trial and ask for its chances: above zero, and above break-even."""
    effect = rng.normal(0, world[0] * settings.prior_effect_pct / 100)
    scatter = world[1] * settings.prior_sd_pct / 100 * np.exp(rng.normal(0, settings.prior_sd_log))
    comparison = compare_treatments(draw_strips(rng, pairs, effect, scatter), "old", settings, "yield_bu_ac")
    found: Probability
    (found,) = give_probabilities(comparison, price_treatments(comparison, crop, PRICES), settings)
    if found.above_break_even is None or found.flat_above_break_even is None or found.break_even_pct is None:
        raise RuntimeError("a trial with prices has no chance of breaking even")
    pays = bool(effect > np.log1p(found.break_even_pct / 100))
    return (
        Said(found.above_zero, found.flat_above_zero, bool(effect > 0)),
        Said(found.above_break_even, found.flat_above_break_even, pays),
    )


def bin_reliability(chance: np.ndarray, true: np.ndarray) -> list[str]:
    """Write each bin: mean chance said -> share that came true, with two standard errors where the chances are right.

    Parameters
    ----------
    chance : ndarray
    true : ndarray of bool

    Returns
    -------
    list of str
        Bold where the two are further apart than that; by chance alone this happens in 1 bin of 20.
    """
    cells = []
    place = np.clip(np.digitize(chance, EDGES) - 1, 0, len(EDGES) - 2)
    for k in range(len(EDGES) - 1):
        mine = place == k
        if mine.sum() < 20:
            cells.append(f"({mine.sum()})")
            continue
        said, came = 100 * chance[mine].mean(), 100 * true[mine].mean()
        error = 200 * np.sqrt((chance[mine] * (1 - chance[mine])).sum()) / mine.sum()
        text = f"{said:.0f} → {came:.0f} ± {error:.0f}"
        cells.append(f"**{text}**" if abs(said - came) > error else text)
    return cells


def brier(chance: np.ndarray, true: np.ndarray) -> float:
    """Give the mean squared distance of the chance from what came true (Brier 1950, Monthly Weather Review 78, 1-3)."""
    return float(np.mean((chance - true) ** 2))


def measure_calibration() -> str:
    """Measure every world and write it as Markdown."""
    settings, crop = load_defaults().stats, find_crop("soybean", config_folder())
    rows = []
    for name, world in WORLDS.items():
        for pairs in (4, 6):
            rng = np.random.default_rng(pairs)
            trials = [run_trial(rng, pairs, world, settings, crop) for _ in range(TABLES)]
            for goal, place in (("zero", 0), ("break-even", 1)):
                said = [trial[place] for trial in trials]
                true = np.array([one.true for one in said])
                chance, flat = np.array([one.chance for one in said]), np.array([one.flat for one in said])
                scores = f"{brier(chance, true):.3f}", f"{brier(flat, true):.3f}"
                rows.append((name, str(pairs), goal, *bin_reliability(chance, true), *scores))
    return table(("true effects", "pairs", "above", *BINS, "Brier", "Brier, no prior"), rows)


def measure_posterior() -> str:
    """Measure the posterior alone, on many more trials, where effects and scatter are as the prior says."""
    settings, rows = load_defaults().stats, []
    for pairs in (4, 6):
        rng = np.random.default_rng(pairs + 100)
        effect = rng.normal(0, settings.prior_effect_pct / 100, size=DRAWS)
        scatter = settings.prior_sd_pct / 100 * np.exp(rng.normal(0, settings.prior_sd_log, size=DRAWS))
        ratio = rng.normal(effect[:, None], scatter[:, None], size=(DRAWS, pairs))
        found = [
            find_posterior(mean, sd / pairs**0.5, sd, pairs - 1.0, settings)
            for mean, sd in zip(ratio.mean(axis=1).tolist(), ratio.std(axis=1, ddof=1).tolist(), strict=True)
        ]
        for goal, value in (("zero", 0.0), ("2 %", np.log(1.02))):
            chance = np.array([posterior.above(value) for posterior in found])
            rows.append((str(pairs), goal, *bin_reliability(chance, effect > value)))
    return table(("pairs", "above", *BINS), rows)


if __name__ == "__main__":
    print(measure_posterior(), measure_calibration(), sep="\n\n")
