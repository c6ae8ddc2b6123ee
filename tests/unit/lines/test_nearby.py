"""Lines and rows on marked cells, against shapely's own cutting."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.grid.shapes import cells_inside
from brimline.lines.nearby import parts_on, touches

GRID = Grid(60, 80, 2.0, 1000.0, 5000.0)
SITE = shapely.box(1040, 4910, 1090, 4960)


def wavy(count, seed):
    rng = np.random.default_rng(seed)
    x = np.linspace(1000, 1160, 90)
    rows = []
    for _ in range(count):
        y = rng.uniform(4885, 4995) + rng.uniform(2, 12) * np.sin(x / rng.uniform(6, 30))
        rows.append(shapely.LineString(np.column_stack([x, np.clip(y, 4881, 4999)])))
    return np.array(rows, dtype=object)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_parts_are_as_long_as_shapely_cuts_them_to_two_cells_an_end(seed):
    lines, cells = wavy(40, seed), cells_inside([SITE], GRID)
    parts, owner = parts_on(lines, cells, GRID)
    assert (np.diff(owner) >= 0).all()
    assert shapely.within(parts, SITE.buffer(GRID.cell_m)).all()
    for place, line in enumerate(lines):
        exact = shapely.intersection(line, SITE)
        mine = shapely.length(parts[owner == place]).sum()
        ends = 2 * max(len(shapely.get_parts(exact)), (owner == place).sum())
        assert mine == pytest.approx(exact.length, abs=ends * 2 * GRID.cell_m)


def test_a_line_that_lies_inside_stays_the_same_and_one_beyond_goes():
    inside = shapely.LineString([(1050, 4920), (1085, 4955)])
    beyond = shapely.LineString([(1100, 4920), (1150, 4955)])
    parts, owner = parts_on(np.array([beyond, inside]), cells_inside([SITE], GRID), GRID)
    assert parts.tolist() == [inside]
    assert owner.tolist() == [1]


def test_a_long_leg_is_cut_between_its_ends():
    across = np.array([shapely.LineString([(1001, 4931), (1159, 4931)])])
    parts, owner = parts_on(across, cells_inside([SITE], GRID), GRID)
    assert owner.tolist() == [0]
    assert parts[0].length == pytest.approx(50, abs=4 * 2 * GRID.cell_m)
    assert touches(across, cells_inside([SITE], GRID), GRID).tolist() == [True]


def test_nothing_marked_keeps_nothing():
    lines, none = wavy(3, 5), np.zeros(GRID.shape, dtype=np.bool_)
    parts, owner = parts_on(lines, none, GRID)
    assert len(parts) == 0
    assert len(owner) == 0
    assert not touches(lines, none, GRID).any()


@pytest.mark.parametrize("seed", [4, 5])
def test_shapes_touch_where_shapely_says_so_a_cell_aside(seed):
    rng = np.random.default_rng(seed)
    spots = shapely.points(rng.uniform(1000, 1160, 200), rng.uniform(4880, 5000, 200))
    shapes = shapely.buffer(spots, rng.uniform(0.5, 9, 200))
    found = touches(shapes, cells_inside([SITE], GRID), GRID)
    assert found[shapely.intersects(shapely.boundary(shapes), SITE.buffer(-GRID.cell_m))].all()
    assert not found[~shapely.intersects(shapes, SITE.buffer(GRID.cell_m))].any()
