"""Bad input ends in a warning or in one clear paragraph: never in a traceback, never in a silent loss of rows."""

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner, Result
from shapely import affinity

from proofstrip.cli.main import main

SAMPLE = Path(__file__).parents[2] / "sample_fields" / "sorghum_lifters"
FLOW, TIME, MOISTURE, LATITUDE = "Mass flow (lb/s)", "Time (UTC)", "Moisture (%)", "Latitude (deg)"
LONGITUDE = "Longitude (deg)"
PICTURE = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    """A copy of the invented sample."""
    folder = tmp_path / "trial"
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("runs"))
    return folder


@pytest.fixture
def fast(monkeypatch):
    """Leave out the report, which has its own tests and takes most of the time."""
    monkeypatch.setattr("proofstrip.run.write_report", lambda material, folder: None)


def run(folder: Path) -> Result:
    return CliRunner().invoke(main, ["run", str(folder / "trial.toml"), "--out", str(folder / "out")])


def edit(folder: Path, change: Callable[[pd.DataFrame], pd.DataFrame]) -> int:
    """Change the raw records; give how many there are."""
    frame = change(pd.read_csv(folder / "harvest.csv", dtype=str))
    frame.to_csv(folder / "harvest.csv", index=False)
    return len(frame)


def settle(folder: Path, old: str, new: str) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "trial.toml").write_text(text.replace(old, new), encoding="utf-8")


def edit_map(folder: Path, change: Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame], name: str = "map.geojson") -> None:
    changed = change(gpd.read_file(folder / "trial_map.geojson"))
    # GeoJSON keeps degrees only (RFC 7946, section 4).
    path = folder / (name if changed.crs.is_geographic else "map.gpkg")
    changed.to_file(path)
    settle(folder, "trial_map.geojson", path.name)


def edit_third(folder: Path, change: Callable[[shapely.Polygon], shapely.Geometry | None]) -> None:
    """Change the polygon of strip S03."""
    edit_map(
        folder,
        lambda strips: strips.set_geometry([*strips.geometry[:2], change(strips.geometry[2]), *strips.geometry[3:]]),
    )


def refused(outcome: Result, *words: str, status: int = 1) -> None:
    """One paragraph on standard error, holding these words; nothing on standard output, no traceback, no run folder."""
    assert outcome.exit_code == status, outcome.output
    assert isinstance(outcome.exception, SystemExit)
    assert outcome.stdout == ""
    assert "Traceback" not in outcome.stderr
    said = [line for line in outcome.stderr.splitlines() if not line.endswith(" ...")]
    assert len(said) == 1 if status == 1 else said
    for word in words:
        assert word in "\n".join(said)


def done(outcome: Result, folder: Path, rows: int, *words: str) -> pd.DataFrame:
    """Status 0, every row of the file in the points, these words among the warnings; gives the strips."""
    assert outcome.exit_code == 0, outcome.output
    assert "Traceback" not in outcome.output
    assert len(pd.read_parquet(folder / "out" / "points.parquet", columns=["record"])) == rows
    for word in words:
        assert word in outcome.stderr
    return pd.read_csv(folder / "out" / "strips.csv")


def warnings_of(outcome: Result) -> list[str]:
    return [line for line in outcome.stderr.splitlines() if line.startswith("warning: ")]


def yields(strips: pd.DataFrame) -> list[float]:
    return strips["yield_kg_ha"].tolist()


@pytest.fixture(scope="session")
def as_it_is(sample_run) -> list[float]:
    """Yields of the sample as it is."""
    return yields(pd.read_csv(sample_run / "strips.csv"))


# Files


def test_an_empty_file(trial):
    (trial / "harvest.csv").write_text("")
    refused(run(trial), "harvest.csv: the file is empty (0 bytes); export it again.")


def test_a_header_row_only(trial):
    edit(trial, lambda frame: frame.head(0))
    refused(run(trial), "harvest.csv: there is a header row and no row below it; export the file again.")


def test_one_record(trial):
    edit(trial, lambda frame: frame.iloc[[60]])
    outcome = run(trial)
    refused(
        outcome, "strips: of 1 records in strips none is usable", "still filling", "(1)", "Look at the map of faults"
    )
    assert "(0)" not in outcome.stderr


def test_a_file_that_is_not_there(trial):
    (trial / "harvest.csv").unlink()
    refused(run(trial), "'harvest.csv': there is no such file in", "check the name and the folder")


def test_a_picture_called_csv(trial):
    (trial / "harvest.csv").write_bytes(PICTURE)
    refused(run(trial), "harvest.csv: the content is a PNG picture. Read are CSV")


def test_a_text_file_called_gpkg(trial):
    shutil.copy(trial / "harvest.csv", trial / "harvest.gpkg")
    settle(trial, "harvest.csv", "harvest.gpkg")
    refused(run(trial), "harvest.gpkg: the name says GeoPackage, but the content is delimited text; rename the file")


def test_a_zip_that_was_cut_off(trial):
    (trial / "harvest.zip").write_bytes(b"PK\x03\x04" + bytes(200))
    settle(trial, "harvest.csv", "harvest.zip")
    refused(run(trial), "harvest.zip: cannot be unpacked (File is not a zip file); make the archive again")


@pytest.mark.parametrize("suffix", [".shp", ".dbf", ".shx"])
def test_a_shapefile_of_which_a_part_was_cut_off(trial, suffix):
    frame = pd.read_csv(trial / "harvest.csv").head(200)
    points = gpd.points_from_xy(frame[LONGITUDE], frame[LATITUDE], crs=4326)
    gpd.GeoDataFrame({"Flow(lb/s)": frame[FLOW]}, geometry=points).to_file(trial / "harvest.shp")
    settle(trial, "harvest.csv", "harvest.shp")
    part = trial / f"harvest{suffix}"
    part.write_bytes(part.read_bytes()[: part.stat().st_size // 2])
    words = ("cannot be read as Shapefile", "Export it again") if suffix == ".shx" else ("cut off", "export it again")
    refused(run(trial), f"harvest{'.shp' if suffix == '.shx' else suffix}: ", *words)


@pytest.mark.parametrize("kind", ["gpkg", "parquet", "geojson"])
def test_a_file_that_was_cut_off(trial, kind):
    frame = pd.read_csv(trial / "harvest.csv").head(300)
    points = gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(frame[LONGITUDE], frame[LATITUDE], crs=4326))
    path = trial / f"harvest.{kind}"
    if kind == "parquet":
        points.to_parquet(path)
    else:
        points.to_file(path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    settle(trial, "harvest.csv", path.name)
    refused(run(trial), f"{path.name}: cannot be read as", "is the file complete? Export it again.")


# Columns


def test_no_time_gives_the_same_strips_and_says_what_is_uncertain(trial, fast, as_it_is):
    rows = edit(trial, lambda frame: frame.drop(columns=TIME))
    outcome = run(trial)
    strips = done(outcome, trial, rows, "no column for time", "the answer may differ", "Export the file with its times")
    assert yields(strips) == pytest.approx(as_it_is, rel=1e-6)
    assert "7 records that repeat the one before" in outcome.stderr


def test_no_time_and_no_duration_is_made_of_distance_and_speed(trial, fast, as_it_is):
    rows = edit(trial, lambda frame: frame.drop(columns=[TIME, "Interval (s)"]))
    strips = done(run(trial), trial, rows, "taken from distance over speed", "the answer may differ")
    assert yields(strips) == pytest.approx(as_it_is, rel=1e-6)


def test_nothing_that_tells_the_time_is_asked_for(trial):
    edit(trial, lambda frame: frame.drop(columns=[TIME, "Interval (s)", "Speed (mph)"]))
    refused(run(trial), "harvest.csv: time: no column for time or duration", 'time = { column = "..." }')


def test_a_flow_without_a_unit(trial):
    edit(trial, lambda frame: frame.rename(columns={FLOW: "Mass flow"}))
    refused(run(trial), "column 'Mass flow' has no unit; it may be", "lb/s", "kg/s", "[harvest.columns]")


def test_text_in_a_number_column(trial, fast):
    rows = edit(trial, lambda frame: frame.assign(**{FLOW: frame[FLOW].mask(frame.index.isin(range(500, 505)), "err")}))
    outcome = run(trial)
    done(outcome, trial, rows, f"column '{FLOW}' holds text in 5 of {rows} rows (first: 'err' in row 501)")
    assert pd.read_parquet(trial / "out" / "points.parquet")["mass_flow_kg_s"].isna().sum() == 5


@pytest.mark.parametrize(
    ("value", "said"), [("NaN", "is empty in 5"), ("", "is empty in 5"), ("inf", "is infinite in 5")]
)
@pytest.mark.parametrize("column", [FLOW, LATITUDE])
def test_values_that_are_no_number_are_counted(trial, fast, column, value, said):
    rows = edit(trial, lambda frame: frame.assign(**{column: frame[column].mask(frame.index.isin(range(5)), value)}))
    done(run(trial), trial, rows, f"column '{column}' {said} of {rows} rows")


@pytest.mark.parametrize(("value", "said"), [("n/a", "empty"), ("inf", "infinite"), ("", "empty"), ("wet", "text")])
@pytest.mark.parametrize("column", [FLOW, LATITUDE])
def test_a_column_without_one_number_is_named_and_not_called_absent(trial, column, value, said):
    edit(trial, lambda frame: frame.assign(**{column: value}))
    outcome = run(trial)
    refused(
        outcome, f"column '{column}' holds no number ({said} in 3457 of 3457 rows", "mend the values or name another"
    )
    assert "no column" not in outcome.stderr


def test_every_flow_zero(trial):
    edit(trial, lambda frame: frame.assign(**{FLOW: "0"}))
    refused(run(trial), f"harvest.csv: column '{FLOW}': none of the 3,457 records has a mass flow above zero", "Check")


def test_every_header_up_is_not_believed(trial):
    rows = edit(trial, lambda frame: frame.assign(Header="up"))
    outcome = run(trial)
    done(outcome, trial, rows)
    (said,) = warnings_of(outcome)
    assert "The header switch of combine 1 cannot be right: it says up while grain flows along straight passes" in said
    assert "passes were found from turns and silences" in said


@pytest.mark.parametrize("change", [{MOISTURE: ""}, {MOISTURE: "wet"}, {}])
def test_no_moisture_is_asked_for_and_a_declared_one_said_once(trial, fast, change):
    rows = edit(trial, lambda frame: frame.assign(**change) if change else frame.drop(columns=MOISTURE))
    refused(
        run(trial), "no record has a grain moisture that sorghum can have (5 to 35 %)", "Set declared_pct in [moisture]"
    )
    settle(trial, "[economics]\n", "[moisture]\ndeclared_pct = 14.5\n\n[economics]\n")
    outcome = run(trial)
    done(outcome, trial, rows)
    (said,) = warnings_of(outcome)
    assert said.startswith(
        "warning: The log has no moisture; 14.5 %, as declared, stands in for all of it. If the treat"
    )


def test_unsorted_records_give_the_same_strips(trial, fast, as_it_is):
    rows = edit(trial, lambda frame: frame.sample(frac=1, random_state=1))
    strips = done(run(trial), trial, rows, "time steps back 1737 times; the machine is followed in the order of time")
    assert yields(strips) == pytest.approx(as_it_is, rel=1e-6)


def test_two_combines_interleaved_without_a_name(trial):
    def interleave(frame: pd.DataFrame) -> pd.DataFrame:
        other = frame.assign(**{LATITUDE: (frame[LATITUDE].astype(float) + 0.01).astype(str)})
        return pd.concat([frame, other]).sort_index(kind="stable").drop(columns="Machine")

    edit(trial, interleave)
    refused(
        run(trial), "two machines alternate in this file", "name the column that tells them apart, or split the file"
    )


def test_two_combines_interleaved_that_carry_one_name(trial):
    def interleave(frame: pd.DataFrame) -> pd.DataFrame:
        first, second = frame.iloc[:1700], frame.iloc[1700:3400]
        second = second.assign(**{TIME: first[TIME].to_numpy()}).set_index(first.index)
        return pd.concat([first, second]).sort_index(kind="stable")

    edit(trial, interleave)
    refused(run(trial), "faster than any combine", "whether two machines carry one name")


# Where things lie


@pytest.mark.parametrize("crs", [32612, 32613, 3857])
def test_a_map_in_another_projection_gives_the_same_strips(trial, fast, as_it_is, crs):
    edit_map(trial, lambda strips: strips.to_crs(crs))
    assert yields(done(run(trial), trial, 3457)) == pytest.approx(as_it_is, rel=1e-6)


def test_a_map_elsewhere_in_the_zone_prints_both_extents(trial):
    edit_map(trial, lambda strips: strips.set_geometry(strips.translate(xoff=0.5)))
    said = r"map reaches from 361,\d+ to 362,\d+ m east .* records from 319,\d+ to 319,\d+ m east .* 42\.2 km apart"
    outcome = run(trial)
    refused(outcome, "no record lies on the trial map", "Check that both belong to the same field")
    assert re.search(said, outcome.stderr)


def test_a_map_on_another_continent_prints_where_both_lie(trial):
    edit_map(trial, lambda strips: strips.set_geometry(strips.translate(xoff=100, yoff=-60)))
    refused(
        run(trial),
        "harvest.csv: the records lie about longitude -113.1363, latitude 40.8129",
        "the trial map, which reaches from longitude -13.1377 to -13.1350 and latitude -19.1888 to -19.1854",
        "Check the columns of the position and the trial map",
    )


def test_swapped_columns_of_the_position(trial):
    edit(trial, lambda frame: frame.rename(columns={LATITUDE: LONGITUDE, LONGITUDE: LATITUDE}))
    refused(run(trial), "longitude and latitude are swapped", 'longitude = { column = "Latitude (deg)" }')


def test_a_swapped_map(trial):
    edit_map(trial, lambda strips: strips.set_geometry(shapely.transform(strips.geometry, lambda xy: xy[:, ::-1])))
    refused(
        run(trial), "map.geojson: the map says it is in degrees", "longitude and latitude are swapped, exchange them"
    )


def test_western_longitudes_without_their_minus(trial):
    edit(trial, lambda frame: frame.assign(**{LONGITUDE: frame[LONGITUDE].str.lstrip("-")}))
    refused(run(trial), "far from the trial map", "western longitudes are negative")


@pytest.mark.parametrize("crs", ["", 'crs = "EPSG:32612"\n'])
def test_degrees_called_metres(trial, crs):
    edit(trial, lambda frame: frame.rename(columns={LATITUDE: "Northing (m)", LONGITUDE: "Easting (m)"}))
    settle(trial, 'files = ["harvest.csv"]\n', f'files = ["harvest.csv"]\n{crs}')
    refused(run(trial), "look like degrees", "as longitude and latitude", "about -113.136, 40.8129")


def test_a_map_in_degrees_called_metres(trial):
    edit_map(trial, lambda strips: strips.set_crs(32612, allow_override=True))
    refused(
        run(trial), "map.gpkg: the map says it is in WGS 84 / UTM zone 12N, which counts metres", "look like degrees"
    )


# The trial map


@pytest.mark.parametrize("content", [PICTURE, None])
def test_a_trial_map_that_is_a_picture_or_not_there(trial, content):
    if content is None:
        (trial / "trial_map.geojson").unlink()
        refused(run(trial), "'trial_map.geojson': there is no such file in")
    else:
        (trial / "trial_map.geojson").write_bytes(content)
        refused(run(trial), "trial_map.geojson: the content is a PNG picture. Read are")


def test_a_misspelt_control_names_the_nearest(trial):
    settle(trial, 'control = "plain header"', 'control = "plane heder"')
    refused(
        run(trial), "control = 'plane heder' is no treatment of the map. Did you mean 'plain header'?", "set control to"
    )


@pytest.mark.parametrize("control", ["no control", "untreated", "none"])
def test_a_control_that_resembles_nothing_suggests_nothing(trial, control):
    settle(trial, 'control = "plain header"', f'control = "{control}"')
    outcome = run(trial)
    refused(outcome, "Treatments: 'lifting fingers', 'plain header'; set control to one of them.")
    assert "Did you mean" not in outcome.stderr


def test_a_strip_name_that_stands_twice(trial):
    edit_map(trial, lambda strips: strips.replace({"strip": {"S02": "S01"}}))
    refused(run(trial), "strip 'S01' stands 2 times with treatments 'lifting fingers', 'plain header'", "its own name")


@pytest.mark.parametrize(("role", "name"), [("treatment", "Plain Header"), ("block", "b1")])
def test_names_that_differ_only_in_capitals(trial, role, name):
    edit_map(trial, lambda strips: strips.assign(**{role: [*strips[role][:1], name, *strips[role][2:]]}))
    refused(run(trial), "map.geojson", f"'{name}'", "differ only in capitals", f"give each {role} one spelling")


@pytest.mark.parametrize("space", [" ", "  ", "\xa0"])
def test_spaces_in_names_make_no_other_treatment(trial, fast, as_it_is, space):
    edit_map(trial, lambda strips: strips.replace({"treatment": {"plain header": f"plain{space}header "}}))
    assert yields(done(run(trial), trial, 3457)) == pytest.approx(as_it_is, rel=1e-6)


@pytest.mark.parametrize("shape", [None, shapely.Polygon()])
def test_a_strip_without_polygon_is_named(trial, shape):
    edit_third(trial, lambda drawn: shape)
    refused(run(trial), "map.geojson: strip 'S03' has no polygon.")


def test_a_polygon_with_heights_is_flattened(trial, fast, as_it_is):
    edit_third(trial, lambda drawn: shapely.force_3d(drawn, 1300.0))
    assert yields(done(run(trial), trial, 3457)) == pytest.approx(as_it_is, rel=1e-6)


def test_a_polygon_of_two_parts_is_one_strip(trial, fast, as_it_is):
    def part(drawn: shapely.Polygon) -> shapely.MultiPolygon:
        west, south, east, north = drawn.bounds
        middle = (south + north) / 2
        return shapely.MultiPolygon(
            [
                shapely.box(west, south, east, middle).intersection(drawn),
                shapely.box(west, middle + 1e-5, east, north) & drawn,
            ]
        )

    edit_third(trial, part)
    strips = done(run(trial), trial, 3457)
    # 1e-5 degrees, a metre of 380 m, is left out.
    assert yields(strips) == pytest.approx(as_it_is, rel=0.01)


def test_a_polygon_that_crosses_itself_so_that_its_ground_is_unclear_is_refused(trial):
    def bow(drawn: shapely.Polygon) -> shapely.Polygon:
        one, two, three, four, _ = drawn.exterior.coords
        return shapely.Polygon([one, three, two, four])

    edit_third(trial, bow)
    refused(run(trial), "the outline of strip 'S03' crosses itself", "draw it again")


def test_a_polygon_with_a_small_loop_is_mended_and_said(trial, fast, as_it_is):
    def loop(drawn: shapely.Polygon) -> shapely.Polygon:
        one, two, three, four, _ = drawn.exterior.coords
        east, north = (np.array(one) + two)[:2] / 2
        tip = [(east, north), (east + 2e-6, north - 1e-5), (east - 2e-6, north - 1e-5), (east, north + 1e-6)]
        return shapely.Polygon([one, *tip, two, three, four])

    edit_third(trial, loop)
    strips = done(run(trial), trial, 3457, "the polygon of strip 'S03' was mended (Self-intersection")
    assert yields(strips) == pytest.approx(as_it_is, rel=0.01)


def test_a_strip_without_a_record_is_named_and_kept(trial):
    def add(strips: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        far = strips.iloc[[0]].assign(strip="S99", block="B99")
        return pd.concat(
            [strips, far.set_geometry([affinity.translate(far.geometry[0], xoff=-0.01)])], ignore_index=True
        )

    edit_map(trial, add)
    strips = done(run(trial), trial, 3457, "No usable record lies in strip S99; it has no yield and is not compared.")
    assert strips.set_index("strip")["yield_kg_ha"].isna().loc[["S01", "S99"]].tolist() == [False, True]


COUNTS = '[ground_loss]\nfile = "ground_counts.csv"\nthousand_kernel_g = 28\n'


@pytest.mark.parametrize("keep", [["S01", "S02"], ["S01", "S02", "S03", "S05", "S07"]])
def test_a_treatment_of_one_strip_is_described_and_not_tested(trial, fast, keep):
    edit_map(trial, lambda strips: strips[strips["strip"].isin(keep)])
    settle(trial, COUNTS, "")
    done(run(trial), trial, 3457)
    result = json.loads((trial / "out" / "result.json").read_text(encoding="utf-8"))
    assert result["verdict"]["word"] == "refused"
    assert [row["strips"] for row in result["treatments"] if row["treatment"] == "lifting fingers"] == [1]
    assert all(row["mean_kg_ha"] > 0 for row in result["treatments"])
    assert all(row["p_value"] is None and row["p_exact"] is None for row in result["differences"])


def test_names_with_markup_are_shown_as_text(trial):
    treatment, strip, block = "<script>alert(1)</script>", "<b>S03</b>", '"><img src=x onerror=alert(2)>'
    names = {"treatment": {"lifting fingers": treatment}, "strip": {"S03": strip}, "block": {"B2": block}}
    edit_map(trial, lambda strips: strips.replace(names))
    settle(trial, COUNTS, "")
    settle(trial, '"lifting fingers" =', f'"{treatment}" =')
    settle(trial, 'name = "Crop-lifting', 'name = "</title><script>alert(3)</script> Crop-lifting')
    settle(trial, "Made-up Forty", "<i>Made-up</i> Forty")
    settle(trial, 'notes = "Invented.', 'notes = "<svg onload=alert(4)>Invented.')
    done(run(trial), trial, 3457)
    page = (trial / "out" / "report.html").read_text(encoding="utf-8")
    for markup in (treatment, strip, block, "</title><script>alert(3)", "<i>Made-up", "<svg onload=alert(4)"):
        assert markup not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "&lt;b&gt;S03&lt;/b&gt;" in page


@pytest.mark.parametrize(
    ("name", "shown"),
    [("lift\x1b[31m\x07ers", "lift?[31m?ers"), ("n" * 3000, "n" * 3000), ("../a\\b:c|d", "../a\\b:c|d")],
    ids=["steers a terminal", "3,000 letters", "separators"],
)
def test_odd_names_are_kept_and_steer_no_terminal(trial, name, shown):
    names = {"treatment": {"lifting fingers": name}, "strip": {"S03": name}, "block": {"B2": name}}
    edit_map(trial, lambda strips: strips.replace(names))
    settle(trial, COUNTS, "")
    settle(trial, '"lifting fingers" =', f"{json.dumps(shown)} =")
    outcome = run(trial)
    done(outcome, trial, 3457)
    assert not re.findall(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", outcome.output)
    result = json.loads((trial / "out" / "result.json").read_text(encoding="utf-8"))
    assert shown in [row["treatment"] for row in result["treatments"]]
    page = (trial / "out" / "report.html").read_text(encoding="utf-8")
    assert not re.findall(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", page)


# The trial file and the run folder


def test_a_wrong_setting_gives_its_line_and_status_two(trial):
    settle(trial, "season = 2024", "season = 2024\nweather = 3")
    refused(run(trial), "trial.toml: 1 problem", "line 7: [trial] weather", status=2)


def test_a_folder_that_is_no_run_folder_is_left_alone(trial, fast):
    (trial / "out").mkdir()
    (trial / "out" / "thesis.txt").write_text("mine")
    refused(run(trial), "not a run folder")
    assert (trial / "out" / "thesis.txt").read_text() == "mine"


def test_wrong_ground_counts_are_told_together(trial):
    counts = pd.read_csv(trial / "ground_counts.csv", dtype=str)
    counts.loc[3, "Strip"], counts.loc[7, "Zone"], counts.loc[9, "Seeds"] = "S99", "nowhere", "-4"
    pd.concat([counts, counts.head(1)]).to_csv(trial / "ground_counts.csv", index=False)
    refused(run(trial), "ground_counts.csv", "'S99'", "row 8 'nowhere'", "row 10 '-4'", "1 frames stand there twice")


def test_a_frame_in_the_wrong_unit_is_told(trial, fast):
    counts = (trial / "ground_counts.csv").read_text()
    (trial / "ground_counts.csv").write_text(counts.replace("(ft2)", "(cm2)"))
    refused(run(trial), "ground loss, strip 'S01'", "no sorghum field bears more", "unit of the frame area")


def test_counts_that_are_not_there_are_named(trial):
    settle(trial, "ground_counts.csv", "counts_2024.csv")
    refused(run(trial), "counts_2024.csv")


def test_a_treatment_that_works_on_the_crop_is_not_held_against_the_counts(trial, fast):
    settle(trial, "thousand_kernel_g = 28", 'acts_on = "crop"')
    outcome = run(trial)
    done(outcome, trial, 3457)
    assert "Rests on the monitor alone" in outcome.stdout
    assert "works on the crop" in outcome.stdout
