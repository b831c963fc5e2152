"""One row a strip: ratio of sums in the window that the block shares."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from proofstrip.config import Settings, config_folder, load_defaults
from proofstrip.crops import find_crop
from proofstrip.errors import DataError
from proofstrip.flags import EXCLUDING, Flag, has_flag
from proofstrip.strips import make_strips, mark_windows


def settings() -> Settings:
    defaults = load_defaults()
    trial = {"name": "t", "season": 2024, "crop": "soybean"}
    parts = {name: getattr(defaults, name) for name in ("clean", "moisture", "strips", "stats", "report")}
    return Settings.model_validate(
        {"folder": config_folder(), "trial": trial, "harvest": {"files": ["a.csv"]}}
        | {"trial_map": {"file": "m", "control": "control"}}
        | parts
    )


STRIPS = gpd.GeoDataFrame(
    {"strip": ["S1", "S2", "S3"], "treatment": ["control", "tried", "tried"], "block": ["1", "1", "2"]},
    geometry=[shapely.box(0, 0, 9, 300), shapely.box(9, 0, 18, 300), shapely.box(18, 0, 27, 300)],
    crs=32615,
)


def records() -> gpd.GeoDataFrame:
    """Two passes of one block: the first covers 20 to 280 m, the second 40 to 260 m."""
    parts = []
    for number, (strip, treatment, low, high) in enumerate([("S1", "control", 20, 280), ("S2", "tried", 40, 260)], 1):
        north = np.arange(low, high + 1, 2.0)
        parts.append(
            pd.DataFrame(
                {
                    "cut_easting_m": 9.0 * number - 4.5,
                    "cut_northing_m": north,
                    "strip": strip,
                    "treatment": treatment,
                    "block": "1",
                    "pass_id": number,
                    "machine": "a",
                    "heading_deg": 180.0 * (number - 1),
                    "speed_m_s": 2.0,
                    "moisture_pct": 13.0,
                    "area_m2": np.where(north < 150, 10.0, 30.0),
                    "wet_mass_kg": np.where(north < 150, 4.0, 6.0),
                    "standard_mass_kg": np.where(north < 150, 4.0, 6.0),
                }
            )
        )
    frame = pd.concat(parts, ignore_index=True).assign(flags=np.int32(0), usable=True)
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(frame.cut_easting_m, frame.cut_northing_m), crs=32615)


def test_the_window_is_what_both_strips_cover():
    marked = mark_windows(records(), STRIPS, settings().strips)
    inside = ~has_flag(marked["flags"], Flag.STRIP_END)
    assert marked.loc[inside, "cut_northing_m"].groupby(marked["strip"]).agg(["min", "max"]).values.tolist() == [
        [40.0, 260.0],
        [40.0, 260.0],
    ]
    assert (marked["usable"] == inside).all()


def test_an_excluded_record_does_not_widen_the_window():
    points = records()
    points.loc[points.index[points["cut_northing_m"] < 60], "flags"] = np.int32(Flag.ENTRY_RAMP)
    marked = mark_windows(points, STRIPS, settings().strips)
    assert marked.loc[marked["usable"], "cut_northing_m"].min() == 60.0


def test_yield_is_sum_of_mass_over_sum_of_area_and_not_the_mean_of_points():
    table = make_strips(records(), STRIPS, settings()).set_index("strip")
    first = records().query("strip == 'S1'")
    ratio = first["standard_mass_kg"].sum() / first["area_m2"].sum() * 10_000
    assert table.loc["S1", "yield_kg_ha"] == pytest.approx(ratio)
    assert ratio != pytest.approx((first["standard_mass_kg"] / first["area_m2"]).mean() * 10_000, rel=0.05)
    assert table.loc["S1", "yield_bu_ac"] == pytest.approx(ratio / 67.2511, rel=1e-6)


def test_a_strip_without_a_record_keeps_its_row_with_an_empty_yield():
    table = make_strips(records(), STRIPS, settings()).set_index("strip")
    assert pd.isna(table.loc["S3", "yield_kg_ha"])
    assert table.loc["S3", "records"] == 0


def test_directions_passes_and_machines_are_named():
    table = make_strips(records(), STRIPS, settings()).set_index("strip")
    assert table.loc["S1", ["direction", "pass_ids", "machines"]].tolist() == ["N", "1", "a"]
    assert table.loc["S2", "direction"] == "S"


def test_no_usable_record_names_the_frequent_faults():
    points = records().assign(usable=False, flags=np.int32(Flag.SPIKE))
    with pytest.raises(DataError, match=r"none is usable\. The most frequent faults there: a jump in flow"):
        make_strips(points, STRIPS, settings())


def test_a_design_without_blocks_is_one_block():
    plain = STRIPS.assign(block=None)
    marked = mark_windows(records().assign(block=None), plain, settings().strips)
    assert marked.loc[marked["usable"], "cut_northing_m"].agg(["min", "max"]).tolist() == [40.0, 260.0]


def test_settings_crop_is_the_record_itself():
    assert settings().trial.crop == find_crop("soybean", config_folder())
    assert EXCLUDING & Flag.STRIP_END
