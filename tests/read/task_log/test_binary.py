"""Bytes of a time log -> records."""

from pathlib import Path

import numpy as np
import pytest

from proofstrip.read.task_log.binary import Channel, read_layout, read_log

ALL = "".join(f' {key}=""' for key in "ABCDEFGHI")
# The first record of TLG00001.BIN in the tests of the repository Dudlileif/isoxml_dart (BSD-3, commit 031011f), whose
# position fields A to I are all logged.
RECORD = bytes.fromhex("a98e3203e23adefb221b4a74b5054ea70200020b00060018d7aa5103e23a00")


def write(folder: Path, data: bytes, channels: str = "", position: str = ALL) -> Path:
    (folder / "TLG00001.XML").write_text(f'<TIM A="" D="4"><PTN{position}/>{channels}</TIM>')
    (folder / "TLG00001.BIN").write_bytes(data)
    return folder / "TLG00001.BIN"


def test_published_record(tmp_path: Path) -> None:
    path = write(tmp_path, RECORD)
    log = read_log(path, read_layout(path.with_suffix(".XML")))
    assert len(RECORD) == 31
    assert len(log.starts) == 1
    assert log.field("latitude")[0] == pytest.approx(45.5277534, abs=1e-9)
    assert log.field("longitude")[0] == pytest.approx(9.5777866, abs=1e-9)
    assert log.field("elevation")[0] == pytest.approx(173.902)
    assert [log.field(name)[0] for name in ("status", "satellites")] == [2, 24]
    assert [log.field(name)[0] for name in ("pdop", "hdop")] == pytest.approx([1.1, 0.6])
    # 2021-04-09 14:54:04.969 by the display's clock, 15:28:03.799 by the receiver's: date -u -d '...' +%s.%N.
    assert log.local_s[0] == pytest.approx(1_617_980_044.969)
    assert log.utc_s[0] == pytest.approx(1_617_982_083.799)


def test_values_are_found_by_their_channel_and_carried_forward(tmp_path: Path) -> None:
    # The third record of the same log holds these four values (DDI 0090, 0091, 0092, 018D).
    values = b"\x04" + b"".join(
        bytes([index]) + value.to_bytes(4, "little", signed=True)
        for index, value in enumerate((67_159, 301, -294, 595))
    )
    names = ("0090", "0091", "0092", "018D")
    channels = "".join(f'<DLV A="{name}" B="" C="DET-1"/>' for name in names)
    path = write(tmp_path, RECORD + RECORD[:-1] + values + RECORD, channels)
    log = read_log(path, read_layout(path.with_suffix(".XML")))
    for name, value in zip(names, (67_159, 301, -294, 595), strict=True):
        np.testing.assert_array_equal(log.channel(Channel(int(name, 16), "DET-1")), [np.nan, value, value])
    assert log.count_values(Channel(0x18D, "DET-1")) == 1
    assert np.isnan(log.channel(Channel(0x18D, "DET-9"))).all()


def test_a_value_in_the_description_stands_before_the_first_logged_one(tmp_path: Path) -> None:
    record = RECORD[:-1] + b"\x01\x00" + (7).to_bytes(4, "little")
    path = write(tmp_path, RECORD + record, '<DLV A="0043" B="9" C="DET-1"/>')
    log = read_log(path, read_layout(path.with_suffix(".XML")))
    assert log.channel(Channel(0x43, "DET-1")).tolist() == [9, 7]


def test_the_ends_of_the_range_are_no_values(tmp_path: Path) -> None:
    record = RECORD[:-1] + b"\x01\x00" + (2**31 - 1).to_bytes(4, "little")
    path = write(tmp_path, record, '<DLV A="0057" B="" C="DET-1"/>')
    assert np.isnan(read_log(path, read_layout(path.with_suffix(".XML"))).channel(Channel(0x57, "DET-1")))[0]


def test_a_constant_field_of_the_position_is_not_in_the_records(tmp_path: Path) -> None:
    data = RECORD[:6] + RECORD[6:14] + b"\x00"
    path = write(tmp_path, data, position=' A="" B="" C="120.5" D="4"')
    log = read_log(path, read_layout(path.with_suffix(".XML")))
    assert (log.field("elevation")[0], log.field("status")[0]) == (120.5, 4)
    assert np.isnan(log.field("hdop")[0])
