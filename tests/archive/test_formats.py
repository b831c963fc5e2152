"""What an archive holds reads the same elsewhere, and is what the formats' own validators call sound.

Outside checks: DuckDB, GDAL's ogrinfo and gdalinfo (the readers of QGIS), geopandas, rasterio; the validators of
GeoParquet (geoparquet-validator), STAC (pystac with its own schemas), COG (rio-cogeo) and PROV (prov).
"""

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import duckdb
import geopandas as gpd
import geoparquet_validator
import numpy as np
import pandas as pd
import prov.model
import pyarrow.parquet as pq
import pystac
import pytest
import rasterio
from jsonschema import Draft7Validator
from pystac.validation.local_validator import get_local_schema_cache
from referencing import Registry, Resource
from rio_cogeo import cog_validate

from proofstrip.archive.layers import order_by_place, write_points
from proofstrip.archive.names import Naming
from proofstrip.columns import ARCHIVE_COLUMNS, ITEM_COLUMNS, POINT_COLUMNS, STRIP_COLUMNS
from proofstrip.flags import FLAGS

NAMING = Naming("slug", 1, "0" * 64, "Invented", 2024, "corn", "EPSG:32614")


@pytest.fixture(scope="module")
def points(original: Path) -> gpd.GeoDataFrame:
    return gpd.read_parquet(original / "run" / "points.parquet")


def test_points_come_back_from_geopandas(item, points):
    back = gpd.read_parquet(item / "points.parquet").sort_values("record", ignore_index=True)
    for column in POINT_COLUMNS:
        one, other = points[column.name].astype(object), back[column.name].astype(object)
        assert ((one == other) | (one.isna() & other.isna())).all(), column.name
    there = back.to_crs(points.crs).geometry
    assert there.dropna().distance(points.geometry, align=True).max() < 1e-6
    assert set(back["trial"]) == {json.loads((item / "result.json").read_text("utf-8"))["trial"]["name"]}


def test_points_come_back_from_duckdb(item, points):
    asked = f"SELECT * EXCLUDE (geometry) FROM '{item}/points.parquet' ORDER BY record"
    back = duckdb.sql(asked).df()
    for name in ("flags", "pass_id", "source_row", "usable"):
        assert (back[name] == points[name]).all()
    for name in ("standard_mass_kg", "area_m2", "time", "cut_easting_m"):
        np.testing.assert_array_equal(back[name], points[name])
    assert back["strip"].fillna("").tolist() == points["strip"].astype(object).fillna("").tolist()
    box = pd.DataFrame(back["bbox"].tolist())
    degrees = points.to_crs("EPSG:4326").geometry
    np.testing.assert_allclose(box["xmin"], degrees.x, atol=1e-9)
    np.testing.assert_allclose(box["ymax"], degrees.y, atol=1e-9)


@pytest.mark.parametrize("name", ["trials.parquet", "trials/*/*/points.parquet"])
def test_geoparquet_is_sound(kept, name):
    (path,) = kept.glob(name)
    report = geoparquet_validator.check(str(path))
    for kind in ("core", "covering", "distribution"):
        assert geoparquet_validator.failed(report, kind) == []
    passed = {outcome["id"] for outcome in report["outcomes"] if outcome["status"] == "pass"}
    assert "/conf/core/geo-metadata" in passed
    assert any(name.startswith("/conf/covering/") for name in passed)


def test_a_spatial_read_touches_few_groups(tmp_path, make_points):
    # 60,000 records in passes to and fro, 600 m by 1 km, as a combine logs them.
    rows = 60_000
    row = np.arange(rows)
    points = make_points(
        rows,
        easting_m=500_000.0 + 6.0 * (row // 600),
        northing_m=4_400_000.0 + np.where(row // 600 % 2, 599 - row % 600, row % 600) * 2.0,
    )
    for column in POINT_COLUMNS:
        if column.name not in points:
            points[column.name] = pd.Series(dtype=column.dtype).reindex(range(rows))
    points = points.assign(flags=0, pass_id=0, usable=True)
    path = tmp_path / "points.parquet"
    write_points(points, NAMING, path)
    file = pq.ParquetFile(path).metadata
    assert file.num_row_groups == 12
    report = geoparquet_validator.check(str(path))
    verdict = {outcome["id"]: outcome["status"] for outcome in report["outcomes"]}
    assert verdict["/conf/distribution/spatial-order"] == "pass"


def test_records_without_a_place_come_last_and_equal_places_stay_in_order(make_points):
    points = make_points(5, easting_m=[3.0, 1.0, 1.0, 2.0, 1.0])
    points.loc[[0], "geometry"] = None
    order = order_by_place(points).tolist()
    assert order[-1] == 0
    same = make_points(3, easting_m=1.0, northing_m=1.0)
    assert order_by_place(same).tolist() == [0, 1, 2]


def test_strips_come_back(item, original):
    table = pd.read_csv(original / "run" / "strips.csv")
    back = gpd.read_file(item / "strips.gpkg", layer="strips")
    for name in ("yield_kg_ha", "area_m2", "moisture_pct", "records_used"):
        np.testing.assert_allclose(back[name], table[name])
    assert back["treatment"].tolist() == table["treatment"].tolist()
    assert back.geometry.geom_type.unique().tolist() == ["MultiPolygon"]
    outline = gpd.read_file(item / "strips.gpkg", layer="boundary").geometry.iloc[0]
    assert outline.area == pytest.approx(back.geometry.area.sum(), rel=0.01)


def test_surfaces_hold_the_mass_over_the_area_of_each_cell(item, points):
    usable = points[points["usable"]]
    with rasterio.open(item / "yield.tif") as source:
        values, place = source.read(1), source.transform
        assert source.units == ("kg/ha",)
        assert np.isnan(source.nodata)
        assert place.a == pytest.approx(usable["swath_m"].median(), abs=0.05)
    column = np.floor((usable["cut_easting_m"] - place.c) / place.a)
    row = np.floor((usable["cut_northing_m"] - place.f) / place.e)
    sums = usable.groupby([row, column])[["standard_mass_kg", "area_m2"]].sum()
    assert np.isfinite(values).sum() == len(sums)
    for (north, east), cell in sums.iterrows():
        assert values[int(north), int(east)] == pytest.approx(
            1e4 * cell["standard_mass_kg"] / cell["area_m2"], rel=1e-6
        )
    with rasterio.open(item / "moisture.tif") as source:
        moisture = source.read(1)
    assert np.nanmin(moisture) >= usable["moisture_pct"].min() - 1e-4
    assert np.nanmax(moisture) <= usable["moisture_pct"].max() + 1e-4


@pytest.mark.parametrize("name", ["yield.tif", "moisture.tif", "elevation.tif"])
def test_surfaces_are_cloud_optimised(item, name):
    sound, faults, _ = cog_validate(str(item / name), strict=True, quiet=True)
    assert sound, faults


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="GDAL's programs are not installed (Debian: gdal-bin)")
def test_gdal_s_own_programs_read_the_same(item, original):
    said = subprocess.run(
        ["ogrinfo", "-ro", "-q", str(item / "strips.gpkg"), "strips"], capture_output=True, text=True, check=True
    ).stdout
    yields = [float(value) for value in re.findall(r"yield_kg_ha \(Real\) = (\S+)", said)]
    table = pd.read_csv(original / "run" / "strips.csv")
    np.testing.assert_allclose(yields, table["yield_kg_ha"])
    told = subprocess.run(["gdalinfo", "-json", "-stats", str(item / "yield.tif")], capture_output=True, check=True)
    (item / "yield.tif.aux.xml").unlink(missing_ok=True)
    described = json.loads(told.stdout)
    with rasterio.open(item / "yield.tif") as source:
        values = source.read(1)
        assert described["size"] == [source.width, source.height]
    assert described["bands"][0]["mean"] == pytest.approx(float(np.nanmean(values)), rel=1e-3)
    assert described["bands"][0]["description"] == "yield"


def _validate(data: dict, kind: str) -> None:
    """Hold an object to STAC's published schema, as pystac ships it: no network."""
    schemas = get_local_schema_cache()
    registry = Registry().with_resources([(uri, Resource.from_contents(value)) for uri, value in schemas.items()])
    uri = f"https://schemas.stacspec.org/v{data['stac_version']}/{kind}-spec/json-schema/{kind}.json"
    faults = list(Draft7Validator(schemas[uri], registry=registry).iter_errors(data))
    assert faults == []


def test_stac_is_sound(kept, item):
    _validate(json.loads((kept / "collection.json").read_text("utf-8")), "collection")
    described = json.loads((item / "item.json").read_text("utf-8"))
    _validate(described, "item")
    spoilt = {**described, "properties": {**described["properties"], "start_datetime": "in autumn"}}
    with pytest.raises(AssertionError):
        _validate({**spoilt, "bbox": "west"}, "item")


def test_stac_extensions_are_sound(kept, item):
    """Hold item and collection to the published schemas of their extensions, in a folder that a variable names."""
    folder = os.environ.get("PROOFSTRIP_STAC_SCHEMAS")
    if not folder:
        pytest.skip("PROOFSTRIP_STAC_SCHEMAS names no folder of extension schemas")
    read = [json.loads(path.read_text("utf-8")) for path in sorted(Path(folder).glob("*.json"))]
    schemas = {schema["$id"].rstrip("#"): schema for schema in read}
    core = [(uri, Resource.from_contents(value)) for uri, value in get_local_schema_cache().items()]
    registry = Registry().with_resources(core)
    for path in (item / "item.json", kept / "collection.json"):
        described = json.loads(path.read_text("utf-8"))
        assert any("/file/" in uri for uri in described["stac_extensions"])
        for uri in described["stac_extensions"]:
            validator = Draft7Validator(schemas[uri], registry=registry)
            assert list(validator.iter_errors(described)) == []
            asset = next(iter(described["assets"].values()))
            spoilt = {**described, "assets": {"one": {**asset, "file:checksum": "no hash"}}}
            assert bool(list(validator.iter_errors(spoilt))) == ("/file/" in uri)


def test_stac_is_walked_from_the_collection_to_every_file(kept):
    collection = pystac.Collection.from_file(str(kept / "collection.json"))
    (item,) = collection.get_items()
    assert item.get_collection().id == collection.id
    for asset in item.get_assets().values():
        path = Path(asset.get_absolute_href())
        assert (
            pystac.extensions.file.FileExtension.ext(asset).size == Path(str(path).replace("%20", " ")).stat().st_size
        )
    projection = pystac.extensions.projection.ProjectionExtension.ext(item.assets["yield.tif"])
    with rasterio.open(item.assets["yield.tif"].get_absolute_href()) as source:
        assert projection.shape == list(source.shape)
        assert projection.transform == list(source.transform)[:6]
    texts = [path.read_text("utf-8") for path in (kept / "collection.json", *kept.glob("trials/*/*/item.json"))]
    hrefs = [href for text in texts for href in re.findall(r'"href": "([^"]*)"', text)]
    assert len(hrefs) > 20
    assert not any(href.startswith(("/", "file:")) for href in hrefs)


def test_provenance_is_prov_and_tells_steps_files_and_who_excluded_what(item):
    text = (item / "provenance.json").read_text("utf-8")
    document = prov.model.ProvDocument.deserialize(content=text, format="json")
    kinds = {type(record).__name__ for record in document.get_records()}
    assert {"ProvEntity", "ProvActivity", "ProvAgent", "ProvUsage", "ProvGeneration", "ProvDerivation"} <= kinds
    told = json.loads(text)
    inputs = [row for key, row in told["entity"].items() if key.startswith("item:input")]
    assert [row["ps:role"] for row in inputs] == ["harvest", "harvest", "trial_map", "exclusions"]
    assert all((item / row["prov:location"]).is_file() for row in inputs)
    run = json.loads((item / "run.json").read_text("utf-8"))
    steps = {row["prov:label"]: row for key, row in told["activity"].items() if key.startswith("item:step")}
    assert list(steps) == [stage["stage"] for stage in run["stages"]]
    for flag in run["flags"]:
        assert steps[flag["stage"]].get(f"ps:flagged_{flag['name']}", 0) == flag["records"]
    exclusion = told["activity"]["item:exclusion1"]
    assert (exclusion["ps:reason"], exclusion["ps:records"]) == ("a deer", 10)
    assert told["agent"]["item:author1"]["prov:label"] == "A. Nobody"


def test_the_dictionary_names_every_column_of_every_layer(item):
    told = pd.read_csv(item / "dictionary.csv")
    named = told.groupby("file")["column"].agg(set)
    assert named["points.parquet"] == set(pq.read_schema(item / "points.parquet").names)
    assert named["strips.csv"] == {column.name for column in STRIP_COLUMNS}
    for layer in ("strips", "boundary"):
        there = set(gpd.read_file(item / "strips.gpkg", layer=layer).columns) - {"geometry"}
        assert there == named[f"strips.gpkg, layer {layer}"] - {"geom"}
    assert told["meaning"].notna().all()
    bits = pd.read_csv(item / "flags.csv")
    assert bits["bit"].tolist() == [int(meaning.flag) for meaning in FLAGS]


def test_trials_parquet_has_a_row_an_item(kept, item):
    table = gpd.read_parquet(kept / "trials.parquet")
    assert list(table.columns[:-1]) == [column.name for column in ITEM_COLUMNS]
    assert table["folder"].tolist() == [item.relative_to(kept).as_posix()]
    points = gpd.read_parquet(item / "points.parquet")
    assert points[points["usable"]].within(table.geometry.iloc[0].buffer(1e-6)).all()
    assert [column.name for column in ARCHIVE_COLUMNS] == list(points.columns[: len(ARCHIVE_COLUMNS)])
