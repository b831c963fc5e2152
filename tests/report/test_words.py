"""Numbers and units on the page."""

import math

import pytest

from proofstrip.report.words import KG_HA_PER_LB_AC, Units, count, money, number, odds, percent, short

BUSHELS = Units("us", 67.2511, "bu/ac", "bushels an acre", 1)
METRIC = Units("metric", 1.0, "kg/ha", "kilograms a hectare", 0)


@pytest.mark.parametrize("value", [None, float("nan"), math.inf, "3", True, object()])
def test_what_is_no_number_is_a_dash(value: object) -> None:
    assert number(value) == percent(value) == money(value, "USD") == odds(value) == "–"
    assert BUSHELS.yield_text(value) == BUSHELS.area(value) == BUSHELS.speed(value) == "–"


def test_us_units() -> None:
    # 1 lb/ac = 1.120851156 kg/ha, 1 ac = 0.40468564224 ha: from the definitions of pound and acre
    assert pytest.approx(1.120851156, rel=1e-9) == KG_HA_PER_LB_AC
    assert (
        BUSHELS.area(4046.8564224) == "1.00" and BUSHELS.length(30.48) == "100" and BUSHELS.mass(453.59237) == "1,000"
    )
    assert BUSHELS.speed(2.2352) == "5.0"  # 5 mph = 2.2352 m/s exactly
    assert BUSHELS.yield_text(67.2511) == "1.0\N{NO-BREAK SPACE}bu/ac"


def test_metric_units() -> None:
    assert METRIC.area(12_345) == "1.23" and METRIC.length(99.6) == "100" and METRIC.mass(1234.5) == "1,234"
    assert METRIC.speed(1.5) == "5.4" and METRIC.yield_text(3456.7, sign=True) == "+3,457\N{NO-BREAK SPACE}kg/ha"


def test_small_losses_are_not_minus_zero() -> None:
    assert number(-0.04, 1, sign=True) == "0.0"
    assert money(-0.001, "USD", sign=True) == "0.00\N{NO-BREAK SPACE}USD"


@pytest.mark.parametrize(
    ("p", "said"), [(1.0, "nearly always"), (0.5, "about 5 times in 10"), (0.05, "about 1 time in 20")]
)
def test_odds(p: float, said: str) -> None:
    assert odds(p) == said


def test_names_and_counts() -> None:
    assert short("a\n b\tc", 10) == "a b c" and len(short("x" * 50, 10)) == 10
    assert count(0, "strip") == "no strips" and count(11, "pair") == "11 pairs"
