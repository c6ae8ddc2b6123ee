"""Levels that elements take from the ground: true to a garden's hollow, calm on a noisy survey."""

import numpy as np
import pytest
import shapely

from brimline.config import Settings
from brimline.config.profiles import with_profile
from brimline.config.works import Works
from brimline.design import standing_ground
from brimline.grid import Grid

GRID = Grid(80, 80, 0.25, 0.0, 20.0, "EPSG:32633")


def rim_m(smooth_m):
    """Lowest level along a rim of 1.9 m in a hollow of 2.2 m on a slope of 4 %."""
    x, y = GRID.xy(*np.indices(GRID.shape))
    dem = 10 + 0.04 * y - 0.34 * np.exp(-((x - 10) ** 2 + (y - 10) ** 2) / (2 * 2.2**2))
    slope = np.full(GRID.shape, 4.0, dtype=np.float32)
    ground = standing_ground(dem.astype(np.float32), slope, GRID, (), smooth_m)
    return float(np.nanmin(ground.level_along(shapely.Point(10, 10).buffer(1.9, 8).exterior)))


def test_a_garden_takes_the_level_of_a_rim_where_the_ground_has_it():
    ring = 10 + 0.04 * (10 + 1.9 * np.sin(np.linspace(0, 2 * np.pi, 721)))
    true_m = float(ring.min() - 0.34 * np.exp(-(1.9**2) / (2 * 2.2**2)))
    garden = with_profile(
        Settings(site={"name": "a"}, inputs={"elevation": "a.tif", "boundary": "b.gpkg"}), "garden"
    )
    assert rim_m(garden.works.smooth_m) == pytest.approx(true_m, abs=0.01)
    # what is smoothed as on a farm stands so much higher that the sill would hold nothing
    assert rim_m(Works().smooth_m) - true_m > 0.03
