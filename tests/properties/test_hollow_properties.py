"""What holds for hollows on any surface."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import ndimage

from brimline.drainage.hollows import find_hollows
from brimline.terrain.conditioning import fill

EIGHT = np.ones((3, 3), dtype=bool)


@st.composite
def surfaces(draw, elements=(0.0, 1.0, 2.0, 3.0, 5.0, -1.5, 0.25, np.nan)):
    """Small grids full of hollows, flats, and nodata."""
    shape = draw(hnp.array_shapes(min_dims=2, max_dims=2, max_side=10))
    dem = draw(hnp.arrays(np.float32, shape, elements=st.sampled_from(elements)))
    dem.flat[draw(st.integers(0, dem.size - 1))] = 0.0
    return dem


WHOLE = surfaces(elements=(0.0, 1.0, 2.0, 3.0, 5.0, -1.5, 0.25))


def region(found, hollow):
    """All cells under water in a hollow, those inside it included."""
    return found.labels_at(found.nesting[hollow]) == hollow + 1


@given(surfaces())
@settings(deadline=None, max_examples=200)
@pytest.mark.interpreted
def test_volumes_of_outermost_hollows_are_what_filling_adds(dem):
    found = find_hollows(dem, cell_m=2.0)
    added = 4.0 * np.nansum(fill(dem).astype(np.float64) - dem)
    outermost = found.parent_ids == 0
    np.testing.assert_allclose(found.volume_m3[outermost].sum(), added, rtol=1e-12)


@given(WHOLE)
@settings(deadline=None, max_examples=200)
@pytest.mark.interpreted
def test_outermost_hollows_are_the_connected_pieces_of_what_filling_raises(dem):
    found = find_hollows(dem, cell_m=1.0)
    pieces, count = ndimage.label(fill(dem) > dem, structure=EIGHT)
    assert (found.parent_ids == 0).sum() == count
    ours = found.labels_at(0)
    assert ((ours > 0) == (pieces > 0)).all()
    assert (
        len(np.unique(np.stack((ours, pieces)).reshape(2, -1), axis=1).T)
        == count + (pieces == 0).any()
    )


@given(surfaces())
@settings(deadline=None, max_examples=200)
@pytest.mark.interpreted
def test_sizes_of_each_hollow_follow_from_its_cells_and_spill_level(dem):
    found = find_hollows(dem, cell_m=3.0)
    for hollow in range(found.kept.size):
        cells = region(found, hollow)
        depth = found.spill_level_m[hollow] - dem[cells].astype(np.float64)
        assert (depth > 0).all()
        assert found.area_m2[hollow] == 9.0 * cells.sum()
        assert found.depth_m[hollow] == depth.max()
        assert dem.ravel()[found.deepest_cells[hollow]] == dem[cells].min()
        assert found.volume_m3[hollow] == pytest.approx(9.0 * depth.sum())
        assert dem.ravel()[found.spill_cells[hollow]] == found.spill_level_m[hollow]
        row, col = np.divmod(found.spill_cells[hollow], dem.shape[1])
        beside = ndimage.binary_dilation(cells | found.holds_void[hollow] * np.isnan(dem), EIGHT)
        assert beside[row, col] or found.holds_void[hollow]


@given(surfaces(), st.sampled_from([0.3, 1.0, 2.0]), st.sampled_from([1.0, 3.0]))
@settings(deadline=None, max_examples=200)
@pytest.mark.interpreted
def test_hollows_inside_lie_within_their_parent_and_meet_at_least_one_other(dem, deep, large):
    found = find_hollows(dem, cell_m=1.0, min_depth_m=deep, min_area_m2=large)
    assert (found.depth_m >= deep).all()
    assert (found.area_m2 >= large).all()
    for hollow in np.flatnonzero(found.parent_ids > 0):
        parent = found.parent_ids[hollow] - 1
        assert found.nesting[hollow] == found.nesting[parent] + 1
        assert found.spill_level_m[hollow] < found.spill_level_m[parent]
        inner, outer = region(found, hollow), region(found, parent)
        assert (outer[inner]).all()
        assert inner.sum() < outer.sum()
        assert (found.parent_ids == parent + 1).sum() > 1


@given(WHOLE)
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_hollows_inside_are_those_that_a_slowly_rising_level_shows(dem):
    """At every level the connected wet pieces of a hollow are hollows, or stages of one."""
    found = find_hollows(dem, cell_m=1.0)
    filled = fill(dem)
    listed = {(region(found, hollow)).tobytes() for hollow in range(found.kept.size)}
    levels = np.unique(dem)
    shown = set()
    for level in levels:
        pieces, count = ndimage.label((dem < level) & (filled >= level), structure=EIGHT)
        for piece in range(1, count + 1):
            cells = pieces == piece
            grown, _ = ndimage.label((dem <= level) & (filled > dem), structure=EIGHT)
            joined = grown == grown[cells][0]
            others = len(np.unique(pieces[joined & (pieces > 0)]))
            whole = (filled[cells] == level).all()
            if others > 1 or whole:
                shown.add(cells.tobytes())
    assert listed == shown


@given(surfaces())
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_overflow_never_runs_in_a_circle_and_catchments_grow_along_it(dem):
    found = find_hollows(dem, cell_m=1.0)
    for hollow in range(found.kept.size):
        assert found.catchment_m2[hollow] >= found.area_m2[hollow]
        to = found.spills_to_ids[hollow] - 1
        if to >= 0:
            assert found.catchment_m2[to] >= found.catchment_m2[hollow]
        steps = 0
        while hollow >= 0:
            hollow = found.spills_to_ids[hollow] - 1
            steps += 1
            assert steps <= 2 * found.kept.size


@given(surfaces(), st.sampled_from([1.0, 2.0]))
@settings(deadline=None, max_examples=150)
@pytest.mark.interpreted
def test_a_kept_hollow_holds_its_water_at_its_deepest_cell(dem, deep):
    found = find_hollows(dem, cell_m=1.0, keep_depth_m=deep)
    outermost = found.parent_ids == 0
    np.testing.assert_array_equal(found.kept, found.depth_m >= deep)
    filled = fill(dem, sinks=found.sinks)
    for hollow in np.flatnonzero(outermost):
        sinks = found.sinks & region(found, hollow)
        assert sinks.any() == found.kept[hollow]
        if sinks.any():
            assert (filled[sinks] == dem[sinks]).all()
