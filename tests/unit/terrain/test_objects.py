"""Roofs taken off, walls put on, and what else stands on the ground told, on known ground."""

import numpy as np
import pytest
from scipy import ndimage
from shapely import LineString, box

from brimline.drainage.flow import flow_directions
from brimline.drainage.receiving import received
from brimline.grid import Grid
from brimline.grid.shapes import cells_inside
from brimline.terrain.conditioning import condition
from brimline.terrain.objects import raised_areas, wall_heights, without_roofs

GRID = Grid(120, 160, 0.5, 0.0, 60.0, "EPSG:32633")  # 80 m x 60 m
HOUSE = box(30, 20, 42, 30)
SHED = box(60, 40, 63, 44)


def plane(fall=0.05):
    x, y = GRID.xy(*np.indices(GRID.shape))
    return (10 + fall * y + 0.01 * x).astype(np.float32)


def on(shape):
    return cells_inside([shape], GRID)


def surveyed(ground, *houses, height=5.0):
    surface = ground.copy()
    for house in houses:
        surface[on(house)] = ground[on(house)].max() + height
    return surface


def test_a_roof_is_taken_off_and_the_plane_beneath_comes_back():
    ground = plane()
    # a membrane is exact on a plane, so the ground beneath is known
    found = without_roofs(surveyed(ground, HOUSE, SHED), [on(HOUSE), on(SHED)], cell_m=0.5)
    assert found.taken == (0, 1)
    assert found.left_cells == 0
    np.testing.assert_allclose(found.surface, ground, atol=2e-4)
    assert found.heights_m[0] == pytest.approx(5.0, abs=0.8)


def test_bare_ground_stays_as_it_was_surveyed_under_roofs():
    ground = plane(0.15)
    found = without_roofs(ground, [on(HOUSE)], cell_m=0.5)
    assert found.taken == ()
    assert np.array_equal(found.surface, ground)
    assert without_roofs(ground, [], cell_m=0.5).taken == ()


def test_a_roof_at_the_edge_of_the_data_is_left_open_and_counted():
    corner = box(0, 0, 6, 6)
    found = without_roofs(surveyed(plane(), corner), [on(corner)], cell_m=0.5)
    assert found.left_cells > 0
    assert np.isnan(found.surface[on(corner)]).all()


def test_other_holes_stay_open():
    ground = surveyed(plane(), HOUSE)
    ground[10:14, 10:14] = np.nan
    found = without_roofs(ground, [on(HOUSE)], cell_m=0.5)
    assert np.isnan(found.surface[10:14, 10:14]).all()
    assert np.isfinite(found.surface).sum() == ground.size - 16


@pytest.mark.parametrize("line", [[(5, 30), (75, 31)], [(5, 5), (75, 55)], [(5, 50), (70, 12)]])
def test_water_neither_slips_through_a_wall_nor_between_its_corners(line):
    cells = cells_inside([LineString([(-5, line[0][1]), *line, (90, line[1][1])])], GRID,
                         all_touched=True)  # fmt: skip
    walled = wall_heights(GRID.shape, [(cells, 0.3)]) > 0
    _, parts = ndimage.label(~walled, structure=np.ones((3, 3)))
    assert parts == 2  # eight ways out of a cell, and none across


def test_a_wall_turns_water_round_its_ends():
    ground, wall = plane(0.1), LineString([(20, 30), (60, 30)])
    cells = cells_inside([wall], GRID, all_touched=True)
    walled = ground + wall_heights(GRID.shape, [(cells, 0.3), (cells, 0.1)])
    assert (walled[cells] - ground[cells]) == pytest.approx(0.3, abs=1e-5)
    assert np.array_equal(walled[~cells], ground[~cells])
    # who drains to the strip just below the wall: without it, the strip above
    below = np.zeros(GRID.shape, dtype=np.int32)
    below[on(box(25, 27, 55, 29))] = 1
    above = on(box(25, 31, 55, 40))
    for surface, reaches in ((ground, True), (walled, False)):
        done = condition(surface, cell_m=0.5, max_depth_m=0.05, max_length_m=2.0)
        found = received(flow_directions(done.surface), below, cell_m=0.5)
        assert (found.labels[above] == 1).mean() > 0.9 if reaches else not found.labels[above].any()


def test_houses_hedges_and_trees_are_told_and_slopes_and_terraces_are_not():
    rng = np.random.default_rng(3)
    surface = surveyed(plane(), HOUSE, SHED, height=3.0)
    hedge, copse = box(5, 50, 25, 51.5), box(60, 5, 75, 20)
    surface[on(hedge)] += 2.0
    surface[on(copse)] += rng.uniform(2.0, 12.0, int(on(copse).sum())).astype(np.float32)
    found = raised_areas(surface, cell_m=0.5)
    assert found.heights_m.size == 4
    for shape in (HOUSE, SHED, hedge, copse):
        assert (found.labels[on(shape)] > 0).mean() > 0.95
    standing = on(HOUSE) | on(SHED) | on(hedge) | on(copse)
    assert (found.labels[~standing] > 0).sum() == 0
    assert raised_areas(plane(1.0), cell_m=0.5).heights_m.size == 0  # as steep as 45°
    terraces = plane() + np.float32(2.0) * (np.indices(GRID.shape)[0] < 60)
    assert raised_areas(terraces, cell_m=0.5).heights_m.size == 0


def test_cells_too_coarse_to_tell_tell_nothing():
    assert raised_areas(surveyed(plane(), HOUSE), cell_m=2.0).heights_m.size == 0
    nothing = np.full((5, 5), np.nan, dtype=np.float32)
    assert raised_areas(nothing, cell_m=0.5).heights_m.size == 0
