"""Invented task data of one straight pass to the north, a record a second, ready to be changed in one way."""

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from proofstrip.config import HarvestPart, config_folder
from proofstrip.crops import find_crop
from proofstrip.read import Harvest, read_harvest

DAY = 15_000  # 25 January 2021
MORNING_MS = 8 * 3_600_000
DEVICE = (
    '<DVC A="DVC-1" B="Combine" E="17">'
    '<DET A="DET-1" B="1" C="1" F="0"/>'
    '<DET A="DET-2" B="2" C="2" F="1">{reference}</DET>'
    '<DET A="DET-3" B="3" C="4" F="2"/><DET A="DET-4" B="4" C="4" F="2"/>'
    "{objects}</DVC>"
)


@dataclass
class Log:
    """One time log: what its XML says, and its records as (values by index) dictionaries."""

    channels: Sequence[tuple[str, str]] = (("0057", "DET-2"), ("0063", "DET-2"), ("0043", "DET-2"), ("008D", "DET-2"))
    records: list[dict[int, int]] = field(default_factory=list)
    start_s: int = 0
    step_ms: int = 1000
    length: str = ""
    position: str = 'A="" B="" D=""'
    status: int = 4

    def xml(self) -> str:
        values = "".join(f'<DLV A="{ddi}" B="" C="{element}"/>' for ddi, element in self.channels)
        return f'<?xml version="1.0"?><TIM A="" D="4"><PTN {self.position}/>{values}</TIM>'

    def binary(self) -> bytes:
        out = b""
        for number, values in enumerate(self.records):
            clock = MORNING_MS + self.start_s * 1000 + number * self.step_ms
            north = 525_000_000 + round(number * self.step_ms / 1000 * 180)  # 2 m/s
            out += struct.pack("<IHiiBB", clock, DAY, north, 100_000_000, self.status, len(values))
            out += b"".join(struct.pack("<Bi", index, value) for index, value in values.items())
        return out


def full(count: int = 30, **first: int) -> list[dict[int, int]]:
    """Records with 8 kg/s and 14.5 % in each, the width (9 m) and the work state in the first alone."""
    records = [{0: 8_000_000, 1: 145_000} for _ in range(count)]
    records[0] |= {2: first.get("width", 9000), 3: first.get("state", 1)}
    return records


@pytest.fixture
def write_tasks(tmp_path: Path) -> Callable[..., Path]:
    """Write a folder of task data."""

    def write(*logs: Log, name: str = "task", device: str = "", **said: str) -> Path:
        folder = tmp_path / name
        folder.mkdir(exist_ok=True)
        listed = "".join(
            f'<TLG A="TLG0000{n}" C="1"' + (f' B="{log.length}"' if log.length else "") + "/>"
            for n, log in enumerate(logs, 1)
        )
        device = device or DEVICE.format(reference="", objects="")
        (folder / said.get("file", "TASKDATA.XML")).write_text(
            f'<?xml version="1.0"?><ISO11783_TaskData VersionMajor="{said.get("version", "4")}" VersionMinor="0">'
            f'<PFD A="PFD1" C="Home field"/>{said.get("before", "")}{device}'
            f'<TSK A="TSK1" B="Corn" E="PFD1" G="4">{listed}{said.get("inside", "")}</TSK></ISO11783_TaskData>'
        )
        for number, log in enumerate(logs, 1):
            (folder / f"TLG0000{number}.XML").write_text(log.xml())
            (folder / f"TLG0000{number}.BIN").write_bytes(log.binary())
        return folder

    return write


@pytest.fixture
def read_tasks(tmp_path: Path) -> Callable[..., Harvest]:
    """Read files of this test's folder."""

    def read(*files: str, **settings: Any) -> Harvest:
        part = HarvestPart.model_validate({"files": files or ["task"], **settings})
        return read_harvest(part, tmp_path, find_crop("corn", config_folder()))

    return read
