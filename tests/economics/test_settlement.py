"""What a buyer pays for grain as it is delivered."""

import numpy as np
import pytest
from tests.stats.tables import pair_table, settings

from proofstrip.config import EconomicsPart, config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.economics import Beside, price_gain, price_treatments
from proofstrip.economics.settlement import Schedule
from proofstrip.errors import DataError, SettingsError
from proofstrip.stats import compare_treatments
from proofstrip.units import KG_PER_LB


@pytest.fixture
def corn() -> Crop:
    return find_crop("corn", config_folder())


def part(delivery: dict[str, object], price: str = "4 USD/bu") -> EconomicsPart:
    return EconomicsPart.model_validate({"price": price, "delivery": delivery})


def schedule(crop: Crop, **delivery: object) -> Schedule:
    return Schedule.of(part(delivery), crop, crop.standard_moisture_pct)


def test_shrink_by_the_point_is_taken_off_the_weight_delivered(corn: Crop) -> None:
    sold = schedule(corn, moisture_pct=15, shrink_pct=1.4).settle("new", 20.0)
    assert sold.paid == pytest.approx(84.5 / 80 * (1 - 5 * 0.014))


def test_exact_shrink_pays_the_weight_at_market_moisture(corn: Crop) -> None:
    assert schedule(corn, moisture_pct=15).settle("new", 22.0).paid == pytest.approx(84.5 / 85)
    assert schedule(corn).settle("new", 22.0).paid == pytest.approx(1.0)


def test_drying_is_charged_on_the_weight_delivered(corn: Crop) -> None:
    sold = schedule(corn, drying="0.05 USD/bu").settle("new", 18.5)
    assert sold.charge == pytest.approx(0.05 * 3 / (56 * KG_PER_LB) * 84.5 / 81.5)
    assert schedule(corn, drying="0.05 USD/bu").settle("new", 14.0).charge == 0.0


@pytest.mark.parametrize(("moisture", "cents"), [(17.9, 0), (18.0, 0), (18.1, 4), (20.5, 10)])
def test_the_highest_step_passed_counts(corn: Crop, moisture: float, cents: float) -> None:
    steps = [{"above_pct": 18, "off": "0.04 USD/bu"}, {"above_pct": 20, "off": "0.10 USD/bu"}]
    sold = schedule(corn, discount=steps).settle("new", moisture)
    assert sold.charge == pytest.approx(cents / 100 / (56 * KG_PER_LB) * sold.paid)


def test_dockage_is_weight_that_nobody_pays(corn: Crop) -> None:
    found = schedule(corn, dockage_pct={"new": 2.0})
    assert (found.settle("new", 15.5).paid, found.settle("old", 15.5).paid) == pytest.approx((0.98, 1.0))


def test_a_wetter_treatment_pays_for_its_drying(corn: Crop) -> None:
    old = np.array([180.0, 182.0, 178.5, 181.0, 179.5, 183.0])
    gain = np.array([2.8, 1.5, 2.4, 1.1, 2.3, 1.9])
    table = pair_table((old + gain).tolist(), old.tolist()).rename(columns={"yield": "yield_bu_ac"})
    comparison = compare_treatments(table, "old", settings(0.9), "yield_bu_ac")
    wet = {"old": 16.5, "new": 18.5}
    (found,) = price_treatments(comparison, corn, part({"drying": "0.05 USD/bu"}), wet)
    own = (old + gain).mean() * 84.5 / 81.5 * 3 * 0.05 - old.mean() * 84.5 / 83.5 * 1 * 0.05
    assert found.gain_per_ac == pytest.approx(2.0 * 4 - own)
    lines = {line.name: line.per_ac for line in found.lines}
    assert lines["drying and discounts"] == pytest.approx(own)
    assert found.gain_per_ac == pytest.approx(found.budget.net)


def test_drying_that_eats_the_price_is_refused(corn: Crop) -> None:
    with pytest.raises(DataError, match=r"more than its grain is sold for. Look at \[economics.delivery\]"):
        price_gain(100.0, corn, part({"drying": "1 USD/bu"}), beside=Beside(moisture_pct=25.0))


def test_a_dockage_of_an_unknown_treatment(corn: Crop) -> None:
    with pytest.raises(SettingsError, match=r"\[economics.delivery.dockage_pct\] names 'New'"):
        price_gain(100.0, corn, part({"dockage_pct": {"New": 1.0}}))
    with pytest.raises(SettingsError, match="dockage_pct differs between treatment and control"):
        price_gain(100.0, corn, part({"dockage_pct": {"treatment": 1.0}}))


def test_a_schedule_without_moisture_says_that_it_is_left_out(corn: Crop) -> None:
    found = price_gain(100.0, corn, part({"drying": "0.05 USD/bu"}))
    assert "moisture_unknown" in [note.code for note in found.notes]


def test_discount_steps_must_rise() -> None:
    steps = [{"above_pct": 20, "off": "0.04 USD/bu"}, {"above_pct": 18, "off": "0.10 USD/bu"}]
    with pytest.raises(ValueError, match="steps must go up in moisture; found 20, 18"):
        part({"discount": steps})
