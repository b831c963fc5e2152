"""Whatever a table looks like, it is refused in words or compared without contradiction."""

import json

import numpy as np
import pandas as pd
import pytest
from tests.stats.tables import settings

from proofstrip.errors import DataError
from proofstrip.result import describe_comparison
from proofstrip.stats import compare_treatments
from proofstrip.stats.page import write_page
from proofstrip.stats.verdict import give_verdict
from proofstrip.stats.wording import choose_unit


def make_table(rng: np.random.Generator) -> pd.DataFrame:
    """Draw a table: whole or holed blocks, strips twice, no blocks, rounded, constant, missing, zero."""
    treatments, blocks = int(rng.integers(1, 6)), int(rng.integers(1, 8))
    cells = [(block, treatment) for block in range(blocks) for treatment in range(treatments)]
    if rng.random() < 0.5:
        cells = [cell for cell in cells if rng.random() < 0.8]
    if cells and rng.random() < 0.3:
        cells += [cells[int(rng.integers(len(cells)))] for _ in range(3)]
    table = pd.DataFrame(cells, columns=["block", "treatment"]).astype({"treatment": str})
    values = np.abs(60 + rng.normal(size=len(table)) * rng.choice([0.0, 1e-12, 0.5, 10.0]))
    values = np.round(values) if rng.random() < 0.3 else values
    values[rng.random(len(table)) < (0.1 if rng.random() < 0.3 else 0.0)] = np.nan
    table["yield"] = values
    table.insert(0, "strip", [f"strip {row}" for row in range(len(table))])
    if rng.random() < 0.3:
        table["order"] = rng.permutation(len(table))
    return table.drop(columns="block") if rng.random() < 0.3 else table


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("seed", range(0, 200, 40))
def test_any_table(seed: int) -> None:
    compared = 0
    for draw in range(seed, seed + 40):
        table = make_table(np.random.default_rng(draw))
        try:
            comparison = compare_treatments(table, "0", settings(0.9, permutations=999), "yield")
        except DataError as fault:
            assert str(fault).startswith("strip table")
            continue
        compared += 1
        verdict = give_verdict(comparison)
        page = write_page(comparison, verdict, choose_unit("", "us", None))
        json.dumps(describe_comparison(comparison, None), allow_nan=False)
        assert "nan" not in page
        assert "None" not in page
        assert sum(row.strips + row.missing for row in comparison.treatments) == len(table)
        for row in comparison.differences:
            if row.p_value is not None:
                assert row.low <= row.difference <= row.high
                assert (row.p_value < 0.1) == (row.low > 0 or row.high < 0)
                assert row.p_unadjusted <= row.p_value + 1e-9 <= 1 + 1e-9
                assert row.p_exact_floor - 1e-12 <= row.p_exact <= 1
                assert row.detectable > 0
    assert compared >= 10
