"""The moisture probe's lag: found where the crop tells it, refused where not, and what moving readings is worth."""

from dataclasses import replace

import numpy as np
import pytest

from proofstrip.clean import Delay, clean_points, estimate_delays, follow_machines
from proofstrip.moisture import Known, correct_moisture, settle_moisture
from proofstrip.probe import ProbeLag, estimate_lags, move_readings
from proofstrip.simulate import SCENARIOS, Combine, Treatment, simulate_harvest
from tests.clean.test_width import drive
from tests.clean.truth import settings_of, to_points

# Wet corn that dries along the field, under a probe whose chamber holds grain for 20 s.
WET = replace(
    SCENARIOS["ordinary"],
    crop="corn",
    standard_moisture_pct=15.5,
    moisture_pct=19.0,
    moisture_sd_pt=1.2,
    moisture_trend_pt=3.0,
    moisture_hold_s=15.0,
    combines=(Combine("combine 1", moisture_carry_s=20.0),),
)
# Travel of the grain, mean stay in the chamber, mean age of a reading that is held.
WET_LAG_S = 11.0 + 20.0 + 7.5


def walk(scenario, seed, folder):
    harvest = simulate_harvest(scenario, seed)
    settings, points = settings_of(harvest, folder), to_points(harvest)
    track = follow_machines(points, settings.clean)
    delays = estimate_delays(points, track, settings.clean, None)
    points = clean_points(points, track, delays, settings.clean)
    return harvest, points, settings, Known(track, delays, harvest.trial_map)


@pytest.fixture(scope="module")
def wet(tmp_path_factory):
    return walk(WET, 1, tmp_path_factory.mktemp("wet"))


def test_the_lag_is_found_a_little_short_of_the_mean_of_what_was_planted(wet):
    _, points, settings, known = wet
    (lag,) = estimate_lags(points["moisture_pct"].to_numpy(), known.track, settings.clean)
    # Old grain in the chamber has a long tail, which agreement hardly feels.
    assert WET_LAG_S - 10 < lag.seconds < WET_LAG_S + 2
    assert lag.low < lag.seconds < lag.high


def test_passes_have_their_own_moisture_once_readings_are_moved(wet):
    harvest, points, settings, known = wet
    ground = harvest.ground.groupby("pass_number")[["wet_mass_kg", "true_mass_kg"]].sum()
    true_pct = 100 - (100 - settings.standard_moisture_pct) * ground["true_mass_kg"] / ground["wet_mass_kg"]

    def errors(use):
        part = settings.moisture.model_copy(update={"use": use})
        own = settings.model_copy(update={"moisture": part})
        points_of = correct_moisture(points, settle_moisture(points, own, known).pct, own)
        inside = points_of[points_of["pass_id"] > 0]
        sums = inside.groupby(harvest.records["true_pass"].to_numpy()[inside.index])[
            ["wet_mass_kg", "standard_mass_kg"]
        ].sum()
        found = 100 - (100 - settings.standard_moisture_pct) * sums["standard_mass_kg"] / sums["wet_mass_kg"]
        return (found - true_pct).drop(index=0, errors="ignore").dropna()

    as_logged, moved = errors("record"), errors("auto")
    assert moved.std() < 0.4 * as_logged.std()


def test_a_treatment_that_dries_the_grain_keeps_its_moisture(tmp_path):
    dry = replace(WET, treatments=(Treatment("control"), Treatment("tried", 1.0, moisture_pt=-2.0)))
    harvest, points, settings, known = walk(dry, 2, tmp_path)
    used = settle_moisture(points, settings, known).pct
    kind = harvest.records["true_strip"].map(harvest.trial_map.set_index("strip")["treatment"]).to_numpy()
    inside = (points["usable"] & (points["pass_id"] > 0)).to_numpy()
    apart = used[inside & (kind == "tried")].mean() - used[inside & (kind == "control")].mean()
    assert apart == pytest.approx(-2.0, abs=0.3)


def test_moisture_that_hardly_varies_tells_no_lag(tmp_path):
    even = replace(SCENARIOS["ordinary"], moisture_sd_pt=0.1, moisture_trend_pt=0.0, moisture_noise_pt=0.1)
    _, points, settings, known = walk(even, 1, tmp_path)
    (lag,) = estimate_lags(points["moisture_pct"].to_numpy(), known.track, settings.clean)
    assert lag.seconds is None
    assert "within passes the moisture varies by 0.1" in lag.reason
    moved = move_readings(points["moisture_pct"].to_numpy(), known.track, known.delays, (lag,))
    np.testing.assert_array_equal(moved, points["moisture_pct"].to_numpy())


def test_a_harvest_in_one_direction_tells_no_lag(tmp_path):
    _, points, settings, known = walk(replace(WET, path="one_way"), 1, tmp_path)
    (lag,) = estimate_lags(points["moisture_pct"].to_numpy(), known.track, settings.clean)
    assert lag.seconds is None
    assert lag.reason.startswith("0 pairs of neighbouring passes in opposite directions")


def test_a_reading_moves_to_the_grain_that_got_it_and_not_across_a_break_of_the_log():
    track = replace(drive([((0.0, 0.0), (0.0, 20.0))], step_m=1.0), names=("a",))
    reading = np.arange(len(track), dtype=float)
    delay = Delay(track.names[0], 2.0, None, None, "estimated", "")
    lag = ProbeLag(track.names[0], 5.0, None, None, "")
    moved = move_readings(reading, track, (delay,), (lag,))
    assert moved[:10].tolist() == (reading[:10] + 3).tolist()
    broken = replace(track, log=np.where(np.arange(len(track)) < 10, 0, 1))
    assert move_readings(reading, broken, (delay,), (lag,))[7:10].tolist() == reading[7:10].tolist()
