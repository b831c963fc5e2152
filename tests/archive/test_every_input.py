"""A trial with every kind of input is archived byte for byte, looked through, and run again from the archive alone."""

import datetime as dt
import json
import shutil
import struct
import zipfile
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner
from shapely.geometry import box
from tests.archive.conftest import EXCLUSIONS, SMALL, TERMS

from proofstrip.cli.main import main
from proofstrip.config import load_settings
from proofstrip.run import run_trial
from proofstrip.season.task import is_current
from proofstrip.simulate import Simulated, render_folder, simulate_harvest

CHANNELS = ("0057", "0063", "0043", "008D", "018D")
TASKDATA = (
    '<?xml version="1.0"?><ISO11783_TaskData VersionMajor="4" VersionMinor="0">'
    '<DVC A="DVC-1" B="combine" E="1"><DET A="DET-1" B="1" C="1" F="0"/><DET A="DET-2" B="2" C="2" F="1"/></DVC>'
    '<TSK A="TSK1" B="Harvest" G="4"><TLG A="TLG00001" C="1"/></TSK></ISO11783_TaskData>'
)


PLACE = {"time": 1e3, "latitude": 1e7, "longitude": 1e7}
DAY_MS = 86_400_000
FIRST_DAY_MS = round(dt.datetime(1980, 1, 1, tzinfo=dt.UTC).timestamp()) * 1000


def write_card(records: pd.DataFrame, folder: Path) -> None:
    """Write records as a folder of task data, with the receiver's clock in UTC."""
    folder.mkdir()
    (folder / "TASKDATA.XML").write_text(TASKDATA, encoding="utf-8")
    values = "".join(f'<DLV A="{ddi}" B="" C="DET-2"/>' for ddi in CHANNELS)
    layout = f'<?xml version="1.0"?><TIM A="" D="4"><PTN A="" B="" D="" H="" I=""/>{values}</TIM>'
    (folder / "TLG00001.XML").write_text(layout, encoding="utf-8")
    # ISO 11783-10: ms of the day, days since 1980, degrees x 1e7; ISO 11783-11: mg/s, ppm, mm, state, mm/s.
    scales = {"mass_flow_kg_s": 1e6, "moisture_pct": 1e4, "swath_m": 1e3, "header_down": 1, "speed_m_s": 1e3}
    whole = records.assign(header_down=records["header_down"].astype(int))
    whole = pd.DataFrame({name: whole[name] * scale for name, scale in ({**PLACE, **scales}).items()})
    whole = whole.round().astype("int64")
    clock = whole["time"] - FIRST_DAY_MS
    columns = zip(clock % DAY_MS, clock // DAY_MS, *(whole[name] for name in whole if name != "time"), strict=True)
    out = b""
    for clock, day, north, east, *measured in columns:
        out += struct.pack("<IHiiBIHB", clock, day, north, east, 4, clock, day, len(measured))
        out += b"".join(struct.pack("<Bi", *pair) for pair in enumerate(measured))
    (folder / "TLG00001.BIN").write_bytes(out)


def write_everything(here: Path, harvest: Simulated, card: str) -> Path:
    """Write a trial whose harvest stands half in an archive and half on a card, with all tables beside it."""
    here.mkdir(parents=True)
    texts = render_folder(harvest)
    for name in ("trial_map.geojson", "tickets.csv", "ground_counts.csv"):
        (here / name).write_text(texts[name], encoding="utf-8")
    lines = texts["harvest.csv"].splitlines(keepends=True)
    half = len(harvest.records) // 2
    (here / "raw").mkdir()
    with zipfile.ZipFile(here / "raw" / "first half.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("export/log.csv", "".join(lines[: half + 1]))
        archive.writestr("export/readme.txt", "an invented log")
    write_card(harvest.records.iloc[half:], here / "card")
    edges = harvest.trial_map.total_bounds
    middle = (edges[1] + edges[3]) / 2
    halves = [box(edges[0], edges[1], edges[2], middle), box(edges[0], middle, edges[2], edges[3])]
    gpd.GeoDataFrame({"zone": ["south", "north"]}, geometry=halves, crs=harvest.trial_map.crs).to_file(
        here / "zones.gpkg"
    )
    excluded = json.dumps(EXCLUSIONS).replace('"reason"', '"source_file": "card/TLG00001.BIN", "reason"')
    (here / "exclusions.geojson").write_text(excluded, encoding="utf-8")
    text = texts["trial.toml"].replace('["harvest.csv"]', f'["raw/*.zip", "{card}"]')
    (here / "trial.toml").write_text(f'{text}{TERMS}\n[zones]\nfile = "zones.gpkg"\n', encoding="utf-8")
    return here / "trial.toml"


def read_all(folder: Path) -> dict[str, bytes]:
    """Read every file below a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module", params=["card", "card/TLG00001.BIN"], ids=["folder", "single log"])
def farm(request, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run the trial and archive it; gives the folder that holds trial, run and archive."""
    root = tmp_path_factory.mktemp("every")
    harvest = simulate_harvest(replace(SMALL, tickets=True, counts=True), 1)
    trial = write_everything(root / "trial", harvest, request.param)
    run_trial(load_settings(trial), root / "run")
    done = CliRunner().invoke(main, ["archive", str(root / "run"), "--to", str(root / "archive")])
    assert done.exit_code == 0, done.output
    return root


def test_every_raw_file_is_there_byte_for_byte(farm):
    (item,) = (farm / "archive").glob("trials/*/*")
    raw = {
        path.relative_to(farm / "trial"): path.read_bytes() for path in (farm / "trial").rglob("*") if path.is_file()
    }
    kept = {
        path.relative_to(item / "source"): path.read_bytes() for path in (item / "source").rglob("*") if path.is_file()
    }
    assert len(raw) == 10
    assert kept == raw


def test_every_role_is_told(farm):
    (item,) = (farm / "archive").glob("trials/*/*")
    entities = json.loads((item / "provenance.json").read_text("utf-8"))["entity"]
    roles = {row["ps:role"] for name, row in entities.items() if name.startswith("item:input")}
    assert roles == {"harvest", "trial_map", "scale", "ground_loss", "zones", "exclusions"}
    result = json.loads((item / "result.json").read_text("utf-8"))
    assert result["scale"] is not None and result["ground_loss"] is not None and result["zones"]


def test_it_runs_again_from_the_archive_alone(farm, tmp_path):
    shutil.copytree(farm / "archive", tmp_path / "archive")
    done = CliRunner().invoke(main, ["verify", str(tmp_path / "archive"), "--rerun"])
    assert done.exit_code == 0, done.output
    assert "each trial run again with the same result" in done.stdout


def test_a_season_leaves_it_as_it_is(farm):
    assert is_current(farm / "run", load_settings(farm / "trial" / "trial.toml"))
