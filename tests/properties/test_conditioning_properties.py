"""What holds for fill, breach and burn on any surface."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from brimline.drainage.flow import flow_directions
from brimline.grid import D_COL, D_ROW, OUTLET
from brimline.grid.nodata import outside
from brimline.terrain.conditioning import breach, burn, fill
from brimline.terrain.conditioning.breaching import limited

LEVELS = st.sampled_from([0.0, 1.0, 1.0, 2.0, 3.0, 0.5, -1.5, np.nan])
LIMITS = st.sampled_from([0.0, 0.5, 1.0, 2.0, 3.0, 8.0, np.inf])
pytestmark = pytest.mark.interpreted
few = settings(deadline=None, max_examples=100)


@st.composite
def grounds(draw, levels=LEVELS):
    """Small grids with flats and nodata, and now and then a kept sink."""
    shape = draw(hnp.array_shapes(min_dims=2, max_dims=2, max_side=8))
    dem = draw(hnp.arrays(np.float32, shape, elements=levels))
    if not np.isfinite(dem).any():
        dem[0, 0] = 0.0
    kept = draw(st.booleans())
    sinks = draw(hnp.arrays(np.bool_, shape, elements=st.sampled_from([False] * 7 + [True])))
    return dem, sinks & kept


@given(grounds())
@few
def test_filling_again_changes_nothing_and_never_digs(ground):
    dem, sinks = ground
    filled = fill(dem, sinks=sinks)
    valid = np.isfinite(dem)
    assert (filled[valid] >= dem[valid]).all()
    assert (filled[sinks & valid] == dem[sinks & valid]).all()
    assert np.isnan(filled[~valid]).all()
    np.testing.assert_array_equal(fill(dem, sinks=sinks & valid), filled)
    np.testing.assert_array_equal(fill(filled, sinks=sinks), filled)


@given(grounds())
@few
def test_a_filled_surface_drains_only_at_the_rim_beside_nodata_or_at_kept_sinks(ground):
    dem, sinks = ground
    directions = flow_directions(fill(dem, sinks=sinks), sinks=sinks)
    rim = np.ones(dem.shape, dtype=bool)
    rim[1:-1, 1:-1] = False
    padded = np.pad(np.isnan(dem), 1)
    for row, col in zip(D_ROW, D_COL, strict=True):
        rim |= padded[1 + row : 1 + row + dem.shape[0], 1 + col : 1 + col + dem.shape[1]]
    assert (rim | sinks)[directions == OUTLET].all()


@given(grounds(), LIMITS, LIMITS)
@few
def test_breaching_digs_no_deeper_than_allowed_and_never_raises(ground, depth_m, length_m):
    dem, sinks = ground
    opened = breach(dem, cell_m=1.0, max_depth_m=depth_m, max_length_m=length_m, sinks=sinks)
    valid = np.isfinite(dem)
    dug = (dem - opened)[valid]
    assert (dug >= 0).all()
    assert (dug <= depth_m).all()
    assert (opened[sinks & valid] == dem[sinks & valid]).all()
    assert (np.isnan(opened) == ~valid).all()


@given(grounds(), LIMITS, LIMITS)
@few
def test_breaching_is_the_same_however_little_room_a_search_starts_with(ground, depth_m, length_m):
    dem, sinks = ground

    def opened():
        return breach(dem, cell_m=1.0, max_depth_m=depth_m, max_length_m=length_m, sinks=sinks)

    expected = opened()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limited, "_ROOM", 1)
        np.testing.assert_array_equal(opened(), expected)


@given(grounds())
@few
def test_breaching_without_limits_leaves_nothing_to_fill(ground):
    dem, _ = ground
    enclosed = np.isnan(dem) & ~outside(np.isnan(dem))
    dem = np.where(enclosed, np.float32(1.0), dem)
    opened = breach(dem, cell_m=1.0, max_depth_m=np.inf, max_length_m=np.inf)
    np.testing.assert_array_equal(fill(opened), opened)


@given(grounds(), st.lists(st.tuples(st.floats(-2, 9), st.floats(-2, 9)), min_size=2, max_size=4))
@few
def test_burning_never_raises_and_does_nothing_where_a_line_has_an_end_without_ground(ground, line):
    dem, _ = ground
    burned = burn(dem, [line], cell_m=1.0, reach_m=1.5)
    valid = np.isfinite(dem)
    assert (burned.surface[valid] <= dem[valid]).all()
    assert (np.isnan(burned.surface) == ~valid).all()
    if burned.left_out:
        np.testing.assert_array_equal(burned.surface, dem)
