"""Spoil files of every format at random; each is read or refused in one paragraph, and no row is lost unsaid.

Run: PROOFSTRIP_REAL_DATA=... python -m tests.fuzz [MUTATIONS] [SEED]
Real files are spoilt where the folder is named, invented ones of the sample field besides.
"""

import csv
import io
import json
import os
import random
import resource
import shutil
import sqlite3
import sys
import tempfile
import time
import tomllib
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
from click.testing import CliRunner

from proofstrip.cli.main import main as command
from proofstrip.config import HarvestPart, TablePart, config_folder, load_settings
from proofstrip.crops import find_crop
from proofstrip.errors import ProofstripError
from proofstrip.read import read_harvest, read_tickets

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_fields" / "sorghum_lifters"
ROWS = 150
ADDRESS_SPACE = 8_000_000_000
MAX_GROWTH_MB = 700
PIECES = [b"", b"\x00" * 8, b"\xff" * 8, b"\xff\xff\xff\x7f", b"\x00\x00\x00\x80", b"inf", b"nan", b"-1", b"1e400",
          b'"', b"\n", b"\r", b",", b";", b"<", b"&", b"=cmd", b"/vsicurl/http://::1/", b"../../", b"\xef\xbb\xbf",
          b"9" * 400, b"[[[[[[[[", b"{" * 200, b"<!DOCTYPE a [<!ENTITY b 'c'>]>"]  # fmt: skip
# Notices that say which rows are not there as they stand in the file.
SAID = {"log_cut_off", "log_empty", "file_twice", "archive_left_out", "logs_missing"}


def spoil(data: bytes, rng: random.Random) -> bytes:
    """Change bytes in one to six places: turned, overwritten, cut out, put in, moved, or all behind one place lost."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(max(len(out), 1)) if rng.random() < 0.6 else rng.randrange(min(len(out), 200) or 1)
        length = rng.choice([1, 1, 2, 4, 8, 50, 500])
        way = rng.randrange(6)
        if way == 0 and out:
            out[at] ^= 1 << rng.randrange(8)
        elif way == 1:
            out[at : at + length] = rng.choice(PIECES)
        elif way == 2:
            del out[at : at + length]
        elif way == 3:
            out[at:at] = rng.choice(PIECES) if rng.random() < 0.5 else bytes(out[at : at + length])
        elif way == 4:
            out[at : at + 4] = rng.choice([0, 1, 2**31 - 1, 2**32 - 1, len(out), rng.randrange(2**32)]).to_bytes(
                4, rng.choice(["little", "big"])
            )
        elif rng.random() < 0.3:
            del out[at:]
    return bytes(out)


class Bench:
    """A folder of whole files, and for each format what is spoilt in it and how it is tried."""

    def __init__(self, folder: Path, real: Path | None) -> None:
        self.whole, self.spoilt, self.tried = folder / "whole", folder / "spoilt", Counter[tuple[str, str]]()
        self.kind = ""
        self.whole.mkdir(parents=True)
        self._make_files(real)
        self.formats: dict[str, tuple[str, list[str], Callable[[Path], None]]] = {
            "csv": ("log.csv", ["log.csv"], self.try_raw),
            "shapefile": ("log.shp", ["log.shp", "log.dbf", "log.shx", "log.prj"], self.try_raw),
            "geopackage": ("log.gpkg", ["log.gpkg"], self.try_raw),
            "geojson": ("log.geojson", ["log.geojson"], self.try_raw),
            "parquet": ("log.parquet", ["log.parquet"], self.try_raw),
            "task log": ("card", ["card/TASKDATA.XML", "card/TLG00001.XML", "card/TLG00001.BIN"], self.try_raw),
            "zip": ("log.zip", ["log.zip"], self.try_raw),
            "tickets": ("tickets.csv", ["tickets.csv"], self.try_tickets),
            "toml": ("trial.toml", ["trial.toml"], self.try_toml),
        }

    def _make_files(self, real: Path | None) -> None:
        """Write the whole files."""
        lines = (SAMPLE / "harvest.csv").read_text().splitlines(keepends=True)[: ROWS + 1]
        (self.whole / "log.csv").write_text("".join(lines))
        table = pd.read_csv(io.StringIO("".join(lines)))
        where = gpd.points_from_xy(table.pop("Longitude (deg)"), table.pop("Latitude (deg)"), crs=4326)
        points = gpd.GeoDataFrame(table, geometry=where)
        shapes = points.rename(columns={name: f"{name.split(' (')[0][:10]}" for name in table})
        if real is not None:
            shapes = pyogrio.read_dataframe(real / "soybean_contour/points.shp", max_features=ROWS)
        shapes.to_file(self.whole / "log.shp")
        points.to_file(self.whole / "log.gpkg")
        points.to_file(self.whole / "log.geojson")
        points.to_parquet(self.whole / "log.parquet")
        (self.whole / "card").mkdir()
        self._make_card(real)
        with zipfile.ZipFile(self.whole / "log.zip", "w", zipfile.ZIP_DEFLATED) as archive:
            archive.write(self.whole / "log.csv", "log.csv")
        tickets = "strip,Wet weight (lb),Moisture (%)\n" + "".join(f"{n},{900 + n},14.{n}\n" for n in range(1, 9))
        (self.whole / "tickets.csv").write_text(tickets)
        shutil.copy(SAMPLE / "trial.toml", self.whole / "trial.toml")

    def _make_card(self, real: Path | None) -> None:
        """Write task data: the shortest real log, else an invented one."""
        card = self.whole / "card"
        if real is not None:
            shutil.copy(real / "task_log/TASKDATA.XML", card / "TASKDATA.XML")
            for suffix in ("xml", "bin"):
                shutil.copy(real / f"task_log/TLG00006.{suffix}", card / f"TLG00001.{suffix.upper()}")
            return
        (card / "TASKDATA.XML").write_text(
            '<ISO11783_TaskData VersionMajor="4"><DVC A="D" B="x"><DET A="E" B="1" C="1" F="0"/></DVC>'
            '<TSK A="T"><TLG A="TLG00001"/></TSK></ISO11783_TaskData>'
        )
        channels = "".join(f'<DLV A="{ddi}" B="" C="E"/>' for ddi in ("0057", "0063", "0043", "008D"))
        (card / "TLG00001.XML").write_text(f'<TIM A="" D="4"><PTN A="" B="" D=""/>{channels}</TIM>')
        out = b""
        for number in range(ROWS):
            head = (number * 1000).to_bytes(4, "little") + (15_000).to_bytes(2, "little")
            place = (525_000_000 + 180 * number).to_bytes(4, "little") + (100_000_000).to_bytes(4, "little")
            values = enumerate((8_000_000, 145_000, 9000, 1))
            out += head + place + b"\x04\x04" + b"".join(bytes([n]) + v.to_bytes(4, "little") for n, v in values)
        (card / "TLG00001.BIN").write_bytes(out)

    def once(self, kind: str, seed: int) -> None:
        """Spoil one file of a format and try it; whatever is no refusal and no answer is raised."""
        rng, self.kind = random.Random(f"{kind} {seed}"), kind
        name, parts, attempt = self.formats[kind]
        shutil.rmtree(self.spoilt, ignore_errors=True)
        shutil.copytree(self.whole, self.spoilt)
        part = self.spoilt / rng.choice(parts)
        part.write_bytes(spoil(part.read_bytes(), rng))
        attempt(self.spoilt / name)

    def note(self, outcome: str) -> None:
        """Count an outcome of the format at hand."""
        self.tried[self.kind, outcome] += 1

    def try_raw(self, path: Path) -> None:
        """Inspect a raw file as the command does, and read it as a run does."""
        result = CliRunner().invoke(command, ["inspect", str(path), "--crop", "sorghum", "--json"])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert result.exit_code in (0, 1), result.stderr
        columns = {"mass_flow": {"column": "FLOW", "unit": "lb/s"}} if path.suffix == ".shp" else {}
        part = HarvestPart.model_validate({"files": [path.name], "swath": "30 ft", "columns": columns})
        try:
            harvest = read_harvest(part, path.parent, find_crop("sorghum", config_folder()))
        except ProofstripError as fault:
            _check_words(fault)
            assert "\n" not in str(fault)
            self.note("refused")
            return
        self.note("read")
        said = {notice.code for notice in harvest.notices}
        expected = count_rows(path)
        if expected is not None and len(harvest.points) != expected and not said & SAID:
            raise AssertionError(f"{path.name}: {len(harvest.points)} rows read of {expected}, and nothing said")

    def try_tickets(self, path: Path) -> None:
        """Read scale tickets."""
        try:
            tickets = read_tickets(TablePart(file=path.name), path.parent)
        except ProofstripError as fault:
            _check_words(fault)
            self.note("refused")
            return
        self.note("read")
        expected = count_rows(path)
        rows = len(getattr(tickets, "loads", getattr(tickets, "table", ())))
        assert expected is None or rows in (0, expected), f"{rows} of {expected} tickets"

    def try_toml(self, path: Path) -> None:
        """Load a trial file."""
        try:
            load_settings(path)
        except ProofstripError as fault:
            _check_words(fault)
            assert fault.exit_status == 2
            self.note("refused")
            return
        tomllib.loads(path.read_text("utf-8"))
        self.note("read")


def _check_words(fault: ProofstripError) -> None:
    """A refusal says something, and is no memory dump."""
    assert 20 < len(str(fault)) < 6000, f"{len(str(fault))} letters: {str(fault)[:300]}"


def count_rows(path: Path) -> int | None:
    """Count the rows of a file with other means than the project's; none where these cannot."""
    try:
        if path.suffix == ".csv":
            text = path.read_bytes().decode("utf-8-sig")
            rows = [row for row in csv.reader(io.StringIO(text, newline=""), strict=True) if "".join(row).strip()]
            return len(rows) - 1
        if path.suffix == ".geojson":
            return len(json.loads(path.read_text())["features"])
        if path.suffix == ".gpkg":
            with sqlite3.connect(path) as base:
                return int(base.execute("select count(*) from log").fetchone()[0])
        if path.suffix == ".shp":
            # Bytes put into the index are no records: the table beside it has as many as it says.
            listed = int.from_bytes(path.with_suffix(".dbf").read_bytes()[4:8], "little")
            return min((path.with_suffix(".shx").stat().st_size - 100) // 8, listed)
        if path.name == "card":
            return count_log(path / "TLG00001.BIN", (path / "TLG00001.XML").read_text())
    except (ValueError, KeyError, TypeError, csv.Error, sqlite3.Error, OSError):
        pass
    return None


def count_log(path: Path, description: str) -> int | None:
    """Step through a time log; only where its description is the whole one."""
    if description.count('=""') < 7 or "PTN" not in description:
        return None
    data, at, rows = path.read_bytes(), 0, 0
    while at + 15 < len(data):
        at += 16 + 5 * data[at + 15]
        rows += at <= len(data)
    return rows


def main() -> None:
    """Spoil many files, print what happened, and end with 1 when anything but a refusal or an answer did."""
    count, seed = (int(text) for text in (sys.argv[1:] + ["2250", "1"][len(sys.argv) - 1 :])[:2])
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
    real = os.environ.get("PROOFSTRIP_REAL_DATA")
    faults: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), Path(real) if real else None)
        kinds = list(bench.formats)
        began, before = time.monotonic(), 0
        for number in range(count):
            kind = kinds[number % len(kinds)]
            try:
                bench.once(kind, seed * 1_000_000 + number)
            except Exception:  # noqa: BLE001 - whatever it is, it is what this looks for
                bench.note("fault")
                faults.append(f"{kind} {seed * 1_000_000 + number}\n{traceback.format_exc()}")
                print(faults[-1], flush=True)
            if number == 100:
                before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024 - before
        for kind in kinds:
            found = {outcome: bench.tried[kind, outcome] for outcome in ("read", "refused", "fault")}
            print(f"{kind:12}" + ", ".join(f"{number:5d} {outcome}" for outcome, number in found.items()))
        print(
            f"{count} mutations of {len(kinds)} formats, seed {seed}, in {time.monotonic() - began:.0f} s: "
            f"{len(faults)} faults; memory {before} MB, {grown} MB more at the end"
        )
    sys.exit(bool(faults) or grown > MAX_GROWTH_MB)


if __name__ == "__main__":
    main()
