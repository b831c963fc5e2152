"""What deciding by the interval and by the chances would cost: ``python tests/accuracy/measure_decision.py``."""

import numpy as np
from scipy import special

from proofstrip.config import load_defaults
from proofstrip.stats.probability import find_posterior

TABLES = 2000


def say(name: str, wrong: list[bool]) -> None:
    """Print a rate with its Monte Carlo range."""
    rate = float(np.mean(wrong))
    print(f"{name:<62}{100 * rate:5.1f} % (+- {196 * np.sqrt(rate * (1 - rate) / len(wrong)):.1f})")


def measure_decision() -> None:
    """Measure how often a treatment that just breaks even, or falls 1 % short, is said to pay: by interval, by odds."""
    settings = load_defaults().stats
    for pairs in (4, 6, 8):
        for goal, short in ((0.0, 0.0), (2.0, 0.0), (-2.0, 0.0), (2.0, 1.0)):
            rng = np.random.default_rng(pairs)
            d = rng.normal((goal - short) / 100, 0.027, size=(TABLES, pairs))
            sd = d.std(axis=1, ddof=1)
            t = -special.stdtrit(pairs - 1, 0.05)
            named = f"{pairs} pairs, must earn {goal:+g} %, true effect {goal - short:+g} %"
            say(f"{named}, interval", (d.mean(axis=1) - t * sd / pairs**0.5 > goal / 100).tolist())
            odds = [
                find_posterior(mean, own / pairs**0.5, own, pairs - 1.0, settings).above(goal / 100) >= 0.9
                for mean, own in zip(d.mean(axis=1).tolist(), sd.tolist(), strict=True)
            ]
            say(f"{named}, odds", odds)


if __name__ == "__main__":
    measure_decision()
