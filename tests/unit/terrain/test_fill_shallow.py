"""Filling all but deep hollows, against filling with the outlets that directions find."""

import numpy as np
import pytest
from scipy import ndimage

from brimline.drainage.flow import flow_directions
from brimline.grid import OUTLET
from brimline.terrain.conditioning.filling import fill, fill_shallow


def ground(seed, *, steps, shape=(30, 34)):
    rng = np.random.default_rng(seed)
    dem = ndimage.gaussian_filter(rng.normal(0, 10, shape), 1.4)
    return (np.round(dem / steps) * steps if steps else dem).astype(np.float32)


def deep_outlets(dem, depth_m):
    return (flow_directions(dem) == OUTLET) & (fill(dem) - dem > np.float32(depth_m))


@pytest.mark.interpreted
@pytest.mark.parametrize(("seed", "steps"), [(1, 0.0), (2, 0.0), (3, 0.5), (4, 0.5), (5, 1.5)])
def test_deep_hollows_keep_one_pit_and_the_rest_fills(seed, steps):
    dem = ground(seed, steps=steps)
    dem[:4, :7] = np.nan  # joined to the edge: water leaves there
    filled, sinks = fill_shallow(dem, depth_m=0.4)
    expected = deep_outlets(dem, 0.4)
    assert expected.sum() > 3
    np.testing.assert_array_equal(sinks, expected)
    np.testing.assert_array_equal(filled, fill(dem, sinks=expected))


@pytest.mark.interpreted
def test_a_level_floor_that_drains_lower_inside_its_hollow_is_no_sink():
    dem = np.full((7, 9), 5.0, dtype=np.float32)
    dem[3, 1:8] = (3.0, 3.0, 2.0, 2.0, 1.0, 2.5, 2.5)
    dem[4, 2] = 3.0
    _, sinks = fill_shallow(dem, depth_m=0.5)
    assert np.argwhere(sinks).tolist() == [[3, 5]]


@pytest.mark.interpreted
def test_enclosed_nodata_has_no_pit_that_is_known_where_it_is_deep():
    dem = np.full((7, 7), 5.0, dtype=np.float32)
    dem[2:5, 2:5] = 3.0
    dem[3, 3] = np.nan
    assert fill_shallow(dem, depth_m=0.5) is None
    filled, sinks = fill_shallow(dem, depth_m=2.5)  # shallower than that: it fills
    assert not sinks.any()
    np.testing.assert_array_equal(filled, fill(dem))
