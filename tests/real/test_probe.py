"""How late moisture probes of real combines read."""

import os

import numpy as np
import pytest
from tests.real.test_read_real import CONTOUR, FLOW, read

from proofstrip.clean import estimate_delays, follow_machines
from proofstrip.config import load_defaults
from proofstrip.probe import ProbeLag, estimate_lags
from proofstrip.read import Harvest

pytestmark = pytest.mark.skipif(
    os.environ.get("PROOFSTRIP_REAL_DATA") is None, reason="PROOFSTRIP_REAL_DATA does not name the folder of real data"
)


def find_lag(harvest: Harvest) -> tuple[float, ProbeLag]:
    """Give the travel delay that the display left, and the probe's lag."""
    points, settings = harvest.points, load_defaults().clean
    track = follow_machines(points, settings)
    (delay,) = estimate_delays(points, track, settings, None)
    (lag,) = estimate_lags(points["moisture_pct"].to_numpy(dtype=np.float64), track, settings)
    return delay.seconds, lag


def test_the_probe_of_the_corn_field_reads_4_s_after_the_flow() -> None:
    # The display had moved flow and moisture alike, by some 4 s too much for the flow.
    travel_s, lag = find_lag(read("corn_field/points.csv", "corn", swath="360 in", columns=FLOW))
    assert lag.seconds is not None
    assert lag.seconds - travel_s == pytest.approx(4.1, abs=1.0)


def test_the_moisture_of_the_soybean_field_varies_too_little_to_tell() -> None:
    _, lag = find_lag(read("soybean_contour/points.shp", "soybean", columns=CONTOUR))
    assert lag.seconds is None
    assert "varies by 0.26 points" in lag.reason
