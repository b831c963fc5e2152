"""What is taken out of a run's result, and what is left out with its reason."""

import math

import numpy as np
import pytest
from scipy import stats
from tests.stats.tables import block_table, settings

from proofstrip.pool.sites import sites_of_run
from proofstrip.result import describe_comparison
from proofstrip.stats import compare_treatments


def test_ratio_and_its_error_are_those_of_the_run(make_result) -> None:
    (site,), left_out = sites_of_run(make_result(), "runs/a")
    assert (site.log_ratio, site.se, site.df, site.pairs) == (pytest.approx(math.log(1.05)), 0.01, 5.0, 6.0)
    assert (site.difference_kg_ha, site.se_kg_ha, site.verdict) == (170.0, 30.0, "higher")
    assert site.covariates == {"control_yield_kg_ha": 3400.0}
    assert left_out == []


def test_error_of_the_log_ratio_is_that_of_the_pairs() -> None:
    rows = [(3600.0, 3400.0), (3500.0, 3420.0), (3900.0, 3710.0), (3300.0, 3190.0)]
    compared = compare_treatments(block_table(["new", "old"], rows), "old", settings(), "yield")
    (row,) = describe_comparison(compared, None)["differences"]
    logs = np.log([new / old for new, old in rows])
    assert row["se_log_ratio"] == pytest.approx(stats.sem(logs), rel=1e-9)
    assert row["df_log_ratio"] == 3
    assert row["difference_pct"] == pytest.approx(100 * math.expm1(logs.mean()), rel=1e-9)


def test_every_treatment_of_a_run_is_a_site() -> None:
    rows = [(3600.0, 3500.0, 3400.0), (3500.0, 3480.0, 3420.0), (3900.0, 3700.0, 3710.0)]
    compared = compare_treatments(block_table(["a", "b", "old"], rows), "old", settings(), "yield")
    trial = {"name": "Trial", "field": "", "season": 2024, "crop": "corn", "notes": "Invented."}
    sites, _ = sites_of_run({**describe_comparison(compared, None), "trial": trial}, "runs/a")
    assert [(site.treatment, site.df, site.invented) for site in sites] == [("a", 4.0, True), ("b", 4.0, True)]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"se_log_ratio": None, "df_log_ratio": None}, "not replicated"),
        ({"difference_pct": None}, "yielded nothing"),
        ({"se_log_ratio": 0.0}, "standard error is 0"),
    ],
)
def test_treatment_without_a_usable_error_is_left_out(make_result, change, said) -> None:
    result = make_result()
    result["differences"][0].update(change)
    sites, (left_out,) = sites_of_run(result, "runs/a")
    assert (sites, left_out.trial, left_out.source) == ([], "Trial 1, 2024: lifters", "runs/a")
    assert said in left_out.reason


def test_result_of_an_older_version_is_left_out(make_result) -> None:
    result = make_result()
    del result["differences"][0]["se_log_ratio"]
    assert "run the trial again" in sites_of_run(result, "runs/a")[1][0].reason


def test_refused_run_is_left_out_with_its_own_words(make_result) -> None:
    refused = make_result(verdict={"word": "refused", "sentence": "No answer. One combine a treatment."})
    sites, (left_out,) = sites_of_run(refused, "runs/a")
    assert sites == []
    assert "One combine a treatment" in left_out.reason


def test_gain_has_the_error_of_its_yield(make_result) -> None:
    # A gain of 10.9 USD/bu on an interval of 4 bu/ac from 1.80 bu/ac times t: money is linear in yield, so the error
    # of the gain is the error of the yield times the ratio of the two intervals.
    entry = {
        "treatment": "lifters", "currency": "USD", "investment": 18000.0, "area_ac": 900.0, "gain_per_ac": 26.0,
        "gain_per_ac_low": 16.0, "gain_per_ac_high": 36.0, "net_gain_per_ac": 19.0, "net_gain_per_ac_low": 9.0,
        "net_gain_per_ac_high": 29.0, "price_per_t": 400.0, "price_per_bu": 10.9,
    }  # fmt: skip
    (site,), _ = sites_of_run(make_result(economics=[entry]), "runs/a")
    assert site.money is not None
    assert (site.money.gain_per_ac, site.money.outlay, site.verdict) == (19.0, "included", "pays")
    assert site.money.se_per_ac == pytest.approx(20.0 / (230.5 - 109.5) * 30.0)
    (before,), _ = sites_of_run(make_result(economics=[entry | {"area_ac": None}]), "runs/a")
    assert before.money is not None
    assert (before.money.gain_per_ac, before.money.outlay) == (26.0, "before")
