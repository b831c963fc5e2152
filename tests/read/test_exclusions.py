"""Exclusions by hand as a file: GeoJSON, each with reason, author and date."""

import json

import pyproj
import pytest

from proofstrip.errors import DataError
from proofstrip.read import read_exclusions

UTM = pyproj.CRS("EPSG:32614")
WHY = {"reason": "combine plugged", "author": "A. Nyone", "date": "2024-10-08"}
SQUARE = [[-99.0, 39.7], [-98.99, 39.7], [-98.99, 39.71], [-99.0, 39.71], [-99.0, 39.7]]


def polygon(ring=SQUARE):
    return {"type": "Polygon", "coordinates": [ring]}


def feature(geometry=None, **properties):
    return {"type": "Feature", "geometry": geometry, "properties": WHY | properties}


def write(folder, *features, name="exclusions.geojson", **more):
    content = {"type": "FeatureCollection", "features": list(features), **more}
    (folder / name).write_text(json.dumps(content), encoding="utf-8")


def test_no_file_is_no_exclusion_and_a_named_one_must_be_there(tmp_path):
    assert read_exclusions(None, tmp_path, UTM) is None
    with pytest.raises(DataError, match=r"'out\.geojson': there is no such file"):
        read_exclusions("out.geojson", tmp_path, UTM)


def test_a_polygon_is_read_in_degrees_of_wgs84_as_the_standard_says(tmp_path):
    # RFC 7946, section 4: coordinates are WGS 84, longitude first. At 99 W, the central meridian of UTM zone 14,
    # the easting is 500,000 m by the definition of UTM.
    write(tmp_path, feature(polygon()))
    (item,) = read_exclusions(None, tmp_path, UTM).items
    assert item.ground.bounds[0] == pytest.approx(500_000, abs=0.01)
    assert (item.reason, item.author, item.date) == ("combine plugged", "A. Nyone", "2024-10-08")


def test_another_system_is_named_the_old_way(tmp_path):
    # GeoJSON specification of 2008, section 3.1: a named CRS.
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32614"}}
    ring = [[500_000, 4_400_000], [500_010, 4_400_000], [500_010, 4_400_020], [500_000, 4_400_000]]
    write(tmp_path, feature(polygon(ring)), name="mine.json", crs=crs)
    found = read_exclusions("mine.json", tmp_path, UTM)
    assert found.items[0].ground.bounds == pytest.approx((500_000, 4_400_000, 500_010, 4_400_020))
    assert found.file == "mine.json"


def test_record_numbers_are_single_ones_and_runs(tmp_path):
    write(tmp_path, feature(records=[[12, 40], 77], source_file="monday.csv"))
    (item,) = read_exclusions(None, tmp_path, UTM).items
    assert (item.rows, item.source_file, item.ground) == (((12, 40), (77, 77)), "monday.csv", None)


@pytest.mark.parametrize(
    ("part", "said"),
    [
        (feature(polygon(), reason="  "), 'Feature 2: "reason" is missing'),
        (feature(polygon(), author=None, date=None), 'Feature 2: "author" is missing; "date" is missing'),
        (feature(polygon(), author=7), '"author" must be text; found 7'),
        (feature(polygon(), date="last week"), 'the date must be a day written as 2024-10-31; found "last week"'),
        (feature(), 'neither a polygon nor "records"'),
        (feature(polygon(), records=[3]), "a polygon and record numbers; make two features"),
        (feature(records=[[40, 12]]), '"records" holds [40, 12]; a record is a whole number from 1'),
        (feature(records=[0]), '"records" holds 0'),
        (feature(records=[True]), '"records" holds true'),
        (feature(records=[[1, 2, 3]]), '"records" holds [1, 2, 3]'),
        (feature(records=[]), '"records" must be a list of record numbers'),
        (feature(records=5), "found 5"),
        (feature(records=[4], source_file=3), '"source_file" must be the name of a raw file; found 3'),
        (feature({"type": "Point", "coordinates": [-99, 40]}), 'Polygon, a MultiPolygon or null; found "Point"'),
        (feature(polygon([[500_000, 4e6], [500_010, 4e6], [500_010, 4.1e6], [500_000, 4e6]])), "no degrees"),
        (feature(polygon([SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3], SQUARE[0]])), "Self-intersection"),
        (feature(polygon([[1, 2], [3, "x"], [4, 5], [1, 2]])), "its coordinates make no polygon"),
        (feature(polygon([[1, 2], [3, 4]])), "its coordinates make no polygon"),
        (feature({"type": "Polygon", "coordinates": []}), "it is empty"),
        (feature({"type": "Polygon"}), "its coordinates make no polygon"),
        ({"type": "Feature", "geometry": polygon(), "properties": None}, '"reason" is missing; "author" is missing'),
        ({"type": "Feature", "geometry": polygon(), "properties": [1]}, '"properties" must be an object'),
        (12, "it is no GeoJSON Feature (found 12)"),
    ],
)
def test_a_bad_feature_is_refused_by_number_with_what_is_missing(tmp_path, part, said):
    write(tmp_path, feature(polygon()), part)
    with pytest.raises(DataError) as fault:
        read_exclusions(None, tmp_path, UTM)
    assert str(fault.value).startswith("exclusions.geojson: Feature 2: ")
    assert said in str(fault.value)


def test_all_bad_features_are_told_together(tmp_path):
    write(tmp_path, feature(reason=None), feature(polygon()), feature(date="?"))
    with pytest.raises(DataError, match=r"Feature 1: .*\. Feature 3: "):
        read_exclusions(None, tmp_path, UTM)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{not json", "this is no GeoJSON"),
        ("[1, 2]", "found 'list'"),
        ('{"type": "Feature"}', "found 'Feature'"),
        ('{"type": "FeatureCollection"}', "with a list of features"),
        ('{"type": "FeatureCollection", "features": [], "crs": {"type": "name"}}', "names no coordinate system"),
    ],
)
def test_a_file_that_is_no_collection_is_refused(tmp_path, text, said):
    (tmp_path / "exclusions.geojson").write_text(text, encoding="utf-8")
    with pytest.raises(DataError) as fault:
        read_exclusions(None, tmp_path, UTM)
    assert said in str(fault.value)


def test_an_empty_collection_excludes_nothing(tmp_path):
    write(tmp_path)
    assert read_exclusions(None, tmp_path, UTM).items == ()
