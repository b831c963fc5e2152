"""What every point stage and every filter promises."""

import numpy as np
import pandas as pd
import pytest

from proofstrip import clean
from proofstrip.assign import assign_strips
from proofstrip.clean import FILTERS, clean_points, estimate_delays, follow_machines
from proofstrip.clean.shift import find_cut
from proofstrip.columns import POINT_COLUMNS
from proofstrip.flags import FLAGS, Flag
from proofstrip.moisture import correct_moisture
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
    corrected = correct_moisture(cleaned, settings)
    assigned = assign_strips(corrected, harvest.trial_map, settings.strips)
    return {
        "clean": (points, lambda frame: clean_points(frame, track, delays, settings.clean)),
        "moisture": (cleaned, lambda frame: correct_moisture(frame, settings)),
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
    evidence = clean._gather(points, track, cut, (), settings)
    mask = judge(evidence, settings)
    assert mask.dtype == bool
    assert mask.shape == (len(track),)
    np.testing.assert_array_equal(mask, judge(evidence, settings))
    assert isinstance(flag, Flag)


def test_every_flag_of_the_contract_has_its_own_bit_in_its_order():
    assert [meaning.name for meaning in FLAGS] == FLAG_NAMES
    assert [int(meaning.flag) for meaning in FLAGS] == [1 << k for k in range(len(FLAG_NAMES))]
