"""Strips as people draw them: labels, overlaps, mended polygons, coordinate systems."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from proofstrip.config import TrialMapPart
from proofstrip.errors import DataError
from proofstrip.read import TrialMap, read_trial_map

ReadMap = Callable[..., TrialMap]


def strips(**columns: list[Any]) -> gpd.GeoDataFrame:
    """Three strips of 10 m by 300 m, side by side."""
    shapes = [shapely.box(500_000 + 10 * i, 4_800_000, 500_010 + 10 * i, 4_800_300) for i in range(3)]
    table = {"strip": ["1", "2", "3"], "treatment": ["A", "B", "A"]} | columns
    return gpd.GeoDataFrame(table, geometry=shapes, crs=32615)


@pytest.fixture
def read_map(tmp_path: Path) -> ReadMap:
    def write_and_read(table: gpd.GeoDataFrame, name: str = "map.gpkg", **settings: Any) -> TrialMap:
        table.to_parquet(tmp_path / name) if name.endswith(".parquet") else table.to_file(tmp_path / name)
        return read_trial_map(TrialMapPart.model_validate({"file": name, "control": "A"} | settings), tmp_path)

    return write_and_read


@pytest.mark.parametrize("name", ["map.gpkg", "map.shp", "map.geojson", "map.parquet"])
@pytest.mark.parametrize("crs", [32615, 4326, 3857])
def test_every_format_and_system_gives_the_same_ground(read_map: ReadMap, name: str, crs: int) -> None:
    strip_map = read_map(strips().to_crs(crs), name).strips
    assert list(strip_map.columns) == ["strip", "treatment", "block", "geometry"]
    assert strip_map.crs.to_epsg() == 32615
    np.testing.assert_allclose(strip_map.area, 3000.0, rtol=1e-6)
    assert strip_map["block"].tolist() == [None] * 3


def test_map_that_does_not_measure_metres_is_projected_and_said(read_map: ReadMap) -> None:
    # Web Mercator is metres in name: at 43 degrees it is 1 / cos(43) = 1.37 too long.
    assert read_map(strips().to_crs(4326), "degrees.gpkg").notices == ()
    (notice,) = read_map(strips().to_crs(3857)).notices
    assert "does not measure metres on the ground; taken to WGS 84 / UTM zone 15N" in notice.message


def test_map_in_survey_feet_is_projected(read_map: ReadMap) -> None:
    strip_map = read_map(strips().to_crs(2264)).strips
    assert strip_map.crs.axis_info[0].unit_name == "metre"


@pytest.mark.parametrize(
    ("labels", "read"),
    [
        ([1, 2, 3], ["1", "2", "3"]),
        ([1.0, 2.0, 3.0], ["1", "2", "3"]),
        (["1", "2.0", "03"], ["1", "2", "03"]),
        ([1.5, 2.0, 3.0], ["1.5", "2", "3"]),
        ([" 1 ", "NA", "None"], ["1", "NA", "None"]),
    ],
)
def test_labels_are_texts(read_map: ReadMap, labels: list[object], read: list[str]) -> None:
    assert read_map(strips(strip=labels)).strips["strip"].tolist() == read


def test_treatments_called_none_and_na_stay(read_map: ReadMap) -> None:
    table = strips(treatment=["None", "NA", "nan"], rep=[1, 1, 2])
    strip_map = read_map(table, "map.geojson", control="None", block="rep").strips
    assert strip_map["treatment"].tolist() == ["None", "NA", "nan"]
    assert strip_map["block"].tolist() == ["1", "1", "2"]


def test_missing_column_lists_those_there(read_map: ReadMap) -> None:
    with pytest.raises(
        DataError, match=r"no column 'Strip' for the strip. Did you mean 'strip'\? Columns: strip, treat"
    ):
        read_map(strips(), strip="Strip")


def test_empty_label_is_refused(read_map: ReadMap) -> None:
    with pytest.raises(DataError, match=r"column 'treatment' is empty in 1 polygons \(first: number 2\)"):
        read_map(strips(treatment=["A", None, "B"]))


def test_control_that_is_no_treatment_names_the_nearest(read_map: ReadMap) -> None:
    with pytest.raises(DataError, match=r"control = 'contrl' is no treatment of the map. Did you mean 'Control'\?"):
        read_map(strips(treatment=["Control", "Fingers", "Control"]), control="contrl")


def test_strips_that_overlap_are_refused_by_name(read_map: ReadMap) -> None:
    table = strips()
    table.loc[1, "geometry"] = shapely.box(500_009.8, 4_800_000, 500_020, 4_800_300)
    with pytest.raises(
        DataError, match=r"strips '1' and '2' overlap by 2.0% of the smaller one; at most 1% is allowed"
    ):
        read_map(table)


def test_overlap_of_a_drawing_error_is_allowed(read_map: ReadMap) -> None:
    table = strips()
    table.loc[1, "geometry"] = shapely.box(500_009.95, 4_800_000, 500_020, 4_800_300)
    assert len(read_map(table).strips) == 3


def test_invalid_polygon_is_mended_and_said(read_map: ReadMap) -> None:
    table = strips()
    spike = [
        (500_000, 4_800_000),
        (500_010, 4_800_000),
        (500_010, 4_800_300),
        (500_010, 4_800_350),
        (500_010, 4_800_300),
    ]
    table.loc[0, "geometry"] = shapely.Polygon([*spike, (500_000, 4_800_300)])
    assert not table.geometry.iloc[0].is_valid
    found = read_map(table)
    assert found.strips.geometry.iloc[0].area == pytest.approx(3000.0)
    assert "the polygon of strip '1' was mended" in found.notices[0].message


def test_polygon_without_area_is_refused_by_name(read_map: ReadMap) -> None:
    table = strips()
    table.loc[2, "geometry"] = shapely.Polygon([(500_000, 4_800_000), (500_010, 4_800_000), (500_005, 4_800_000)])
    with pytest.raises(DataError, match="strip '3' is a Polygon and has no area"):
        read_map(table)


def test_missing_polygon_is_refused_by_name(read_map: ReadMap) -> None:
    table = strips()
    table.loc[2, "geometry"] = None
    with pytest.raises(DataError, match="strip '3' has no polygon"):
        read_map(table)


def test_heights_are_left_out(read_map: ReadMap) -> None:
    table = strips()
    table["geometry"] = shapely.force_3d(table.geometry.to_numpy(), 300.0)
    assert not read_map(table).strips.has_z.any()


def test_parts_of_one_strip_are_merged(read_map: ReadMap) -> None:
    found = read_map(strips(strip=["1", "2", "1"]))
    assert found.strips["strip"].tolist() == ["1", "2"]
    assert found.strips.geometry.iloc[0].geom_type == "MultiPolygon"
    assert "2 polygons named '1' are taken as one strip" in found.notices[0].message


@pytest.mark.parametrize("role", ["treatment", "block"])
def test_parts_that_differ_are_refused(read_map: ReadMap, role: str) -> None:
    table = strips(strip=["1", "1", "2"], treatment=["A", "A", "B"], block=["X", "X", "X"])
    table.loc[1, role] = "other"
    with pytest.raises(DataError, match=f"strip '1' stands 2 times with {role}s .*'other'"):
        read_map(table, block="block")


def test_map_without_coordinate_system_is_refused(read_map: ReadMap) -> None:
    with pytest.raises(DataError, match="the map names no coordinate system"):
        read_map(strips().set_crs(None, allow_override=True), "map.parquet")


def test_map_that_says_degrees_and_holds_metres_is_refused(read_map: ReadMap) -> None:
    with pytest.raises(DataError, match=r"says it is in degrees \(WGS 84\), but its coordinates reach 4\.8003e\+06"):
        read_map(strips().set_crs(4326, allow_override=True))


def test_table_of_text_is_no_map(read_map: ReadMap, tmp_path: Path) -> None:
    (tmp_path / "map.csv").write_text("strip,treatment\n1,A\n")
    with pytest.raises(DataError, match="a trial map holds polygons"):
        read_trial_map(TrialMapPart(file="map.csv", control="A"), tmp_path)


def test_layer_of_points_is_no_map(read_map: ReadMap) -> None:
    table = strips()
    table["geometry"] = table.centroid
    with pytest.raises(DataError, match=r"no layer of type Polygon; found: 'map' \(Point\)"):
        read_map(table)


def test_plain_parquet_is_no_map(tmp_path: Path) -> None:
    strips().drop(columns="geometry").to_parquet(tmp_path / "map.parquet")
    with pytest.raises(DataError, match="cannot be read as Parquet"):
        read_trial_map(TrialMapPart(file="map.parquet", control="A"), tmp_path)


def test_columns_that_the_comparison_uses_come_along(tmp_path: Path) -> None:
    table = strips(strip=["1", "2", "2"], treatment=["A", "B", "B"], soil=["sand", "clay", "clay"], other=[1, 2, 3])
    table.to_file(tmp_path / "map.gpkg")
    found = read_trial_map(TrialMapPart(file="map.gpkg", control="A"), tmp_path, ["soil", "dose"]).strips
    assert found["soil"].tolist() == ["sand", "clay"]
    assert {"other", "dose"}.isdisjoint(found.columns)
