"""A real folder of task data: a forage harvester, ISO 11783-10, of which three logs of 21 are there."""

import os
from pathlib import Path

import numpy as np
import pytest

from proofstrip.config import HarvestPart
from proofstrip.read import Harvest, read_harvest
from proofstrip.read.task_log.binary import Channel, TimeLog, read_layout, read_log

FOLDER = os.environ.get("PROOFSTRIP_REAL_DATA")
pytestmark = pytest.mark.skipif(FOLDER is None, reason="PROOFSTRIP_REAL_DATA does not name the folder of real data")


def log(number: int) -> TimeLog:
    path = Path(str(FOLDER)) / "task_log" / f"TLG0000{number}.bin"
    return read_log(path, read_layout(path.with_suffix(".xml")))


@pytest.fixture(scope="module")
def harvest() -> Harvest:
    return read_harvest(HarvestPart.model_validate({"files": ["task_log"]}), Path(str(FOLDER)), None)


def test_published_counts() -> None:
    # Repository dev4Agriculture/isoxml-dotnet (Apache-2.0), tests of testdata/TimeLogs/ValidTimeLogs: 4,716 records,
    # 26 channels, 4,716 values of DDI 141, 560 of DDI 148, 2020-01-02; the last area of log 1 is 48,300 m2.
    first = log(1)
    assert len(first.starts) == 4716
    assert len(first.layout.channels) == 26
    assert first.count_values(Channel(0x8D, "DET-1")) == 4716
    assert first.count_values(Channel(0x94, "DET-1")) == 560
    assert first.channel(Channel(0x74, "DET-1"))[-1] == 48_300
    assert np.datetime64(int(first.local_s[0]), "s") == np.datetime64("2020-01-02T17:30:20")
    assert (first.left_bytes, first.count_unknown(), first.dated.all()) == (0, 0, True)


def test_published_total_and_the_integral_of_the_flow() -> None:
    # The same tests: DDI 90 of log 2 grows by 242,461 kg. The integral over the steps of time is 0.05 % off.
    second = log(2)
    total = second.channel(Channel(0x5A, "DET-1"))
    assert (total[0], total[-1], total[-1] - total[0]) == (20, 242_481, 242_461)
    flow = second.channel(Channel(0x57, "DET-1")) * 1e-6
    steps = np.diff(second.local_s, prepend=second.local_s[0])
    assert float((flow * steps).sum()) == pytest.approx(242_461, rel=6e-4)


def test_points_of_the_folder(harvest: Harvest) -> None:
    points = harvest.points
    assert points["source_file"].value_counts(sort=False).tolist() == [4716, 4135, 187]
    mass = (points["mass_flow_kg_s"] * points["duration_s"]).groupby(points["source_file"], observed=True).sum()
    # The task file's own totals, kg; pauses of more than five seconds count as one step here.
    assert mass.to_numpy() == pytest.approx([259_605, 242_461, 10_177], rel=2e-3)
    assert points["header_down"].sum() == 2772 + 2412 + 126
    assert set(points["swath_m"].unique()) <= {9, 8.25, 6.75, 6, 5.25, 4.5, 3}
    assert not points[["easting_m", "mass_flow_kg_s", "moisture_pct", "swath_m", "time"]].isna().any().any()


def test_logs_that_are_absent_are_named(harvest: Harvest) -> None:
    said = {notice.code: notice.message for notice in harvest.notices}
    assert said["logs_missing"].startswith(
        "TASKDATA.XML: 18 of the 21 logs that it lists are not in its folder: TLG00003"
    )
    assert not [code for code in said if code.startswith(("log_", "channel", "record"))]
