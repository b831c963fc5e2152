"""Raw files to points: what is kept, what is worked out, what is asked and what is refused."""

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest

from proofstrip.columns import POINT_COLUMNS
from proofstrip.errors import DataError
from proofstrip.read import Harvest

Make = Callable[..., pd.DataFrame]
Read = Callable[..., Harvest]
Codes = Callable[[Harvest], list[str]]

COLUMNS = [
    "record",
    "source_file",
    "source_row",
    "machine",
    "time",
    "utc_offset_s",
    "easting_m",
    "northing_m",
    "elevation_m",
    "heading_deg",
    "speed_m_s",
    "duration_s",
    "distance_m",
    "swath_m",
    "mass_flow_kg_s",
    "moisture_pct",
    "header_down",
    "geometry",
]


def message(harvest: Harvest, code: str) -> str:
    return next(notice.message for notice in harvest.notices if notice.code == code)


def test_points_have_the_columns_and_types_of_the_table(make_log: Make, read: Read) -> None:
    points = read(make_log()).points
    assert list(points.columns) == COLUMNS
    types = {column.name: column.dtype for column in POINT_COLUMNS}
    assert {name: str(points[name].dtype) for name in COLUMNS[:-1]} == {name: types[name] for name in COLUMNS[:-1]}
    assert isinstance(points.index, pd.RangeIndex)


def test_values_are_si(make_log: Make, read: Read) -> None:
    first = read(make_log()).points.iloc[0]
    # Exact: 1 ft = 0.3048 m, 1 mi = 1609.344 m (yard and pound agreement of 1959).
    assert first["swath_m"] == pytest.approx(9.144, rel=1e-12)
    assert first["distance_m"] == pytest.approx(2.0, abs=2e-5)
    assert first["speed_m_s"] == pytest.approx(2.0, abs=3e-5)
    assert (first["easting_m"], first["northing_m"]) == pytest.approx((420_000, 4_864_000), abs=1e-3)


def test_log_with_every_column_leaves_nothing_to_say_but_the_zone(make_log: Make, read: Read, codes: Codes) -> None:
    assert codes(read(make_log())) == []


def test_working_projection_is_the_utm_zone_of_the_data(make_log: Make, read: Read) -> None:
    assert read(make_log()).points.crs.to_epsg() == 32615


def test_working_projection_of_the_trial_map_is_used(make_log: Make, read: Read) -> None:
    nad83 = pyproj.CRS.from_epsg(26915)
    points = read(make_log(), map_crs=nad83).points
    assert points.crs == nad83
    assert points["easting_m"].iloc[0] == pytest.approx(420_000, abs=2.0)


def test_heading_counts_from_grid_north(make_log: Make, read: Read) -> None:
    # Meridian convergence, first order: (longitude - central meridian) x sin(latitude), true to a hundredth of a degree
    # this close to it (surveying textbooks, from memory). Zone 15: central meridian 93 degrees west.
    log = make_log()
    longitude, latitude = log["Longitude"].iloc[0], log["Latitude"].iloc[0]
    convergence = (longitude + 93.0) * np.sin(np.radians(latitude))
    points = read(log).points
    assert points["heading_deg"].iloc[0] == pytest.approx((0.0 - convergence) % 360.0, abs=0.01)


def test_derived_heading_is_the_grid_direction(make_log: Make, read: Read, codes: Codes) -> None:
    harvest = read(make_log().drop(columns="Heading(deg)"))
    np.testing.assert_allclose(np.sin(np.radians(harvest.points["heading_deg"])), 0.0, atol=1e-4)
    assert "heading_derived" in codes(harvest)


def test_distance_is_speed_times_duration(make_log: Make, read: Read) -> None:
    # Virginia Tech 442-502 (Grisso, Alley, McClellan): 15 s at 5 mph are 110 ft.
    log = make_log().drop(columns="Distance(ft)")
    log["Speed(mph)"], log["Duration(s)"] = 5.0, 15.0
    harvest = read(log)
    assert harvest.points["distance_m"].iloc[0] / 0.3048 == pytest.approx(110.0, abs=0.05)
    assert "speed times duration" in message(harvest, "distance_derived")


def test_speed_is_distance_over_duration(make_log: Make, read: Read) -> None:
    harvest = read(make_log().drop(columns="Speed(mph)"))
    np.testing.assert_allclose(harvest.points["speed_m_s"], 2.0, atol=2e-5)
    assert "distance over duration" in message(harvest, "speed_derived")


def test_speed_and_distance_from_positions(make_log: Make, read: Read) -> None:
    harvest = read(make_log().drop(columns=["Speed(mph)", "Distance(ft)"]))
    np.testing.assert_allclose(harvest.points["distance_m"], 2.0, atol=1e-3)
    assert "positions" in message(harvest, "speed_derived")


def test_duration_is_the_step_of_time(make_log: Make, read: Read) -> None:
    log = make_log().drop(columns="Duration(s)")
    log.loc[15:, "Time"] += 300
    harvest = read(log)
    assert harvest.points["duration_s"].tolist() == [1.0] * 30
    assert "usually 1 s" in message(harvest, "duration_derived")


def test_time_is_the_sum_of_durations(make_log: Make, read: Read, codes: Codes) -> None:
    harvest = read(make_log().drop(columns="Time"))
    assert harvest.points["time"].tolist() == list(np.arange(1.0, 31.0))
    assert "time_derived" in codes(harvest)


def test_counted_times_of_two_files_do_not_overlap(make_log: Make, read: Read) -> None:
    first, second = make_log().drop(columns="Time"), make_log(start=100).drop(columns="Time")
    harvest = read(first, second)
    points = harvest.points
    assert points["machine"].unique().tolist() == ["1"]
    assert points["time"].iloc[30] == 91.0
    assert "begin 60 s after those of the file before it" in message(harvest, "time_shifted")


def test_neither_time_nor_duration_is_asked(make_log: Make, read: Read) -> None:
    log = make_log().drop(columns=["Time", "Duration(s)", "Speed(mph)"])
    with pytest.raises(DataError, match="time: no column for time or duration"):
        read(log)


def test_duration_from_distance_and_speed_where_there_is_no_clock(make_log: Make, read: Read) -> None:
    points = read(make_log().drop(columns=["Time", "Duration(s)"])).points
    np.testing.assert_allclose(points["duration_s"], 1.0, atol=1e-4)


def test_unsorted_time_is_kept_as_read(make_log: Make, read: Read) -> None:
    log = make_log()
    log = pd.concat([log.iloc[20:], log.iloc[:20]], ignore_index=True)
    harvest = read(log.drop(columns=["Speed(mph)", "Distance(ft)"]))
    assert harvest.points["time"].tolist() == log["Time"].tolist()
    assert "steps back 1 times" in message(harvest, "time_unsorted")
    np.testing.assert_allclose(harvest.points["speed_m_s"], 2.0, atol=1e-3)


def test_coarse_clock_is_spread_and_said(make_log: Make, read: Read) -> None:
    log = make_log().drop(columns=["Duration(s)", "Speed(mph)"])
    log["Time"] = 1_700_000_000 + np.arange(30) // 5
    harvest = read(log)
    np.testing.assert_allclose(harvest.points["duration_s"], 0.2, atol=1e-6)
    assert "80% of the records share their time" in message(harvest, "time_coarse")


def test_one_record_is_read(make_log: Make, read: Read) -> None:
    points = read(make_log(rows=1)).points
    assert len(points) == 1
    assert points["mass_flow_kg_s"].notna().all()


def test_one_record_without_duration_is_asked(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match="duration: no column says it and the times do not differ"):
        read(make_log(rows=1).drop(columns="Duration(s)"))


def test_same_time_throughout_is_refused(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match="the same time in every record"):
        read(make_log().assign(Time=5))


@pytest.mark.parametrize(
    ("column", "asked"),
    [
        ("Flow(lb/s)", "mass flow: no column for mass flow, wet yield or dry yield"),
        ("Swath(ft)", r"swath: no column says how wide the header is \(add to \[harvest\]: swath = \"30 ft\"\)"),
        ("Latitude", "position: no points, and no columns of longitude and latitude"),
    ],
)
def test_column_that_cannot_be_had_is_asked(make_log: Make, read: Read, column: str, asked: str) -> None:
    with pytest.raises(DataError, match=asked):
        read(make_log().drop(columns=column))


def test_moisture_header_and_elevation_may_be_missing(make_log: Make, read: Read, codes: Codes) -> None:
    harvest = read(make_log().drop(columns=["Moisture(%)", "Header"]))
    assert harvest.points[["moisture_pct", "header_down", "elevation_m"]].isna().all(axis=None)
    # That there is no moisture in any file is said by the moisture stage: once, with what stands in.
    assert codes(harvest) == ["header_not_logged"]


def test_all_questions_are_asked_at_once(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Flow", "Swath(ft)": "Swath"})
    with pytest.raises(DataError, match=r"swath: column 'Swath'.*mass flow: column 'Flow'") as fault:
        read(log)
    assert "\n" not in str(fault.value)


def test_flow_without_unit_names_the_choices_and_the_yield_each_would_mean(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Flow"})
    log["Flow"] = 20.0
    # Virginia Tech 442-502: 15 ft swath, 5 mph, 150 bu/ac need 21.2 lb/s; so 20 lb/s over 30 ft at 2 m/s (4.474 mph):
    # 20 x 3600 / 56 bu/h over 30 ft x 4.474 mi/h / 8.25 = 16.269 ac/h, which is 79.03 bu/ac.
    with pytest.raises(DataError, match=r"it may be lb/s \(79 bu/ac\), kg/s \(174 bu/ac\), t/h \(48\.4 bu/ac\)"):
        read(log)


def test_swath_without_unit_names_the_plausible_ones(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match=r"\(usually 30\) has no unit; it may be ft \(9\.14 m\) \(add"):
        read(make_log().rename(columns={"Swath(ft)": "Swath"}))


def test_override_settles_a_unit(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Flow"})
    harvest = read(log, columns={"mass_flow": {"column": "Flow", "unit": "lbs/sec"}})
    assert harvest.points["mass_flow_kg_s"].iloc[0] == pytest.approx(20 * 0.45359237, rel=1e-12)
    assert {choice.quantity: choice.settled for choice in harvest.sources[0].columns}["mass_flow"] == "trial file"


def test_override_of_an_unknown_quantity_names_the_nearest(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match=r"'masflow' is no quantity of a harvest record. Did you mean 'mass_flow'"):
        read(make_log(), columns={"masflow": {"column": "Flow(lb/s)"}})


def test_override_of_a_column_that_is_not_there_lists_the_columns(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match=r"no file has a column 'flow\(lb/s\)'. Did you mean 'Flow\(lb/s\)'.*Latitude"):
        read(make_log(), columns={"mass_flow": {"column": "flow(lb/s)", "unit": "lb/s"}})


def test_override_with_a_unit_of_another_kind_is_said(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match="says 'ft': unit 'ft' does not measure the same thing as 'kg/s'"):
        read(make_log(), columns={"mass_flow": {"column": "Flow(lb/s)", "unit": "ft"}})


def test_override_holds_for_the_file_that_has_the_column(make_log: Make, read: Read) -> None:
    first = make_log().rename(columns={"Flow(lb/s)": "Flow"})
    second = make_log(start=100)
    points = read(first, second, columns={"mass_flow": {"column": "Flow", "unit": "kg/s"}}).points
    assert points["mass_flow_kg_s"].iloc[[0, -1]].tolist() == pytest.approx([20.0, 20 * 0.45359237])


def test_trial_files_swath_stands_in_and_goes_before_the_column(make_log: Make, read: Read, codes: Codes) -> None:
    assert read(make_log().drop(columns="Swath(ft)"), swath="360 in").points["swath_m"].iloc[0] == pytest.approx(9.144)
    harvest = read(make_log(), swath="20 ft")
    assert harvest.points["swath_m"].iloc[0] == pytest.approx(6.096)
    assert "swath_overridden" in codes(harvest)


@pytest.mark.parametrize(("unit", "metres"), [("ft", 0.3048), ("in", 0.0254), ("m", 1.0), ("cm", 0.01), ("mm", 0.001)])
def test_distance_without_unit_is_settled_against_the_positions(
    make_log: Make, read: Read, unit: str, metres: float
) -> None:
    log = make_log().rename(columns={"Distance(ft)": "Distance"})
    log["Distance"] = 2.0 / metres
    harvest = read(log)
    np.testing.assert_allclose(harvest.points["distance_m"], 2.0)
    assert f"it fits {unit!r} alone (ratio 1.000)" in message(harvest, "distance_unit_measured")


@pytest.mark.parametrize(("unit", "si"), [("mph", 0.44704), ("km/h", 1 / 3.6), ("m/s", 1.0), ("knot", 1852 / 3600)])
def test_speed_without_unit_is_settled_against_the_positions(make_log: Make, read: Read, unit: str, si: float) -> None:
    log = make_log().rename(columns={"Speed(mph)": "Speed"})
    log["Speed"] = 2.0 / si
    harvest = read(log)
    np.testing.assert_allclose(harvest.points["speed_m_s"], 2.0)
    assert f"{unit!r} alone" in message(harvest, "speed_unit_measured")


def test_distance_that_fits_no_unit_is_asked(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Distance(ft)": "Distance"}).assign(Distance=11.0)
    with pytest.raises(DataError, match="distance: column 'Distance' has no unit; it may be m, ft, in, cm, mm"):
        read(log)


def test_stated_unit_that_does_not_fit_the_positions_is_doubted_aloud(make_log: Make, read: Read) -> None:
    log = make_log()
    log["Distance(ft)"] *= 12
    harvest = read(log)
    said = message(harvest, "distance_doubtful")
    assert "is 12 times what the positions say. It would fit in in" in said


@pytest.mark.parametrize(("value", "said"), [(0.155, "looks like a fraction"), (70.0, "not within 5 to 45 %")])
def test_moisture_without_unit_that_is_not_plausible_is_asked(
    make_log: Make, read: Read, value: float, said: str
) -> None:
    log = make_log().rename(columns={"Moisture(%)": "Moisture"}).assign(Moisture=value)
    with pytest.raises(DataError, match=said):
        read(log)


def test_moisture_without_unit_that_is_plausible_is_per_cent(make_log: Make, read: Read) -> None:
    assert read(make_log().rename(columns={"Moisture(%)": "Moist"})).points["moisture_pct"].iloc[0] == 15.5


def test_moisture_as_fraction_when_it_says_so(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Moisture(%)": "Moisture (fraction)"}).assign(**{"Moisture (fraction)": 0.155})
    assert read(log).points["moisture_pct"].iloc[0] == pytest.approx(15.5)


def test_heading_in_radians_needs_the_unit(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Heading(deg)": "Heading"}).assign(Heading=1.0)
    with pytest.raises(DataError, match="heading: column 'Heading' has no unit; it may be deg, rad"):
        read(log)


def test_two_candidates_are_asked_with_their_lines(make_log: Make, read: Read) -> None:
    log = make_log().assign(**{"Ground Speed (km/h)": 7.2})
    with pytest.raises(
        DataError, match=r"'Speed\(mph\)' and 'Ground Speed \(km/h\)' may each be it .*speed = \{ column"
    ):
        read(log)


def test_override_settles_two_candidates(make_log: Make, read: Read) -> None:
    log = make_log().assign(**{"Ground Speed (km/h)": 7.2})
    points = read(log, columns={"speed": {"column": "Ground Speed (km/h)"}}).points
    assert points["speed_m_s"].iloc[0] == pytest.approx(2.0)


def test_wet_yield_stands_in_for_flow(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Wet yield (kg/ha)"}).assign(**{"Wet yield (kg/ha)": 5000.0})
    harvest = read(log)
    # 0.5 kg/m2 x 9.144 m x 2 m over 1 s
    np.testing.assert_allclose(harvest.points["mass_flow_kg_s"], 9.144, rtol=2e-5)
    assert "mass_flow_derived" in [notice.code for notice in harvest.notices]


def test_dry_yield_is_brought_to_the_moisture_logged(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Dry yield (bu/ac)"}).assign(**{"Dry yield (bu/ac)": 100.0})
    log["Moisture(%)"] = 20.0
    harvest = read(log)
    # 1 bu/ac of 56 lb = 62.7677 kg/ha; wet mass = dry x 84.5 / 80 at the crop's 15.5 %.
    wet_kg_m2 = 100 * 62.7677 / 10_000 * 84.5 / 80.0
    np.testing.assert_allclose(harvest.points["mass_flow_kg_s"], wet_kg_m2 * 9.144 * 2.0, rtol=3e-5)
    assert "assumed to be at 15.5 % moisture" in message(harvest, "mass_flow_derived")


def test_basis_of_a_dry_yield_can_be_stated(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Yield"}).assign(Yield=100.0)
    log["Moisture(%)"] = 20.0
    harvest = read(log, columns={"dry_yield": {"column": "Yield", "unit": "bu/ac at 11 %"}})
    wet_kg_m2 = 100 * 62.7677 / 10_000 * 89.0 / 80.0
    np.testing.assert_allclose(harvest.points["mass_flow_kg_s"], wet_kg_m2 * 9.144 * 2.0, rtol=3e-5)
    assert "stated to be at 11 % moisture" in message(harvest, "mass_flow_derived")


def test_yield_that_does_not_say_wet_or_dry_is_asked(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Yield (bu/ac)"})
    with pytest.raises(DataError, match=r"does not say whether it is wet or dry .*wet_yield = .* or dry_yield = "):
        read(log)


def test_flow_goes_before_yield(make_log: Make, read: Read, codes: Codes) -> None:
    assert "mass_flow_derived" not in codes(read(make_log().assign(**{"Yield (bu/ac)": 1.0, "Dry yield": 2.0})))


@pytest.mark.parametrize(
    ("down", "up"),
    [("down", "UP"), (1, 0), ("on", "off"), (True, False), ("lowered", "raised"), ("working", "not"), ("1.0", "0.0")],
)
def test_header_words(make_log: Make, read: Read, down: object, up: object) -> None:
    log = make_log(rows=3).assign(Header=[down, up, None])
    assert read(log).points["header_down"].tolist() == [True, False, pd.NA]


def test_header_up_column_is_read_the_other_way_round(make_log: Make, read: Read, codes: Codes) -> None:
    harvest = read(make_log(rows=2).rename(columns={"Header": "Header up"}).assign(**{"Header up": [1, 0]}))
    assert harvest.points["header_down"].tolist() == [False, True]
    assert "header_inverted" in codes(harvest)


def test_header_value_that_is_not_known_is_listed(make_log: Make, read: Read) -> None:
    log = make_log(rows=3).assign(Header=["33", "down", "half"])
    with pytest.raises(DataError, match="header: column 'Header' holds '33', 'down', 'half'; known are 1/0, up/down"):
        read(log)


def test_machines_come_from_their_column(make_log: Make, read: Read) -> None:
    log = pd.concat([make_log().assign(Serial=7001.0), make_log(east=100.0).assign(Serial=7002.0)])
    points = read(log.sort_values("Time", kind="stable")).points
    assert points["machine"].tolist() == ["7001", "7002"] * 30
    np.testing.assert_allclose(points["speed_m_s"], 2.0, atol=1e-3)


def test_two_machines_in_turn_without_a_column_are_refused(make_log: Make, read: Read) -> None:
    log = pd.concat([make_log(), make_log(east=100.0).assign(Time=1_700_000_000.5 + np.arange(30))])
    with pytest.raises(DataError, match="two machines alternate in this file; name the column"):
        read(log.sort_values("Time", kind="stable"))


def test_record_without_machine_is_named_and_counted(make_log: Make, read: Read) -> None:
    harvest = read(make_log(rows=3).assign(Machine=["north", None, "north"]))
    assert harvest.points["machine"].tolist() == ["north", "unnamed", "north"]
    assert "1 records name no machine" in message(harvest, "machine_missing")


def test_files_one_after_the_other_are_one_machine(make_log: Make, read: Read) -> None:
    points = read(make_log(), make_log(start=100)).points
    assert points["machine"].unique().tolist() == ["1"]
    assert points["source_row"].tolist() == [*range(1, 31)] * 2
    assert points["record"].tolist() == [*range(60)]
    assert points["source_file"].unique().tolist() == ["log1.csv", "log2.csv"]


def test_files_at_the_same_time_are_two_machines(make_log: Make, read: Read, codes: Codes) -> None:
    harvest = read(make_log(), make_log(east=50.0))
    assert harvest.points["machine"].unique().tolist() == ["1", "2"]
    assert "machine_by_overlap" in codes(harvest)


def test_times_that_count_from_each_files_start_are_said_to_be_no_proof_of_two_machines(
    make_log: Make, read: Read
) -> None:
    files = [make_log(start=start).assign(Time=np.arange(30)) for start in (0, 100)]
    assert "if it is the same machine, give times with a date" in message(read(*files), "machine_by_overlap")


def test_counted_times_that_overlap_a_clock_are_another_machine(make_log: Make, read: Read) -> None:
    clock, counted = make_log().assign(Time=np.arange(30)), make_log(start=100).drop(columns="Time")
    harvest = read(clock, counted)
    assert harvest.points["machine"].unique().tolist() == ["1", "2"]
    assert "give times with a date" in message(harvest, "machine_by_overlap")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"Longitude": 43.9, "Latitude": -93.9}, "longitude and latitude are swapped .*longitude = .* and latitude = "),
        ({"Longitude": 420_000.0, "Latitude": 4_864_000.0}, r"they may be metres; then \[harvest\] crs must say"),
    ],
)
def test_impossible_degrees_are_asked(make_log: Make, read: Read, change: dict[str, float], said: str) -> None:
    with pytest.raises(DataError, match=said):
        read(make_log().assign(**change))


def test_swapped_degrees_that_are_possible_are_told_by_the_trial_map(make_log: Make, read: Read) -> None:
    log = make_log().assign(Longitude=48.2, Latitude=11.5)
    with pytest.raises(DataError, match=r"Exchanged they would fit: .* are swapped"):
        read(log, map_crs=pyproj.CRS.from_epsg(32632))


def test_single_impossible_positions_are_missing(make_log: Make, read: Read) -> None:
    log = make_log()
    log.loc[3, ["Longitude", "Latitude"]] = 0.0
    log.loc[4, "Latitude"] = 999.0
    harvest = read(log)
    assert harvest.points["easting_m"].isna().to_numpy().nonzero()[0].tolist() == [3, 4]
    assert "2 records are at 0, 0 or outside all degrees" in message(harvest, "impossible_position")
    assert len(harvest.points) == 30


def test_projected_columns_need_the_coordinate_system(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Longitude": "Easting", "Latitude": "Northing"})
    log["Easting"], log["Northing"] = 420_000.0, 4_864_000 + 2.0 * np.arange(30)
    with pytest.raises(DataError, match=r'in metres or degrees of a system that nothing names .*crs = "EPSG'):
        read(log)
    points = read(log, crs="EPSG:32615").points
    assert points["northing_m"].tolist() == log["Northing"].tolist()


@pytest.mark.parametrize(
    ("crs", "said"), [("EPSG:99999", "is not a coordinate system"), ("EPSG:4326", "impossible as degrees")]
)
def test_coordinate_system_that_does_not_fit_is_refused(make_log: Make, read: Read, crs: str, said: str) -> None:
    log = make_log().rename(columns={"Longitude": "Easting", "Latitude": "Northing"})
    log["Easting"], log["Northing"] = 420_000.0, 4_864_000 + 2.0 * np.arange(30)
    with pytest.raises(DataError, match=said):
        read(log, crs=crs)


def test_projection_that_is_not_in_metres_is_carried_over(make_log: Make, read: Read) -> None:
    # EPSG:2264 counts US survey feet (1200/3937 m), so one metre to the north is 3937/1200 feet there.
    log = make_log().rename(columns={"Longitude": "Easting", "Latitude": "Northing"})
    log["Easting"], log["Northing"] = 2_000_000.0, 600_000 + 2.0 * 3937 / 1200 * np.arange(30)
    points = read(log, crs="EPSG:2264").points
    assert points.crs.to_epsg() == 32617
    step = np.hypot(points["easting_m"].diff(), points["northing_m"].diff()).iloc[1:]
    np.testing.assert_allclose(step, 2.0, rtol=1e-3)


def test_position_outside_the_trial_maps_area_is_refused(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match="outside the area of the working coordinate system"):
        read(make_log(), map_crs=pyproj.CRS.from_epsg(32632))


def test_wrong_unit_of_time_is_found_by_the_speed(make_log: Make, read: Read) -> None:
    log = make_log().assign(Time=np.arange(30) * 0.02)
    with pytest.raises(DataError, match="the records move at 100 m/s in the median, faster than any combine"):
        read(log)


def test_same_file_twice_is_read_once(make_log: Make, read: Read, codes: Codes, tmp_path: Path) -> None:
    for name in ("a.csv", "copy.csv"):
        make_log().to_csv(tmp_path / name, index=False)
    harvest = read(files=["a.csv", "*.csv", "a.csv"])
    assert len(harvest.points) == 30
    assert codes(harvest) == ["file_twice"] * 3
    assert "byte by byte, as a.csv" in message(harvest, "file_twice") or "named twice" in message(harvest, "file_twice")


def test_source_files_are_recorded_with_their_hash(make_log: Make, read: Read, tmp_path: Path) -> None:
    source = read(make_log()).sources[0]
    assert source.sha256 == hashlib.sha256((tmp_path / "log1.csv").read_bytes()).hexdigest()
    assert (source.path.name, source.rows) == ("log1.csv", 30)
    assert {choice.quantity for choice in source.columns} >= {"time", "mass_flow", "swath", "header"}


def test_reading_twice_gives_the_same(make_log: Make, read: Read) -> None:
    first, second = read(make_log()), read(make_log())
    pd.testing.assert_frame_equal(pd.DataFrame(first.points), pd.DataFrame(second.points))
    assert first.notices == second.notices


def test_column_without_any_number_is_not_used(make_log: Make, read: Read, codes: Codes) -> None:
    harvest = read(make_log().assign(**{"Moisture(%)": "wet"}))
    assert harvest.points["moisture_pct"].isna().all()
    assert codes(harvest) == []


def test_a_file_without_moisture_beside_one_with_it_is_said(make_log: Make, read: Read) -> None:
    harvest = read(make_log(), make_log(start=900).assign(**{"Moisture(%)": "wet"}))
    assert [one.message for one in harvest.notices if one.code == "moisture_not_logged"] == [
        "log2.csv: column 'Moisture(%)' holds no number (text in 30 of 30 rows, first: 'wet' in row 1); "
        "[moisture] declared_pct can stand in."
    ]


def test_a_moisture_called_per_cent_that_is_a_fraction_is_asked(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match=r"says per cent, but its median 0\.155 looks like a fraction .*\"fraction\""):
        read(make_log().assign(**{"Moisture(%)": 0.155}))


def test_a_mark_for_no_flow_is_missing_and_counted(make_log: Make, read: Read) -> None:
    log = make_log()
    log.loc[[3, 9], "Flow(lb/s)"] = [-9999.0, 1e30]
    harvest = read(log)
    assert harvest.points["mass_flow_kg_s"].isna().sum() == 2
    assert "impossible as a flow in 2 of 30 rows (first: -9999 in row 4" in harvest.notices[-1].message


def test_separators_of_thousands_are_refused_where_they_would_lose_the_large_values(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Flow(lb/s)": "Flow(lb/h)"}).assign(**{"Flow(lb/h)": "980.0"})
    log.loc[7:, "Flow(lb/h)"] = "1,020.0"
    with pytest.raises(DataError, match=r"'1,020\.0' in row 8, a number with separators of thousands \(text in 23 of"):
        read(log)


def test_a_duration_that_the_times_contradict_is_doubted(make_log: Make, read: Read) -> None:
    harvest = read(make_log().assign(**{"Duration(s)": 0.5}))
    assert any("is 0.5 times what the steps of time say" in one.message for one in harvest.notices)


def test_a_header_width_of_zero_is_asked(make_log: Make, read: Read) -> None:
    with pytest.raises(DataError, match=r"'Swath\(ft\)' holds no width above 0 \(add to \[harvest\]: swath"):
        read(make_log().assign(**{"Swath(ft)": 0}))


def test_untimed_records_in_reverse_are_told_by_their_headings(make_log: Make, read: Read) -> None:
    log = make_log().drop(columns="Time").assign(**{"Flow(lb/s)": 20.0 + np.arange(30) % 7})
    assert len(read(log).points) == 30
    with pytest.raises(DataError, match=r"stand in the wrong order: .* against column 'Heading\(deg\)'; sort the file"):
        read(log.iloc[::-1])


def test_an_unknown_column_that_may_hold_times_is_named(make_log: Make, read: Read) -> None:
    log = make_log().rename(columns={"Time": "Clock reading"}).assign(**{"Flow(lb/s)": 20.0 + np.arange(30) % 7})
    assert "Column 'Clock reading' may hold them" in read(log).notices[-1].message


def test_a_header_row_that_stands_again_is_one_spoilt_record(make_log: Make, read: Read) -> None:
    log = make_log().astype(str)
    again = pd.DataFrame([log.columns], columns=log.columns)
    points = read(pd.concat([log.head(9), again, log.iloc[9:]], ignore_index=True)).points
    assert points["mass_flow_kg_s"].isna().tolist() == [row == 9 for row in range(31)]
    assert points["header_down"].notna().sum() == 30
