"""Strip yields and delays against the truth of invented harvests. Measured figures: docs/clean.md."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.clean.truth import delay_errors, strip_errors

from proofstrip.simulate import SCENARIOS, Treatment


@pytest.mark.parametrize(
    ("name", "seeds", "limit_pct"), [("ordinary", 12, 1.0), ("contour", 4, 1.0), ("hard", 12, 1.5)]
)
def test_strip_yields_are_what_a_perfect_pipeline_gets_from_the_same_sensor(name, seeds, limit_pct, tmp_path):
    strips = pd.concat([strip_errors(name, seed, tmp_path) for seed in range(1, seeds + 1)])
    assert strips["error_pct"].notna().all()
    assert np.sqrt((strips["error_pct"] ** 2).mean()) <= limit_pct
    assert abs(strips["error_pct"].mean()) <= 0.5


def test_the_difference_between_treatments_is_the_one_that_a_perfect_pipeline_sees(tmp_path):
    found, true = [], []
    for seed in range(1, 9):
        strips = strip_errors("ordinary", seed, tmp_path)
        means = strips.groupby("treatment")[["yield_kg_ha", "perfect_kg_ha"]].mean()
        change = means.loc["tried"] / means.loc["control"] - 1
        found.append(100 * change["yield_kg_ha"])
        true.append(100 * change["perfect_kg_ha"])
    assert np.mean(found) == pytest.approx(np.mean(true), abs=0.4)


@pytest.mark.parametrize("name", ["ordinary", "hard", "contour", "already_shifted", "slow_log", "fast_log"])
def test_a_delay_that_is_not_refused_is_near_the_truth(name, tmp_path):
    # Against the mean time that the grain takes, as planted. Measured over 12 seeds: RMS 0.4 to 0.6 s, at most 1.3 s,
    # and 0.96 s under hard settings.
    errors = [error for seed in range(1, 13) for error in delay_errors(name, seed, tmp_path)]
    accepted = np.array([error for error in errors if error is not None])
    assert len(accepted) >= len(errors) / 2
    assert np.sqrt((accepted**2).mean()) <= 0.7
    assert np.abs(accepted).max() <= (1.0 if name == "hard" else 1.5)


@pytest.mark.parametrize("name", ["flat", "one_way"])
def test_a_delay_that_the_data_cannot_tell_is_refused(name, tmp_path):
    assert [error for seed in range(1, 13) for error in delay_errors(name, seed, tmp_path)] == [None] * 12


@pytest.mark.parametrize("name", ["hard", "patchy"])
def test_an_effect_is_neither_shrunk_nor_stretched(name, tmp_path, monkeypatch):
    found, true = [], []
    for seed in (1, 2, 3):
        for effect in (0.9, 1.0, 1.1):
            treatments = (Treatment("control"), Treatment("tried", effect=effect))
            monkeypatch.setitem(SCENARIOS, "planted", replace(SCENARIOS[name], treatments=treatments))
            means = (
                strip_errors("planted", seed, tmp_path).groupby("treatment")[["yield_kg_ha", "perfect_kg_ha"]].mean()
            )
            change = means.loc["tried"] / means.loc["control"] - 1
            found.append(change["yield_kg_ha"])
            true.append(change["perfect_kg_ha"])
    # Measured: 0.98 to 1.01.
    assert np.polyfit(true, found, 1)[0] == pytest.approx(1.0, abs=0.03)
