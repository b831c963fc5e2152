"""Ground-loss counts against published rules, tables and worked examples, to the printed digits."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from proofstrip.config import config_folder
from proofstrip.crops import Crop, find_crop
from proofstrip.ground_loss import add_up_losses, measure_dispersion, seeds_per_ft2, to_kg_ha

FT2 = 0.09290304
STRIPS = pd.DataFrame({"strip": ["1"], "treatment": ["only"], "block": ["1"]})


def crop(name: str) -> Crop:
    return find_crop(name, config_folder())


def count(**zones: list[float]) -> pd.DataFrame:
    rows = [("1", zone, seeds, FT2) for zone, own in zones.items() for seeds in own]
    return pd.DataFrame(rows, columns=["strip", "zone", "seeds", "area_m2"])


@pytest.mark.parametrize(
    ("name", "seeds"),
    [
        # Staton, Michigan State University, 2012 (farmprogress.com 0-63233); Shay, Ellis and Hires, Missouri G1280.
        ("soybean", 4),
        # Extension rule of thumb: two corn kernels a square foot.
        ("corn", 2),
        # Raymond, McNeill and Knott, University of Kentucky, 2022 (kygrains.info); Hofman, NDSU, 2003.
        ("wheat", 20),
        # Hofman, NDSU, 2003 (smallgrains.org, How to estimate grain harvest losses, table 1).
        ("barley", 14),
        ("oats", 10),
    ],
)
def test_seeds_a_square_foot_that_are_a_bushel_an_acre(name: str, seeds: int) -> None:
    bushel_lb = crop(name).bushel_lb
    assert bushel_lb is not None
    found = seeds_per_ft2(bushel_lb, crop(name).thousand_kernel_weight_g)
    assert round(found) == seeds
    # The crop's weight of a thousand kernels is that of the rule, so it holds to a per cent.
    assert found == pytest.approx(seeds, rel=0.01)


def test_ninety_thousand_corn_kernels_a_bushel() -> None:
    # A bushel of 56 lb in 90,000 kernels (the usual figure of corn yield estimates) on 43,560 square feet of an acre.
    grams = 56 * 453.59237 / 90
    assert round(seeds_per_ft2(56, grams), 2) == 2.07


def test_forty_soybeans_in_ten_square_feet() -> None:
    # Shay, Ellis and Hires, Missouri G1280, 1993, and Lemmons, University of Nebraska, 2010 (farmprogress.com
    # 882): 40 beans in a frame of 10 square feet are a bushel an acre.
    frames = pd.DataFrame({"strip": "1", "zone": "preharvest", "seeds": [40.0], "area_m2": [10 * FT2]})
    lost = add_up_losses(frames, STRIPS, crop("soybean"), None).table["preharvest_kg_ha"].iloc[0]
    assert round(lost / crop("soybean").kg_ha_per_bu_ac, 1) == 1.0


def test_gathering_loss_of_soybeans() -> None:
    # Staton, Michigan State University, 2012 (farmprogress.com 0-63233): harvested 10, 9, 11, 11, standing 2, 1, 2, 2;
    # differences 8, 8, 9, 9, mean 8.5 a square foot. Printed: 2.2 bu/ac; 8.5 / 4 is 2.125, so the print rounds it up.
    frames = count(preharvest=[2, 1, 2, 2], header=[10, 9, 11, 11])
    grams = 60 * 453592.37 / 43560 / 4
    lost = add_up_losses(frames, STRIPS, crop("soybean"), grams).table["header_kg_ha"].iloc[0]
    assert lost / to_kg_ha(np.array([1.0]), np.array([FT2]), grams)[0] == pytest.approx(8.5, rel=1e-12)
    assert round(lost / crop("soybean").kg_ha_per_bu_ac, 3) == 2.125


def test_machine_loss_behind_a_narrow_row() -> None:
    # Hofman, NDSU, 2003 (smallgrains.org, How to estimate grain harvest losses), steps 1 to 7 on counts of our own:
    # A = 110 behind, B = 20 on the ground, a 30 ft header over a row of 5 ft, wheat at 20 a square foot.
    # Step 3: 90. Step 4: 90 / 6 = 15. Step 5: 15 / 20 = 0.75 bu/ac. Steps 6 and 7: (20 + 15) / 20 = 1.75 bu/ac.
    grams = 60 * 453592.37 / 43560 / 20
    frames = count(preharvest=[0], header=[20], total=[110])
    table = add_up_losses(frames, STRIPS, crop("wheat"), grams, concentration=30 / 5).table
    bushel = crop("wheat").kg_ha_per_bu_ac
    assert round(table["machine_kg_ha"].iloc[0] / bushel, 4) == 0.75
    assert round(table["harvest_kg_ha"].iloc[0] / bushel, 4) == 1.75


@pytest.mark.parametrize(
    ("stems", "grains", "milligrams", "tonnes"),
    # Department of Primary Industries and Regional Development of Western Australia, Estimating crop yield
    # (agric.wa.gov.au/mycrop): stems a square metre x grains a head x weight of a grain in mg / 100 000 = t/ha. The two
    # worked lines, wheat and barley, are printed with the same formula in the grain trade (October 2019).
    [(350, 28, 33, 3.23), (400, 24, 30, 2.88)],
)
def test_grains_on_a_square_metre_to_tonnes(stems: int, grains: int, milligrams: int, tonnes: float) -> None:
    kg_ha = to_kg_ha(np.array([stems * grains]), np.array([1.0]), milligrams)[0]
    assert round(kg_ha / 1000, 2) == tonnes


def test_one_hundred_pounds_of_sunflower() -> None:
    # NDSU through the National Sunflower Association (sunflowernsa.com 3961): 10 filled seeds a square foot = 100
    # lb/ac; that is a seed of 104 g a thousand, a large confectionery one, so the weight is set here.
    grams = 100 * 453.59237 * 1000 / (43560 * 10)
    kg_ha = to_kg_ha(np.array([10.0]), np.array([FT2]), grams)[0]
    assert kg_ha == pytest.approx(112.085, rel=1e-4)


# Deaths by horse kick, 200 corps-years (Bortkiewicz 1898), and yeast cells in 400 squares (Student 1907, Biometrika 5,
# p. 351): counts as printed in textbooks, from memory; mean and variance are theirs.
SERIES = {
    "horse kicks": ([109, 65, 22, 3, 1], 0.61, 0.6110),
    "yeast": ([213, 128, 37, 18, 3, 1], 0.6825, 0.8137),
}


@pytest.mark.parametrize("name", SERIES)
def test_scatter_of_counts_against_known_series(name: str) -> None:
    times, mean, variance = SERIES[name]
    seeds = np.repeat(np.arange(len(times), dtype=float), times)
    found = measure_dispersion(pd.DataFrame({"strip": "1", "zone": "total", "seeds": seeds, "area_m2": 1.0}))
    assert found is not None
    assert round(seeds.mean(), 4) == mean
    assert found.ratio == pytest.approx(variance / mean, abs=2e-4)
    assert found.uneven == (name == "yeast")


def test_scatter_is_pearson_chi_square_of_a_poisson_fit() -> None:
    rng = np.random.default_rng(7)
    strip = np.repeat(list("abcdef"), 5)
    area = rng.choice([0.5, 1.0, 2.0], 30)
    seeds = rng.negative_binomial(4, 0.2, 30).astype(float)
    frames = pd.DataFrame({"strip": strip, "zone": "total", "seeds": seeds, "area_m2": area})
    fit = sm.GLM(seeds, pd.get_dummies(strip).astype(float), sm.families.Poisson(), exposure=area).fit()
    found = measure_dispersion(frames)
    assert found is not None
    assert found.df == fit.df_resid
    assert found.ratio == pytest.approx(fit.pearson_chi2 / fit.df_resid, rel=1e-8)
