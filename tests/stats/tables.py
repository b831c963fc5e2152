"""Strip tables for tests, built from rows of yields."""

from collections.abc import Sequence

import pandas as pd

from proofstrip.config import StatsPart, load_defaults


def settings(confidence: float = 0.95, permutations: int = 2000, seed: int = 1) -> StatsPart:
    """Settings with the confidence that published examples use."""
    own = {"confidence": confidence, "power": 0.80, "permutations": permutations, "seed": seed}
    return load_defaults().stats.model_copy(update=own)


def block_table(treatments: Sequence[str], rows: Sequence[Sequence[float | None]]) -> pd.DataFrame:
    """One row of yields a block, one column a treatment; None leaves the strip out."""
    return pd.DataFrame(
        [
            {"strip": f"B{block}-{name}", "block": block, "treatment": name, "yield": value}
            for block, values in enumerate(rows, start=1)
            for name, value in zip(treatments, values, strict=True)
            if value is not None
        ]
    )


def pair_table(treatment: Sequence[float], control: Sequence[float]) -> pd.DataFrame:
    """Pairs of strips: treatment ``new`` against ``old``."""
    return block_table(["new", "old"], list(zip(treatment, control, strict=True)))


def loose_table(**groups: Sequence[float]) -> pd.DataFrame:
    """Strips without blocks."""
    return pd.DataFrame(
        [
            {"strip": f"{name}-{number}", "treatment": name, "yield": value}
            for name, values in groups.items()
            for number, value in enumerate(values, start=1)
        ]
    )
