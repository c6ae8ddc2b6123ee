"""The filled surface, bit for bit, against an independent library."""

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio
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


@pytest.mark.realdata
def test_survey_with_many_hollows():
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        dem = source.read(1).astype(np.float32)
    assert_same_bits(fill(dem), peer_fill(dem))
    dem[120:150, 200:260] = np.nan
    dem[:90, :60] = np.nan
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
