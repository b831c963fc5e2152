"""Points from Shapefile, GeoPackage, GeoJSON and Parquet are those of the CSV; damaged files are refused."""

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet
import pytest
import shapely

from proofstrip.errors import DataError
from proofstrip.read import Harvest

Make = Callable[..., pd.DataFrame]
Read = Callable[..., Harvest]
Codes = Callable[[Harvest], list[str]]
# What geopandas says while the tests write their files.
pytestmark = [
    pytest.mark.filterwarnings("ignore:(Column names longer|'crs' was not provided):UserWarning"),
    pytest.mark.filterwarnings("ignore:Normalized/laundered field name:RuntimeWarning"),
]
EXACT = ["time", "speed_m_s", "duration_s", "distance_m", "swath_m", "mass_flow_kg_s", "moisture_pct"]


def as_points(log: pd.DataFrame, crs: int | None = 4326) -> gpd.GeoDataFrame:
    places = gpd.points_from_xy(log["Longitude"], log["Latitude"], z=np.full(len(log), 300.0))
    points = gpd.GeoDataFrame(log.drop(columns=["Longitude", "Latitude"]), geometry=places, crs=4326)
    return points.to_crs(crs) if crs else points.set_crs(None, allow_override=True)


@pytest.mark.parametrize("name", ["log.gpkg", "log.geojson", "log.parquet"])
@pytest.mark.parametrize("crs", [4326, 26915, 2264])
def test_every_format_gives_the_points_of_the_csv(
    make_log: Make, read: Read, tmp_path: Path, name: str, crs: int
) -> None:
    plain = read(make_log()).points
    points = as_points(make_log(), crs)
    points.to_parquet(tmp_path / name) if name.endswith("parquet") else points.to_file(tmp_path / name)
    other = read(files=[name]).points
    pd.testing.assert_frame_equal(pd.DataFrame(plain[EXACT]), pd.DataFrame(other[EXACT]))
    assert plain.crs == other.crs
    # NAD 83 and WGS 84 are taken as one where no better transformation is installed: 2 m at most.
    tolerance = 2e-3 if crs == 4326 else 2.0
    np.testing.assert_allclose(other["northing_m"], plain["northing_m"], atol=tolerance)
    np.testing.assert_allclose(np.diff(other["northing_m"]), 2.0, atol=2e-3)


def test_shapefile_with_headers_cut_to_ten_characters(make_log: Make, read: Read, tmp_path: Path) -> None:
    as_points(make_log()).to_file(tmp_path / "log.shp")
    harvest = read(files=["log.shp"], columns={"mass_flow": {"column": "Flow(lb/s)"}})
    used = {choice.column: (choice.quantity, choice.unit) for choice in harvest.sources[0].columns}
    assert used["Duration(s"] == ("duration", "s")
    assert used["Distance(f"] == ("distance", "ft")
    assert used["Moisture(%"] == ("moisture", "percent")
    assert harvest.points["swath_m"].iloc[0] == pytest.approx(9.144)


def test_plain_parquet_with_columns_of_the_position(make_log: Make, read: Read, tmp_path: Path) -> None:
    make_log().to_parquet(tmp_path / "log.parquet")
    pd.testing.assert_frame_equal(
        pd.DataFrame(read(files=["log.parquet"]).points[EXACT]), pd.DataFrame(read(make_log()).points[EXACT])
    )


def test_parquet_with_the_native_encoding_of_points(make_log: Make, read: Read, tmp_path: Path) -> None:
    as_points(make_log()).to_parquet(tmp_path / "log.parquet", geometry_encoding="geoarrow", schema_version="1.1.0")
    assert read(files=["log.parquet"]).points["easting_m"].iloc[0] == pytest.approx(420_000, abs=1e-3)


@pytest.mark.parametrize("name", ["log.gpkg", "log.geojson", "log.parquet"])
@pytest.mark.parametrize("written", ["stamp", "text", "two columns"])
def test_times_of_every_kind(make_log: Make, read: Read, tmp_path: Path, name: str, written: str) -> None:
    points = as_points(make_log())
    stamps = pd.to_datetime(points["Time"], unit="s", utc=True)
    if written == "stamp":
        points["Time"] = stamps
    elif written == "text":
        points["Time"] = stamps.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    else:
        points["Date"], points["Time"] = stamps.dt.date, stamps.dt.strftime("%H:%M:%S")
    points.to_parquet(tmp_path / name) if name.endswith("parquet") else points.to_file(tmp_path / name)
    assert read(files=[name]).points["time"].tolist() == make_log()["Time"].tolist()


def test_numbers_as_text_with_decimal_comma(make_log: Make, read: Read, tmp_path: Path) -> None:
    as_points(make_log()).assign(**{"Flow(lb/s)": "20,5"}).to_parquet(tmp_path / "log.parquet")
    points = read(files=["log.parquet"]).points
    assert points["mass_flow_kg_s"].iloc[0] == pytest.approx(20.5 * 0.45359237)


def test_column_of_dates_is_no_column_of_numbers(make_log: Make, read: Read, tmp_path: Path) -> None:
    log = as_points(make_log()).assign(**{"Flow(lb/s)": pd.Timestamp("2024-10-07").date()})
    log.to_parquet(tmp_path / "log.parquet")
    with pytest.raises(DataError, match=r"column 'Flow\(lb/s\)' is of type date32\[day\], which holds no numbers"):
        read(files=["log.parquet"])


def test_parquet_column_that_stands_twice_is_refused(read: Read, tmp_path: Path) -> None:
    table = pa.table([pa.array([1.0]), pa.array([2.0])], names=["Flow(lb/s)", "Flow(lb/s)"])
    pa.parquet.write_table(table, tmp_path / "log.parquet")
    with pytest.raises(DataError, match="stands twice"):
        read(files=["log.parquet"])


def test_columns_that_repeat_the_points_are_not_needed(make_log: Make, read: Read, tmp_path: Path) -> None:
    points = as_points(make_log()).assign(Longitude=0.0, Lat=0.0, Latitude=0.0)
    points.to_file(tmp_path / "log.gpkg")
    assert read(files=["log.gpkg"]).points["easting_m"].iloc[0] == pytest.approx(420_000, abs=1e-3)


def test_points_in_degrees_without_a_coordinate_system_are_wgs84(
    make_log: Make, read: Read, codes: Codes, tmp_path: Path
) -> None:
    as_points(make_log(), None).to_file(tmp_path / "log.gpkg")
    harvest = read(files=["log.gpkg"])
    assert harvest.points.crs.to_epsg() == 32615
    assert "crs_assumed" in codes(harvest)


def test_points_in_metres_without_a_coordinate_system_are_asked(make_log: Make, read: Read, tmp_path: Path) -> None:
    points = as_points(make_log(), 32615).set_crs(None, allow_override=True)
    points.to_parquet(tmp_path / "log.parquet")
    with pytest.raises(DataError, match=r"the points \(about 420000, 4\.86403e\+06\) are in metres or degrees"):
        read(files=["log.parquet"])
    assert read(files=["log.parquet"], crs="EPSG:32615").points["easting_m"].iloc[0] == pytest.approx(420_000, abs=1e-3)


def test_file_that_says_degrees_and_holds_metres_is_asked(make_log: Make, read: Read, tmp_path: Path) -> None:
    points = as_points(make_log(), 32615).set_crs(4326, allow_override=True)
    points.to_file(tmp_path / "log.gpkg")
    with pytest.raises(DataError, match="impossible as degrees, which the coordinate system 'WGS 84' says they are"):
        read(files=["log.gpkg"])


def test_coordinate_system_of_the_file_goes_before_the_trial_files(
    make_log: Make, read: Read, codes: Codes, tmp_path: Path
) -> None:
    as_points(make_log()).to_file(tmp_path / "log.gpkg")
    harvest = read(files=["log.gpkg"], crs="EPSG:26915")
    assert harvest.points["easting_m"].iloc[0] == pytest.approx(420_000, abs=1e-3)
    assert "crs_of_file" in codes(harvest)


@pytest.mark.parametrize("lost", [[".dbf"], [".shx"], [".dbf", ".shx"]])
def test_shapefile_that_lost_a_part_is_refused(make_log: Make, read: Read, tmp_path: Path, lost: list[str]) -> None:
    as_points(make_log()).to_file(tmp_path / "log.shp")
    for suffix in lost:
        (tmp_path / f"log{suffix}").unlink()
    with pytest.raises(
        DataError, match=f"{' and '.join('log' + suffix for suffix in lost)} (is|are) missing beside it"
    ):
        read(files=["log.shp"])


def test_glob_over_a_shapefile_finds_it_once(make_log: Make, read: Read, tmp_path: Path) -> None:
    as_points(make_log()).to_file(tmp_path / "log.shp")
    assert len(read(files=["log.*"]).points) == 30


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("log.gpkg", b"Longitude,Latitude\n1,2\n", "the name says GeoPackage, but the content is delimited text"),
        ("log.gpkg", b"SQLite format 3\x00" + b"\x00" * 200, "cannot be read as GeoPackage"),
        ("log.geojson", b'{"type": "FeatureCollection", "features": [{"type":', "cannot be read as GeoJSON"),
        ("log.json", b'{"no": "map"}', "cannot be read as GeoJSON"),
        ("log.parquet", b"PAR1 and no more", "cannot be read as Parquet"),
        ("log.shp", b"not a shapefile at all", "the name says Shapefile, but the content is delimited text"),
        ("log.geojson", b'{"type": "FeatureCollection", "features": []}', "no layer|no record"),
    ],
)
def test_damaged_file_is_refused_in_one_paragraph(
    read: Read, tmp_path: Path, name: str, content: bytes, said: str
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(DataError, match=said) as fault:
        read(files=[name])
    assert "\n" not in str(fault.value)


def test_lines_are_no_harvest_records(read: Read, tmp_path: Path) -> None:
    line = shapely.LineString([(-93.0, 43.0), (-93.1, 43.1)])
    gpd.GeoDataFrame({"flow": [1.0]}, geometry=[line], crs=4326).to_file(tmp_path / "log.gpkg")
    with pytest.raises(DataError, match=r"no layer of type Point; found: 'log' \(LineString\)"):
        read(files=["log.gpkg"])


def test_several_layers_are_listed(make_log: Make, read: Read, tmp_path: Path) -> None:
    for layer in ("north", "south"):
        as_points(make_log()).to_file(tmp_path / "log.gpkg", layer=layer)
    with pytest.raises(DataError, match=r"several layers of type Point; found: 'north' .*'south'"):
        read(files=["log.gpkg"])


@pytest.mark.parametrize("name", ["log.gpkg", "log.shp", "log.parquet"])
@pytest.mark.parametrize("point", [None, shapely.Point()], ids=["none", "empty"])
def test_record_without_a_point_is_kept(
    make_log: Make, read: Read, tmp_path: Path, name: str, point: shapely.Point | None
) -> None:
    points = as_points(make_log())
    points.loc[4, "geometry"] = point
    points.to_parquet(tmp_path / name) if name.endswith("parquet") else points.to_file(tmp_path / name)
    harvest = read(files=[name], columns={"mass_flow": {"column": "Flow(lb/s)"}})
    assert len(harvest.points) == 30
    assert np.flatnonzero(harvest.points["easting_m"].isna()).tolist() == [4]
    assert any("1 records have no position" in notice.message for notice in harvest.notices)
