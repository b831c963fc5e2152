"""The fit with correlated errors: a reference library's where ground is not alike, near the truth where it is."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import scipy.linalg
import statsmodels.formula.api as smf

from proofstrip.spatial import fit_spatial, make_cells
from tests.test_along import field, flat


def spread_out(points: gpd.GeoDataFrame, strips: gpd.GeoDataFrame, times: float):
    """Pull a field apart, so that no cell has a neighbour."""
    moved = points.assign(
        cut_easting_m=points["cut_easting_m"] * times, cut_northing_m=points["cut_northing_m"] * times
    )
    return moved, strips.set_geometry(strips.geometry.scale(times, times, origin=(0, 0)))


def test_without_neighbours_it_is_the_random_intercept_model():
    # statsmodels' MixedLM by REML is the reference; pulled apart a thousand times, correlation over distance is noise.
    points, strips = spread_out(*field(6, flat, np.random.default_rng(1)), 1000)
    (found,) = fit_spatial(points, strips, "control", 0.9)
    cells = make_cells(points, strips).assign(level=lambda frame: np.log(frame["yield"]))
    model = smf.mixedlm("level ~ C(treatment) + C(block)", cells, groups=cells["strip"]).fit(reml=True)
    assert np.log1p(found.difference_pct / 100) == pytest.approx(model.params["C(treatment)[T.tried]"], abs=2e-4)
    reach = (np.log1p(found.high_pct / 100) - np.log1p(found.low_pct / 100)) / 2
    assert reach / 2.015 == pytest.approx(model.bse["C(treatment)[T.tried]"], rel=0.02)  # t table: 5 df, 95 % one-sided
    assert found.df == 5


def test_on_like_ground_intervals_hold_the_truth():
    rng = np.random.default_rng(8)
    points, strips = field(6, flat)
    cells = points.assign(cell=points["cut_northing_m"] // 40).groupby(["strip", "cell"]).ngroup()
    first = points.groupby(cells)[["cut_easting_m", "cut_northing_m"]].mean().to_numpy()
    apart = np.hypot(*(first[:, None] - first[None]).transpose(2, 0, 1))
    root = scipy.linalg.cholesky(np.exp(-apart / 60) + 1e-9 * np.eye(len(first)), lower=True)
    held = []
    for _ in range(25):
        ground = 1 + 0.05 * (root @ rng.normal(size=len(first)))
        grown = points.assign(standard_mass_kg=points["standard_mass_kg"] * ground[cells.to_numpy()])
        (found,) = fit_spatial(grown, strips, "control", 0.9)
        held.append(found.low_pct < 5 < found.high_pct)
    assert sum(held) >= 19  # of 25 at 90 %: fewer come in 1 of 30 such tests


def test_too_few_strips_or_no_blocks_give_nothing():
    assert fit_spatial(*field(2, flat), "control", 0.9) == ()
    points, strips = field(6, flat)
    assert fit_spatial(points.assign(usable=False), strips, "control", 0.9) == ()


def test_cells_are_few_and_keep_the_yield():
    points, strips = field(12, flat)
    cells = make_cells(points, strips)
    assert len(cells) <= 24 * 8
    assert cells.groupby("treatment")["yield"].mean().to_dict() == pytest.approx({"control": 0.4, "tried": 0.42})
    assert isinstance(cells, pd.DataFrame)
