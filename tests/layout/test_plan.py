"""Strips on fields of many shapes: inside, apart, whole, drawn by lot; and fields that do not hold them."""

from collections import Counter
from itertools import combinations, permutations

import numpy as np
import pyproj
import pytest
import scipy.stats
import shapely
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, scale
from tests.layout.fields import EASTING, NORTHING, make_settings, write_boundary

from proofstrip.errors import DataError
from proofstrip.layout import Plan, plan_layout
from proofstrip.layout.plan import draw_order
from proofstrip.read.boundary import Boundary, read_ab_line, read_boundary

CRS = pyproj.CRS.from_epsg(32612)
FIELD = shapely.box(0, 0, 300, 400)


def lay(folder, shape, grid_deg=0.0, **changes) -> Plan:
    """Lay strips out along a grid bearing."""
    moved = shapely.transform(shape, lambda points: points + np.array([EASTING, NORTHING]))
    ground = shapely.MultiPolygon([part for part in shapely.get_parts(moved)])
    changes = {"heading": (grid_deg - north_deg(ground)) % 360} | changes
    return plan_layout(make_settings(folder, **changes), Boundary(ground, CRS, ()))


def north_deg(ground) -> float:
    """Give the grid bearing of true north by a geodesic, apart from the code's own projection of a short step."""
    to_degrees = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    middle = ground.centroid
    (here, ahead), (low, high) = to_degrees.transform([middle.x, middle.x], [middle.y - 50, middle.y + 50])
    return -pyproj.Geod(ellps="WGS84").inv(here, low, ahead, high)[0]


L_SHAPE = shapely.Polygon([(0, 0), (420, 0), (420, 250), (180, 250), (180, 520), (0, 520)])
ROUND = shapely.Point(250, 250).buffer(260)
POND = FIELD.difference(shapely.Point(150, 330).buffer(25))
TWO = shapely.union_all([shapely.box(0, 0, 120, 300), shapely.box(150, 40, 290, 420)])
SHAPES = {"rectangle": FIELD, "concave": L_SHAPE, "round": ROUND, "pond": POND, "two pieces": TWO}


@pytest.mark.parametrize("name", SHAPES)
@settings(
    max_examples=8,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(
    turn=st.floats(0, 360),
    kinds=st.integers(2, 3),
    buffer=st.sampled_from([0, 12]),
    guard=st.sampled_from([0, 12]),
    seed=st.integers(0, 99),
    stretch=st.floats(1.0, 2.5),
)
def test_strips_lie_inside_apart_and_whole(name, tmp_path, turn, kinds, buffer, guard, seed, stretch) -> None:
    shape = rotate(scale(SHAPES[name], stretch, stretch), -turn, origin=(0, 0))
    names = ["A", "B", "C"][:kinds]
    try:
        plan = lay(
            tmp_path,
            shape,
            treatments=str(names).replace("'", '"'),
            seed=seed,
            replicates=3,
            grid_deg=turn,
            strips=f'buffer = "{buffer} m"\nguard = "{guard} m"\nmin_length = "90 m"',
        )
    except DataError as fault:
        # A field that is refused holds fewer, and says so.
        assert "of the 3 blocks wanted" in str(fault)
        return
    inner = plan.ground.buffer(-20 + 0.01, quad_segs=64)
    everything = [*plan.strips.geometry, *plan.guards.geometry]
    assert all(inner.contains(piece) for piece in everything)
    assert max((a.intersection(b).area for a, b in combinations(everything, 2)), default=0.0) < 0.01
    assert plan.strips.groupby("block")["treatment"].apply(sorted).tolist() == [names] * 3
    assert plan.strips.groupby("block")["length_m"].nunique().eq(1).all()
    for row in plan.strips.itertuples():
        box = np.asarray(row.geometry.minimum_rotated_rectangle.exterior.coords)
        sides = sorted(np.hypot(*np.diff(box[:3], axis=0).T))
        assert sides == pytest.approx(sorted([12.0, row.length_m]), abs=1e-3)
        assert row.geometry.area == pytest.approx(row.area_m2, rel=1e-6)
        assert row.length_m >= 90 - 0.01


def test_lines_of_the_combine_stay_whole_headers_inside_their_strip(tmp_path) -> None:
    plan = lay(tmp_path, FIELD, strips="passes = 2", replicates=3)
    strips = plan.strips.set_index("strip").geometry
    for strip, own in plan.lines.groupby("strip"):
        cut = [line.buffer(3.0, cap_style="flat") for line in own.geometry]
        assert len(cut) == 4
        assert shapely.union_all(cut).symmetric_difference(strips[strip]).area < 0.01
        assert sorted((own["heading_deg"] + 1.4).round()) == [180, 180, 360, 360]


def test_one_pass_a_strip_runs_alike_in_a_block_and_says_so(tmp_path) -> None:
    plan = lay(tmp_path, FIELD, header="12 m")
    assert plan.lines.groupby("block")["heading_deg"].nunique().eq(1).all()
    assert plan.lines.groupby("block")["heading_deg"].first().round().tolist() == [359, 179, 359, 179]
    assert [notice.code for notice in plan.notices] == ["one_direction"]


def test_the_same_seed_gives_the_same_order(tmp_path) -> None:
    first, again, other = (draw_order(make_settings(tmp_path, replicates=12, seed=seed)) for seed in (3, 3, 4))
    assert (first == again).all()
    assert (first != other).any()


def test_every_order_of_a_block_is_equally_likely(tmp_path) -> None:
    base = make_settings(tmp_path, treatments='["A", "B", "C"]', replicates=4)
    drawn = Counter()
    for seed in range(600):
        strips = base.strips.model_copy(update={"seed": seed})
        drawn.update(map(tuple, draw_order(base.model_copy(update={"strips": strips})).tolist()))
    assert set(drawn) == set(permutations(range(3)))
    # Pearson's chi-square against equal counts; the seeds are fixed, so this passes or fails always.
    assert scipy.stats.chisquare(list(drawn.values())).pvalue > 0.01


@pytest.mark.parametrize("more", ['design = "systematic"', None])
def test_an_order_that_is_the_same_in_every_block_is_warned_of(tmp_path, more) -> None:
    if more is None:  # a fair draw comes out the same in three pairs one time in four
        base = make_settings(tmp_path, replicates=3)
        seed = next(
            seed
            for seed in range(50)
            if (o := draw_order(base.model_copy(update={"strips": base.strips.model_copy(update={"seed": seed})})))[
                0, 0
            ]
            == o[1, 0]
            == o[2, 0]
        )
        plan = lay(tmp_path, FIELD, replicates=3, seed=seed)
    else:
        plan = lay(tmp_path, FIELD, strips=more)
    (said,) = [notice.message for notice in plan.notices if notice.code == "order_systematic"]
    assert "Every block has the same order" in said


def test_blocks_go_round_a_pond_where_that_is_longer_and_say_so(tmp_path) -> None:
    plan = lay(tmp_path, shapely.box(0, 0, 400, 400).difference(shapely.Point(200, 200).buffer(20)), replicates=6)
    assert plan.strips["length_m"].min() == pytest.approx(360, abs=0.01)
    codes = {notice.code for notice in plan.notices}
    assert codes == {"hole", "blocks_apart"}


def test_strips_end_before_a_pond_where_there_is_no_other_room(tmp_path) -> None:
    plan = lay(tmp_path, shapely.box(0, 0, 140, 400).difference(shapely.Point(70, 330).buffer(10)), replicates=4)
    said = {notice.code: notice.message for notice in plan.notices}["hole"]
    assert "shorter for it in" in said
    assert plan.strips["length_m"].min() == pytest.approx(280, abs=2)


def test_a_field_that_fits_exactly_is_filled(tmp_path) -> None:
    plan = lay(tmp_path, shapely.box(0, 0, 40 + 8 * 12, 200), replicates=4)
    assert plan.strips.geometry.union_all().area == pytest.approx(8 * 12 * 160, rel=1e-6)


def test_strips_lie_on_the_passes_of_the_ab_line(tmp_path) -> None:
    write_boundary(tmp_path, FIELD)
    write_boundary(tmp_path, shapely.LineString([(77.7, 0), (77.7, 390)]), "ab.geojson")
    base = make_settings(tmp_path)
    strips = base.strips.model_copy(update={"heading_deg": None, "ab_line": "ab.geojson"})
    boundary = read_boundary("boundary.geojson", tmp_path)
    line = read_ab_line("ab.geojson", tmp_path, boundary.crs)
    plan = plan_layout(base.model_copy(update={"strips": strips}), boundary, line)
    off = (plan.strips.geometry.centroid.x - EASTING - 77.7) / 12
    assert np.abs(off - off.round()).max() < 1e-6


@pytest.mark.parametrize(
    ("shape", "changes", "said"),
    [
        (shapely.box(0, 0, 120, 400), {"replicates": 6}, "holds 3 of the 6 blocks wanted"),
        (shapely.box(0, 0, 120, 400), {"replicates": 6}, "What would fit: replicates = 3"),
        (shapely.box(0, 0, 200, 400), {"strips": 'passes = 2\nmin_length = "90 m"'}, "strips of 12 m, the narrowest"),
        (shapely.box(0, 0, 300, 120), {}, "a whole block is straight for 80 m at most"),
        (shapely.box(0, 0, 300, 120), {}, 'min_length = "7'),
        (shapely.box(0, 0, 30, 400), {}, "nowhere wider than two headlands of 20 m"),
    ],
)
def test_a_field_too_small_says_what_fits(tmp_path, shape, changes, said) -> None:
    with pytest.raises(DataError) as fault:
        lay(tmp_path, shape, **changes)
    assert said in str(fault.value)


def test_what_is_said_to_fit_fits(tmp_path) -> None:
    with pytest.raises(DataError, match='min_length = "') as fault:
        lay(tmp_path, shapely.box(0, 0, 300, 120))
    length = str(fault.value).split('min_length = "')[1].split('"')[0]
    assert len(lay(tmp_path, shapely.box(0, 0, 300, 120), strips=f'min_length = "{length}"').strips) == 8
