"""Slope against an independent library on real ground."""

import numpy as np
import richdem
from matplotlib import cbook

from brimline.terrain.slope import slope_pct


def test_slope_equals_richdem_inside_the_sample_elevation():
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        dem = sample["elevation"].astype(np.float32)
    grid = richdem.rdarray(dem, no_data=-9999, geotransform=(0, 1, 0, 0, 0, -1))
    peer = np.asarray(richdem.TerrainAttribute(grid, attrib="slope_percentage"))
    ours = slope_pct(dem, cell_m=1.0)
    np.testing.assert_allclose(ours[1:-1, 1:-1], peer[1:-1, 1:-1], rtol=1e-4, atol=1e-3)
