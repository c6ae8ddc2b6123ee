"""Nodata that is joined to the raster's edge, and nodata that data enclose."""

import numpy as np
import pytest

from brimline.errors import GridError
from brimline.grid.nodata import outside

pytestmark = pytest.mark.interpreted


def mask(*rows):
    return np.array([[mark == "#" for mark in row] for row in rows])


def test_corners_join_and_enclosed_nodata_stays_inside():
    nodata = mask(
        "#....",
        ".#...",
        "...#.",
        ".....",
    )
    expected = mask(
        "#....",
        ".#...",
        ".....",
        ".....",
    )
    np.testing.assert_array_equal(outside(nodata), expected)


@pytest.mark.parametrize("rows", [("#",), ("#.#.",), ("#", ".", "#")])
def test_on_the_edge_everything_is_outside(rows):
    np.testing.assert_array_equal(outside(mask(*rows)), mask(*rows))


def test_a_line_is_refused():
    with pytest.raises(GridError):
        outside(np.zeros(4, dtype=bool))
