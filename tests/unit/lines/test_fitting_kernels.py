"""The loops behind tidying and measuring lines, against plain second ways of doing the same."""

import numpy as np
import pytest
import shapely
from scipy import ndimage

from brimline.grid import Grid
from brimline.lines.fitting import _kernels
from brimline.lines.measure import departures, mean_slope_pct
from brimline.lines.sample import along_all, chainage, gradient_at, surface_at
from brimline.lines.tidy import evenly_spaced
from brimline.terrain.slope import gradient, slope_pct

GRID = Grid(14, 17, 2.0, west_m=5.0, north_m=100.0)
LINES = [
    shapely.LineString([(8.0, 98.0), (20.0, 80.0), (20.0, 80.0), (31.0, 76.5)]),
    shapely.LineString([(10.0, 75.0), (30.0, 90.0), (12.0, 95.0), (10.0, 75.0)]),
]


def bumps(seed=3):
    rng = np.random.default_rng(seed)
    return ndimage.gaussian_filter(rng.normal(0, 10, GRID.shape), 1.5).astype(np.float32)


@pytest.mark.interpreted
def test_points_lie_at_even_distances_and_rings_run_on_over_their_seam():
    curves = evenly_spaced(np.array(LINES), 3.0, pad_m=7.0)
    for number, line in enumerate(LINES):
        of = curves.index == number
        points, inner = curves.points[of], curves.inner[of]
        step = curves.step_m[number]
        place = np.arange(inner.sum()) * step
        expected = shapely.get_coordinates(shapely.line_interpolate_point(line, place))
        np.testing.assert_allclose(points[inner], expected, atol=1e-9)
        assert place[-1] == pytest.approx(line.length)
        beyond = round((len(points) - inner.sum()) / 2)
        assert beyond == (np.ceil(7.0 / step) if line.is_ring else 0)
        if line.is_ring:
            np.testing.assert_allclose(points[:beyond], expected[-beyond - 1 : -1], atol=1e-9)
            np.testing.assert_allclose(points[-beyond:], expected[1 : beyond + 1], atol=1e-9)


@pytest.mark.interpreted
def test_moves_minimise_the_miss_and_the_bending_together():
    """The sum of (slope u + miss)²/(slope² + flat²) and λ |p″|² is least where its slope is 0."""
    rng = np.random.default_rng(8)
    count, step, bend = 9, 1.3, 8.0
    points = np.cumsum(rng.normal((1.0, 0.0), 0.3, (count, 2)), axis=0)
    angle = rng.uniform(0, 2 * np.pi, count)
    normal = np.column_stack((np.cos(angle), np.sin(angle)))
    miss, slope = rng.normal(0, 0.1, count), rng.normal(0, 0.2, count)
    slope[4] = np.nan  # nothing is known there: bending alone decides
    held = np.zeros(count, dtype=np.bool_)
    held[0] = True
    moved = _kernels.moves(
        points,
        np.array([0, count]),
        normal,
        miss,
        slope,
        np.full(count, bend),
        held,
        np.array([step]),
    )
    # the same as a plain least-squares problem
    known = np.isfinite(slope)
    scale = np.sqrt(np.where(known, slope, 0.0) ** 2 + 0.005**2)
    level = np.diag(np.where(known, slope, 0.0) / scale)
    second = np.zeros((2 * (count - 2), count))
    now = np.zeros(2 * (count - 2))
    stiff = (bend / (2 * np.pi) / step) ** 2
    for i in range(1, count - 1):
        for axis in range(2):
            row = 2 * (i - 1) + axis
            second[row, i - 1 : i + 2] = stiff * normal[i - 1 : i + 2, axis] * (1.0, -2.0, 1.0)
            now[row] = stiff * (points[i - 1] - 2 * points[i] + points[i + 1])[axis]
    hold = np.zeros((1, count))
    hold[0, 0] = 1e9**0.5
    matrix = np.vstack((level, second, hold))
    right = np.concatenate((np.where(known, -miss, 0.0) / scale, -now, [0.0]))
    expected, *_ = np.linalg.lstsq(matrix, right, rcond=None)
    np.testing.assert_allclose(moved, expected, rtol=1e-5, atol=1e-7)
    assert abs(moved[0]) < 1e-6


@pytest.mark.interpreted
def test_departures_and_steepness_equal_those_of_dense_points():
    dem = bumps()
    dem[3, 4] = np.nan
    level, fall = np.array([1.0, -2.0]), np.array([0.02, 0.0])
    found = departures(LINES, level, dem, GRID, fall=fall)
    mean = mean_slope_pct(LINES, dem, GRID)
    points, index = along_all(LINES, 0.5)
    claim = level[index] - fall[index] * chainage(points, index)
    miss = surface_at(dem, GRID, *points.T) - claim
    sparse, which = along_all(LINES, 2.0)
    steep = np.hypot(*gradient_at(dem, GRID, *sparse.T))
    assert np.isnan(miss).any()
    for number in range(2):
        here = miss[index == number]
        assert found.largest_m[number] == pytest.approx(np.nanmax(np.abs(here)))
        assert found.rms_m[number] == pytest.approx(np.sqrt(np.nanmean(here**2)))
        assert found.bias_m[number] == pytest.approx(np.nanmean(here))
        assert mean[number] == pytest.approx(100.0 * np.nanmean(steep[which == number]))


@pytest.mark.interpreted
def test_steepness_of_cells_is_the_length_of_their_rise():
    dem = bumps(7)
    dem[5, 6:9], dem[0, 0], dem[13, 3] = np.nan, np.nan, np.nan
    east, north = gradient(dem, cell_m=2.0)
    np.testing.assert_allclose(slope_pct(dem, cell_m=2.0), 100.0 * np.hypot(east, north), rtol=3e-7)
    thin = dem[:, :2]
    east, north = gradient(thin, cell_m=2.0)
    np.testing.assert_allclose(
        slope_pct(thin, cell_m=2.0), 100.0 * np.hypot(east, north), rtol=3e-7
    )
