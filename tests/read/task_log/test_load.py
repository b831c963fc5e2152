"""Task data -> the points that every format gives."""

import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.read.task_log.conftest import DEVICE, Log, full

from proofstrip.errors import DataError
from proofstrip.read import Harvest
from proofstrip.read.files import hash_file, list_parts

Write = Callable[..., Path]
Read = Callable[..., Harvest]


def codes(harvest: Harvest) -> dict[str, str]:
    return {notice.code: notice.message for notice in harvest.notices}


def test_the_points_are_those_of_every_format(write_tasks: Write, read_tasks: Read) -> None:
    write_tasks(Log(records=full()))
    points = read_tasks().points
    assert len(points) == 30
    assert (points["mass_flow_kg_s"] == 8.0).all()
    assert points["moisture_pct"].to_numpy() == pytest.approx(14.5)
    assert points["swath_m"].to_numpy() == pytest.approx(9.0)
    assert points["header_down"].all()
    assert points["speed_m_s"].median() == pytest.approx(2.0, rel=0.01)
    assert points["source_file"].unique().tolist() == ["task/TLG00001.BIN"]
    assert points["source_row"].tolist() == list(range(1, 31))
    assert points["machine"].unique().tolist() == ["Combine 17"]
    # 15,000 days after 1980-01-01 is 2021-01-25: date -u -d '1980-01-01 +15000 days 08:00' +%s.
    assert points["time"].iloc[0] == 1_611_561_600


@pytest.mark.parametrize("version", ["3", "4"])
@pytest.mark.parametrize("file", ["TASKDATA.XML", "TaskData.xml", "taskdata.XML"])
def test_versions_and_case_of_names(write_tasks: Write, read_tasks: Read, version: str, file: str) -> None:
    folder = write_tasks(Log(records=full()), version=version, file=file)
    (folder / "TLG00001.BIN").rename(folder / "tlg00001.bin")
    assert len(read_tasks().points) == 30
    assert len(read_tasks(f"task/{file}").points) == 30
    assert "task_version" not in codes(read_tasks())


def test_a_version_that_is_not_known_is_said(write_tasks: Write, read_tasks: Read) -> None:
    write_tasks(Log(records=full()), version="7")
    assert "its version is '7'" in codes(read_tasks())["task_version"]


def test_several_logs_and_those_that_are_missing(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(10)), Log(records=full(20), start_s=600), Log(records=full(5), start_s=1200))
    (folder / "TLG00003.BIN").unlink()
    harvest = read_tasks()
    assert harvest.points["source_file"].value_counts(sort=False).tolist() == [10, 20]
    assert harvest.points["source_row"].tolist() == [*range(1, 11), *range(1, 21)]
    assert codes(harvest)["logs_missing"].endswith("1 of the 3 logs that it lists are not in its folder: TLG00003.")
    one = read_tasks("task/TLG00002.BIN")
    assert len(one.points) == 20
    assert "logs_missing" not in codes(one)


def test_values_are_not_carried_from_one_log_into_the_next(write_tasks: Write, read_tasks: Read) -> None:
    second = full(20)
    del second[0][2]
    write_tasks(Log(records=full(10)), Log(records=second, start_s=600))
    assert read_tasks().points["swath_m"].isna().tolist() == [False] * 10 + [True] * 20


def test_a_log_that_was_exported_twice_is_read_once(write_tasks: Write, read_tasks: Read) -> None:
    write_tasks(Log(records=full(10)), name="monday")
    write_tasks(Log(records=full(10)), Log(records=full(20), start_s=600), name="tuesday")
    harvest = read_tasks("monday", "tuesday")
    assert len(harvest.points) == 30
    assert "tuesday/TLG00001.BIN is the same, byte by byte, as monday/TLG00001.BIN" in codes(harvest)["file_twice"]


def test_a_zip_is_read_as_its_folder(write_tasks: Write, read_tasks: Read, tmp_path: Path) -> None:
    folder = write_tasks(Log(records=full(10)))
    with zipfile.ZipFile(tmp_path / "card.zip", "w") as archive:
        for file in folder.iterdir():
            archive.write(file, f"TASKDATA/{file.name}")
        archive.writestr("TASKDATA/readme.txt", "from the display")
    harvest = read_tasks("card.zip")
    assert harvest.points["source_file"].unique().tolist() == ["card.zip/TASKDATA/TLG00001.BIN"]
    (source,) = harvest.sources
    assert (source.path.name, source.sha256) == ("card.zip", hash_file(tmp_path / "card.zip"))


def test_a_log_that_is_cut_off_keeps_its_whole_records(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)))
    log = folder / "TLG00001.BIN"
    log.write_bytes(log.read_bytes()[:-3])
    harvest = read_tasks()
    assert len(harvest.points) == 29
    assert "23 bytes after record 29 are left out" in codes(harvest)["log_cut_off"]


def test_zeros_after_the_records_are_no_records(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)))
    with (folder / "TLG00001.BIN").open("ab") as stream:
        stream.write(bytes(4096))
    harvest = read_tasks()
    assert len(harvest.points) == 30
    assert "4,096 bytes after record 30" in codes(harvest)["log_cut_off"]


def test_an_empty_log_is_said_and_all_empty_refused(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)), Log())
    assert "TLG00002.BIN: the file is empty (0 bytes)" in codes(read_tasks())["log_empty"]
    (folder / "TLG00001.BIN").write_bytes(b"")
    with pytest.raises(DataError, match=r"time logs \(TLG00001.BIN, TLG00002.BIN\) hold no whole record"):
        read_tasks()


def test_bytes_that_do_not_fit_the_description_are_refused_with_counts(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)))
    description = folder / "TLG00001.XML"
    description.write_text(description.read_text().replace('D=""', 'D="" G=""'))
    with pytest.raises(
        DataError, match=r"TLG00001.BIN: \d records can be read; from byte \d+ on, the remaining \d+ of 790 bytes"
    ):
        read_tasks()


def test_channels_that_the_description_does_not_list_are_counted(write_tasks: Write, read_tasks: Read) -> None:
    records = [{**record, 9: 5} for record in full(30)]
    write_tasks(Log(records=records))
    harvest = read_tasks()
    assert "30 values are of channels that TLG00001.xml does not list" in codes(harvest)["channel_unknown"]
    assert (harvest.points["mass_flow_kg_s"] == 8.0).all()


def test_what_the_task_file_says_otherwise_is_said(write_tasks: Write, read_tasks: Read) -> None:
    channels = (*Log().channels, ("005A", "DET-2"))
    records = [{**record, 4: 8 * number} for number, record in enumerate(full(30))]
    span = '<TIM A="2021-01-25T08:00:00" B="2021-01-25T08:01:00" D="4"><DLV A="005A" B="{}" C="DET-2"/></TIM>'
    write_tasks(Log(channels, records, length="999"), inside=span.format(9000))
    said = codes(read_tasks())
    assert "the task file says 999 bytes, the file has 940" in said["log_size_differs"]
    assert "grows by 232 kg, and the task file says 9,000 kg" in said["log_total_differs"]
    write_tasks(Log(channels, records), inside=span.format(232))
    assert not {"log_size_differs", "log_total_differs", "log_time_differs"} & set(codes(read_tasks()))
    write_tasks(Log(channels, records), inside=span.format(232).replace("01-25", "03-25"))
    assert "2021-01-25 08:00, outside all hours" in codes(read_tasks())["log_time_differs"]


def test_a_record_without_a_date_loses_its_time_only(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)))
    log = folder / "TLG00001.BIN"
    data = bytearray(log.read_bytes())
    data[0:6] = bytes(6)
    log.write_bytes(data)
    harvest = read_tasks()
    assert len(harvest.points) == 30
    assert harvest.points["time"].isna().tolist() == [True] + [False] * 29
    assert (harvest.points["swath_m"] == 9).all()
    assert "1 of 30 records have a date or clock that cannot be" in codes(harvest)["record_undated"]


def test_a_log_without_its_description_is_refused(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)))
    (folder / "TLG00001.XML").unlink()
    with pytest.raises(DataError, match=r"TLG00001.XML is not beside it"):
        read_tasks()


def test_the_receiver_s_clock_goes_before_the_display_s(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30), position='A="" B="" D="" H="" I=""'))
    out = b""
    for number in range(30):
        out += struct.pack("<IHiiBIHB", number * 1000, 15_000, 525_000_000 + 180 * number, 100_000_000, 4,
                           7_200_000 + number * 1000, 15_000, 4)  # fmt: skip
        out += b"".join(struct.pack("<Bi", *pair) for pair in enumerate((8_000_000, 145_000, 9000, 1)))
    (folder / "TLG00001.BIN").write_bytes(out)
    harvest = read_tasks()
    assert harvest.points["time"].iloc[0] == 1_611_532_800 + 7200
    assert "time_zone" not in codes(harvest)


def test_no_position_where_the_receiver_has_none(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)))
    log = folder / "TLG00001.BIN"
    data = bytearray(log.read_bytes())
    data[14] = 0
    log.write_bytes(data)
    harvest = read_tasks()
    assert harvest.points["easting_m"].isna().sum() == 1
    assert "1 records that it has no position" in codes(harvest)["no_position"]
    # A receiver that always says so and has positions does not mean it.
    write_tasks(Log(records=full(30), status=0))
    assert read_tasks().points["easting_m"].notna().all()


def test_what_the_display_ignores_is_said_and_shifts_nothing(write_tasks: Write, read_tasks: Read) -> None:
    records = full(30)
    records[0] |= {4: 4000, 5: 2500}
    write_tasks(Log((*Log().channels, ("0103", "DET-2"), ("0104", "DET-2")), records))
    said = codes(read_tasks())["display_ignores"]
    assert "yield lag ignore time 4 s and yield lead ignore time 2.5 s" in said


def test_mass_per_area_where_no_flow_is_logged(write_tasks: Write, read_tasks: Read) -> None:
    channels = (("0054", "DET-2"), *Log().channels[1:])
    records = [{**record, 0: 1_000_000} for record in full(30)]
    write_tasks(Log(channels, records))
    # 1,000,000 mg/m2 are 1 kg/m2; 9 m at 2 m/s are 18 m2/s.
    assert read_tasks().points["mass_flow_kg_s"].median() == pytest.approx(18.0, rel=0.01)


def test_an_unknown_channel_can_be_named_in_the_unit_that_the_device_shows(
    write_tasks: Write, read_tasks: Read
) -> None:
    device = DEVICE.format(
        reference='<DOR A="20"/>',
        objects='<DPD A="20" B="EA7E" E="Driving" F="30"/><DVP A="30" B="0" C="0.1" E="km/h"/>',
    )
    records = [{**record, 4: 72} for record in full(30)]
    write_tasks(Log((*Log().channels, ("EA7E", "DET-2")), records), device=device)
    points = read_tasks(columns={"speed": {"column": "EA7E Driving DET-2 (km/h)", "unit": "km/h"}}).points
    assert points["speed_m_s"].to_numpy() == pytest.approx(2.0)


def test_fragments_are_read_from_the_folder_only(write_tasks: Write, read_tasks: Read, tmp_path: Path) -> None:
    device = DEVICE.format(reference="", objects="")
    folder = write_tasks(Log(records=full(30)), device='<XFR A="DVC00001" B="1"/>')
    with pytest.raises(DataError, match=r"it refers to DVC00001.XML, which is not in its folder"):
        read_tasks()
    (folder / "dvc00001.xml").write_text(f"<XFC>{device}</XFC>")
    assert read_tasks().points["machine"].unique().tolist() == ["Combine 17"]
    assert [part.name for part in list_parts(folder / "TASKDATA.XML")] == [
        "TASKDATA.XML",
        "dvc00001.xml",
        "TLG00001.BIN",
        "TLG00001.XML",
    ]
    (tmp_path / "out.xml").write_text(f"<XFC>{device}</XFC>")
    for name in ("../out", "/etc/passwd", "out", "http://example.org/DVC00001"):
        write_tasks(Log(records=full(30)), device=f'<XFR A="{name}" B="1"/>')
        with pytest.raises(DataError, match="three letters and five digits"):
            read_tasks()
    write_tasks(Log(records=full(30)), device='<XFR A="OUT00001" B="1"/>')
    (folder / "OUT00001.XML").symlink_to(tmp_path / "out.xml")
    with pytest.raises(DataError, match="not in its folder"):
        read_tasks()


BILLION = '<!DOCTYPE t [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
OUTSIDE = '<!DOCTYPE t [<!ENTITY a SYSTEM "file:///etc/passwd">]>'


@pytest.mark.parametrize("hostile", [BILLION, OUTSIDE, '<!DOCTYPE t SYSTEM "http://example.org/t.dtd">'])
@pytest.mark.parametrize("name", ["TASKDATA.XML", "TLG00001.XML"])
def test_entities_and_document_types_are_refused(write_tasks: Write, read_tasks: Read, hostile: str, name: str) -> None:
    folder = write_tasks(Log(records=full(30)))
    text = (folder / name).read_text().removeprefix('<?xml version="1.0"?>')
    (folder / name).write_text(hostile + text)
    with pytest.raises(DataError, match=rf"{name}: the file declares a document type or entities"):
        read_tasks()


def test_either_half_of_a_log_names_it(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(10)), Log(records=full(20), start_s=600))
    assert len(read_tasks("task/TLG00002.XML").points) == 20
    assert len(read_tasks("task/TLG00002.XML", "task/TLG00002.BIN").points) == 20
    (folder / "TLG00002.BIN").unlink()
    with pytest.raises(DataError, match=r"TLG00002.XML: TLG00002.BIN, which holds the records .* is not beside it"):
        read_tasks("task/TLG00002.XML")


def test_what_belongs_to_a_single_log(write_tasks: Write) -> None:
    folder = write_tasks(Log(records=full(10)), Log(records=full(20), start_s=600))
    (folder / "DVC00000.XML").write_text("<XFC/>")
    (folder / "notes.txt").write_text("of nobody")
    parts = {path.name for path in list_parts(folder / "TLG00002.BIN")}
    assert parts == {"TLG00002.BIN", "TLG00002.XML", "TASKDATA.XML", "DVC00000.XML"}
    before = hash_file(folder / "TLG00002.BIN")
    (folder / "TLG00001.XML").write_text("")
    assert hash_file(folder / "TLG00002.BIN") == before
    (folder / "DVC00000.XML").write_text("<XFC></XFC>")
    assert hash_file(folder / "TLG00002.BIN") != before


def test_an_archive_of_what_stands_beside_it_is_a_file_of_the_trial(write_tasks: Write, read_tasks: Read) -> None:
    folder = write_tasks(Log(records=full(30)))
    with zipfile.ZipFile(folder.parent / "card.zip", "w") as archive:
        for path in folder.iterdir():
            archive.write(path, f"card/{path.name}")
    harvest = read_tasks("task", "card.zip")
    assert len(harvest.points) == 30
    assert {source.path.name: source.rows for source in harvest.sources} == {"TASKDATA.XML": 30, "card.zip": 0}
