"""Tables of sites: what a cell may hold, and how one that may not is named."""

import numpy as np
import pandas as pd
import pytest

from proofstrip.config import config_folder
from proofstrip.crops import load_crops
from proofstrip.errors import DataError
from proofstrip.pool.table import sites_of_table

CROPS = load_crops(config_folder())
ROW = {
    "site": "A", "season": "2024", "treatment": "new", "control": "old", "difference_pct": "5", "se": "2.1",
    "pairs": "6",
}  # fmt: skip


def read(*rows: dict[str, str]):
    """Read rows of text cells."""
    return sites_of_table(pd.DataFrame(list(rows), dtype=object), "sites.csv", CROPS)


def test_per_cent_becomes_a_log_ratio_with_its_error() -> None:
    (site,) = read(ROW).sites
    assert site.log_ratio == pytest.approx(np.log(1.05))
    assert site.se == pytest.approx(0.02)  # 2.1 / 105: the slope of the log
    assert (site.df, site.pairs) == (5.0, 6.0)


def test_log_ratio_is_taken_as_it_stands() -> None:
    row = {key: value for key, value in ROW.items() if key not in ("difference_pct", "pairs")}
    (site,) = read(row | {"log_ratio": "−0.05", "se": "0.02", "df": "4"}).sites
    assert (site.log_ratio, site.se, site.df, site.pairs) == (-0.05, 0.02, 4.0, 5.0)


def test_bushels_become_kilograms_of_the_crop() -> None:
    (site,) = read(ROW | {"crop": "Soybean", "difference_bu_ac": "2", "se_bu_ac": "0.5"}).sites
    assert site.difference_kg_ha == pytest.approx(2 * 67.2511, rel=1e-5)  # published: 60 lb/bu
    assert site.se_kg_ha == pytest.approx(0.5 * 67.2511, rel=1e-5)


def test_further_columns_of_numbers_are_covariates_and_others_are_named() -> None:
    found = read(ROW | {"moisture_pct": "13.2", "note": "wet"}, ROW | {"site": "B", "moisture_pct": "", "note": ""})
    assert [dict(site.covariates) for site in found.sites] == [{"moisture_pct": 13.2}, {}]
    assert "'note'" in found.notices[0].message


def test_site_without_an_error_is_left_out() -> None:
    found = read(ROW, ROW | {"site": "B", "se": ""}, ROW | {"site": "C", "difference_pct": ""})
    assert [site.trial for site in found.sites] == ["A"]
    assert [(row.trial, row.reason[:5]) for row in found.left_out] == [
        ("B, 2024: new", "row 3"),
        ("C, 2024: new", "row 4"),
    ]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"difference_pct": "5,1"}, r"sites.csv: row 2, column 'difference_pct' holds '5,1'; a number"),
        ({"season": "spring"}, "row 2, column 'season' holds 'spring'"),
        ({"season": "2024.5"}, "a year is allowed"),
        ({"difference_pct": "-100"}, "above -100 per cent"),
        ({"treatment": ""}, "column 'treatment' holds ''; a name"),
        ({"crop": "soybeen"}, "column 'crop' holds 'soybeen'; one of "),
        ({"se": "nan"}, "column 'se' holds 'nan'"),
        ({"difference_bu_ac": "2", "se_bu_ac": "1"}, "no crop with a bushel"),
        ({"difference_kg_ha": "2", "se_kg_ha": "0"}, "above zero"),
    ],
)
def test_wrong_cell_is_named_with_its_row(change, said) -> None:
    with pytest.raises(DataError, match=said):
        read(ROW | change)


@pytest.mark.parametrize("drop", ["se", "site", "pairs", "difference_pct"])
def test_missing_column_is_named(drop) -> None:
    with pytest.raises(DataError, match="A table of sites needs site, season"):
        read({key: value for key, value in ROW.items() if key != drop})


def test_two_scales_of_the_effect_are_refused() -> None:
    with pytest.raises(DataError, match="not both"):
        read(ROW | {"log_ratio": "0.05"})
