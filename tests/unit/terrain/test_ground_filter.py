"""Objects taken off the lowest points, ground left, on invented sites where both are known."""

import numpy as np
import pytest

from brimline.errors import GridError
from brimline.terrain.ground import GroundFilter, ground_cells

CELL = 1.0


def site(slope=0.15, seed=4):
    """Hilly ground with roughness, two roofs, trees and gaps; and where objects stand."""
    rng = np.random.default_rng(seed)
    row, col = np.indices((160, 200))
    ground = 50 + slope * col + 3 * np.sin(row / 18) + 2 * np.cos(col / 25)
    ground = ground + rng.normal(0, 0.05, ground.shape)
    lowest, objects = ground.copy(), np.zeros(ground.shape, dtype=bool)
    for top, left, rows, cols, height in [(30, 40, 12, 8, 4.0), (100, 120, 15, 24, 6.0)]:
        block = (slice(top, top + rows), slice(left, left + cols))
        lowest[block] = ground[block].max() + height
        objects[block] = True
    trees = rng.random(ground.shape) < 0.08
    lowest[trees] += rng.uniform(1.5, 12, trees.sum())
    objects |= trees
    lowest[rng.random(ground.shape) < 0.1] = np.nan
    return lowest.astype(np.float32), ground, objects


@pytest.mark.parametrize("slope", [0.0, 0.15, 0.4])
def test_objects_are_taken_off_and_ground_is_left(slope):
    lowest, _, objects = site(slope)
    ground = ground_cells(lowest, cell_m=CELL)
    known = np.isfinite(lowest)
    assert not ground[~known].any()
    kept_objects = ground[known & objects].mean()
    lost_ground = 1 - ground[known & ~objects].mean()
    assert kept_objects < 0.01
    assert lost_ground < 0.02


def test_a_stray_echo_below_the_ground_is_taken_off():
    lowest, _, objects = site()
    lowest[60, 60:62] -= 8
    ground = ground_cells(lowest, cell_m=CELL)
    assert not ground[60, 60:62].any()
    ring = np.zeros(ground.shape, dtype=bool)
    ring[57:64, 57:65] = True
    ring &= np.isfinite(lowest) & ~objects
    ring[60, 60:62] = False
    assert ground[ring].mean() > 0.95  # and takes no ground around it along


def test_a_plain_slope_is_all_ground():
    row, col = np.indices((50, 60))
    plane = (0.5 * col - 0.2 * row).astype(np.float32)
    assert ground_cells(plane, cell_m=CELL).all()


def test_an_object_wider_than_the_largest_window_is_left():
    flat = np.zeros((80, 80), dtype=np.float32)
    flat[20:60, 20:60] = 3.0  # 40 m, wider than any roof the rule knows
    assert ground_cells(flat, cell_m=CELL)[40, 40]
    assert not ground_cells(flat, cell_m=CELL, rule=GroundFilter(largest_window_m=50))[40, 40]


def test_input_is_not_written_to_and_bad_input_is_refused():
    lowest, _, _ = site()
    before = lowest.copy()
    ground_cells(lowest, cell_m=CELL)
    np.testing.assert_array_equal(lowest, before)
    with pytest.raises(GridError):
        ground_cells(np.full((3, 3), np.nan, dtype=np.float32), cell_m=CELL)
