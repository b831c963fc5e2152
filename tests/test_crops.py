"""Crop records: complete, plausible, found by name however it is written."""

import pytest

from proofstrip.config import config_folder
from proofstrip.crops import Crop, find_crop, load_crops

CROPS = load_crops(config_folder())


@pytest.mark.parametrize("crop", CROPS.values(), ids=lambda crop: crop.name)
def test_figures_fit_each_other(crop: Crop) -> None:
    assert 0 < crop.min_moisture_pct < crop.standard_moisture_pct < crop.max_moisture_pct < 100
    assert crop.bushel_lb is None or 20 < crop.bushel_lb <= 60
    assert 0 < crop.thousand_kernel_weight_g < 1000
    assert crop.max_yield_kg_ha >= 10_000
    assert crop.source


@pytest.mark.parametrize("name", ["soybean", "Soybean", " SOYBEAN "])
def test_case_and_spaces_do_not_matter(name: str) -> None:
    assert find_crop(name, config_folder()) == CROPS["soybean"]


@pytest.mark.parametrize("name", ["dry bean", "Dry-Bean", "dry_bean"])
def test_words_may_be_joined_in_any_way(name: str) -> None:
    assert find_crop(name, config_folder()).name == "dry_bean"


def test_a_misspelt_crop_names_the_nearest_and_all() -> None:
    with pytest.raises(ValueError, match=r"crop 'soybeen' is not known. Did you mean 'soybean'.*soybean, corn"):
        find_crop("soybeen", config_folder())


def test_a_crop_like_no_other_names_all() -> None:
    with pytest.raises(ValueError, match=r"crop 'xyzzy' is not known. Known crops: soybean"):
        find_crop("xyzzy", config_folder())


def test_a_crop_sold_by_weight_has_no_bushel() -> None:
    assert CROPS["dry_bean"].bushel_lb is None
    assert CROPS["dry_bean"].kg_ha_per_bu_ac is None


def test_a_crop_with_a_bushel_converts() -> None:
    assert CROPS["corn"].kg_ha_per_bu_ac == pytest.approx(56 * 0.45359237 / 0.40468564224, rel=1e-12)
