"""What holds for subcatchments, distances and heights on any surface and any intakes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from brimline.drainage.catchments import (
    distance_to_intake,
    height_above_drainage,
    longest_paths,
    subcatchments,
)
from brimline.drainage.flow import accumulate, flow_directions
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET
from brimline.terrain.conditioning import fill

LEVELS = st.sampled_from([0.0, 1.0, 1.0, 2.0, 3.0, 5.0, -1.5, np.nan])


@st.composite
def drained(draw):
    """A small filled surface with nodata, its directions, and up to six intakes on it."""
    shape = draw(hnp.array_shapes(min_dims=2, max_dims=2, max_side=8))
    dem = draw(hnp.arrays(np.float32, shape, elements=LEVELS))
    dem.flat[draw(st.integers(0, dem.size - 1))] = 0.0
    surface = fill(dem)
    places = np.argwhere(~np.isnan(dem))
    chosen = draw(st.lists(st.integers(0, len(places) - 1), max_size=6))
    return surface, flow_directions(surface), places[chosen].reshape(-1, 2)


def way_down(directions, row, col):
    """Cells and steps from a cell to its outlet, one at a time."""
    way, length = [(row, col)], [0.0]
    while directions[row, col] != OUTLET:
        code = directions[row, col]
        row, col = row + D_ROW[code], col + D_COL[code]
        way.append((row, col))
        length.append(length[-1] + np.hypot(D_ROW[code], D_COL[code]))
    return way, length


@given(drained())
@settings(deadline=None, max_examples=120)
@pytest.mark.interpreted
def test_each_cell_belongs_to_the_first_intake_on_its_way_down(case):
    _, directions, intakes = case
    found = subcatchments(directions, intakes)
    first_at = {}
    for number, place in enumerate(intakes.tolist(), start=1):
        first_at.setdefault(tuple(place), number)
    for row, col in np.argwhere(directions != NO_DATA):
        way, _ = way_down(directions, row, col)
        met = [first_at[cell] for cell in way if cell in first_at]
        assert found.labels[row, col] == (met[0] if met else 0)
    assert (found.labels[directions == NO_DATA] == 0).all()


@given(drained())
@settings(deadline=None, max_examples=120)
@pytest.mark.interpreted
def test_nested_areas_add_up_to_all_that_drains_to_each_intake(case):
    _, directions, intakes = case
    found = subcatchments(directions, intakes)
    area = accumulate(directions)
    np.testing.assert_array_equal(found.cells, area.ravel()[found.intake_cells])
    np.testing.assert_array_equal(found.gathered(found.own_cells), found.cells)
    assert found.own_cells.sum() == (found.labels > 0).sum()
    ends = found.downstream_ids == 0
    assert found.cells[ends].sum() == found.own_cells.sum()


@given(drained())
@settings(deadline=None, max_examples=120)
@pytest.mark.interpreted
def test_edge_limited_tells_whether_any_draining_cell_touches_what_lies_outside(case):
    _, directions, intakes = case
    found = subcatchments(directions, intakes)
    around = np.pad(directions, 1, constant_values=NO_DATA)
    for number, (row, col) in enumerate(intakes.tolist()):
        touches = False
        for r, c in np.argwhere(directions != NO_DATA):
            if (row, col) in way_down(directions, r, c)[0]:
                touches |= bool((around[r : r + 3, c : c + 3] == NO_DATA).any())
        assert found.edge_limited[number] == touches


@given(drained())
@settings(deadline=None, max_examples=120)
@pytest.mark.interpreted
def test_distances_and_longest_paths_equal_those_walked_by_hand(case):
    _, directions, intakes = case
    found = subcatchments(directions, intakes)
    distance = distance_to_intake(directions, found, cell_m=2.0)
    longest = longest_paths(directions, found, cell_m=2.0)
    greatest = np.zeros(len(intakes))
    for row, col in np.argwhere(directions != NO_DATA):
        way, length = way_down(directions, row, col)
        for number, place in enumerate(intakes.tolist()):
            if tuple(place) in way:
                greatest[number] = max(greatest[number], 2 * length[way.index(tuple(place))])
        if found.labels[row, col]:
            to = way.index(tuple(intakes[found.labels[row, col] - 1]))
            assert distance[row, col] == pytest.approx(2 * length[to])
        else:
            assert np.isnan(distance[row, col])
    np.testing.assert_allclose(longest.length_m, greatest)
    for number, cells in enumerate(longest.cells):
        assert cells[-1] == found.intake_cells[number]
        row, col = np.divmod(cells, directions.shape[1])
        steps = np.hypot(np.diff(row), np.diff(col))
        assert 2 * steps.sum() == pytest.approx(longest.length_m[number])


@given(drained(), st.integers(1, 12))
@settings(deadline=None, max_examples=120)
@pytest.mark.interpreted
def test_height_is_that_above_the_first_drainage_cell_on_the_way_down(case, threshold):
    surface, directions, _ = case
    drains = accumulate(directions) >= threshold
    height = height_above_drainage(surface, directions, drains)
    for row, col in np.argwhere(directions != NO_DATA):
        met = [cell for cell in way_down(directions, row, col)[0] if drains[cell]]
        if met:
            assert height[row, col] == surface[row, col] - surface[met[0]]
            assert height[row, col] >= 0
        else:
            assert np.isnan(height[row, col])
