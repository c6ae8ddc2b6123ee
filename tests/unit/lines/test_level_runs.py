"""One level line followed from a place beside it, against all contours of that level."""

import numpy as np
import pytest
import shapely
from scipy import ndimage

from brimline.grid import Grid
from brimline.lines.contours import contours
from brimline.lines.keyline.following import level_run
from brimline.lines.sample import surface_at

pytestmark = pytest.mark.interpreted


def rough(seed, side=24, holes=0):
    """Ground with saddles and closed hollows everywhere, and some cells without data."""
    random = np.random.default_rng(seed)
    dem = ndimage.gaussian_filter(random.normal(size=(side, side)), 1.2).astype(np.float32)
    dem.ravel()[random.integers(0, dem.size, holes)] = np.nan
    return dem, Grid(side, side, 2.0, 1000.0, 5000.0), random


def nearest_contour(dem, grid, point, level_m):
    """The line that passes a point nearest, as (line, distance), of all that are traced."""
    (lines,) = contours(dem, grid, [level_m])
    pieces = shapely.get_parts(lines)
    away = shapely.distance(pieces, shapely.Point(point))
    return pieces[int(away.argmin())], away.min()


@pytest.mark.parametrize("seed", range(12))
def test_a_run_is_the_nearest_contour_as_far_as_it_reaches(seed):
    dem, grid, random = rough(seed, holes=6)
    followed = 0
    for _ in range(12):
        x, y = random.uniform(3, 45, 2) + np.array([1000.0, 5000.0 - 48.0])
        level_m = float(surface_at(dem, grid, x, y)) + 0.02
        if not np.isfinite(level_m):
            continue
        line, away = nearest_contour(dem, grid, (x, y), level_m)
        run = level_run(dem, grid, (x, y), level_m, reach_m=15.0, aside_m=4.0)
        if away > 4.0:
            assert run is None
            continue
        followed += 1
        here = shapely.Point(run.at(np.zeros(1))[0])
        assert here.distance(shapely.Point(x, y)) == pytest.approx(away, abs=1e-9)
        way = shapely.LineString(run.xy)
        assert way.length == pytest.approx(run.chainage_m[-1] - run.chainage_m[0])
        assert shapely.hausdorff_distance(way, shapely.intersection(way, line.buffer(1e-6))) < 1e-5
        at = shapely.line_locate_point(line, here)
        if line.is_closed:
            ends = np.full(2, min(15.0, 0.5 * line.length))
        else:
            ends = np.minimum([at, line.length - at], 15.0)
        np.testing.assert_allclose(run.chainage_m[[0, -1]], [-ends[0], ends[1]], atol=1e-9)
        # it runs the way that the contour does, which has the higher ground on the right
        some = 0.25 * ends[1]
        onward_m = (at + some) % line.length if line.is_closed else at + some
        onward = shapely.line_interpolate_point(line, onward_m)
        assert shapely.Point(run.at(np.array([some]))[0]).distance(onward) < 1e-6
    assert followed > 3


def test_a_saddle_is_passed_as_contours_pass_it():
    # Two high corners of a square: a middle that is high joins them, one that is low parts them.
    for low in (0.0, 0.9):
        dem = np.full((4, 4), -5.0, dtype=np.float32)
        dem[1, 1], dem[2, 2], dem[1, 2], dem[2, 1] = 2.0, 2.0, low, low
        grid = Grid(4, 4, 1.0, 0.0, 4.0)
        (lines,) = contours(dem, grid, [1.0])
        run = level_run(dem, grid, (1.5, 3.0), 1.0, reach_m=50.0, aside_m=1.0)
        whole = shapely.LineString(run.xy)
        assert len(lines.geoms) == (2 if low == 0.0 else 1)
        piece = min(lines.geoms, key=lambda one: one.distance(shapely.Point(1.5, 3.0)))
        assert whole.length == pytest.approx(piece.length)
        assert shapely.hausdorff_distance(whole, piece) < 1e-9


def test_a_ring_within_reach_opens_opposite_to_the_place():
    # A cone: its level 2 m below the top of 10 % slopes is a ring of 20 m radius.
    row, col = np.indices((61, 61))
    dem = (10 - 0.1 * np.hypot(row - 30, col - 30)).astype(np.float32)
    grid = Grid(61, 61, 1.0, 0.0, 61.0)
    run = level_run(dem, grid, (50.5, 30.5), 8.0, reach_m=500.0, aside_m=1.0)
    assert run.chainage_m[-1] == pytest.approx(20 * np.pi, rel=0.005)
    assert run.chainage_m[0] == -run.chainage_m[-1]
    np.testing.assert_allclose(run.xy[[0, -1]], [[10.5, 30.5]] * 2, atol=0.05)
    # the higher ground is inside, on the right of a line that runs clockwise
    ahead = run.at(np.array([5.0]))[0]
    assert ahead[1] < 30.5


def test_there_is_none_on_level_ground_or_beside_no_data():
    grid = Grid(5, 5, 1.0, 0.0, 5.0)
    level = np.full((5, 5), 3.0, dtype=np.float32)
    assert level_run(level, grid, (2.5, 2.5), 3.0, reach_m=10.0, aside_m=2.0) is None
    gone = np.full((5, 5), np.nan, dtype=np.float32)
    assert level_run(gone, grid, (2.5, 2.5), 3.0, reach_m=10.0, aside_m=2.0) is None
    tilted = np.tile(np.arange(5, dtype=np.float32), (5, 1))
    assert level_run(tilted, grid, (60.0, 2.5), 1.5, reach_m=10.0, aside_m=2.0) is None
