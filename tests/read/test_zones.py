"""A zone layer: each record finds its zone, in polygons and in a raster; what cannot be one is refused."""

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

from proofstrip.config import ZonesPart
from proofstrip.errors import DataError
from proofstrip.read.zones import read_zones

POINTS = gpd.GeoDataFrame(
    {"record": [1, 2, 3, 4]},
    geometry=[
        shapely.Point(500_010, 4_500_010),
        shapely.Point(500_090, 4_500_010),
        shapely.Point(0, 0),
        shapely.Point(),
    ],
    crs=32615,
)


def write_polygons(folder, name="soil", crs=32615):
    shapes = [shapely.box(500_000, 4_500_000, 500_050, 4_500_100), shapely.box(500_050, 4_500_000, 500_100, 4_500_100)]
    gpd.GeoDataFrame({name: ["sand", "clay"]}, geometry=shapes, crs=32615).to_crs(crs).to_file(folder / "zones.gpkg")


def write_raster(folder, values, crs="EPSG:32615"):
    values = np.asarray(values)
    grid = rasterio.transform.from_origin(500_000, 4_500_100, 100 / values.shape[1], 100 / values.shape[0])
    shape = {"height": values.shape[0], "width": values.shape[1], "count": 1, "dtype": values.dtype}
    with rasterio.open(folder / "zones.tif", "w", driver="GTiff", crs=crs, transform=grid, nodata=0, **shape) as target:
        target.write(values, 1)


@pytest.mark.parametrize("crs", [32615, 4326])
def test_polygons_in_any_projection(tmp_path, crs):
    write_polygons(tmp_path, crs=crs)
    zone, digest = read_zones(ZonesPart(file="zones.gpkg", zone="soil"), tmp_path, POINTS)
    assert zone.tolist() == ["sand", "clay", None, None]
    assert len(digest) == 64


def test_a_raster_of_zone_numbers(tmp_path):
    write_raster(tmp_path, np.array([[3, 7], [3, 7]], dtype="uint8"))
    zone, _ = read_zones(ZonesPart(file="zones.tif"), tmp_path, POINTS)
    assert zone.tolist() == ["zone 3", "zone 7", None, None]


def test_what_a_raster_leaves_out_is_in_no_zone(tmp_path):
    write_raster(tmp_path, np.array([[0, 2]], dtype="int16"))
    assert read_zones(ZonesPart(file="zones.tif"), tmp_path, POINTS)[0].tolist() == [None, "zone 2", None, None]


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("siol", "has no column 'siol'. Did you mean 'soil'.* Columns: soil. Set .zones. zone"),
        ("soil", "no record lies"),
    ],
)
def test_a_wrong_column_or_another_field(tmp_path, column, said):
    write_polygons(tmp_path)
    points = POINTS if column == "siol" else POINTS.set_geometry(POINTS.geometry.translate(9_000, 0))
    with pytest.raises(DataError, match=said):
        read_zones(ZonesPart(file="zones.gpkg", zone=column), tmp_path, points)


def test_a_measured_quantity_is_no_zone(tmp_path):
    write_raster(tmp_path, np.arange(1, 401, dtype="float32").reshape(20, 20))
    points = gpd.GeoDataFrame(
        geometry=gpd.points_from_xy(500_000 + np.arange(2.5, 100, 5), np.full(20, 4_500_050.0)), crs=32615
    )
    with pytest.raises(DataError, match=r"20 different zones hold records .* at most 12 can be compared"):
        read_zones(ZonesPart(file="zones.tif"), tmp_path, points)


def test_a_raster_that_names_no_projection_or_is_none(tmp_path):
    write_raster(tmp_path, np.ones((2, 2), dtype="uint8"), crs=None)
    with pytest.raises(DataError, match="names no coordinate system"):
        read_zones(ZonesPart(file="zones.tif"), tmp_path, POINTS)
    (tmp_path / "zones.tif").write_text("no raster")
    with pytest.raises(DataError, match="cannot be read as a raster"):
        read_zones(ZonesPart(file="zones.tif"), tmp_path, POINTS)


VIRTUAL = """<VRTDataset rasterXSize="2" rasterYSize="2"><SRS>EPSG:32615</SRS>
<GeoTransform>500000, 50, 0, 4500100, 0, -50</GeoTransform><VRTRasterBand dataType="Byte" band="1"><SimpleSource>
<SourceFilename relativeToVRT="1">secret.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"""


@pytest.mark.parametrize("name", ["zones.vrt", "zones.tif", "zones.img", "zones.asc"])
def test_a_virtual_raster_reads_no_other_file(tmp_path, name):
    write_raster(tmp_path, np.array([[3, 7], [3, 7]], dtype="uint8"))
    (tmp_path / "zones.tif").rename(tmp_path / "secret.tif")
    (tmp_path / name).write_text(VIRTUAL)
    with rasterio.open(tmp_path / name) as source:
        assert source.read(1).max() == 7, "GDAL alone would follow it"
    with pytest.raises(DataError, match=r"cannot be read as a raster of zones|the content is XML or HTML"):
        read_zones(ZonesPart(file=name), tmp_path, POINTS)


def claim_raster(folder, side, tile):
    """Write a raster of so many cells a side in a few kilobytes: tiles that were never written take no room."""
    grid = rasterio.transform.from_origin(500_000, 4_500_100, 100 / side, 100 / side)
    shape = {"height": side, "width": side, "count": 1, "dtype": "float64", "transform": grid, "crs": "EPSG:32615"}
    tiles = {"tiled": True, "blockxsize": tile, "blockysize": tile, "sparse_ok": True}
    with rasterio.open(folder / "zones.tif", "w", driver="GTiff", **shape, **tiles) as target:
        target.write(np.full((16, 16), 5.0), 1, window=((side - 16, side), (0, 16)))
    assert (folder / "zones.tif").stat().st_size < 20_000_000


def test_a_small_file_that_claims_many_cells_takes_no_memory(tmp_path):
    claim_raster(tmp_path, 50_000, 512)
    near = gpd.GeoDataFrame(geometry=[shapely.Point(500_000.01, 4_500_000.01)], crs=32615)
    assert read_zones(ZonesPart(file="zones.tif"), tmp_path, near)[0].tolist() == ["zone 5"]
    far = gpd.GeoDataFrame(geometry=[shapely.Point(500_010, 4_500_010), shapely.Point(500_090, 4_500_090)], crs=32615)
    with pytest.raises(DataError, match=r"zones\.tif: .* cells of the raster would have to be read, at most 40,"):
        read_zones(ZonesPart(file="zones.tif"), tmp_path, far)
