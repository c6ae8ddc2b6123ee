"""A surface brought from its own grid to another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.lines.sample import surface_at

if TYPE_CHECKING:
    from brimline.grid import Elevation, Grid


def on_grid(array: Elevation, own: Grid, grid: Grid) -> Elevation:
    """Return levels at the cell centres of another grid in the same CRS, NaN where there are none.

    Cells that coincide are kept as they are; others are read between cell centres.

    Parameters
    ----------
    array : float32 (rows, cols) on `own` [m]; NaN is nodata.
    """
    if own == grid:
        return array
    shift = np.array(own.position(*grid.xy(0, 0))).ravel()
    if own.cell_m == grid.cell_m and np.abs(shift - shift.round()).max() < 1e-6:
        return _window(array, int(shift[0].round()), int(shift[1].round()), grid.shape)
    x, _ = grid.xy(np.zeros(grid.cols), np.arange(grid.cols))
    _, y = grid.xy(np.arange(grid.rows), np.zeros(grid.rows))
    levels = np.full(grid.shape, np.nan, dtype=np.float32)
    for at in range(grid.rows):
        levels[at] = surface_at(array, own, x, y[at])
    return levels


def _window(array: Elevation, row: int, col: int, shape: tuple[int, int]) -> Elevation:
    """Cut a block of cells out of an array, NaN where it has none."""
    found = np.full(shape, np.nan, dtype=np.float32)
    top, left = max(row, 0), max(col, 0)
    bottom = min(row + shape[0], array.shape[0])
    right = min(col + shape[1], array.shape[1])
    if bottom > top and right > left:
        found[top - row : bottom - row, left - col : right - col] = array[top:bottom, left:right]
    return found
