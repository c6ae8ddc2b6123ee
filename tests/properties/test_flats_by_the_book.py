"""Directions are what the rules say, worked out cell by cell without any of the shortcuts.

The rules: steepest descent; at the rim an outlet where nothing is lower; on flats the neighbour
with the least 2 × steps to a way down − steps from higher ground (Barnes et al. 2014b), sides
before corners; a closed flat ends beside its enclosed nodata or at its first cell. The book tells
every code that the rules allow; which of several is taken is what the ground around decides, and
that it is the ground is tested by turning it.
"""

import math
from collections import deque

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from brimline.drainage.flow import flow_directions
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET
from brimline.grid.nodata import outside
from brimline.terrain.conditioning import fill


def around(shape, cell):
    for k in range(8):
        row, col = cell[0] + int(D_ROW[k]), cell[1] + int(D_COL[k])
        if 0 <= row < shape[0] and 0 <= col < shape[1]:
            yield k, (row, col)


def descent(dem, beyond, cell):
    """Codes of a cell by descent, or None where a flat must decide."""
    if np.isnan(dem[cell]):
        return {NO_DATA}
    best, code = 0.0, None
    for k, other in around(dem.shape, cell):
        fall = float(dem[cell]) - float(dem[other])
        slope = fall * math.sqrt(0.5) if k % 2 else fall
        if slope > best:
            best, code = slope, set()
        if slope == best and code is not None:
            code.add(k)
    rows, cols = dem.shape
    rim = cell[0] in (0, rows - 1) or cell[1] in (0, cols - 1)
    rim = rim or any(beyond[other] for _, other in around(dem.shape, cell))
    return {OUTLET} if code is None and rim else code


def steps_from(seeds, flat, shape):
    steps = dict.fromkeys(seeds, 1)
    queue = deque(seeds)
    while queue:
        cell = queue.popleft()
        for _, other in around(shape, cell):
            if other in flat and other not in steps:
                steps[other] = steps[cell] + 1
                queue.append(other)
    return steps


def settle(dem, code, flat):
    """Directions of one flat: undecided cells of a level that touch."""
    shape = dem.shape
    decided = {}
    for cell in sorted(flat):
        ways = {
            k
            for k, other in around(shape, cell)
            if dem[other] == dem[cell] and code[other] is not None
        }
        if ways:
            decided[cell] = {k for k in ways if k % 2 == 0} or ways
    if not decided:
        beside = [c for c in flat if any(np.isnan(dem[o]) for _, o in around(shape, c))]
        decided[min(beside or flat)] = {OUTLET}
    away = steps_from(
        [c for c in sorted(flat) if any(dem[o] > dem[c] for _, o in around(shape, c))], flat, shape
    )
    toward = steps_from(sorted(decided), flat, shape)
    for cell in flat:
        if cell not in decided:
            inner = [(k, o) for k, o in around(shape, cell) if o in flat]
            height = {k: 2 * toward[other] - away.get(other, 0) for k, other in inner}
            lowest = {k for k, h in height.items() if h == min(height.values())}
            decided[cell] = {k for k in lowest if k % 2 == 0} or lowest
    return decided


def by_the_book(dem):
    beyond = outside(np.isnan(dem))
    code = {cell: descent(dem, beyond, cell) for cell in np.ndindex(dem.shape)}
    left = {cell for cell, found in code.items() if found is None}
    settled = {}
    while left:
        flat = set(steps_from([min(left)], left, dem.shape))
        settled.update(settle(dem, code, flat))
        left -= flat
    code.update(settled)
    return code


def agree(directions, allowed):
    wrong = {cell: codes for cell, codes in allowed.items() if directions[cell] not in codes}
    assert not wrong, {cell: (int(directions[cell]), codes) for cell, codes in wrong.items()}


@given(
    hnp.arrays(
        np.float32,
        hnp.array_shapes(min_dims=2, max_dims=2, max_side=11),
        elements=st.sampled_from([1.0, 1.0, 1.0, 2.0, 2.0, 3.0, 0.0, np.nan]),
    ),
    st.booleans(),
)
@settings(deadline=None, max_examples=200)
@pytest.mark.interpreted
def test_directions_on_small_plateaus(dem, filled):
    if np.isnan(dem).all():
        dem[0, 0] = 1.0
    surface = fill(dem) if filled else dem
    agree(flow_directions(surface), by_the_book(surface))


@pytest.mark.parametrize("seed", range(4))
def test_directions_on_larger_lakes(seed):
    random = np.random.default_rng(seed)
    dem = random.normal(0, 1, (60, 50)).cumsum(0).cumsum(1)
    dem = fill((dem - dem.mean()).round(1 if seed % 2 else -1).astype(np.float32))
    agree(flow_directions(dem), by_the_book(dem))
