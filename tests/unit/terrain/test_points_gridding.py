"""Scattered points to a grid: exact on planes, the same as an independent triangulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.tri import LinearTriInterpolator, Triangulation

from brimline.errors import GridError
from brimline.grid import Grid
from brimline.terrain.points import LowestBins, PointBins, fitting_cell_m, gridded, surface

GRID = Grid(60, 80, 2.0, 1000.0, 2120.0)


def scattered(count, seed=1, grid=GRID):
    rng = np.random.default_rng(seed)
    west, south, east, north = grid.bounds
    return rng.uniform(west, east, count), rng.uniform(south, north, count)


def binned(x, y, level, grid=GRID):
    bins = PointBins(grid)
    bins.add(x, y, level)
    return bins


@given(
    slope_x=st.floats(-2, 2),
    slope_y=st.floats(-2, 2),
    seed=st.integers(0, 1000),
    count=st.integers(30, 3000),
)
@settings(deadline=None, max_examples=25)
def test_a_plane_comes_through_wherever_the_points_lie(slope_x, slope_y, seed, count):
    x, y = scattered(count, seed)
    dem = gridded(binned(x, y, 100 + slope_x * (x - 1000) + slope_y * (y - 2000)), max_gap_m=50)
    cell_x, cell_y = GRID.xy(*np.indices(GRID.shape))
    expected = 100 + slope_x * (cell_x - 1000) + slope_y * (cell_y - 2000)
    known = np.isfinite(dem)
    assert known.any()
    np.testing.assert_allclose(dem[known], expected[known], atol=1e-3)


def test_same_as_an_independent_interpolator_over_the_same_means():
    x, y = scattered(4000)
    level = 10 * np.sin(x / 20) + 0.1 * y
    bins = binned(x, y, level)
    dem = gridded(bins, max_gap_m=1000)
    row, col, mean = bins.means()
    peer = LinearTriInterpolator(Triangulation(col, row), mean)
    at_row, at_col = np.indices(GRID.shape)
    expected = np.ma.filled(peer(at_col, at_row), np.nan)
    both = np.isfinite(dem) & np.isfinite(expected)
    assert both.mean() > 0.9
    # four points on one circle may be cut along either diagonal: rare with scattered points
    assert (np.abs(dem[both] - expected[both]) > 1e-3).mean() < 0.002


def test_tiles_agree_with_the_whole_away_from_the_rim(monkeypatch):
    x, y = scattered(6000)
    bins = binned(x, y, 10 * np.sin(x / 20) + 5 * np.cos(y / 15))
    whole = gridded(bins, max_gap_m=4.0)
    monkeypatch.setattr(surface, "_TILE_CELLS", 16)
    tiled = gridded(bins, max_gap_m=4.0)
    inner = (slice(3, -3), slice(3, -3))
    np.testing.assert_array_equal(np.isnan(tiled[inner]), np.isnan(whole[inner]))
    np.testing.assert_allclose(tiled[inner], whole[inner], atol=1e-5)


def test_cells_far_from_any_point_stay_empty():
    x, y = scattered(8000)
    hole = np.hypot(x - 1080, y - 2060) < 25
    dem = gridded(binned(x[~hole], y[~hole], np.full((~hole).sum(), 5.0)), max_gap_m=10.0)
    cell_x, cell_y = GRID.xy(*np.indices(GRID.shape))
    inside_m = 25 - np.hypot(cell_x - 1080, cell_y - 2060)  # how far from the hole's rim
    assert np.isnan(dem[inside_m > 10 + 2 * GRID.cell_m]).all()
    assert np.isfinite(dem[(inside_m > 0) & (inside_m < 10 - 2 * GRID.cell_m)]).all()


def test_means_are_of_the_points_in_each_cell():
    bins = PointBins(Grid(1, 2, 10.0, 0.0, 10.0))
    added = bins.add(np.array([1.0, 3, 15, 99]), np.array([2.0, 4, 5, 5]), np.array([1.0, 2, 7, 9]))
    assert added == 3  # the last lies off the grid
    row, col, level = bins.means()
    np.testing.assert_allclose(level, [1.5, 7.0])
    np.testing.assert_allclose(col, [(2.0 - 5) / 10, 1.0])
    np.testing.assert_allclose(row, [(5 - 3.0) / 10, 0.0])


def test_gathering_in_pieces_is_the_same_as_at_once():
    x, y = scattered(1000)
    level = x * 0.1
    pieces = PointBins(GRID)
    for part in np.array_split(np.arange(1000), 7):
        pieces.add(x[part], y[part], level[part])
    np.testing.assert_allclose(
        gridded(pieces, max_gap_m=9), gridded(binned(x, y, level), max_gap_m=9), atol=1e-4
    )


def test_lowest_level_of_each_cell():
    lowest = LowestBins(Grid(1, 2, 10.0, 0.0, 10.0))
    lowest.add(np.array([1.0, 2, 99]), np.array([5.0, 5, 5]), np.array([3.0, 2, 1]))
    np.testing.assert_array_equal(lowest.levels(), [[2, np.nan]])


@pytest.mark.parametrize(
    ("area_m2", "points", "expected"),
    [(10_000, 10_000, 1.0), (10_000, 40_000, 0.5), (10_000, 9_000, 2.0), (1e6, 100, 10.0)],
)
def test_cells_fit_the_spacing(area_m2, points, expected):
    assert fitting_cell_m(area_m2, points) == expected


@pytest.mark.interpreted
def test_one_triangle_is_read_at_the_cells_that_it_holds():
    # corners at (row, col) (0, 0), (0, 4), (4, 0) with levels 0, 8, 4: level = 2 col + row
    grid = Grid(6, 6, 1.0, 0.0, 6.0)
    bins = PointBins(grid)
    bins.add(np.array([0.5, 4.5, 0.5]), np.array([5.5, 5.5, 1.5]), np.array([0.0, 8.0, 4.0]))
    row, col = np.indices((6, 6))
    expected = np.where(row + col <= 4, 2.0 * col + row, np.nan)
    np.testing.assert_allclose(gridded(bins, max_gap_m=9.0), expected, atol=1e-6)


def test_what_cannot_be_gridded_is_refused():
    with pytest.raises(GridError, match="at least 3 cells, got 1"):
        gridded(binned(np.array([1001.0]), np.array([2001.0]), np.array([1.0])), max_gap_m=10)
    with pytest.raises(GridError, match="above 0 m"):
        gridded(binned(*scattered(10), np.zeros(10)), max_gap_m=0)
    with pytest.raises(GridError, match="of one length"):
        PointBins(GRID).add(np.zeros(2), np.zeros(3), np.zeros(2))
    with pytest.raises(GridError, match="finite"):
        PointBins(GRID).add(np.zeros(1), np.zeros(1), np.array([np.nan]))
    with pytest.raises(ValueError, match="above 0"):
        fitting_cell_m(0, 10)


def test_points_on_one_line_give_no_surface():
    x = np.linspace(1001, 1150, 50)
    dem = gridded(binned(x, np.full(50, 2061.0), np.zeros(50)), max_gap_m=10)
    assert np.isnan(dem).all()
