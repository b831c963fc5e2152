"""The same trial, logged at other intervals, into other files and in other units, gives the same strip yields.

Tolerances were measured first, on the ordinary invented field with seeds 1, 2 and 3 from ten records a second to one in
five seconds: no strip further than 1.7 % from what a perfect pipeline finds, their mean within 0.5 %, and every delay
that was estimated within 0.8 s; at 3 s some and at 5 s all were refused.
"""

import zipfile
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from proofstrip.config import load_settings
from proofstrip.errors import DataError
from proofstrip.flags import Flag, has_flag
from proofstrip.read import Harvest, read_harvest
from proofstrip.sensitivity import Material
from proofstrip.simulate import SCENARIOS, Simulated, render_folder, simulate_harvest
from proofstrip.simulate.export import format_log
from tests.clean.truth import errors_of, gather_material

STRIP_PCT = 2.0
MEAN_PCT = 0.6
DELAY_S = 11.0


def invent(record_s: float, scenario: str = "ordinary", **knobs: float) -> Simulated:
    """Harvest the same field with a display that logs at this interval."""
    return simulate_harvest(replace(SCENARIOS[scenario], record_s=record_s, step_s=min(record_s, 0.2), **knobs), 1)


def read(harvest: Simulated, folder: Path, files: dict[str, pd.DataFrame], columns: str = "") -> Harvest:
    """Write the log as these files and read them by the trial's own settings."""
    for name, table in files.items():
        table.to_csv(folder / name, index=False)
    return read_named(harvest, folder, list(files), columns)


def read_named(harvest: Simulated, folder: Path, names: list[str], columns: str = "") -> Harvest:
    """Read files that stand in the trial's folder."""
    texts = render_folder(harvest)
    (folder / "trial_map.geojson").write_text(texts["trial_map.geojson"], encoding="utf-8")
    trial = texts["trial.toml"].replace('["harvest.csv"]', str(names).replace("'", '"')) + columns
    (folder / "trial.toml").write_text(trial, encoding="utf-8")
    settings = load_settings(folder / "trial.toml")
    return read_harvest(settings.harvest, folder, settings.trial.crop, harvest.trial_map.crs)


def clean(harvest: Simulated, found: Harvest, folder: Path) -> Material:
    return gather_material(harvest, found.points, load_settings(folder / "trial.toml"))


def yields(harvest: Simulated, found: Harvest, folder: Path) -> pd.Series:
    return errors_of(harvest, clean(harvest, found, folder))["yield_kg_ha"]


def whole_seconds(log: pd.DataFrame) -> pd.DataFrame:
    return log.assign(**{"Time (UTC)": log["Time (UTC)"].str.replace(r"\.\d+Z", "Z", regex=True)})


def thirds(log: pd.DataFrame) -> list[pd.DataFrame]:
    return [log.iloc[rows] for rows in np.array_split(np.arange(len(log)), 3)]


def in_metric(log: pd.DataFrame) -> pd.DataFrame:
    """Give a log in the units of a display that is set to metric, rounded as it would."""
    # Exact: the yard and pound agreement of 1959.
    return pd.DataFrame(
        {
            "Mass flow (kg/s)": (log["Mass flow (lb/s)"] * 0.45359237).round(3),
            "Distance (m)": (log["Distance (ft)"] * 0.3048).round(3),
            "Header width (m)": (log["Header width (ft)"] * 0.3048).round(3),
            "Speed (km/h)": (log["Speed (mph)"] * 1.609344).round(2),
        }
    ).join(log.drop(columns=["Mass flow (lb/s)", "Distance (ft)", "Header width (ft)", "Speed (mph)"]))


def notice_codes(found: Harvest) -> list[str]:
    return [notice.code for notice in found.notices]


@pytest.fixture(scope="module")
def second() -> Simulated:
    return invent(1.0)


@pytest.mark.parametrize("stamps", [pd.DataFrame.copy, whole_seconds], ids=["stamps in ms", "whole seconds"])
@pytest.mark.parametrize("record_s", [0.1, 0.2, 0.5, 1.0, 2.0, 3.0, 5.0])
def test_strip_yields_do_not_hang_on_the_interval(tmp_path, record_s, stamps):
    harvest = invent(record_s)
    found = read(harvest, tmp_path, {"log.csv": stamps(format_log(harvest))})
    material = clean(harvest, found, tmp_path)
    errors = errors_of(harvest, material)["error_pct"]
    assert errors.abs().max() < STRIP_PCT
    assert abs(errors.mean()) < MEAN_PCT
    (delay,) = material.delays
    assert delay.source in ("estimated", "assumed")
    assert delay.source == "assumed" or abs(delay.seconds - DELAY_S) < max(1.0, record_s / 2)


@pytest.mark.parametrize("record_s", [0.1, 0.2])
def test_records_of_one_second_are_no_duplicates(tmp_path, record_s):
    harvest = invent(record_s, duplicate_share=0.0)
    found = read(harvest, tmp_path, {"log.csv": whole_seconds(format_log(harvest)).drop(columns="Interval (s)")})
    assert "time_coarse" in notice_codes(found)
    assert found.points["duration_s"].median() == pytest.approx(record_s, rel=1e-3)
    assert not has_flag(clean(harvest, found, tmp_path).cleaned["flags"], Flag.DUPLICATE).any()


def test_values_that_are_renewed_once_a_second_are_no_duplicates(tmp_path):
    harvest = invent(0.2, duplicate_share=0.0)
    log = format_log(harvest)
    held = whole_seconds(log.iloc[np.arange(len(log)) // 5 * 5])
    found = read(harvest, tmp_path, {"log.csv": held})
    assert "records_repeated" not in notice_codes(found)
    material = clean(harvest, found, tmp_path)
    assert not has_flag(material.cleaned["flags"], Flag.DUPLICATE).any()
    assert errors_of(harvest, material)["error_pct"].abs().max() < STRIP_PCT


BARE = ["Interval (s)", "Distance (ft)", "Speed (mph)", "Heading (deg)"]


@pytest.mark.parametrize("without", [[], BARE[:1], BARE[1:2], BARE], ids=["all", "interval", "distance", "bare"])
def test_an_export_that_writes_each_record_twice_changes_nothing(tmp_path, second, without):
    log = format_log(second).drop(columns=without)
    once = yields(second, read(second, tmp_path, {"log.csv": log}), tmp_path)
    found = read(second, tmp_path, {"log.csv": log.loc[log.index.repeat(2)]})
    assert "records_repeated" in notice_codes(found) and "time_coarse" not in notice_codes(found)
    # Measured: equal, but up to 0.15 % where distances must come from the positions.
    pd.testing.assert_series_equal(yields(second, found, tmp_path), once, rtol=2e-3)


def test_two_combines_in_one_file_that_writes_each_record_twice(tmp_path):
    harvest = invent(1.0, "two_combines", duplicate_share=0.0)
    log = format_log(harvest).sort_values("Time (UTC)", kind="stable", ignore_index=True)
    once = read(harvest, tmp_path, {"log.csv": log}).points
    twice = read(harvest, tmp_path, {"log.csv": log.loc[log.index.repeat(2)]}).points
    assert twice["time"].tolist() == once["time"].repeat(2).tolist()


def test_a_log_a_load_is_one_log_whatever_the_order_of_names(tmp_path, second):
    log = format_log(second)
    whole = yields(second, read(second, tmp_path, {"all.csv": log}), tmp_path)
    # By name load 10 goes before load 8.
    loads = dict(zip(["load8.csv", "load9.csv", "load10.csv"], thirds(log.drop(columns="Machine")), strict=True))
    found = read(second, tmp_path, loads)
    assert notice_codes(found) == []
    pd.testing.assert_series_equal(yields(second, found, tmp_path), whole, rtol=1e-9)


@pytest.mark.parametrize("in_a_turn", [True, False])
def test_a_log_a_day(tmp_path, second, in_a_turn):
    log = format_log(second).drop(columns="Machine")
    turning = (second.records["true_pass"] == 0).to_numpy()
    night = 4 + np.flatnonzero(turning[1:] & ~turning[:-1])[5] if in_a_turn else len(log) // 2
    first, later = log.iloc[:night], log.iloc[night:]
    later = later.assign(**{"Time (UTC)": later["Time (UTC)"].str.replace("2024-10-07", "2024-10-08")})
    whole = errors_of(second, clean(second, read(second, tmp_path, {"all.csv": log}), tmp_path))
    found = read(second, tmp_path, {"day1.csv": first, "day2.csv": later})
    assert found.points["machine"].unique().tolist() == ["1"]
    apart = errors_of(second, clean(second, found, tmp_path))
    # A night within a pass moves the ends that are compared, and so every yield, by up to half a per cent.
    assert apart["error_pct"].abs().max() < STRIP_PCT
    assert (apart["yield_kg_ha"] / whole["yield_kg_ha"] - 1).abs().max() < (1e-3 if in_a_turn else 5e-3)


def test_a_log_a_machine(tmp_path):
    harvest = invent(1.0, "two_combines")
    log = format_log(harvest)
    whole = yields(harvest, read(harvest, tmp_path, {"all.csv": log}), tmp_path)
    apart = {f"{name}.csv": part.drop(columns="Machine") for name, part in log.groupby("Machine")}
    found = read(harvest, tmp_path, apart)
    assert found.points["machine"].unique().tolist() == ["1", "2"]
    assert notice_codes(found) == ["machine_by_overlap"]
    pd.testing.assert_series_equal(yields(harvest, found, tmp_path), whole, rtol=1e-9)


def test_files_in_american_and_metric_units(tmp_path, second):
    first, middle, last = thirds(format_log(second))
    whole = yields(second, read(second, tmp_path, {"all.csv": format_log(second)}), tmp_path)
    found = read(second, tmp_path, {"a.csv": first, "b.csv": in_metric(middle), "c.csv": last})
    assert notice_codes(found) == []
    pd.testing.assert_series_equal(yields(second, found, tmp_path), whole, rtol=2e-3)


def test_bushels_in_one_file_and_pounds_in_the_other(tmp_path, second):
    first, middle, last = thirds(format_log(second))
    whole = yields(second, read(second, tmp_path, {"all.csv": format_log(second)}), tmp_path)
    # 60 lb of soybeans are a bushel; 43,560 square feet an acre.
    an_hour = middle.assign(**{"Mass flow (bu/h)": middle["Mass flow (lb/s)"] * 3600 / 60})
    acres = (last["Header width (ft)"] * last["Distance (ft)"]).where(last["Distance (ft)"] > 0) / 43_560
    by_area = last.assign(**{"Wet yield (bu/ac)": last["Mass flow (lb/s)"] * last["Interval (s)"] / 60 / acres})
    drop = {"columns": "Mass flow (lb/s)"}
    found = read(second, tmp_path, {"a.csv": first, "b.csv": an_hour.drop(**drop), "c.csv": by_area.drop(**drop)})
    assert notice_codes(found) == ["mass_flow_derived"]
    pd.testing.assert_series_equal(yields(second, found, tmp_path), whole, rtol=2e-3)


def test_units_that_one_file_does_not_say_are_asked_and_settled_for_it_alone(tmp_path, second):
    first, _, last = thirds(format_log(second))
    bare = in_metric(last).rename(columns=lambda name: name.partition(" (")[0])
    files = {"a.csv": first, "b.csv": bare}
    with pytest.raises(DataError, match=r"^b.csv: swath: column 'Header width' .* mass flow: column 'Mass flow'"):
        read(second, tmp_path, files)
    both = yields(second, read(second, tmp_path, {"a.csv": first, "b.csv": last}), tmp_path)
    said = '[harvest.columns]\nmass_flow = { column = "Mass flow", unit = "kg/s" }\n'
    found = read(second, tmp_path, files, said + 'swath = { column = "Header width", unit = "m" }\n')
    pd.testing.assert_series_equal(yields(second, found, tmp_path), both, rtol=2e-3)


@pytest.mark.parametrize("together", [True, False], ids=["one archive", "an archive a load"])
def test_zipped_shapefiles(tmp_path, second, together):
    log = format_log(second)
    whole = yields(second, read(second, tmp_path, {"all.csv": log}), tmp_path)
    (tmp_path / "loose").mkdir()
    # A shapefile cuts names to ten characters.
    cut = log.rename(columns={"Time (UTC)": "Time", "Mass flow (lb/s)": "Flow(lb/s)", "Header width (ft)": "Swath(ft)"})
    for number, load in enumerate(thirds(cut)):
        places = gpd.points_from_xy(load["Longitude (deg)"].astype(float), load["Latitude (deg)"].astype(float))
        table = load.drop(columns=["Longitude (deg)", "Latitude (deg)", "Elevation (ft)"])
        shapes = gpd.GeoDataFrame(table, geometry=places, crs="EPSG:4326")
        shapes.columns = [str(name).replace(" ", "")[:10] for name in shapes.columns]
        shapes.to_file(tmp_path / "loose" / f"load{number}.shp")
        with zipfile.ZipFile(tmp_path / ("raw.zip" if together else f"raw{number}.zip"), "a") as archive:
            for part in sorted((tmp_path / "loose").glob(f"load{number}.*")):
                archive.write(part, f"export/{part.name}")
    found = read_named(second, tmp_path, ["*.zip"])
    assert len(found.points) == len(log)
    pd.testing.assert_series_equal(yields(second, found, tmp_path), whole, rtol=1e-6)


@pytest.mark.parametrize("zone", ["America/Denver", None])
def test_a_night_harvest_over_the_step_back_gives_the_same_yields(tmp_path, second, zone):
    log = format_log(second)
    whole = yields(second, read(second, tmp_path, {"all.csv": log}), tmp_path)
    utc = pd.to_datetime(log["Time (UTC)"])
    # Clocks are set back at 8:00 UTC on 3 November 2024 (15 U.S.C. 260a): here in the midst of a pass.
    step = pd.Timestamp("2024-11-03T08:00:00Z")
    utc = utc + (step - utc.iloc[np.flatnonzero((second.records["true_pass"] == 6).to_numpy())[40]])
    shown = utc - pd.to_timedelta(np.where(utc < step, 6, 7), unit="h")
    local = log.drop(columns="Time (UTC)").assign(Time=shown.dt.strftime("%Y-%m-%d %H:%M:%S"))
    found = read(second, tmp_path, {"log.csv": local})
    if zone is not None:
        settings = load_settings(tmp_path / "trial.toml").harvest.model_copy(update={"time_zone": zone})
        found = read_harvest(
            settings, tmp_path, load_settings(tmp_path / "trial.toml").trial.crop, second.trial_map.crs
        )
        assert found.points["time"].iloc[-1] == pytest.approx(utc.iloc[-1].timestamp(), abs=1.0)
    assert ("hour_twice_placed" if zone else "clock_set_back") in notice_codes(found)
    # Where the clock was mended a pass is two stretches of log: the delay's range differs, and with it its last digit.
    pd.testing.assert_series_equal(yields(second, found, tmp_path), whole, rtol=2e-5)


def test_positions_that_a_spreadsheet_rounded_are_refused_or_doubted(tmp_path, second):
    log = format_log(second)

    def rounded(decimals: int) -> pd.DataFrame:
        names = ["Longitude (deg)", "Latitude (deg)"]
        return log.assign(**{name: log[name].astype(float).round(decimals) for name in names})

    # Rounded to 4 decimals the strips came out 8 to 16 % wrong before this was refused.
    with pytest.raises(DataError, match=r"written to 4 decimals of a degree, in steps of 11.1 m, so neighbour"):
        read(second, tmp_path, {"log.csv": rounded(4)})
    found = read(second, tmp_path, {"log.csv": rounded(5)})
    assert notice_codes(found) == ["position_coarse"]
    assert errors_of(second, clean(second, found, tmp_path))["error_pct"].abs().max() < STRIP_PCT
    assert notice_codes(read(second, tmp_path, {"log.csv": rounded(6)})) == []
