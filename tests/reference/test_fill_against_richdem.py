"""The filled surface, bit for bit, against an independent library."""

import numpy as np
import pytest
import richdem
from matplotlib import cbook

from brimline.terrain.conditioning import fill

NO_DATA = -9999.0


def peer_fill(dem):
    plain = np.where(np.isnan(dem), np.float32(NO_DATA), dem)
    grid = richdem.rdarray(plain, no_data=NO_DATA, geotransform=(0, 1, 0, 0, 0, -1))
    filled = np.array(richdem.FillDepressions(grid))
    filled[np.isnan(dem)] = np.nan
    return filled


def assert_same_bits(ours, theirs):
    np.testing.assert_array_equal(ours.view(np.uint32), theirs.view(np.uint32))


def jacksboro():
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        return sample["elevation"].astype(np.float32)


def test_sample_elevation_with_an_irregular_outline_and_holes():
    dem = jacksboro()
    assert_same_bits(fill(dem), peer_fill(dem))
    row, col = np.indices(dem.shape)
    dem[np.hypot(row - 170, (col - 200) / 1.2) > 160 + 12 * np.sin(row / 9.0)] = np.nan
    dem[100:130, 150:190] = np.nan
    dem[np.random.default_rng(3).random(dem.shape) < 0.01] = np.nan
    assert_same_bits(fill(dem), peer_fill(dem))


@pytest.mark.parametrize("seed", range(60))
def test_random_elevations_with_nodata(seed):
    random = np.random.default_rng(seed)
    shape = random.integers(1, 40, 2)
    dem = random.normal(0, 5, shape) if seed % 2 else random.integers(-3, 6, shape)
    dem = dem.astype(np.float32)
    dem[random.random(shape) < random.choice([0.0, 0.02, 0.2, 0.5])] = np.nan
    dem.flat[random.integers(dem.size)] = 1.0
    assert_same_bits(fill(dem), peer_fill(dem))
