"""However many threads share the rows, every result is the same to the last bit."""

import numpy as np
import pytest

from brimline._jit import threads
from brimline.drainage.flow import accumulate, flow_directions
from brimline.terrain.conditioning import fill


def rough_ground(kind):
    """Hollows, plateaus and nodata that reach across the borders between bands of rows."""
    random = np.random.default_rng(7)
    row, col = np.indices((700, 90))
    dem = 30 + 4 * np.sin(row / 40) * np.cos(col / 17) + 0.01 * row
    dem += random.normal(0, 0.3, dem.shape)
    if kind == "plateaus":
        dem = np.round(dem / 2)
    dem[(col - 45) ** 2 + (row - 350) ** 2 / 40 > 50**2] = np.nan
    dem[200:260, 30:38] = np.nan
    return dem.astype(np.float32)


@pytest.mark.parametrize("kind", ["rough", "plateaus"])
@pytest.mark.parametrize("count", [2, 3, 7])
def test_conditioning_directions_and_accumulation(kind, count):
    dem = rough_ground(kind)
    rain = np.random.default_rng(1).random(dem.shape)
    results = []
    for number in (1, count):
        with threads(number):
            filled = fill(dem)
            directions = flow_directions(filled)
            results.append((filled, directions, accumulate(directions, rain)))
    for one, many in zip(*results, strict=True):
        np.testing.assert_array_equal(one, many)
