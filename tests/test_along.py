"""Where treatments differ along the strips and by zone: planted differences found there, chance called chance."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from proofstrip.along import compare_along, compare_zones

LENGTH_M, WIDTH_M = 400, 9.0


def field(pairs: int, effect, rng: np.random.Generator | None = None) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Strips of 400 m in pairs; ``effect`` is the treated share of the yield by metre from the south."""
    strips, points = [], []
    north = np.arange(2.0, LENGTH_M, 4.0)
    order = np.zeros(pairs, dtype=int) if rng is None else rng.integers(0, 2, pairs)
    for number in range(2 * pairs):
        treated = number % 2 == order[number // 2]
        level = np.ones(len(north)) if rng is None else 1 + 0.1 * np.sin(north / 60 + number / 9)
        if rng is not None:
            level = level * rng.normal(1, 0.03) * rng.normal(1, 0.05, len(north))
        west = number * WIDTH_M
        strips.append(
            {
                "strip": f"S{number}",
                "treatment": "tried" if treated else "control",
                "block": f"B{number // 2}",
                "geometry": shapely.box(west, 0, west + WIDTH_M, LENGTH_M),
            }
        )
        points.append(
            pd.DataFrame(
                {
                    "strip": f"S{number}",
                    "usable": True,
                    "area_m2": 4 * WIDTH_M,
                    "standard_mass_kg": 4 * WIDTH_M * 0.4 * level * (effect(north) if treated else 1.0),
                    "cut_easting_m": west + WIDTH_M / 2,
                    "cut_northing_m": north,
                }
            )
        )
    table = pd.concat(points, ignore_index=True)
    place = gpd.points_from_xy(table["cut_easting_m"], table["cut_northing_m"], crs=32615)
    return gpd.GeoDataFrame(table, geometry=place), gpd.GeoDataFrame(strips, crs=32615)


def flat(north):
    return np.full(len(north), 1.05)


def test_a_difference_that_is_the_same_everywhere_does_not_vary():
    (found,) = compare_along(*field(6, flat), "control", 0.9, 1)
    assert (found.treatment, found.pairs, found.from_end) == ("tried", 6, "south")
    assert [stretch.difference_pct for stretch in found.stretches] == pytest.approx([5.0] * 37)
    assert found.p_somewhere == 2 / 64
    assert found.p_varies == 1.0


def test_a_difference_in_the_middle_is_found_in_the_middle():
    def middle(north):
        return np.where(np.abs(north - 200) < 50, 1.2, 1.0)

    (found,) = compare_along(*field(6, middle, np.random.default_rng(3)), "control", 0.9, 1)
    outside = [stretch for stretch in found.stretches if stretch.outside]
    assert found.p_varies == 2 / 64
    assert outside
    assert all(stretch.end_m > 150 and stretch.start_m < 250 for stretch in outside)


def test_swapping_the_labels_turns_the_sign():
    points, strips = field(6, flat, np.random.default_rng(5))
    (one,) = compare_along(points, strips, "control", 0.9, 1)
    (other,) = compare_along(points, strips, "tried", 0.9, 1)
    ratios = [1 + stretch.difference_pct / 100 for stretch in one.stretches]
    assert [1 / (1 + stretch.difference_pct / 100) for stretch in other.stretches] == pytest.approx(ratios)
    assert one.p_somewhere == other.p_somewhere


def test_chance_is_called_something_as_rarely_as_it_should_be():
    # 6 pairs have 32 exchanges of signs, two-sided; at 90 % three of them may be called beyond chance.
    def nothing(north):
        return np.ones(len(north))

    rng = np.random.default_rng(11)
    found = [compare_along(*field(6, nothing, rng), "control", 0.9, 1)[0] for _ in range(200)]
    somewhere = np.mean([any(stretch.outside for stretch in one.stretches) for one in found])
    varies = np.mean([one.p_varies <= 0.1 for one in found])
    assert somewhere == pytest.approx(3 / 32, abs=0.06)
    assert varies == pytest.approx(3 / 32, abs=0.06)


def test_many_pairs_are_drawn_and_the_same_seed_draws_the_same():
    points, strips = field(14, flat, np.random.default_rng(7))
    one, other = (compare_along(points, strips, "control", 0.9, 4) for _ in range(2))
    assert one == other
    assert 1 <= one[0].p_somewhere * 4096 <= 16  # the observed signs are among them


@pytest.mark.parametrize(("pairs", "curves", "envelope"), [(2, 0, False), (4, 1, False), (5, 1, True)])
def test_few_pairs_have_no_envelope(pairs, curves, envelope):
    found = compare_along(*field(pairs, flat), "control", 0.9, 1)
    assert len(found) == curves
    assert all((one.envelope_pct is not None) is envelope for one in found)
    assert all(stretch.outside is False for one in found for stretch in one.stretches if not envelope)


def test_without_blocks_or_without_ground_there_is_nothing_to_say():
    points, strips = field(6, flat)
    assert compare_along(points, strips.assign(block=None), "control", 0.9, 1) == ()
    assert compare_along(points.assign(usable=False), strips, "control", 0.9, 1) == ()


def test_a_gap_in_one_strip_leaves_its_windows_out():
    points, strips = field(6, flat)
    points.loc[(points["strip"] == "S3") & points["cut_northing_m"].between(100, 160), "usable"] = False
    (found,) = compare_along(points, strips, "control", 0.9, 1)
    assert len(found.stretches) < 37
    assert not [stretch for stretch in found.stretches if 100 <= stretch.start_m <= 120]


def test_a_difference_in_one_zone_is_found_there():
    points, strips = field(6, lambda north: np.where(north < 200, 1.1, 1.0), np.random.default_rng(2))
    zone = pd.Series(np.where(points["cut_northing_m"] < 200, "sand", "clay"), index=points.index)
    clay, sand = compare_zones(points, strips, zone, "control", 0.9)
    assert (clay.zone, sand.zone, sand.pairs) == ("clay", "sand", 6)
    assert sand.low_pct < 10 < sand.high_pct
    assert sand.low_pct > clay.difference_pct
    assert sand.p_differs == clay.p_differs == 2 / 64


def test_a_zone_that_two_pairs_hold_has_no_interval():
    points, strips = field(6, flat)
    zone = pd.Series(np.where(points["cut_easting_m"] < 4 * WIDTH_M, "west", "east"), index=points.index)
    east, west = compare_zones(points, strips, zone, "control", 0.9)
    assert (east.pairs, west.pairs, west.low_pct) == (4, 2, None)
    assert west.difference_pct == pytest.approx(5.0)
    assert compare_zones(points, strips, zone.where(zone == "none"), "control", 0.9) == ()
