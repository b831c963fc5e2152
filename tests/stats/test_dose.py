"""Rates: recognised by their names, fitted, and the best of them kept within what was tried."""

import numpy as np
import pandas as pd
import pytest
from tests.stats.tables import block_table, settings

from proofstrip.errors import DataError
from proofstrip.stats import compare_treatments
from proofstrip.stats.design import Plots
from proofstrip.stats.dose import fit_doses, price_doses, read_doses
from proofstrip.stats.further import DoseResponse
from proofstrip.stats.linear import fit_blocks
from proofstrip.stats.remarks import tell_best, tell_response
from proofstrip.stats.wording import YieldUnit, say_money

RATES = (0, 50, 100, 150, 200)


def respond(curve, noise: float = 1.0, seed: int = 1, blocks: int = 4) -> DoseResponse:
    """Fit yields that follow a curve of the rate."""
    rng = np.random.default_rng(seed)
    values = np.tile([curve(rate) for rate in RATES], blocks) + noise * rng.normal(size=blocks * len(RATES))
    names = tuple(f"{rate} lb/ac" for rate in RATES)
    treatment, block = np.tile(np.arange(5), blocks), np.repeat(np.arange(blocks), 5)
    plots = Plots(values, treatment, block, None, names, tuple(map(str, range(blocks))))
    found = fit_doses(plots, fit_blocks(plots), *read_doses(names), 0.9)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("names", "unit"),
    [
        (["0", "40 lb/ac", "80 lb/ac"], "lb/ac"),
        (["26,000 seeds/ac", "32,000 Seeds/ac"], "Seeds/ac"),
        (["1.5 l/ha", "3 l/ha"], "l/ha"),
    ],
)
def test_amounts_with_one_unit_are_rates(names: list[str], unit: str) -> None:
    assert read_doses(names)[1] == unit


@pytest.mark.parametrize("names", [["1", "2", "3"], ["40 lb/ac", "80 kg/ha"], ["A", "40 lb/ac"], ["5 lb", "5.0 lb"]])
def test_other_names_stay_names(names: list[str]) -> None:
    assert read_doses(names) is None


def test_the_curve_is_found_again() -> None:
    found = respond(lambda rate: 60 + 0.3 * rate - 0.001 * rate**2, noise=0.2)
    assert found.coefficients == pytest.approx((60, 0.3, -0.001), rel=0.05)
    assert found.most_yield.dose == pytest.approx(150, abs=5)
    assert found.most_yield.low < 150 < found.most_yield.high


def test_an_interval_of_the_best_rate_covers_it_as_often_as_it_says() -> None:
    # True best 120; 300 invented trials of 4 blocks; 90 % less two Monte Carlo standard errors.
    held = [
        row.low <= 120 <= row.high
        for row in (respond(lambda r: 60 + 0.24 * r - 0.001 * r**2, 3.0, seed).most_yield for seed in range(300))
    ]
    assert np.mean(held) > 0.90 - 2 * (0.9 * 0.1 / 300) ** 0.5


def test_an_end_is_called_an_end() -> None:
    found = respond(lambda rate: 60 + 0.2 * rate)
    assert found.most_yield.end == "highest"
    assert found.most_yield.dose == found.most_yield.high == 200
    said = tell_response(found, YieldUnit("bu/ac", 1.0, 1))
    assert "200 lb/ac, the highest rate tried" in said
    assert "higher ones are not known" in said


def test_a_dear_input_moves_the_best_rate_down_to_the_lowest() -> None:
    found = respond(lambda rate: 60 + 0.3 * rate - 0.001 * rate**2, noise=0.3)
    doses = [price_doses(found, cost, 4.0, "USD").pays_best.dose for cost in (0.0, 0.1, 0.2, 0.5)]
    assert doses == pytest.approx([150, 100, 50, 0], abs=8)
    priced = price_doses(found, 0.5, 4.0, "USD")
    assert priced.pays_best.end == "lowest"
    assert "the control's own rate" in tell_best(priced, YieldUnit("bu/ac", 1.0, 1))


def test_the_gain_at_the_best_rate_is_worth_its_yield_less_its_cost() -> None:
    found = respond(lambda rate: 60 + 0.3 * rate - 0.001 * rate**2, noise=0.3)
    best = price_doses(found, 0.1, 4.0, "USD").pays_best
    _, c1, c2 = found.coefficients
    assert best.gain == pytest.approx(4.0 * (c1 * best.dose + c2 * best.dose**2 - 0.1 * best.dose), rel=1e-9)
    assert best.gain_low < best.gain < best.gain_high


def test_no_response_names_no_best_rate() -> None:
    found = respond(lambda rate: 60.0, noise=3.0, seed=4)
    said = tell_response(found, YieldUnit("bu/ac", 1.0, 1))
    assert "does not visibly change" in said


def test_a_column_of_doses() -> None:
    table = block_table(["none", "half", "full"], [[60, 63, 65], [61, 64.5, 65.5], [59, 62, 64.8]])
    table["dose"] = table["treatment"].map({"none": 0, "half": 20, "full": 40})
    found = compare_treatments(table, "none", settings(), "yield").dose
    assert found.doses == {"none": 0, "half": 20, "full": 40}


@pytest.mark.parametrize(("cell", "words"), [("some", "1 of 9 cells are no amounts: 'some'"), (30, "doses 0 and 30")])
def test_a_bad_dose(cell: object, words: str) -> None:
    table = block_table(["none", "half", "full"], [[60, 63, 65], [61, 64.5, 65.5], [59, 62, 64.8]])
    table["dose"] = pd.Series([0, 20, 40] * 3, dtype=object)
    table.loc[3, "dose"] = cell
    with pytest.raises(DataError) as fault:
        compare_treatments(table, "none", settings(), "yield")
    assert words in str(fault.value)


def test_money_is_said_for_the_area_of_the_yields() -> None:
    found = price_doses(respond(lambda rate: 60 + 0.3 * rate - 0.001 * rate**2, noise=0.3), 0.1, 4.0, "USD")
    assert f"It earns {say_money(found.pays_best.gain, 'USD')} an acre" in tell_best(found, YieldUnit("bu/ac", 1.0, 1))
    said = tell_best(found, YieldUnit("kg/ha", 1.0, 0))
    assert f"It earns {say_money(found.pays_best.gain / 0.40468564224, 'USD')} a hectare" in said
