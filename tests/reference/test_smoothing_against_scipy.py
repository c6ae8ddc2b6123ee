"""The smoothing bell against scipy's and against planes fitted cell by cell by least squares."""

import numpy as np
import pytest
from scipy import ndimage

from brimline._jit import threads
from brimline.terrain.smooth import smoothed


def ground(shape, seed=3):
    random = np.random.default_rng(seed)
    row, col = np.indices(shape)
    z = 400 + 0.1 * row - 0.06 * col + 5 * np.sin(row / 37) * np.cos(col / 23)
    return (z + random.normal(0, 0.2, shape)).astype(np.float32)


def with_holes(dem, seed=5):
    random = np.random.default_rng(seed)
    holed = dem.copy()
    holed[random.random(dem.shape) < 0.003] = np.nan
    rows, cols = dem.shape
    holed[rows // 3 : rows // 2, cols // 4 : cols // 2] = np.nan
    return holed


@pytest.mark.parametrize("sigma", [1.5, 2.0, 4.0])
def test_away_from_edges_the_bell_is_scipys_in_double_precision(sigma):
    # scipy.ndimage.gaussian_filter; more than one block of cells each way
    dem = ground((300, 1100))
    reach = int(4 * sigma)
    inner = np.s_[reach:-reach, reach:-reach]
    exact = ndimage.gaussian_filter(dem.astype(np.float64), sigma, truncate=4.0)
    ours = smoothed(dem, cell_m=2.0, sigma_m=2.0 * sigma)
    # half a unit in the last place of a float32 at 512 m is 0.03 mm; the sums add less than that
    np.testing.assert_allclose(ours[inner], exact[inner], rtol=0, atol=6e-5)


def fitted_plane(dem, row, col, sigma):
    """Height at a cell of the plane of least squares, weighted by the bell, by numpy's lstsq."""
    reach = int(np.ceil(4 * sigma))
    r, c = np.indices(dem.shape)
    r, c = r - row, c - col
    use = np.isfinite(dem) & (np.abs(r) <= reach) & (np.abs(c) <= reach)
    root = np.exp(-0.25 * (r**2 + c**2)[use] / sigma**2)
    basis = np.column_stack((np.ones(use.sum()), r[use], c[use]))
    answer, *_ = np.linalg.lstsq(basis * root[:, None], dem[use] * root, rcond=None)
    return answer[0]


@pytest.mark.interpreted
@pytest.mark.parametrize("sigma", [0.8, 2.0])
def test_beside_edges_and_holes_it_is_the_plane_of_least_squares(sigma):
    dem = with_holes(ground((40, 30)))
    ours = smoothed(dem, cell_m=1.0, sigma_m=sigma)
    np.testing.assert_array_equal(np.isnan(ours), np.isnan(dem))
    for row, col in np.argwhere(np.isfinite(dem))[::7]:
        assert ours[row, col] == pytest.approx(fitted_plane(dem, row, col, sigma), abs=1e-4)


@pytest.mark.interpreted
def test_cells_in_one_line_have_no_plane_and_take_their_mean():
    dem = np.full((5, 7), np.nan, dtype=np.float32)
    dem[2] = [1, 2, 4, 8, 16, 32, 64]
    bell = np.exp(-0.5 * np.subtract.outer(np.arange(7), np.arange(7)) ** 2)
    expected = (bell @ dem[2]) / bell.sum(axis=1)
    np.testing.assert_allclose(smoothed(dem, cell_m=1.0, sigma_m=1.0)[2], expected, rtol=1e-3)


@pytest.mark.interpreted
def test_a_bell_wider_than_the_ground_leaves_the_plane_of_the_ground():
    row, col = np.indices((12, 9))
    dem = (50 + 0.5 * row - 0.25 * col).astype(np.float32)
    np.testing.assert_allclose(smoothed(dem, cell_m=1.0, sigma_m=100.0), dem, atol=1e-4)


def test_threads_never_matter():
    dem = with_holes(ground((700, 600)))
    with threads(1):
        alone = smoothed(dem, cell_m=1.0, sigma_m=2.5)
    for count in (2, 3, 7):
        with threads(count):
            np.testing.assert_array_equal(smoothed(dem, cell_m=1.0, sigma_m=2.5), alone)
