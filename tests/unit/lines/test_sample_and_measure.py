"""Reading surfaces between cells, and measuring drawn lines against them."""

import numpy as np
import pytest
import shapely

from brimline.errors import GridError
from brimline.grid import Grid
from brimline.lines.measure import departures, level_error, mean_slope_pct
from brimline.lines.sample import along, chainage, gradient_at, onto_level, surface_at

GRID = Grid(8, 10, 2.0, west_m=500.0, north_m=900.0)


def plane(grid=GRID, east=0.03, north=-0.04, level=100.0):
    x, y = grid.xy(*np.indices(grid.shape))
    return (level + east * (x - grid.west_m) + north * (y - grid.north_m)).astype(np.float32)


@pytest.mark.interpreted
def test_plane_is_read_exactly_anywhere_between_the_outer_cell_centres():
    x, y = np.array([501.0, 507.3, 519.0]), np.array([899.0, 890.1, 885.0])
    expected = 100 + 0.03 * (x - 500) - 0.04 * (y - 900)
    np.testing.assert_allclose(surface_at(plane(), GRID, x, y), expected, atol=1e-5)
    east, north = gradient_at(plane(), GRID, x, y)
    np.testing.assert_allclose(east, 0.03, atol=1e-5)
    np.testing.assert_allclose(north, -0.04, atol=1e-5)


@pytest.mark.interpreted
def test_bilinear_level_of_a_hand_worked_square():
    # centres 0 4 / 8 20; a quarter east and half down: top 1, bottom 11, between them 6
    grid = Grid(2, 2, 1.0, north_m=2.0)
    dem = np.array([[0, 4], [8, 20]], dtype=np.float32)
    assert surface_at(dem, grid, 0.75, 1.0) == pytest.approx(6.0)


@pytest.mark.interpreted
def test_outside_and_beside_nodata_is_nan_but_a_nodata_corner_without_weight_is_not():
    dem = plane()
    dem[3, 4] = np.nan
    x, y = GRID.xy([3.0, 3.5, 2.0, 0.0], [4.0, 4.5, 4.0, 0.0])
    read = surface_at(dem, GRID, x, y)
    assert np.isnan(read[:2]).all()
    assert np.isfinite(read[2:]).all()
    assert np.isnan(surface_at(dem, GRID, 500.5, 890.0))  # left of the first cell centre


def test_a_surface_of_another_shape_is_refused():
    with pytest.raises(GridError, match="does not lie on the grid"):
        surface_at(np.zeros((3, 3), dtype=np.float32), GRID, 0.0, 0.0)


@pytest.mark.interpreted
def test_rise_is_the_same_inside_and_at_the_rim_and_beside_nodata():
    # central differences of z = x y / 10 are exact; at the rim they are one-sided and still exact
    grid = Grid(6, 7, 1.0, north_m=6.0)
    x, y = grid.xy(*np.indices(grid.shape))
    dem = (x * y / 10).astype(np.float32)
    east, north = gradient_at(dem, grid, [0.7, 3.3, 6.4], [0.6, 2.8, 5.5])
    np.testing.assert_allclose(east, np.array([0.6, 2.8, 5.5]) / 10, atol=1e-6)
    np.testing.assert_allclose(north, np.array([0.7, 3.3, 6.4]) / 10, atol=1e-6)
    dem[1, 3] = np.nan
    east, north = gradient_at(dem, grid, 3.5, 3.5)
    assert (east, north) == pytest.approx((0.35, 0.35), abs=1e-6)


@pytest.mark.interpreted
def test_points_are_moved_onto_a_level_along_the_gradient():
    start = np.array([[508.0, 892.0], [512.0, 890.0]])
    moved = onto_level(plane(), GRID, start, 100.6, reach_m=20.0)
    np.testing.assert_allclose(surface_at(plane(), GRID, *moved.T), 100.6, atol=2e-5)
    way = moved - start
    np.testing.assert_allclose(way[:, 0] * -0.04 - way[:, 1] * 0.03, 0.0, atol=1e-4)
    stuck = onto_level(plane(), GRID, start, 100.6, reach_m=0.01)
    np.testing.assert_allclose(stuck, start, atol=1e-9)


def test_points_along_a_line_hold_its_vertices_and_no_wider_steps():
    line = shapely.LineString([(0, 0), (1, 0), (1, 2.5)])
    points = along(line, 0.4)
    assert np.hypot(*np.diff(points, axis=0).T).max() <= 0.4 + 1e-12
    assert (points == (1.0, 0.0)).all(axis=1).any()
    assert chainage(points, np.zeros(len(points), dtype=np.int64))[-1] == pytest.approx(3.5)
    with pytest.raises(ValueError, match="step_m must be above 0 m"):
        along(line, 0.0)


def test_level_error_is_the_largest_departure_between_vertices_too():
    # The chord of a line that runs straight down the plane's fall: both ends are 0.1 m away.
    down = np.array([0.03, -0.04]) / 0.05
    middle = np.array([510.0, 892.0])
    line = shapely.LineString([middle - 2 * down, middle + 2 * down])
    level = float(surface_at(plane(), GRID, *middle))
    assert level_error(line, level, plane(), GRID) == pytest.approx(0.1, abs=1e-4)
    found = departures([line], level + 0.02, plane(), GRID)
    assert found.bias_m[0] == pytest.approx(-0.02, abs=1e-4)
    falling = departures([line], level - 0.1, plane(), GRID, fall=-0.05)
    assert falling.largest_m[0] == pytest.approx(0.0, abs=1e-4)
    assert mean_slope_pct([line], plane(), GRID)[0] == pytest.approx(5.0, abs=1e-3)


def test_a_line_without_data_has_no_error_rather_than_none():
    line = shapely.LineString([(0, 0), (1, 1)])
    assert np.isnan(level_error(line, 1.0, plane(), GRID))
