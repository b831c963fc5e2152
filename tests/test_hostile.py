"""What files and names from strangers could do, and that nothing of it happens."""

import io
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyproj
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from proofstrip.cells import guard, guard_frame, unguard
from proofstrip.cli.main import main
from proofstrip.cli.run import folder_name
from proofstrip.cli.stats import read_table
from proofstrip.config import GroundLossPart, HarvestPart, TablePart, ZonesPart, load_settings
from proofstrip.errors import DataError
from proofstrip.read import read_counts, read_harvest, read_tickets, read_trial_map
from proofstrip.read.files import find_files
from proofstrip.read.zones import read_zones

GDAL_NAMES = [
    "/vsicurl/http://example.org/a.csv",
    "/vsizip/log.zip/a.csv",
    "/vsizip//etc/log.zip",
    "\\vsicurl\\http:\\\\example.org",
    "http://example.org/a.geojson",
    "PG:dbname=farm",
    "MYSQL:farm,user=root",
    "GPKG:log.gpkg:points",
    "WFS:http://example.org",
    "OCI:user/secret",
    '<OGRVRTDataSource><OGRVRTLayer name="a"/></OGRVRTDataSource>',
]


@pytest.mark.parametrize("name", GDAL_NAMES)
def test_names_that_mean_more_than_a_file_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(DataError):
        find_files([name], tmp_path)
    result = CliRunner().invoke(main, ["inspect", name])
    assert result.exit_code == 1
    assert result.stderr.startswith("proofstrip: ")


@pytest.mark.parametrize("name", ["PG:dbname=farm", "GPKG:a.csv:b", "a.zip!b.csv", "<b>.csv", "-x.csv", "a  b.csv"])
def test_a_file_that_is_there_is_only_a_file(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("Longitude,Latitude\n1,2\n")
    ((path, _),) = find_files([name], tmp_path)[0].items()
    assert path.is_absolute()


@pytest.mark.parametrize("name", ["a\x1b[31m.csv", "a\nb.csv", "a\x9b.csv"])
def test_a_file_name_that_would_steer_a_terminal_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("Longitude,Latitude\n1,2\n")
    for pattern in (name, "*.csv"):
        with pytest.raises(DataError, match="holds control characters; rename it"):
            find_files([pattern], tmp_path)


@pytest.mark.parametrize("text", ['name = "a\\u001b[31m"', 'notes = "a\\u009b"', '"a\\u0007" = 1'])
def test_a_setting_that_would_steer_a_terminal_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "trial.toml").write_text(f"[trial]\n{text}\n")
    result = CliRunner().invoke(main, ["run", str(tmp_path / "trial.toml")])
    assert result.exit_code == 2
    assert "holds a control character; take it out" in result.stderr
    assert not set(result.output) & {"\x1b", "\x07", "\x9b"}


@pytest.mark.parametrize("part", ["trial_map", "scale", "ground_loss", "zones", "harvest"])
@pytest.mark.parametrize("name", ["/vsicurl/http://127.0.0.1:9/a.tif", "/vsizip/log.zip/a.csv", "http://127.0.0.1:9/a"])
def test_no_setting_names_a_virtual_or_network_path(
    tmp_path: Path, copy_sample: Callable[[Path], Path], part: str, name: str
) -> None:
    settings = load_settings(copy_sample(tmp_path / "field"))
    crop, crs = settings.trial.crop, pyproj.CRS(32615)
    points = gpd.GeoDataFrame(geometry=[shapely.Point(0, 0)], crs=crs)
    readers: dict[str, Callable[[], object]] = {
        "trial_map": lambda: read_trial_map(settings.trial_map.model_copy(update={"file": name}), settings.folder),
        "scale": lambda: read_tickets(TablePart(file=name), settings.folder),
        "ground_loss": lambda: read_counts(GroundLossPart(file=name), settings.folder, {"1"}),
        "zones": lambda: read_zones(ZonesPart(file=name), settings.folder, points),
        "harvest": lambda: read_harvest(HarvestPart(files=(name,)), settings.folder, crop, crs),
    }
    with pytest.raises(DataError, match="is a virtual or network path"):
        readers[part]()


@pytest.mark.parametrize("content", ["<OGRVRTDataSource/>", "<?xml version='1.0'?><kml/>", "<html></html>"])
def test_xml_that_gdal_would_follow_is_refused(tmp_path: Path, content: str) -> None:
    for name in ("log.csv", "log.vrt", "log.xml", "log"):
        (tmp_path / name).write_text(content)
        result = CliRunner().invoke(main, ["inspect", str(tmp_path / name)])
        assert result.exit_code == 1
        assert "the content is XML or HTML" in result.stderr


@pytest.mark.parametrize("name", ["../../etc", "/etc/passwd", "..", "a\\..\\b", "C:\\x", "\x00", "=1+1", "a\nb"])
def test_a_trial_s_name_makes_one_folder_below_runs(name: str) -> None:
    made = folder_name(name)
    assert made
    assert not set(made) & set("/\\:.\0\n=")


@settings(max_examples=300, deadline=None)
@given(st.text())
def test_a_guarded_name_is_no_formula_and_comes_back(text: str) -> None:
    # OWASP, CSV Injection: cells that start with = + - @, tab or carriage return are taken for formulas.
    written = guard(text)
    assert unguard(written) == text or not written.startswith("'")
    assert unguard(written) == text
    if written[:1] in tuple("=+-@\t\r"):
        float(written)


def test_formulas_in_names_are_harmless_in_tables_and_come_back(tmp_path: Path) -> None:
    table = pd.DataFrame(
        {"strip": ["1", "2"], "treatment": ["=cmd|' /C calc'!A0", "-25 % N"], "yield_kg_ha": [-1.5, 2]}
    )
    out = io.StringIO()
    guard_frame(table).to_csv(out, index=False)
    assert [line.split(",")[1][0] for line in out.getvalue().splitlines()[1:]] == ["'", "'"]
    (tmp_path / "strips.csv").write_text(out.getvalue())
    assert read_table(tmp_path / "strips.csv")["treatment"].tolist() == table["treatment"].tolist()
