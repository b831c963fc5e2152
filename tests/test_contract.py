"""What every point stage and every filter promises."""

import json
from dataclasses import fields, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from proofstrip import clean
from proofstrip.assign import assign_strips
from proofstrip.clean import FILTERS, clean_points, estimate_delays, follow_machines
from proofstrip.clean.filters import Evidence
from proofstrip.clean.shift import find_cut
from proofstrip.columns import POINT_COLUMNS, STRIP_COLUMNS
from proofstrip.errors import DataError
from proofstrip.flags import FLAGS, Flag
from proofstrip.moisture import Known, correct_moisture, settle_moisture
from proofstrip.simulate import SCENARIOS, simulate_harvest
from proofstrip.strips import mark_windows
from tests.clean.truth import settings_of, to_points

DTYPES = {column.name: column.dtype for column in POINT_COLUMNS}
FLAG_NAMES = [
    *("missing", "duplicate", "position_jump", "position_frozen", "off_pass", "header_up", "turn", "short_pass"),
    *("entry_ramp", "exit_ramp", "speed_range", "speed_change", "narrow_cut", "recut", "moisture_range", "flow_range"),
    *("stuck_sensor", "spike", "outside_strip", "strip_end", "straddle", "excluded_by_hand"),
]


@pytest.fixture(scope="module")
def chain(tmp_path_factory):
    """Give each stage's input, and the stage as a function of it."""
    harvest = simulate_harvest(SCENARIOS["hard"], 1)
    settings = settings_of(harvest, tmp_path_factory.mktemp("trial"))
    points = to_points(harvest)
    # An index that is not a range shows who counts rows instead of using it.
    points.index = points.index[::-1] * 3
    track = follow_machines(points, settings.clean)
    delays = estimate_delays(points, track, settings.clean, None)
    cleaned = clean_points(points, track, delays, settings.clean)
    known = Known(track, delays, harvest.trial_map)

    def moisture(frame):
        return correct_moisture(frame, settle_moisture(frame, settings, known).pct, settings)

    corrected = moisture(cleaned)
    assigned = assign_strips(corrected, harvest.trial_map, settings.strips)
    return {
        "clean": (points, lambda frame: clean_points(frame, track, delays, settings.clean)),
        "moisture": (cleaned, moisture),
        "assign": (corrected, lambda frame: assign_strips(frame, harvest.trial_map, settings.strips)),
        "strips": (assigned, lambda frame: mark_windows(frame, harvest.trial_map, settings.strips)),
    }


@pytest.mark.parametrize("stage", ["clean", "moisture", "assign", "strips"])
def test_a_stage_leaves_its_input_alone_and_keeps_every_row(chain, stage):
    frame, walk = chain[stage]
    before = frame.copy(deep=True)
    after = walk(frame)
    pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(before))
    assert after.index.equals(frame.index)
    added = [name for name in after.columns if name not in frame.columns]
    # pandas 3 has a type of its own for text, pandas 2 calls it object.
    found = {name: str(after[name].dtype).replace("str", "object") for name in added}
    assert found == {name: DTYPES[name] for name in added}
    pd.testing.assert_frame_equal(pd.DataFrame(after), pd.DataFrame(walk(frame)))


@pytest.mark.parametrize(("flag", "judge"), FILTERS, ids=[flag.name for flag, _ in FILTERS])
def test_a_filter_gives_one_answer_a_record_and_the_same_one_twice(flag, judge, tmp_path):
    harvest = simulate_harvest(SCENARIOS["short_strips"], 1)
    settings = settings_of(harvest, tmp_path).clean
    points = to_points(harvest)
    track = follow_machines(points, settings)
    cut = find_cut(track, np.full(len(track), 11.0))
    evidence = clean._gather(points, track, cut, ())
    mask = judge(evidence, settings)
    assert mask.dtype == bool
    assert mask.shape == (len(track),)
    np.testing.assert_array_equal(mask, judge(evidence, settings))
    assert isinstance(flag, Flag)


def test_every_flag_of_the_contract_has_its_own_bit_in_its_order():
    assert [meaning.name for meaning in FLAGS] == FLAG_NAMES
    assert [int(meaning.flag) for meaning in FLAGS] == [1 << k for k in range(len(FLAG_NAMES))]


@pytest.mark.parametrize("stage", ["moisture", "assign", "strips"])
def test_a_stage_takes_no_records_or_refuses_them_in_words(chain, stage):
    frame, walk = chain[stage]
    try:
        after = walk(frame.head(0))
    except DataError as fault:
        assert str(fault).startswith(f"{stage}: ")
    else:
        assert len(after) == 0
        assert set(walk(frame).columns) == set(after.columns)


@pytest.mark.parametrize(("flag", "judge"), FILTERS, ids=[flag.name for flag, _ in FILTERS])
def test_a_filter_takes_no_records_and_changes_nothing(flag, judge, tmp_path):
    harvest = simulate_harvest(SCENARIOS["short_strips"], 1)
    settings = settings_of(harvest, tmp_path).clean
    points = to_points(harvest)
    track = follow_machines(points, settings)
    evidence = clean._gather(points, track, find_cut(track, np.full(len(track), 11.0)), ())

    def arrays(part):
        values = {field.name: getattr(part, field.name) for field in fields(part)}
        return {name: array for name, array in values.items() if isinstance(array, np.ndarray)}

    before = {name: values.copy() for part in (evidence.track, evidence.cut) for name, values in arrays(part).items()}
    judge(evidence, settings)
    for part in (evidence.track, evidence.cut):
        for name, values in arrays(part).items():
            if part is evidence.cut or name not in arrays(evidence.cut):
                np.testing.assert_array_equal(values, before[name])
    none = Evidence(
        *(
            replace(part, **{name: values[:0] for name, values in arrays(part).items()})
            for part in (evidence.track, evidence.cut)
        ),
        *(getattr(evidence, name)[:0] for name in ("flow", "density", "sound", "sure")),
    )
    assert judge(none, settings).shape == (0,)


POINTS = [
    *("record", "source_file", "source_row", "machine", "time", "easting_m", "northing_m", "cut_easting_m"),
    *("cut_northing_m", "heading_deg", "speed_m_s", "duration_s", "distance_m", "swath_m", "cut_width_m"),
    *("mass_flow_kg_s", "moisture_pct", "header_down", "pass_id", "flags", "usable", "wet_mass_kg"),
    *("standard_mass_kg", "area_m2", "yield_kg_ha", "strip", "treatment", "block"),
]
STRIPS = [
    *("strip", "treatment", "block", "source", "yield_kg_ha", "yield_bu_ac", "moisture_pct", "area_m2"),
    *("standard_mass_kg", "length_m", "records", "records_used", "share_removed", "speed_m_s", "pass_ids"),
    *("machines", "direction", "order"),
]


def test_points_of_a_run_have_the_columns_of_the_contract(sample_run):
    points = gpd.read_parquet(sample_run / "points.parquet")
    # The height is kept as logged, and the zone's offset, beside the columns that everything agrees on.
    beside = {"elevation_m", "utc_offset_s"}
    assert [name for name in points.columns if name not in {*beside, "geometry"}] == POINTS
    assert set(DTYPES) == {*POINTS, *beside}
    assert points.crs.is_projected
    for column in POINT_COLUMNS:
        if column.low is not None:
            assert points[column.name].min() >= column.low
        if column.high is not None:
            assert points[column.name].max() <= column.high


def test_strips_of_a_run_have_the_columns_of_the_contract(sample_run):
    table = pd.read_csv(sample_run / "strips.csv")
    assert table.columns.tolist() == STRIPS == [column.name for column in STRIP_COLUMNS]
    assert set(table["source"]) == {"combine"}
    for column in STRIP_COLUMNS:
        assert column.low is None or table[column.name].min() >= column.low
        assert column.high is None or table[column.name].max() <= column.high


def test_json_of_a_run_has_no_nan(sample_run):
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    for name in ("result.json", "run.json"):
        json.loads((sample_run / name).read_text(encoding="utf-8"), parse_constant=refuse)


def test_bits_in_points_are_those_counted_in_the_result(sample_run):
    flags = gpd.read_parquet(sample_run / "points.parquet")["flags"]
    run = json.loads((sample_run / "run.json").read_text(encoding="utf-8"))
    result = json.loads((sample_run / "result.json").read_text(encoding="utf-8"))
    assert {row["name"]: row["records"] for row in run["flags"]} == result["records"]["flags"]
    for row in run["flags"]:
        assert int((flags & row["bit"] != 0).sum()) == row["records"]
    assert flags.max() < 2 ** len(FLAGS)
