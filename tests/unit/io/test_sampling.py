"""Sampling one grid at the cells of another."""

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from brimline.grid import Grid
from brimline.io._sampling import bilinear, block_mean, positions


@given(
    rows=st.integers(1, 9),
    cols=st.integers(1, 9),
    seed=st.integers(0, 10_000),
)
@settings(deadline=None, max_examples=60)
def test_a_sample_is_the_weighted_mean_of_the_four_cells_around_it(rows, cols, seed):
    rng = np.random.default_rng(seed)
    levels = rng.uniform(0, 500, (rows, cols)).astype(np.float32)
    levels[rng.random(levels.shape) < 0.2] = np.nan
    row, col = rng.uniform(-1, rows, 50), rng.uniform(-1, cols, 50)
    got = bilinear(levels, row.reshape(5, 10), col.reshape(5, 10)).ravel()
    for at in range(50):
        total = weight = 0.0
        r, c = np.clip(row[at], 0, rows - 1), np.clip(col[at], 0, cols - 1)
        for i in (int(np.floor(r)), int(np.floor(r)) + 1):
            for j in (int(np.floor(c)), int(np.floor(c)) + 1):
                share = max(0, 1 - abs(r - i)) * max(0, 1 - abs(c - j))
                if share and i < rows and j < cols and np.isfinite(levels[i, j]):
                    total += share * float(levels[i, j])
                    weight += share
        inside = -0.5 <= row[at] <= rows - 0.5 and -0.5 <= col[at] <= cols - 0.5
        if not inside or weight < 0.5 - 1e-6:
            assert np.isnan(got[at])
        elif weight > 0.5 + 1e-6:
            assert got[at] == pytest.approx(total / weight, abs=1e-3)


@given(seed=st.integers(0, 10_000))
@settings(deadline=None, max_examples=30)
def test_a_sample_is_never_above_or_below_what_it_is_made_from(seed):
    rng = np.random.default_rng(seed)
    levels = rng.uniform(-50, 50, (6, 7)).astype(np.float32)
    sample = bilinear(levels, rng.uniform(0, 5, (4, 4)), rng.uniform(0, 6, (4, 4)))
    assert levels.min() <= sample.min()
    assert sample.max() <= levels.max()


def test_samples_outside_are_nodata_and_positions_may_be_infinite():
    levels = np.ones((3, 3), dtype=np.float32)
    row = np.array([[-0.6, np.inf, np.nan, 1.0]])
    got = bilinear(levels, row, np.ones((1, 4)))
    np.testing.assert_array_equal(got, [[np.nan, np.nan, np.nan, 1.0]])
    np.testing.assert_array_equal(bilinear(levels, row[:, :1], np.ones((1, 1))), [[np.nan]])


def test_input_is_not_written_to():
    levels = np.array([[1, np.nan], [3, 4]], dtype=np.float32)
    before = levels.copy()
    bilinear(levels, np.array([[0.5]]), np.array([[0.5]]))
    np.testing.assert_array_equal(levels, before)


@pytest.mark.parametrize(("lon", "lat", "zone"), [(15.2, 46.9, 32633), (-68.2, -16.5, 32719)])
def test_positions_by_way_of_nodes_are_those_of_every_cell(lon, lat, zone):
    crs, degrees = CRS.from_epsg(zone), CRS.from_epsg(4326)
    east, north = Transformer.from_crs(degrees, crs, always_xy=True).transform(lon, lat)
    for cell_m in (0.5, 5.0, 30.0):
        grid = Grid(301, 257, cell_m, float(round(east)), float(round(north)), f"EPSG:{zone}")
        step = cell_m / 111_000
        transform = Affine(step, 0, lon - 0.1, 0, -step, lat + 0.1)
        row, col = positions(grid, transform, (crs, degrees))
        x, y = grid.xy(*np.indices(grid.shape))
        true_lon, true_lat = Transformer.from_crs(crs, degrees, always_xy=True).transform(x, y)
        true_col, true_row = ~transform @ (true_lon, true_lat)
        assert np.abs(row - (true_row - 0.5)).max() < 0.002  # cells
        assert np.abs(col - (true_col - 0.5)).max() < 0.002


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (40, 1), (33, 34)])
def test_positions_in_the_same_system_are_exact_on_any_shape(shape):
    grid = Grid(*shape, 2.0, 100.0, 500.0)
    row, col = positions(grid, grid.transform, None)
    true_row, true_col = np.indices(shape)
    np.testing.assert_allclose(row, true_row, atol=1e-9)
    np.testing.assert_allclose(col, true_col, atol=1e-9)


def test_block_means_need_half_of_their_cells():
    values = np.array(
        [[1, 3, np.nan, np.nan], [5, 7, np.nan, 8], [1, np.nan, 2, 2], [np.nan, 3, 2, 2]],
        dtype=np.float32,
    )
    np.testing.assert_array_equal(block_mean(values, 2), [[4, np.nan], [2, 2]])
    assert block_mean(values, 1) is values
