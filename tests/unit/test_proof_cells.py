"""Cells that water is run over when a design is proved: a bank is never narrower than two."""

import pytest

from brimline.grid import Grid
from brimline.stages._proof import _parts


@pytest.mark.parametrize(
    ("cell_m", "side", "asked", "parts"),
    [
        (0.5, 200, None, 2),
        (2.0, 200, None, 2),
        (5.0, 200, None, 4),
        (5.0, 4000, None, 2),  # no finer than can be held
        (5.0, 200, 3, 3),
    ],
)
def test_wide_cells_are_split_into_parts_of_a_metre_and_a_quarter(cell_m, side, asked, parts):
    grid = Grid(side, side, cell_m, 0.0, 0.0, "EPSG:32626")
    assert _parts(grid, asked) == parts
