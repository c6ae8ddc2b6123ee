"""What holds for flow paths on any surface."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.paths import flow_paths
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET, Grid
from brimline.terrain.conditioning import fill

LEVELS = st.sampled_from([0.0, 1.0, 2.0, 3.0, 5.0, -1.5, np.nan])


@st.composite
def drained(draw):
    """A small filled surface, its directions and areas in cells of 4 m², and a threshold."""
    shape = draw(hnp.array_shapes(min_dims=2, max_dims=2, max_side=10))
    dem = draw(hnp.arrays(np.float32, shape, elements=LEVELS))
    dem.flat[draw(st.integers(0, dem.size - 1))] = 0.0
    surface = fill(dem)
    directions = flow_directions(surface)
    return surface, directions, 4.0 * accumulate(directions), 4.0 * draw(st.integers(1, 8))


def receivers(directions):
    row, col = np.indices(directions.shape)
    code = np.where(directions < OUTLET, directions, 0)
    down = (row + D_ROW[code]) * directions.shape[1] + col + D_COL[code]
    return np.where(directions < OUTLET, down, -1)


def drawn(case):
    surface, directions, area, threshold = case
    grid = Grid(*surface.shape, cell_m=2.0, west_m=500.0, north_m=900.0)
    return flow_paths(directions, area, surface, grid, min_area_m2=threshold), grid


@given(drained())
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_every_step_between_flow_path_cells_is_drawn_exactly_once(case):
    _, directions, area, threshold = case
    paths, _ = drawn(case)
    down = receivers(directions)
    steps = []
    for number in range(1, paths.order.size + 1):
        cells = paths.cells_of(number)
        assert (down.ravel()[cells[:-1]] == cells[1:]).all()
        steps.extend(cells[:-1].tolist())
    wet = np.flatnonzero((area >= threshold) & (directions < OUTLET))
    assert sorted(steps) == wet.tolist()


@given(drained())
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_a_path_ends_where_the_next_begins_and_orders_follow_from_those_above(case):
    _, directions, _, _ = case
    paths, _ = drawn(case)
    for number in range(1, paths.order.size + 1):
        below = paths.downstream_ids[number - 1]
        last = paths.cells_of(number)[-1]
        if below:
            assert paths.cells_of(below)[0] == last
            assert paths.order[below - 1] >= paths.order[number - 1]
        else:
            assert directions.ravel()[last] == OUTLET
        above = np.sort(paths.order[paths.downstream_ids == number])[::-1]
        if above.size == 0:
            assert paths.order[number - 1] == 1
        else:
            assert above.size > 1
            assert paths.order[number - 1] == above[0] + (above[0] == above[1])


@given(drained())
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_lines_measure_what_the_columns_say(case):
    surface, _, area, threshold = case
    paths, grid = drawn(case)
    assert (paths.area_m2 >= threshold).all()
    assert (paths.fall_m >= 0).all()
    np.testing.assert_allclose(paths.length_m, shapely.length(paths.lines))
    for number, line in enumerate(paths.lines, start=1):
        cells = paths.cells_of(number)
        x, y = grid.xy(*np.divmod(cells, grid.cols))
        np.testing.assert_array_equal(shapely.get_coordinates(line), np.column_stack((x, y)))
        fall = surface.ravel()[cells[0]] - surface.ravel()[cells[-1]]
        assert paths.fall_m[number - 1] == pytest.approx(fall)
        below = paths.downstream_ids[number - 1]
        if below:
            assert paths.area_m2[number - 1] == area.ravel()[cells[-2]]
            assert paths.area_m2[below - 1] > paths.area_m2[number - 1]


@given(drained())
@settings(deadline=None, max_examples=60)
@pytest.mark.interpreted
def test_areas_that_shrink_downstream_are_refused(case):
    surface, directions, area, threshold = case
    inner = np.argwhere((directions < OUTLET) & (area >= threshold))
    if inner.size == 0:
        return
    row, col = inner[0]
    code = directions[row, col]
    broken = area.copy()
    broken[row + D_ROW[code], col + D_COL[code]] = 0.0
    with pytest.raises(ValueError, match="falls below the threshold"):
        drawn((surface, directions, broken, threshold))


def test_no_ground_above_the_threshold_gives_no_path():
    dem = np.array([[2.0, 1.0], [2.0, 1.0]], dtype=np.float32)
    directions = flow_directions(dem)
    assert (directions != NO_DATA).all()
    paths = flow_paths(
        directions, accumulate(directions), dem, Grid(2, 2, cell_m=1.0), min_area_m2=50.0
    )
    assert paths.lines.size == paths.order.size == paths.length_m.size == 0
