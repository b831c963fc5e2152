"""result.json: the comparison and the findings as plain data, every yield named by its unit."""

import json

import numpy as np
import pandas as pd
import pytest

from proofstrip.clean import Delay
from proofstrip.errors import Notice
from proofstrip.flags import Flag
from proofstrip.result import SCHEMA_VERSION, describe_comparison, describe_run, plain
from proofstrip.sensitivity import Alternative
from proofstrip.stats import Check, compare_treatments
from proofstrip.stats.verdict import Verdict
from proofstrip.work import Work

KG_HA_PER_BU_AC = 60 * 0.45359237 / 0.40468564224


@pytest.fixture
def compare(defaults):
    """Compare three pairs whose yields stand in a column of this name."""

    def build(column="yield_kg_ha"):
        table = pd.DataFrame({"treatment": ["control", "tried"] * 3, "block": list("aabbcc")})
        table[column] = [3000.0, 3100, 3200, 3350, 2900, 2990]
        return compare_treatments(table.assign(strip=list("123456")), "control", defaults.stats, column)

    return build


def test_yields_in_kilograms_have_bushels_beside_them(compare, make_settings):
    found = describe_comparison(compare(), make_settings().trial.crop)
    (row,) = found["differences"]
    assert found["yield_unit"] == "kg/ha"
    for key in ("difference", "se", "low", "high", "detectable"):
        assert row[f"{key}_bu_ac"] == pytest.approx(row[f"{key}_kg_ha"] / KG_HA_PER_BU_AC)
        assert key not in row
    assert row["difference_kg_ha"] == pytest.approx(340 / 3)
    assert [entry["mean_kg_ha"] for entry in found["treatments"]] == pytest.approx([9100 / 3, 9440 / 3])


def test_the_parts_of_a_difference_are_named_by_their_unit_too(compare, make_settings):
    (row,) = describe_comparison(compare(), make_settings().trial.crop)["differences"]
    assert {"treatment_yield_kg_ha", "control_yield_bu_ac", "difference_kg_ha"} <= set(row["pair_differences"][0])
    assert {"low_kg_ha", "high_bu_ac", "fragile", "blocks"} <= set(row["leave_one_out"])
    if row["median"] is not None:
        assert {"median_kg_ha", "low_kg_ha", "confidence"} <= set(row["median"])


def test_no_bushels_where_the_crop_has_none(compare, make_settings):
    for crop in (None, make_settings(crop="dry_bean").trial.crop):
        (row,) = describe_comparison(compare(), crop)["differences"]
        assert "difference_kg_ha" in row
        assert not [key for key in row if key.endswith("_bu_ac")]


def test_yields_in_bushels_stay_in_bushels(compare, make_settings):
    found = describe_comparison(compare("yield_bu_ac"), make_settings().trial.crop)
    (row,) = found["differences"]
    assert row["difference_bu_ac"] == pytest.approx(340 / 3)
    assert not [key for key in row if key.endswith("_kg_ha")]
    assert found["treatments"][0]["mean_bu_ac"] == pytest.approx(9100 / 3)


def test_yields_without_a_unit_have_none_in_their_names(compare):
    (row,) = describe_comparison(compare("protein"), None)["differences"]
    assert row["difference"] == pytest.approx(340 / 3)
    assert {"low", "high", "se", "detectable"} <= set(row)


def test_per_cent_and_probabilities_have_no_yield_unit(compare, make_settings):
    (row,) = describe_comparison(compare(), make_settings().trial.crop)["differences"]
    for key in ("difference_pct", "low_pct", "p_value", "p_exact", "p_exact_floor", "confidence", "df", "pairs"):
        assert key in row


def test_a_comparison_is_json_without_nan(compare, make_settings):
    json.dumps(describe_comparison(compare(), make_settings().trial.crop), allow_nan=False)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (float("nan"), None),
        (float("inf"), None),
        (-np.inf, None),
        (np.float64("nan"), None),
        (np.float64(1.5), 1.5),
        (np.int64(3), 3),
        (np.bool_(True), True),
        (True, True),
        (None, None),
        ("text", "text"),
        ((1, (2.0, np.nan)), [1, [2.0, None]]),
        ({"a": {1: np.nan}}, {"a": {"1": None}}),
        ([np.array(2.5)], [2.5]),
    ],
)
def test_plain(value, expected):
    found = plain(value)
    assert found == expected
    assert type(found) is type(expected)


@pytest.fixture
def work(compare, make_settings):
    """Put together a run of five records without prices."""
    points = pd.DataFrame(
        {
            "flags": np.array([0, int(Flag.SPIKE), int(Flag.OUTSIDE_STRIP), 0, 3], dtype="int32"),
            "usable": [True, False, False, True, False],
            "strip": ["S1", "S1", None, None, "S1"],
        }
    )
    return Work(
        make_settings(),
        delays=(Delay("combine 1", 11.5, None, None, "assumed", "the data cannot tell"),),
        points=points,
        comparison=compare(),
        alternatives=(Alternative("No cleaning", "note", "tried", float("nan"), None, None, 1.0, True),),
        checks=(Check("speed", True, np.float64(0.5), "within 3 %", "note"),),
        notices=(Notice("code", "A sentence."),),
        verdict=Verdict("not_settled", "More pairs are needed."),
    )


def test_a_run_has_the_keys_of_the_contract(work):
    result = describe_run(work)
    expected = (
        "schema_version trial delay records yield_unit treatments differences anova lsd cv_pct letters economics "
        "sensitivity checks warnings verdict"
    )
    assert set(expected.split()) <= set(result)
    assert result["schema_version"] == SCHEMA_VERSION == 1
    assert result["trial"]["name"] == "Invented trial"
    assert result["economics"] == []
    json.dumps(result, allow_nan=False)


def test_records_are_counted_as_used_only_inside_strips(work):
    records = describe_run(work)["records"]
    assert records["read"] == 5
    assert records["used"] == 1
    assert {name: count for name, count in records["flags"].items() if count} == {
        "missing": 1,
        "duplicate": 1,
        "spike": 1,
        "outside_strip": 1,
    }


def test_every_part_is_plain(work):
    result = describe_run(work)
    assert result["delay"] == [
        {
            "machine": "combine 1",
            "seconds": 11.5,
            "low": None,
            "high": None,
            "source": "assumed",
            "reason": "the data cannot tell",
            "day": None,
        }
    ]
    assert result["checks"][0]["value"] == 0.5
    assert result["sensitivity"][0]["difference_kg_ha"] is None
    assert result["warnings"] == [{"code": "code", "message": "A sentence."}]
    assert result["verdict"] == {"word": "not_settled", "sentence": "More pairs are needed."}
