"""However many threads share the rows, every result is the same to the last bit."""

import numpy as np
import pytest

from brimline._jit import threads
from brimline.drainage.flow import (
    accumulate,
    dinf_accumulation,
    flow_directions,
    mfd_accumulation,
    upstream_order,
)
from brimline.terrain.conditioning import breach, fill


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


def everything(dem):
    rain = np.random.default_rng(1).random(dem.shape)
    breached = breach(dem, cell_m=1.0, max_depth_m=1.0, max_length_m=20.0)
    filled = fill(dem)
    directions = flow_directions(filled)
    return {
        "breach": breached,
        "fill": filled,
        "fill after breach": fill(breached),
        "directions": directions,
        "directions of the ground": flow_directions(dem),
        "accumulation": accumulate(directions, rain),
        "order": upstream_order(directions),
        "facets": dinf_accumulation(filled, rain),
        "downhill": mfd_accumulation(filled, rain),
    }


@pytest.mark.parametrize("kind", ["rough", "plateaus"])
def test_conditioning_directions_and_accumulation(kind):
    dem = rough_ground(kind)
    with threads(1):
        alone = everything(dem)
    for count in (2, 3, 7):
        with threads(count):
            together = everything(dem)
        for name, result in alone.items():
            np.testing.assert_array_equal(result, together[name], err_msg=f"{name}, {count}")
