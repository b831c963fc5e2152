"""Boundaries and guidance lines in the formats and coordinate systems that people have, and ones that are no good."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from tests.layout.fields import EASTING, NORTHING

from proofstrip.errors import DataError
from proofstrip.read.boundary import read_ab_line, read_boundary

FIELD = shapely.box(EASTING, NORTHING, EASTING + 300, NORTHING + 400)


def save(path, shapes, crs="EPSG:32612", target=None):
    table = gpd.GeoDataFrame({"name": [str(n) for n in range(len(shapes))]}, geometry=shapes, crs=crs)
    table = table.to_crs(target) if target else table
    if path.suffix == ".parquet":
        table.to_parquet(path)
    else:
        table.to_file(path, engine="pyogrio", driver="KML" if path.suffix == ".kml" else None)
    return path.name


@pytest.mark.parametrize("suffix", [".shp", ".gpkg", ".geojson", ".parquet", ".kml"])
@pytest.mark.parametrize("target", ["EPSG:32612", "EPSG:4326", "EPSG:3857", "EPSG:26912"])
def test_same_field_from_any_format_and_system(tmp_path, suffix, target) -> None:
    if suffix == ".kml" and target != "EPSG:4326":
        pytest.skip("KML is always in degrees on WGS 84 (OGC 12-007r2)")
    found = read_boundary(save(tmp_path / f"field{suffix}", [FIELD], target=target), tmp_path)
    assert found.ground.area == pytest.approx(120_000, rel=2e-4)
    assert found.crs.is_projected


def test_several_polygons_and_holes_are_one_field(tmp_path) -> None:
    pond = shapely.Point(EASTING + 100, NORTHING + 100).buffer(20)
    beside = shapely.box(EASTING + 290, NORTHING, EASTING + 400, NORTHING + 100)
    found = read_boundary(save(tmp_path / "field.gpkg", [FIELD.difference(pond), beside]), tmp_path)
    assert found.ground.area == pytest.approx(120_000 - pond.area + 100 * 100)
    assert len(found.ground.geoms) == 1
    assert len(found.ground.geoms[0].interiors) == 1


def test_a_bow_tie_is_mended_and_said(tmp_path) -> None:
    bow = shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])
    bow = shapely.transform(bow, lambda points: points + np.array([EASTING, NORTHING]))
    found = read_boundary(save(tmp_path / "field.gpkg", [bow]), tmp_path)
    assert found.ground.area == pytest.approx(5000)
    assert "mended (Self-intersection" in found.notices[0].message


@pytest.mark.parametrize(
    ("shapes", "crs", "said"),
    [
        ([shapely.LineString([(0, 0), (1, 1)])], "EPSG:32612", "no layer of type Polygon"),
        ([FIELD], "EPSG:4326", "says it is in degrees"),
        ([FIELD], None, "names no coordinate system"),
        ([shapely.box(0, 0, 1e-4, 1e-4)], "EPSG:32612", "less than a square metre"),
    ],
)
def test_bad_boundary(tmp_path, shapes, crs, said) -> None:
    name = save(tmp_path / "field.shp", shapes, crs)
    with pytest.raises(DataError, match=said):
        read_boundary(name, tmp_path)


VIRTUAL = """<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource relativeToVRT="1">secret.gpkg</SrcDataSource>
</OGRVRTLayer></OGRVRTDataSource>"""
ENTITY = """<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY a SYSTEM "file:///etc/passwd">]>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>&a;</name></Document></kml>"""


@pytest.mark.parametrize(
    ("text", "said"), [(VIRTUAL, "is no KML"), (ENTITY, "declares a document type"), ("field", "cannot be read as XML")]
)
def test_what_is_called_kml_is_kml_and_reads_no_other_file(tmp_path, text, said) -> None:
    save(tmp_path / "secret.gpkg", [FIELD])
    (tmp_path / "field.kml").write_text(text)
    with pytest.raises(DataError, match=rf"field\.kml: .*{said}"):
        read_boundary("field.kml", tmp_path)


def test_table_is_no_boundary(tmp_path) -> None:
    (tmp_path / "field.csv").write_text("lon,lat\n1,2\n")
    with pytest.raises(DataError, match="a table holds no shapes"):
        read_boundary("field.csv", tmp_path)


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([(0, 0), (2, 50), (0, 100)], "leaves the straight line from A to B by 2.0 m. Strips along curves"),
        ([(0, 0), (0.1, 0)], "0.10 m long"),
    ],
)
def test_bad_ab_line(tmp_path, points, said) -> None:
    line = shapely.transform(shapely.LineString(points), lambda own: own + np.array([EASTING, NORTHING]))
    with pytest.raises(DataError, match=said):
        read_ab_line(save(tmp_path / "ab.gpkg", [line]), tmp_path, "EPSG:32612")
