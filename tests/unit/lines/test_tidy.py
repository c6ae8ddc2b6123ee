"""Tidying: how much it smooths, what it keeps."""

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.lines.contours import contours
from brimline.lines.measure import departures
from brimline.lines.sample import surface_at
from brimline.lines.tidy import evenly_spaced, simplified, smoothed_lines, tidied

GRID = Grid(120, 160, 1.0, north_m=120.0)


def plane(slope=0.1, grid=GRID):
    _, y = grid.xy(*np.indices(grid.shape))
    return (100 - slope * (grid.north_m - y)).astype(np.float32)


def array(*lines):
    out = np.empty(len(lines), dtype=object)
    out[:] = lines
    return out


def wave(length, swing, count=600, span=120.0):
    x = np.linspace(20, 20 + span, count)
    return shapely.LineString(np.column_stack((x, 60 + swing * np.sin(2 * np.pi * x / length))))


@pytest.mark.parametrize("bend", [6.0, 12.0])
def test_the_swing_of_bends_of_the_stated_length_is_halved(bend):
    # 1 / (1 + λ k⁴) with λ = (W / 2π)⁴ and k = 2π / W is a half (Eilers 2003, cutoff of a
    # penalised least-squares smoother)
    # low waves, so that length along the line is length along x
    (smooth,) = smoothed_lines([wave(bend, 0.02)], bend_m=bend, simplify_m=1e-5)
    points = shapely.get_coordinates(smooth)
    middle = points[(points[:, 0] > 50) & (points[:, 0] < 110)]
    assert np.abs(middle[:, 1] - 60).max() == pytest.approx(0.01, rel=0.03)


def test_bends_much_longer_than_stated_pass():
    (smooth,) = smoothed_lines([wave(60.0, 3.0)], bend_m=6.0, simplify_m=1e-3)
    points = shapely.get_coordinates(smooth)
    middle = points[(points[:, 0] > 40) & (points[:, 0] < 120)]
    expected = 60 + 3.0 * np.sin(2 * np.pi * middle[:, 0] / 60.0)
    np.testing.assert_allclose(middle[:, 1], expected, atol=0.01)


def test_a_staircase_on_a_plane_becomes_the_straight_line_of_its_level():
    steps = [(x, 60.0 + (x // 2) % 2) for x in range(20, 140)]
    (line,) = tidied(
        [shapely.LineString(steps)], 94.0, plane(), GRID, bend_m=10.0, tolerance_m=0.05
    )
    dense = shapely.get_coordinates(shapely.segmentize(line, 0.2))
    np.testing.assert_allclose(dense[:, 1], 60.0, atol=1e-2)  # 100 - 0.1 × 60 = 94
    assert len(line.coords) == 2


def test_a_ring_stays_a_ring_and_lines_keep_their_direction():
    angle = np.linspace(0, 2 * np.pi, 200)
    x, y = GRID.xy(*np.indices(GRID.shape))
    cone = (100 - 0.2 * np.hypot(x - 80, y - 60)).astype(np.float32)
    rough = np.random.default_rng(1).normal(0, 0.2, 199)
    radius = 30 + np.append(rough, rough[0])
    points = np.column_stack((80 + radius * np.cos(angle), 60 + radius * np.sin(angle)))
    points[-1] = points[0]
    ring = shapely.LineString(points)
    (line,) = tidied([ring], 94.0, cone, GRID, bend_m=10.0, tolerance_m=0.05)
    assert line.is_ring
    assert shapely.is_ccw(shapely.LinearRing(line.coords))
    assert departures([line], 94.0, cone, GRID).largest_m[0] < 0.02


def test_where_a_curve_cannot_keep_its_level_it_bends_more_but_only_there():
    # a mound 0.3 m high and some 4 m across stands in the way of the level line
    x, y = GRID.xy(*np.indices(GRID.shape))
    mound = 0.3 * np.exp(-((x - 80) ** 2 + (y - 60) ** 2) / (2 * 1.5**2))
    dem = (plane() + mound).astype(np.float32)
    rough = max(contours(dem, GRID, [94.0])[0].geoms, key=lambda line: line.length)
    (line,) = tidied([rough], 94.0, dem, GRID, bend_m=10.0, tolerance_m=0.05, simplify_m=0.01)
    (stiff,) = tidied([rough], 94.0, dem, GRID, bend_m=10.0, tolerance_m=9.0, simplify_m=0.01)
    off, stiff_off = departures([line, stiff], 94.0, dem, GRID).largest_m
    assert stiff_off > 0.05  # at full stiffness the tolerance would be missed
    assert off <= 0.05
    points = shapely.get_coordinates(line)
    assert np.abs(points[points[:, 0] < 65][:, 1] - 60).max() < 0.01


def test_noise_is_not_followed_where_it_gains_nothing():
    noisy = plane() + np.random.default_rng(2).normal(0, 0.2, GRID.shape).astype(np.float32)
    rough = shapely.LineString([(20.0, 60.0), (140.0, 60.0)])
    (line,) = tidied(
        [rough], 94.0, noisy, GRID, bend_m=20.0, tolerance_m=0.01, guide=plane(), simplify_m=0.01
    )
    assert line.length < rough.length * 1.005


def test_a_line_that_cannot_be_level_anyway_stays_smooth():
    # two mounds: bending more would pass the low one within the tolerance, but never the high one,
    # before which a level of the site's own is needed on site in any case
    x, y = GRID.xy(*np.indices(GRID.shape))
    bell = [np.exp(-((x - east) ** 2 + (y - 60) ** 2) / (2 * 1.5**2)) for east in (50, 110)]
    rough = shapely.LineString([(20.0, 60.0), (140.0, 60.0)])
    both = (plane() + 0.3 * bell[0] + 3.0 * bell[1]).astype(np.float32)
    options = {"bend_m": 10.0, "guide": plane(), "simplify_m": 0.01}
    (line,) = tidied([rough], 94.0, both, GRID, tolerance_m=0.05, **options)
    (stiff,) = tidied([rough], 94.0, both, GRID, tolerance_m=9.0, **options)
    assert departures([line], 94.0, both, GRID).largest_m[0] > 0.05
    assert line.equals(stiff)


@pytest.mark.parametrize(
    ("length_m", "swing_m", "tolerance_m", "followed"),
    [(8.0, 1.0, 0.05, False), (16.0, 2.5, 0.02, True)],
)
def test_kinks_sharper_than_a_machine_digs_are_not_drawn(length_m, swing_m, tolerance_m, followed):
    # The level swings by a to both sides in waves of L. Halving bends of 10 m leaves
    # 1 / (1 + (10 / L)⁴) of the swing: 0.29 of 1 m, 0.87 of 2.5 m, which misses level by 0.07 and
    # 0.033 m on 10 %. Followed to the full, headings are atan(2 pi a / L) to both sides: 38 and 44
    # degrees. Within 4 m that is a turn of 76 degrees where waves are 8 m long, of some 44 where
    # they are 16 m.
    x, y = GRID.xy(*np.indices(GRID.shape))
    wave = swing_m * np.sin(2 * np.pi * x / length_m)
    dem = (100 - 0.1 * (120 - y + wave)).astype(np.float32)
    rough = max(contours(dem, GRID, [94.0])[0].geoms, key=lambda line: line.length)
    options = {"bend_m": 10.0, "simplify_m": 0.01}
    (line,) = tidied([rough], 94.0, dem, GRID, tolerance_m=tolerance_m, **options)
    (stiff,) = tidied([rough], 94.0, dem, GRID, tolerance_m=9.0, **options)
    off, stiff_off = departures([line, stiff], 94.0, dem, GRID).largest_m
    assert stiff_off > tolerance_m
    assert (off < 0.7 * stiff_off) == followed
    assert line.equals(stiff) != followed


def test_pinned_ends_stay():
    line = shapely.LineString([(20.0, 61.0), (80.0, 60.5), (140.0, 59.0)])
    (both,) = tidied([line], 94.0, plane(), GRID, bend_m=10.0, tolerance_m=0.5, pinned="both")
    assert both.coords[0] == pytest.approx((20.0, 61.0), abs=1e-6)
    assert both.coords[-1] == pytest.approx((140.0, 59.0), abs=1e-6)
    (start,) = tidied([line], 94.0, plane(), GRID, bend_m=10.0, tolerance_m=0.5, pinned="start")
    assert start.coords[0] == pytest.approx((20.0, 61.0), abs=1e-6)
    assert start.coords[-1][1] == pytest.approx(60.0, abs=0.05)


def test_a_falling_line_is_fitted_to_its_fall():
    line = shapely.LineString([(20.0, 60.3), (140.0, 48.0)])
    (drawn,) = tidied(
        [line], 94.0, plane(), GRID, bend_m=10.0, tolerance_m=0.01, fall=0.01, simplify_m=0.001
    )
    x, y = np.asarray(drawn.coords[-1])
    start = np.asarray(drawn.coords[0])
    assert surface_at(plane(), GRID, x, y) == pytest.approx(94 - 0.01 * drawn.length, abs=1e-3)
    assert surface_at(plane(), GRID, *start) == pytest.approx(94.0, abs=1e-3)


def test_simplifying_keeps_a_line_from_crossing_itself():
    # two arms that nearly touch: leaving out vertices by distance alone would cross them
    hook = shapely.LineString(
        [(0, 0), (10, 0), (10, 1.0), (5, 0.35), (0.2, 1.0), (0.2, 0.05), (-4, 0.06)]
    )
    assert hook.is_simple
    (fewer,) = simplified([hook], 0.5)
    assert fewer.is_simple
    assert not fewer.is_empty


def test_even_spacing_keeps_ends_and_length():
    line = shapely.LineString([(0, 0), (3, 4), (3, 10)])
    curves = evenly_spaced(array(line, shapely.LineString([(5, 5), (6, 5)])), 2.0)
    first = curves.points[curves.index == 0]
    np.testing.assert_allclose(first[[0, -1]], [(0, 0), (3, 10)], atol=1e-9)
    assert curves.step_m[0] == pytest.approx(11 / 6)
    assert (curves.index == 1).sum() == 5  # at least four steps in any line


@pytest.mark.parametrize("name", ["bend_m", "tolerance_m", "simplify_m"])
def test_lengths_must_be_positive(name):
    options = {"bend_m": 1.0, "tolerance_m": 1.0, "simplify_m": 1.0} | {name: 0.0}
    with pytest.raises(ValueError, match=f"{name} must be above 0 m"):
        tidied([wave(5.0, 1.0)], 94.0, plane(), GRID, **options)
