"""However many threads share the rows, subcatchments, hollows and paths come out the same."""

import numpy as np
import pytest

from brimline._jit import threads
from brimline.drainage.catchments import subcatchments
from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.hollows import find_hollows
from brimline.errors import GridError
from brimline.grid import NO_DATA
from brimline.terrain.conditioning import fill


def rough_ground():
    """Slopes that run across the borders between bands of rows, hollows, and a hole."""
    random = np.random.default_rng(2)
    row, col = np.indices((600, 80))
    dem = 4 * np.cos(col / 12) - 0.05 * row + random.normal(0, 0.2, row.shape)
    dem[290:310, 20:30] = np.nan
    return dem.astype(np.float32)


def test_subcatchments_and_hollows():
    dem = rough_ground()
    directions = flow_directions(fill(dem))
    area = accumulate(directions)
    intakes = np.argwhere(area >= np.nanquantile(area, 0.995))[::9]
    with threads(1):
        alone, hollows = subcatchments(directions, intakes), find_hollows(dem, cell_m=1.0)
    across = set(alone.labels[288]) & set(alone.labels[311]) - {0}
    assert across, "no catchment reaches across the border between two bands"
    for count in (2, 3, 7):
        with threads(count):
            shared, again = subcatchments(directions, intakes), find_hollows(dem, cell_m=1.0)
        for name in ("labels", "own_cells", "cells", "downstream_ids", "edge_limited"):
            np.testing.assert_array_equal(getattr(alone, name), getattr(shared, name))
        np.testing.assert_array_equal(hollows.labels, again.labels)
        np.testing.assert_array_equal(hollows.catchment_m2, again.catchment_m2)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_a_circle_across_bands_is_refused(count):
    codes = np.full((400, 3), NO_DATA, dtype=np.uint8)
    codes[:, 0], codes[:, 1] = 6, 2  # down one column and up the next
    codes[-1, 0], codes[0, 1] = 0, 4
    with threads(count), pytest.raises(GridError, match="circle"):
        subcatchments(codes, np.empty((0, 2), dtype=np.int64))
