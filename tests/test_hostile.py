"""What files and names from strangers could do, and that nothing of it happens."""

import io
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from proofstrip.cells import guard, guard_frame, unguard
from proofstrip.cli.main import main
from proofstrip.cli.run import folder_name
from proofstrip.cli.stats import read_table
from proofstrip.errors import DataError
from proofstrip.read.files import find_files

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


@pytest.mark.parametrize("name", ["PG:dbname=farm", "GPKG:a.csv:b", "a.zip!b.csv", "<b>.csv", "-x.csv", "a b\n.csv"])
def test_a_file_that_is_there_is_only_a_file(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("Longitude,Latitude\n1,2\n")
    ((path, _),) = find_files([name], tmp_path)[0].items()
    assert path.is_absolute()


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
