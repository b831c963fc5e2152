"""The maps: every record on its ground, one scale, any number of records."""

from collections.abc import Callable
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.affinity import rotate
from shapely.geometry import box

from proofstrip.report import ReportMaterial
from proofstrip.report.map import PIXELS, paint_yield
from proofstrip.report.map_figure import draw_map, far_end
from proofstrip.report.sheet import NARROW, WIDE
from proofstrip.report.words import choose_units

from .texts import check_texts


def one_record(heading_deg: float) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """A record of 9 m by 2 m in the middle of a strip of 40 m."""
    here = {"easting_m": 20.0, "northing_m": 20.0, "cut_easting_m": 20.0, "cut_northing_m": 20.0}
    size = {"heading_deg": heading_deg, "swath_m": 9.0, "distance_m": 2.0, "duration_s": 1.0}
    grain = {"mass_flow_kg_s": 9.0, "moisture_pct": 13.0, "yield_kg_ha": 5000.0, "usable": True}
    points = pd.DataFrame([{**here, **size, **grain}])
    geometry = gpd.points_from_xy(points["cut_easting_m"], points["cut_northing_m"])
    strips = gpd.GeoDataFrame({"strip": ["1"], "treatment": ["A"]}, geometry=[box(0, 0, 40, 40)])
    return gpd.GeoDataFrame(points, geometry=geometry), strips


@pytest.mark.parametrize(("heading_deg", "wide_m", "tall_m"), [(0, 9, 3), (180, 9, 3), (90, 3, 9), (270, 3, 9)])
def test_record_covers_its_width_across_travel(heading_deg: float, wide_m: float, tall_m: float) -> None:
    painted = paint_yield(*one_record(heading_deg), 13.0)
    assert painted is not None
    rows, columns = np.nonzero(np.isfinite(painted.after))
    pixel = painted.window.pixel_m
    # drawn half as long again as it is, so that jitter leaves no hairlines: 2 m becomes 3 m
    assert np.ptp(columns) * pixel == pytest.approx(wide_m, abs=0.6)
    assert np.ptp(rows) * pixel == pytest.approx(tall_m, abs=0.6)
    assert (np.median(columns) + 0.5) * pixel + painted.window.west_m == pytest.approx(20, abs=0.6)


def test_before_is_what_the_display_logged() -> None:
    # 9 kg/s for 1 s over 2 m x 9 m is 9 kg on 18 m2: 5,000 kg/ha; at half the width set, twice that
    points, strips = one_record(0)
    painted = paint_yield(points.assign(swath_m=4.5, yield_kg_ha=5200.0), strips, 13.0)
    assert painted is not None
    assert np.nanmax(painted.before) == pytest.approx(10_000)
    assert np.nanmax(painted.after) == pytest.approx(5_200)


def test_removed_ground_is_marked(make_material: Callable[..., ReportMaterial]) -> None:
    material = make_material(blocks=1)
    painted = paint_yield(material.points, material.trial_map, 13.0)
    assert painted is not None
    share = painted.removed.sum() / (painted.removed | np.isfinite(painted.before)).sum()
    assert 0.05 < share < 0.4


def test_nothing_counted_is_no_map(make_material: Callable[..., ReportMaterial]) -> None:
    material = make_material(blocks=1)
    assert paint_yield(material.points.assign(usable=False), material.trial_map, 13.0) is None
    assert paint_yield(material.points.iloc[:0], material.trial_map, 13.0) is None


def test_position_jump_does_not_stretch_the_map(make_material: Callable[..., ReportMaterial]) -> None:
    material = make_material(blocks=1)
    points = material.points.copy()
    points.loc[0, ["easting_m", "northing_m", "cut_easting_m", "cut_northing_m"]] = [0.0, 0.0, np.nan, np.inf]
    painted = paint_yield(points, material.trial_map, 13.0)
    assert painted is not None
    assert painted.window.height_m < 500 and painted.window.columns <= PIXELS[0] + 1


def test_trial_map_in_degrees_lies_on_the_points(make_material: Callable[..., ReportMaterial]) -> None:
    material = make_material(blocks=1)
    painted = paint_yield(material.points, material.trial_map.to_crs("EPSG:4326"), 13.0)
    assert painted is not None and painted.window.width_m < 100


@pytest.mark.parametrize("sheet", [WIDE, NARROW])
def test_every_text_lies_inside_the_picture(make_material: Callable[..., ReportMaterial], sheet: object) -> None:
    material = make_material(blocks=4)
    trial_map = material.trial_map.assign(strip=[f"North strip {row}" for row in range(len(material.trial_map))])
    painted = paint_yield(material.points, trial_map, 13.0)
    assert painted is not None
    figure = draw_map(painted, "Control", choose_units(material.settings), 13.0, sheet)  # type: ignore[arg-type]
    check_texts(figure, apart=False)  # names follow their strips, whatever the angle; crossing boxes need not touch


def test_frames_are_not_changed(make_material: Callable[..., ReportMaterial]) -> None:
    material = make_material(blocks=1)
    copy = replace(material, points=material.points.copy())
    paint_yield(material.points, material.trial_map, 13.0)
    assert material.points.equals(copy.points)


@pytest.mark.parametrize(
    ("turned_deg", "corner", "end"),
    [(0, (10, 300), (5, 300)), (90, (10, 300), (-300, 5)), (180, (10, 300), (-5, 0)), (270, (10, 300), (0, -5))],
)
def test_strip_is_named_at_its_northern_or_western_end(
    turned_deg: float, corner: tuple[float, float], end: tuple[float, float]
) -> None:
    # a rectangle turned about the origin: the end is the middle of a short side, worked out by hand
    strip = rotate(box(0, 0, *corner), turned_deg, origin=(0, 0))
    found, direction = far_end(strip)
    assert found == pytest.approx(end) and np.hypot(*direction) == pytest.approx(1)
