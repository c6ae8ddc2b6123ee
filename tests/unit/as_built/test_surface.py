"""A surveyed surface on cells of its own: only what was built otherwise differs from the design."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline.as_built import Asked, surface_change
from brimline.grid import Grid
from brimline.terrain.shaping import Channel, LevelAlong, design

GRID = Grid(40, 60, 1.0, 0.0, 40.0, "EPSG:32626")
LINE = shapely.LineString([(10.3, 20.2), (48.7, 20.2)])


@pytest.fixture
def site():
    """A ditch with a level floor at 99.5 m, along a slope of 5 %."""
    _, y = GRID.xy(*np.indices(GRID.shape))
    dem = (99.0 + 0.05 * y).astype(np.float32)
    ditch = Channel("Ditch", LINE, LevelAlong.flat(99.5), 0.0, 1.0, 2.0, 2.0)
    return design(dem, GRID, [ditch])


def surveyed(site, cell_m, *, lifted_m=0.0):
    """The design as a survey with cells of another size sees it, the floor's east half lifted."""
    west, south, east, north = 5.0, 12.0, 55.0, 30.0
    grid = Grid(round((north - south) / cell_m), round((east - west) / cell_m), cell_m, west, north,
                GRID.crs)  # fmt: skip
    x, y = grid.xy(*np.indices(grid.shape))
    fine = replace(site, dem=(99.0 + 0.05 * y).astype(np.float32), grid=grid)
    surface = fine.surface(factor=4).design_m.astype(np.float64)
    floor = shapely.contains_xy(LINE.buffer(2.0, cap_style="flat"), x, y) & (x > 30)
    return np.where(floor, surface + lifted_m, surface).astype(np.float32), grid


def floor_at(x):
    return Asked("Ditch", "Ditch-F01", "floor", 0.0, x, 20.2, 99.5)


@pytest.mark.parametrize("cell_m", [0.25, 0.5, 1.0, 2.0])
def test_built_as_designed_differs_nowhere_whatever_the_cells(site, cell_m):
    built, grid = surveyed(site, cell_m)
    found, untouched = surface_change(site, built, grid, refine=4, settled=True)
    known = np.isfinite(found.change_m)
    assert known.mean() > 0.9
    # where the survey's cells split the ditch otherwise than the design's do
    assert np.abs(found.change_m[known]).max() < 0.02
    assert np.abs(found.change_m[untouched]).max() < 1e-4
    assert abs(found.at(floor_at(20.0)).difference_m) < 0.01


@pytest.mark.parametrize("cell_m", [0.25, 0.5])
def test_a_floor_dug_too_high_is_found_where_it_is(site, cell_m):
    built, grid = surveyed(site, cell_m, lifted_m=0.05)
    found, _ = surface_change(site, built, grid, refine=4, settled=True)
    assert found.at(floor_at(40.0)).difference_m == pytest.approx(0.05, abs=0.01)
    assert found.at(floor_at(20.0)).difference_m == pytest.approx(0.0, abs=0.01)
    assert np.isnan(found.at(floor_at(57.0)).difference_m)  # beyond the survey
