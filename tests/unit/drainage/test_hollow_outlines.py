"""Nested hollows, each drawn in its own box, have the outlines of a pass over the grid a level."""

from types import SimpleNamespace

import numpy as np
from rasterio.transform import from_origin
from scipy.ndimage import gaussian_filter

from brimline.drainage.hollows import find_hollows, hollow_outlines
from brimline.grid.shapes import outlines
from brimline.grid.tiles import Window


def test_outlines_of_nested_hollows():
    random = np.random.default_rng(4)
    dem = sum(
        gaussian_filter(random.standard_normal((200, 230)), width) * width for width in (2, 6, 20)
    )
    dem = dem.astype(np.float32)
    dem[90:93, 100:104] = np.nan
    found = find_hollows(dem, cell_m=1.0, min_depth_m=0.05, min_area_m2=4.0)
    assert found.nesting.max() >= 4
    grid = SimpleNamespace(transform=from_origin(500000, 4000000, 1, 1), shape=dem.shape)
    by_level = {}
    for nesting in range(int(found.nesting.max()) + 1):
        by_level |= outlines(found.labels_at(nesting), grid)
    drawn = hollow_outlines(found.labels, found.parent_ids, grid)
    assert drawn.keys() == by_level.keys()
    for number, shape in drawn.items():
        assert shape.equals_exact(by_level[number], 0.0)

    near = Window(60, 80, 40, 30)
    some = hollow_outlines(found.labels, found.parent_ids, grid, near=near)
    assert set(np.unique(found.labels[near.slices])) - {0} <= some.keys() < drawn.keys()
    for number, shape in some.items():  # whole, though they reach beyond
        assert shape.equals_exact(drawn[number], 0.0)
        assert found.parent_ids[number - 1] in {0, *some}
