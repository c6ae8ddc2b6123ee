"""The ground of drawn shapes against walking every cell down by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.drainage.flow import flow_directions
from brimline.drainage.receiving import received, way_down, way_to
from brimline.errors import GridError
from brimline.grid import D_COL, D_ROW, NO_DATA
from brimline.terrain.conditioning import fill


def ground(seed, shape=(14, 17)):
    rng = np.random.default_rng(seed)
    dem = rng.uniform(0, 10, shape).astype(np.float32)
    dem[rng.random(shape) < 0.08] = np.nan
    directions = flow_directions(fill(dem))
    seeds = np.zeros(shape, dtype=np.int32)
    for label in (1, 2, 3):
        row, col = rng.integers(0, shape[0] - 2), rng.integers(0, shape[1] - 3)
        seeds[row : row + 2, col : col + 3] = label
    seeds[directions == NO_DATA] = 0
    return directions, seeds


def walk(directions, seeds, row, col):
    """First label met from a cell, and how far it is [cells]."""
    far = 0.0
    while seeds[row, col] == 0 and directions[row, col] <= 7:
        code = directions[row, col]
        far += float(np.hypot(D_ROW[code], D_COL[code]))
        row, col = row + D_ROW[code], col + D_COL[code]
    return seeds[row, col], far


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_every_cell_belongs_to_the_first_shape_that_its_water_meets(seed):
    """Labels, counts and longest ways equal those found by walking each cell down."""
    directions, seeds = ground(seed)
    found = received(directions, seeds, cell_m=2.0)
    longest = np.zeros(4)
    counts = np.zeros(4, dtype=int)
    for row, col in np.argwhere(directions != NO_DATA):
        label, far = walk(directions, seeds, row, col)
        assert found.labels[row, col] == label
        if label and not seeds[row, col]:
            longest[label] = max(longest[label], far)
            counts[label] += 1
    present = found.cells.size
    np.testing.assert_array_equal(found.cells[1:], counts[1:present])
    np.testing.assert_allclose(found.longest_m[1:], 2 * longest[1:present], rtol=1e-5)
    for label in range(1, present):
        if found.heads[label] >= 0:
            rows, cols = way_to(directions, int(found.heads[label]), seeds)
            assert seeds[rows[-1], cols[-1]] == label
            steps = np.hypot(np.diff(rows), np.diff(cols)).sum()
            assert 2 * steps == pytest.approx(found.longest_m[label], rel=1e-5)


def test_the_way_down_leaves_the_shape_that_it_begins_in():
    directions = np.zeros((1, 5), dtype=np.uint8)  # all eastwards
    directions[0, 4] = 8
    stop = np.array([[1, 0, 0, 2, 0]], dtype=np.int32)
    rows, cols = way_down(directions, 0, 0, stop)
    assert rows.tolist() == [0, 0, 0, 0]
    assert cols.tolist() == [0, 1, 2, 3]
    with pytest.raises(GridError, match="outside the data"):
        way_down(directions, 0, 9, stop)
