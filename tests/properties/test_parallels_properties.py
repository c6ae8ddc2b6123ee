"""What holds for parallels to any guide line, and for lines divided between valleys and ridges."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.grid import Grid
from brimline.lines.keyline.drift import Half, drift, halves
from brimline.lines.keyline.parallels import eased, family, parallel, parallels

MODERATE = settings(deadline=None, max_examples=40)


@st.composite
def guides(draw):
    """A line from west to east that swings to both sides in bends of three lengths."""
    x = np.linspace(0, 300, 400)
    y = np.zeros_like(x)
    for length in (200.0, 70.0, 25.0):
        swing = draw(st.floats(0, 0.25)) * length
        y += swing * np.sin(2 * np.pi * x / length + draw(st.floats(0, 6.3)))
    return shapely.LineString(np.column_stack([x, y]))


def turning_radius(line, step_m=1.0):
    """Radius of the circle through each three points that lie `step_m` apart along a line."""
    count = int(line.length / step_m)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, np.arange(count) * step_m))
    a, b, c = xy[:-2], xy[1:-1], xy[2:]
    sides = [np.hypot(*(p - q).T) for p, q in ((a, b), (b, c), (c, a))]
    area2 = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    return np.prod(sides, axis=0) / np.maximum(2 * area2, 1e-12)


@MODERATE
@given(guide=guides(), offset=st.floats(2, 60), side=st.sampled_from([-1, 1]))
def test_a_parallel_is_nowhere_nearer_and_lies_on_its_side(guide, offset, side):
    for line in parallel(guide, side * offset, turning_radius_m=0.0):
        away = shapely.distance(shapely.points(shapely.get_coordinates(line)), guide)
        assert away.min() >= offset - 0.05
        east, north = shapely.get_coordinates(line.interpolate(0.5, normalized=True))[0]
        nearest = guide.interpolate(guide.project(shapely.Point(east, north)))
        assert np.sign(north - nearest.y) == side or abs(north - nearest.y) < 0.2 * offset


@MODERATE
@given(guide=guides(), offset=st.floats(2, 60), side=st.sampled_from([-1, 1]))
def test_a_parallel_is_simple_and_directed_as_its_guide(guide, offset, side):
    for line in parallel(guide, side * offset, turning_radius_m=6.0):
        assert line.is_simple
        assert line.coords[0][0] < line.coords[-1][0]


@MODERATE
@given(guide=guides(), offset=st.floats(2, 60), side=st.sampled_from([-1, 1]))
def test_a_parallel_turns_no_tighter_than_the_tractor(guide, offset, side):
    for line in parallel(guide, side * offset, turning_radius_m=6.0):
        if line.length > 12:
            # 6 m, less the corners of drawn arcs: chords within 2 cm of an arc of 6 m turn by up to
            # 0.2 rad at once, which steps of 1 m would read as a radius of 5 m or less
            assert turning_radius(line, 2.0).min() >= 5.4


@MODERATE
@given(guide=guides(), width=st.floats(2, 8))
def test_lines_of_one_family_never_cross(guide, width):
    family = [guide]
    for sign in (1, -1):
        for number in range(1, 9):
            family += parallel(guide, sign * number * width, turning_radius_m=6.0)
    tree = shapely.STRtree(family)
    one, other = tree.query(family, predicate="intersects")
    assert (one == other).all()


@st.composite
def rough_guides(draw):
    """A line whose bends are far tighter than a tractor turns, as on ground full of hollows."""
    seed = draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    x = np.linspace(0, 120, 160)
    y = sum(
        rng.uniform(0, swing) * np.sin(2 * np.pi * x / length + rng.uniform(0, 6.3))
        for length, swing in ((90.0, 25.0), (30.0, 6.0), (11.0, 2.0))
    )
    return shapely.LineString(np.column_stack([x, y]))


@MODERATE
@given(guide=st.one_of(guides(), rough_guides()), width=st.floats(2, 8))
def test_both_sides_at_once_lie_right_and_never_cross(guide, width):
    """Lines of both sides keep their distance and side, turn gently, and cross none of a family."""
    family = [guide]
    for number in range(1, 9):
        offset = number * width
        both = parallels(guide, offset, turning_radius_m=6.0)
        for side, lines in zip((1, -1), both, strict=True):
            for line in lines:
                assert line.is_simple
                assert line.coords[0][0] < line.coords[-1][0]
                if offset >= 6.0:
                    assert shapely.distance(guide, line) >= offset - 0.05
                east, north = shapely.get_coordinates(line.interpolate(0.5, normalized=True))[0]
                at = guide.project(shapely.Point(east, north))
                near, ahead = (guide.interpolate(place) for place in (at, at + 0.05))
                turn = (ahead.x - near.x) * (north - near.y) - (ahead.y - near.y) * (east - near.x)
                assert np.sign(turn) == side or at >= guide.length - 0.1
                if line.length > 12 and offset >= 6.0:
                    assert turning_radius(line, 2.0).min() >= 5.4  # as above
        family += [*both[0], *both[1]]
    tree = shapely.STRtree(family)
    one, other = tree.query(family, predicate="intersects")
    assert (one == other).all()


@MODERATE
@given(guide=st.one_of(guides(), rough_guides()), width=st.floats(2, 8))
def test_lines_drawn_from_discs_are_the_offset_curves_of_a_geometry_library(guide, width):
    """Points of a line lie where GEOS draws the offset out by the radius and back, to a few cm.

    The chords of either leave some centimetres. Round the ends of the guide, where lines are cut
    off square here and not there, nothing is compared.
    """
    smooth = eased(guide, 6.0)
    ends = shapely.multipoints([smooth.coords[0], smooth.coords[-1]])
    offsets = [number * width for number in range(1, 9)]
    for offset, both in zip(offsets, family(guide, offsets, turning_radius_m=6.0), strict=True):
        if offset < 6.0:
            continue
        for side, lines in zip((1, -1), both, strict=True):
            drawn = shapely.multilinestrings(
                list(parallel(smooth, side * offset, turning_radius_m=6.0))
            )
            for line in lines:
                points = shapely.points(shapely.get_coordinates(line.segmentize(2.0)))
                inner = points[shapely.distance(points, ends) > offset + 8.0]
                assert shapely.distance(inner, drawn).max(initial=0.0) < 0.1
            assert sum(line.length for line in lines) > 0.9 * drawn.length - 12.0


def test_both_sides_of_a_straight_line_and_a_circle_are_exact_and_end_square():
    straight = shapely.LineString([(0, 0), (100, 0)])
    (left,), (right,) = parallels(straight, 12.0, turning_radius_m=6.0)
    for line, north in ((left, 12.0), (right, -12.0)):
        np.testing.assert_allclose(
            np.sort(shapely.get_coordinates(line)[:, 0]), [0, 100], atol=0.21
        )
        np.testing.assert_allclose(shapely.get_coordinates(line)[:, 1], north, atol=0.02)
    angle = np.linspace(0, np.pi, 721)
    arc = shapely.LineString(40 * np.column_stack([np.cos(angle), np.sin(angle)]))
    (inner,), (outer,) = parallels(arc, 15.0, turning_radius_m=6.0)  # its inside is on its left
    for line, radius in ((inner, 25.0), (outer, 55.0)):
        xy = shapely.get_coordinates(line)
        np.testing.assert_allclose(np.hypot(*xy.T), radius, atol=0.03)
        np.testing.assert_allclose(xy[[0, -1], 1], 0, atol=0.21)
    with pytest.raises(ValueError, match="offset_m must be above 0"):
        parallels(straight, 0.0, turning_radius_m=6.0)


def test_a_guide_that_is_a_ring_has_lines_inside_and_outside():
    ring = shapely.LineString(shapely.Point(0, 0).buffer(40, quad_segs=64).exterior)
    both = parallels(ring, 9.0, turning_radius_m=6.0)
    radii = sorted(float(np.hypot(*line.coords[0])) for lines in both for line in lines)
    assert radii == pytest.approx([31, 49], abs=0.05)


def test_parallels_to_a_straight_line_and_a_circle_are_exact():
    straight = shapely.LineString([(0, 0), (100, 0)])
    (above,) = parallel(straight, 12.0, turning_radius_m=6.0)
    assert above.equals(shapely.LineString([(0, 12), (100, 12)]))
    angle = np.linspace(0, np.pi, 721)
    arc = shapely.LineString(40 * np.column_stack([np.cos(angle), np.sin(angle)]))
    for offset, radius in ((15.0, 25.0), (-15.0, 55.0)):  # its inside is on its left
        (line,) = parallel(arc, offset, turning_radius_m=6.0)
        inner = shapely.get_coordinates(line)
        np.testing.assert_allclose(np.hypot(*inner.T), radius, atol=0.03)


def test_easing_takes_corners_off_and_leaves_curves_and_ends():
    angle = np.linspace(0, np.pi, 30)  # a drawn half circle: chords of 4 m, corners of 6°
    circle = shapely.LineString(40 * np.column_stack([np.cos(angle), np.sin(angle)]))
    smooth = eased(circle, 6.0)
    assert shapely.hausdorff_distance(circle, smooth) < 0.1
    assert smooth.coords[0] == pytest.approx(circle.coords[0])
    assert smooth.coords[-1] == pytest.approx(circle.coords[-1])
    inner = turning_radius(smooth)[5:-5]
    assert inner.min() > 0.8 * 40
    assert turning_radius(circle)[5:-5].min() < 0.3 * 40


def test_points_are_dense_in_bends_and_few_on_straights():
    corner = shapely.LineString([(-200, 0), (0, 0), (0, 200)])
    (line,) = parallel(corner, -10.0, turning_radius_m=6.0)
    xy = shapely.get_coordinates(line)
    assert len(xy) < 40
    assert np.hypot(*np.diff(xy, axis=0).T).max() == pytest.approx(200, abs=1.0)


@pytest.mark.parametrize(
    ("guide", "radius", "match"),
    [
        (shapely.LineString(), 6.0, "guide"),
        (shapely.LineString([(0, 0), (9, 9), (9, 0), (0, 9)]), 6.0, "cross itself"),
        (shapely.LineString([(0, 0), (9, 0)]), -1.0, "turning_radius_m"),
    ],
)
def test_unusable_guides_are_refused(guide, radius, match):
    with pytest.raises(ValueError, match=match):
        parallel(guide, 3.0, turning_radius_m=radius)


LINE = shapely.LineString([(0, 0), (100, 0)])


def across(*places):
    return shapely.MultiLineString([[(x, -5), (x, 5)] for x in places])


@pytest.mark.parametrize(
    ("floors", "ridges", "expected"),
    [
        ((40,), (), [Half(40, 0), Half(40, 100)]),
        ((20, 80), (), [Half(20, 0), Half(20, 50), Half(80, 50), Half(80, 100)]),
        ((20, 80), (30,), [Half(20, 0), Half(20, 30), Half(80, 30), Half(80, 100)]),
        ((), (60,), [Half(0, 60), Half(100, 60)]),
        ((0,), (), [Half(0, 100)]),
        ((), (), []),
    ],
)
def test_a_line_is_divided_between_valleys_and_ridges(floors, ridges, expected):
    assert halves(LINE, across(*floors), across(*ridges)) == expected


def test_a_line_that_crosses_no_floor_belongs_to_the_nearest():
    aside = shapely.MultiLineString([[(70, 3), (70, 9)]])
    assert halves(LINE, aside, across()) == [Half(70, 0), Half(70, 100)]


def test_drift_is_the_signed_fall_along_each_half():
    # From a floor at x = 40 the ground falls by 2 % to the east, rises by 1 % to the west.
    grid = Grid(11, 101, 1.0, -0.5, 5.5)
    x, _ = grid.xy(*np.indices(grid.shape))
    dem = (50 - np.where(x > 40, 0.02 * (x - 40), 0.01 * (x - 40))).astype(np.float32)
    parts = halves(LINE, across(40), across())
    whole = drift(dem, grid, LINE, parts, 0.0, 100.0, over_m=5.0)
    assert whole.fall_pct == pytest.approx((60 * 2 - 40 * 1) / 100, abs=0.01)
    assert whole.share_right_pct == pytest.approx(60, abs=0.5)
    east = drift(dem, grid, LINE, parts, 60.0, 90.0, over_m=5.0)
    assert (east.fall_pct, east.share_right_pct) == (pytest.approx(2.0, abs=0.01), 100.0)
    unknown = drift(dem, grid, LINE, [], 0.0, 100.0, over_m=5.0)
    assert np.isnan(unknown.fall_pct)
    assert np.isnan(unknown.share_right_pct)
