"""Files, archives and what is in them: each record once, nothing outside, no end without a limit."""

import stat
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from proofstrip.errors import DataError
from proofstrip.read import Harvest, unpack
from proofstrip.read.inputs import open_inputs

Make = Callable[..., pd.DataFrame]
Read = Callable[..., Harvest]


@pytest.fixture
def shapes(make_log: Make, tmp_path: Path) -> Path:
    """Two loads as zipped shapefiles, the second in kilograms a second, with the outline of the field."""
    folder = tmp_path / "shapes"
    folder.mkdir()
    for number, start in ((1, 0), (2, 30)):
        # A shapefile's names have ten characters at most.
        short = {"Duration(s)": "Seconds", "Distance(ft)": "Dist(ft)", "Moisture(%)": "Moisture"}
        log = make_log(start=start).rename(columns={**short, "Speed(mph)": "Speed", "Heading(deg)": "Course deg"})
        points = gpd.GeoDataFrame(
            log.drop(columns=["Longitude", "Latitude"]),
            geometry=gpd.points_from_xy(log["Longitude"], log["Latitude"]),
            crs=4326,
        )
        if number == 2:
            points = points.rename(columns={"Flow(lb/s)": "Flow(kg/s)"})
            points["Flow(kg/s)"] = 9.0
        points.to_file(folder / f"load{number}.shp")
    gpd.GeoDataFrame({"name": ["field"]}, geometry=[shapely.box(-94, 43, -93, 44)], crs=4326).to_file(
        folder / "outline.shp"
    )
    pack(tmp_path / "loads.zip", {file.name: file.read_bytes() for file in folder.iterdir()})
    return folder


def pack(path: Path, members: dict[str, bytes], links: tuple[str, ...] = ()) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            member = zipfile.ZipInfo(name)
            member.compress_type = zipfile.ZIP_DEFLATED
            if name in links:
                member.external_attr = (stat.S_IFLNK | 0o777) << 16
            archive.writestr(member, content)
    return path


def test_zipped_shapefiles_with_mixed_units(shapes: Path, read: Read) -> None:
    harvest = read(files=["loads.zip"])
    points = harvest.points
    assert points["source_file"].value_counts(sort=False).to_dict() == {
        "loads.zip/load1.shp": 30,
        "loads.zip/load2.shp": 30,
    }
    flow = points.groupby("source_file", observed=True)["mass_flow_kg_s"].first().tolist()
    assert flow == pytest.approx([20 * 0.45359237, 9.0])
    said = {notice.code: notice.message for notice in harvest.notices}
    assert "not read from the archive: outline.shp" in said["archive_left_out"]
    assert points["machine"].unique().tolist() == ["1"]


def test_files_of_an_archive_that_stand_beside_it_are_read_once(shapes: Path, read: Read) -> None:
    harvest = read(files=["loads.zip", "shapes/load1.shp"])
    assert len(harvest.points) == 60
    assert any(
        notice.message.startswith("loads.zip/load1.shp is the same, byte by byte, as shapes/load1.shp")
        for notice in harvest.notices
    )


def test_what_is_unpacked_is_gone_afterwards(shapes: Path, tmp_path: Path) -> None:
    with open_inputs(["loads.zip"], tmp_path) as (inputs, _, _):
        paths = [one.path for one in inputs]
        assert all(path.is_file() for path in paths)
    assert not any(path.exists() for path in paths)


def test_tables_of_an_archive_are_read_where_it_holds_nothing_else(make_log: Make, read: Read, tmp_path: Path) -> None:
    table = make_log().to_csv(index=False).encode()
    pack(
        tmp_path / "log.zip", {"day/a.csv": table, "README.txt": b"about", "__MACOSX/._a.csv": b"x", "photo.jpg": b"x"}
    )
    assert len(read(files=["log.zip"]).points) == 30


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("../a.csv", "names a place outside the archive"),
        ("day/../../a.csv", "names a place outside the archive"),
        ("/etc/a.csv", "names a place outside the archive"),
        ("C:\\a.csv", "names a place outside the archive"),
        ("..\\a.csv", "names a place outside the archive"),
        ("a\x1b.csv", "names a place outside the archive"),
    ],
)
def test_members_that_would_land_elsewhere_are_refused(read: Read, tmp_path: Path, name: str, said: str) -> None:
    pack(tmp_path / "log.zip", {"good.csv": b"a,b\n1,2\n", name: b"x"})
    with pytest.raises(DataError, match=said):
        read(files=["log.zip"])
    assert not (tmp_path.parent / "a.csv").exists()


def test_links_are_refused(read: Read, tmp_path: Path) -> None:
    pack(tmp_path / "log.zip", {"log.csv": b"/etc/passwd"}, links=("log.csv",))
    with pytest.raises(DataError, match=r"member 'log.csv' is a link"):
        read(files=["log.zip"])


def test_an_archive_made_to_fill_a_disk_is_refused(read: Read, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pack(tmp_path / "log.zip", {"log.csv": bytes(3_000_000)})
    monkeypatch.setattr(unpack, "FREE_BYTES", 1_000_000)
    with pytest.raises(DataError, match=r"unpacks to more than 200 times as many"):
        read(files=["log.zip"])


def test_an_archive_made_to_fill_a_disk_is_refused_within_the_limits_of_every_day(read: Read, tmp_path: Path) -> None:
    pack(tmp_path / "log.zip", {f"{number}.csv": bytes(40_000_000) for number in range(3)})
    assert (tmp_path / "log.zip").stat().st_size < 200_000
    with pytest.raises(DataError, match=r"unpacks to more than 200 times as many \(above 50,000,000\)"):
        read(files=["log.zip"])


def test_a_size_that_is_declared_is_not_trusted(read: Read, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = pack(tmp_path / "log.zip", {"log.csv": bytes(3_000_000)})
    data = path.read_bytes()
    assert data.count((3_000_000).to_bytes(4, "little")) == 2
    path.write_bytes(data.replace((3_000_000).to_bytes(4, "little"), (100).to_bytes(4, "little")))
    monkeypatch.setattr(unpack, "FREE_BYTES", 1_000_000)
    with pytest.raises(DataError, match=r"log.zip: (cannot be unpacked|the archive of)"):
        read(files=["log.zip"])


def test_too_many_members_are_refused(read: Read, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unpack, "MAX_MEMBERS", 3)
    pack(tmp_path / "log.zip", {f"{number}.csv": b"x" for number in range(4)})
    with pytest.raises(DataError, match="the archive holds 4 files; at most 3"):
        read(files=["log.zip"])


@pytest.mark.parametrize(
    ("members", "said"),
    [
        ({"photo.jpg": b"x"}, r"holds no file of raw records \(photo.jpg\)"),
        ({}, r"holds no file of raw records \(no file\)"),
        (
            {"[Content_Types].xml": b"<x/>", "xl/sheet.xml": b"<x/>"},
            "the content is a spreadsheet; save the sheet as CSV",
        ),
        ({"inner.zip": b"PK\x03\x04rest"}, "it holds another archive, 'inner.zip'"),
    ],
)
def test_archives_without_raw_files(read: Read, tmp_path: Path, members: dict[str, bytes], said: str) -> None:
    pack(tmp_path / "log.zip", members)
    with pytest.raises(DataError, match=said):
        read(files=["log.zip"])


def test_a_member_that_stands_twice_is_refused(read: Read, tmp_path: Path) -> None:
    with pytest.warns(UserWarning, match="Duplicate name"), zipfile.ZipFile(tmp_path / "log.zip", "w") as archive:
        archive.writestr("log.csv", "a")
        archive.writestr("log.csv", "b")
    with pytest.raises(DataError, match="stands twice"):
        read(files=["log.zip"])
