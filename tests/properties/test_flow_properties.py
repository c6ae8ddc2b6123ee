"""What holds for directions and accumulation on any surface."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from brimline.drainage.flow import (
    accumulate,
    dinf_accumulation,
    flow_directions,
    mfd_accumulation,
    upstream_order,
)
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET
from brimline.terrain.conditioning import fill

LEVELS = st.sampled_from([0.0, 1.0, 1.0, 2.0, 3.0, -1.5, np.nan, np.inf, -np.inf])


@st.composite
def surfaces(draw):
    """Small grids, one-row ones among them, with plateaus, nodata and infinities."""
    shape = draw(hnp.array_shapes(min_dims=2, max_dims=2, max_side=9))
    dem = draw(hnp.arrays(np.float32, shape, elements=LEVELS))
    if not np.isfinite(dem).any():
        dem[0, 0] = 0.0
    return dem


def receivers(directions):
    """Linear index of each cell's receiver; the cell itself at outlets."""
    row, col = np.indices(directions.shape)
    inner = directions < OUTLET
    code = np.where(inner, directions, 0)
    row = row + np.where(inner, D_ROW[code], 0)
    col = col + np.where(inner, D_COL[code], 0)
    return row * directions.shape[1] + col


@given(surfaces(), st.booleans())
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_every_valid_cell_reaches_an_outlet_never_uphill(dem, filled):
    surface = fill(dem) if filled else dem
    directions = flow_directions(surface)
    valid = np.isfinite(dem)
    assert ((directions == NO_DATA) == ~valid).all()
    down = receivers(directions)
    levels = surface.ravel()
    assert (levels[down.ravel()] <= levels)[valid.ravel()].all()
    at = np.flatnonzero(valid)
    for _ in range(dem.size):
        at = down.ravel()[at]
    assert (directions.ravel()[at] == OUTLET).all()


@given(surfaces(), st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_what_reaches_the_outlets_is_what_fell(dem, seed):
    directions = flow_directions(fill(dem))
    outlets = directions == OUTLET
    assert accumulate(directions)[outlets].sum() == np.isfinite(dem).sum()
    rain = np.random.default_rng(seed).random(dem.shape)
    caught = accumulate(directions, rain)[outlets].sum()
    np.testing.assert_allclose(caught, rain[np.isfinite(dem)].sum())


@given(surfaces(), st.booleans(), st.floats(0.2, 20.0), st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_spreading_loses_and_makes_no_water(dem, filled, exponent, seed):
    surface = fill(dem) if filled else dem
    valid = np.isfinite(dem)
    outlets = flow_directions(surface) == OUTLET
    rain = np.random.default_rng(seed).random(dem.shape)
    for caught in (
        dinf_accumulation(surface, rain),
        mfd_accumulation(surface, rain, exponent=exponent),
    ):
        assert (np.isnan(caught) == ~valid).all()
        assert (caught[valid] >= rain[valid]).all()
        np.testing.assert_allclose(caught[outlets].sum(), rain[valid].sum())


@given(surfaces())
@settings(deadline=None, max_examples=100)
@pytest.mark.interpreted
def test_order_lists_every_valid_cell_once_and_donors_first(dem):
    directions = flow_directions(dem)
    order = upstream_order(directions)
    assert sorted(order) == list(np.flatnonzero(directions != NO_DATA))
    place = np.full(dem.size, -1)
    place[order] = np.arange(order.size)
    down = receivers(directions).ravel()
    inner = (directions < OUTLET).ravel()
    assert (place[inner] < place[down[inner]]).all()
