"""Shapes on flat and tilted ground against closed forms, and what they refuse."""

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.terrain.earthwork import earth_between
from brimline.terrain.shaping import (
    Bank,
    Bowl,
    Channel,
    LevelAlong,
    Pad,
    beside,
    composed,
    design,
    notch,
)
from brimline.units import CUBIC_YARD_M3, FOOT_M

FLAT = LevelAlong.flat
EAST = shapely.LineString([(10, 20), (30, 20)])


def earth(shapes, *, ground=lambda x, _y: 0 * x, size=40, cell_m=0.5, factor=10, **options):
    """Cut and fill of shapes on a square of ground, from the refined pieces."""
    grid = Grid(int(size / cell_m), int(size / cell_m), cell_m, 0.0, float(size))
    x, y = grid.xy(*np.indices(grid.shape))
    done = design(ground(x, y).astype(np.float32), grid, shapes).surface(factor=factor, **options)
    found = [earth_between(p.ground_m, p.design_m, p.grid.cell_area_m2) for p in done.pieces]
    return sum(found[1:], found[0])


@pytest.mark.interpreted
def test_places_beside_a_bent_line():
    line = shapely.LineString([(0, 0), (10, 0), (10, 10)])
    x = np.array([5.0, 5.0, -3.0, 12.0, 10.0, 12.0, 8.0, 50.0])
    y = np.array([2.0, -2.0, 1.0, 5.0, 14.0, -2.0, 1.0, 0.0])
    chainage, across, beyond = beside(line, x, y, 6.0)
    np.testing.assert_allclose(chainage, [5, 5, 0, 15, 20, 10, 8, np.nan])
    # left is positive; the corner's outer side is its right, at the distance to the corner itself
    np.testing.assert_allclose(across, [2, -2, 1, -2, 0, -np.sqrt(8), 1, np.nan])
    np.testing.assert_allclose(beyond, [0, 0, 3, 0, 4, 0, 0, np.nan])


def test_a_channel_holds_its_closed_form():
    # Prism b L y, two sides and two ends (L + b) z y², four quarter cones π z² y³ / 3.
    b, z, y, length = 0.6, 2.0, 0.5, 20.0
    found = earth([Channel("a", EAST, FLAT(-y), bottom_m=b, left=z, right=z)])
    exact = b * length * y + (length + b) * z * y**2 + np.pi * z**2 * y**3 / 3
    assert found.cut_m3 == pytest.approx(exact, rel=1e-3)
    assert found.fill_m3 == 0
    assert found.deepest_m == pytest.approx(y)


def test_a_parabolic_channel_holds_its_closed_form():
    # 2/3 T y L between the ends; round each end half a paraboloid, π (T/2)² y / 2 together.
    top_at_1_m, y, length = 3.0, 0.49, 20.0
    top = top_at_1_m * np.sqrt(y)
    found = earth([Channel("a", EAST, FLAT(-y), parabola_m=top_at_1_m)])
    exact = 2 / 3 * top * y * length + np.pi * (top / 2) ** 2 * y / 2
    assert found.cut_m3 == pytest.approx(exact, rel=1e-3)


def test_a_vee_falls_along_its_line():
    # Depth from 0.2 to 0.6 m over 20 m: a wedge of V sections, z ∫ y² dx, half cones at both ends.
    fall = LevelAlong.graded(-0.2, -0.6, 20.0)
    found = earth([Channel("a", EAST, fall, left=1.5, right=1.5)])
    along = 1.5 * 20.0 * (0.2**2 + 0.2 * 0.6 + 0.6**2) / 3
    ends = np.pi * 1.5**2 * (0.2**3 + 0.6**3) / 6
    assert found.cut_m3 == pytest.approx(along + ends, rel=2e-3)


def test_a_bank_holds_its_closed_form_and_is_built_higher():
    # The channel's form upside down; built 10 % higher everywhere, it has 10 % more volume.
    w, z, h, length = 0.4, 2.0, 0.5, 20.0
    bank = Bank("a", EAST, FLAT(h), top_m=w, left=z, right=z, settlement=0.1)
    exact = w * length * h + (length + w) * z * h**2 + np.pi * z**2 * h**3 / 3
    assert earth([bank]).fill_m3 == pytest.approx(exact, rel=1e-3)
    assert earth([bank], built=True).fill_m3 == pytest.approx(1.1 * exact, rel=1e-3)
    assert earth([bank], built=True).highest_m == pytest.approx(1.1 * h)


def test_unlike_batters_lie_on_their_own_sides():
    channel = Channel("a", EAST, FLAT(-1.0), offset_m=2.0, bottom_m=1.0, left=3.0, right=0.0)
    x = np.full(5, 20.0)
    y = np.array([21.4, 21.6, 22.0, 24.0, 25.4])
    found = channel.levels(x, y, 10.0).dug
    np.testing.assert_allclose(found[1:], [-1.0, -1.0, -0.5, -1 + 2.9 / 3])
    assert found[0] > 1000  # a wall


def test_an_excavated_pond_is_the_handbooks():
    # USDA Agriculture Handbook 590, Ponds (1997), estimating the volume: bottom 40 × 100 ft, depth
    # 12 ft, sides 2:1: 97 536 ft³ = 3 612 yd³ (value from memory; re-computed by its formula).
    long, wide, depth = 148 * FOOT_M, 88 * FOOT_M, 12 * FOOT_M
    outline = shapely.box(5, 5, 5 + long, 5 + wide)
    found = earth([Bowl("a", outline, 0.0, depth, side=2.0)], size=60)
    assert found.cut_m3 / FOOT_M**3 == pytest.approx(97_536, rel=1e-3)
    assert found.cut_m3 / CUBIC_YARD_M3 == pytest.approx(3612, rel=1e-3)


def test_a_round_bowl_is_a_cone_frustum():
    # π h (R² + R r + r²) / 3; the outline has 512 corners, its area is a hair small.
    radius, depth, side = 10.0, 2.0, 3.0
    outline = shapely.Point(20, 20).buffer(radius, quad_segs=128)
    floor = radius - side * depth
    exact = np.pi * depth * (radius**2 + radius * floor + floor**2) / 3
    assert earth([Bowl("a", outline, 0.0, depth, side)]).cut_m3 == pytest.approx(exact, rel=1e-3)


def test_an_edge_shelf_lies_where_it_is_asked_for():
    bowl = Bowl(
        "a", shapely.box(0, 0, 40, 40), 10.0, 2.0, 3.0, shelf_width_m=1.5, shelf_depth_m=0.3
    )
    inwards = np.array([0.0, 0.9, 2.4, 2.4 + 3.0, 19.0])
    # 0.3 m down at 3:1, 1.5 m at 1 in 10, then 3:1 again down to the floor
    np.testing.assert_allclose(bowl.depth_at(inwards), [0, 0.3, 0.45, 1.45, 2.0])


def test_a_bowl_on_a_slope_gets_a_bank_where_the_ground_is_low():
    # Full level 0 m, ground rising northwards 1 in 10 through the middle: the south needs a bank.
    outline = shapely.Point(20, 20).buffer(6, quad_segs=32)
    bowl = Bowl("a", outline, 0.0, 1.0, 2.0, crest_m=0.5, top_m=1.0, outer=2.0)
    placed = design(np.zeros((40, 40), np.float32), Grid(40, 40, 1.0, 0.0, 40.0), [bowl]).placed
    y = np.array([20 - 6 - 1.0 - 0.5, 20 - 6 - 0.5, 20 - 4.0, 20 + 6.0 + 0.4])
    found = composed(placed, np.full(4, 20.0), y, (y - 20) / 10)
    np.testing.assert_allclose(found.level_m, [0.5, 0.25, -1.0, 0.2], atol=2e-3)
    assert found.heaped_by.tolist() == [1, 1, 0, 0]
    assert found.dug_by.tolist() == [0, 0, 1, 1]


def test_a_pad_on_a_slope_is_two_wedges():
    # Half is dug, half heaped up, each a wedge of (s W/2) (W/2) / 2 × L; walls instead of batters.
    slope, wide, long = 0.1, 10.0, 20.0
    outline = shapely.box(10, 15, 10 + long, 15 + wide)
    pad = Pad("a", outline, 2.0, cut=0.0, fill=0.0)
    found = earth([pad], ground=lambda _x, y: slope * y)
    wedge = slope * (wide / 2) ** 2 / 2 * long
    assert found.cut_m3 == pytest.approx(wedge, rel=5e-3)
    assert found.fill_m3 == pytest.approx(wedge, rel=5e-3)


def test_a_pad_may_tilt_and_may_only_dig_or_only_heap():
    outline = shapely.box(10, 10, 30, 30)
    x, y, ground = np.array([15.0, 25.0]), np.array([20.0, 20.0]), np.array([0.0, 0.0])

    def at(**options):
        pad = Pad("a", outline, 0.0, east=0.02, **options)
        levels = pad.levels(x, y, 50.0)
        return np.minimum(np.maximum(ground, levels.heaped), levels.dug)

    np.testing.assert_allclose(at(), [-0.1, 0.1])
    np.testing.assert_allclose(at(heaps=False), [-0.1, 0.0])
    np.testing.assert_allclose(at(digs=False), [0.0, 0.1])


def test_a_notch_lies_square_to_the_line_at_its_level():
    sill = notch("a", EAST, 12.0, 1.5, 3.0, left_m=2.0, right_m=4.0, batter=1.0)
    assert sill.through
    assert shapely.get_coordinates(sill.line).tolist() == [[22, 22], [22, 16]]
    found = sill.levels(np.array([22.0, 23.5, 24.5]), np.full(3, 19.0), 5.0).dug
    np.testing.assert_allclose(found, [1.5, 1.5, 2.5])


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Channel("a", EAST, FLAT(0), left=0, right=0), "needs a bottom or sloping sides"),
        (lambda: Channel("a", EAST, FLAT(0), left=-1), "left must be 0 or more, got -1"),
        (lambda: Bank("a", shapely.Point(0, 0), FLAT(0)), "must be a LineString"),
        (lambda: Bank("a", EAST, FLAT(0), top_m=np.nan), "top_m must be 0 or more"),
        (lambda: Bowl("a", shapely.box(0, 0, 1, 1), 0, -1.0), "depth_m must be above 0 m"),
        (
            lambda: Bowl("a", shapely.box(0, 0, 1, 1), 2, 1, crest_m=1.0),
            "lies below the full level",
        ),
        (lambda: Pad("a", shapely.Polygon(), 0.0), "valid polygon with an area"),
        (lambda: LevelAlong((0.0, 1.0), (1.0,)), "as many levels as chainages"),
        (lambda: LevelAlong((1.0, 1.0), (1.0, 2.0)), "chainages must rise"),
        (lambda: notch("a", EAST, 21.0, 0, 1, left_m=1, right_m=1), "not on a line of 20.00 m"),
        (lambda: notch("a", EAST, 5.0, 0, 0, left_m=1, right_m=1), "width and a length above 0 m"),
    ],
)
def test_unusable_shapes_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
