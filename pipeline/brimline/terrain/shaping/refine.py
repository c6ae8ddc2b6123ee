"""A block of a surface on a finer grid, bilinear between cell centres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation


def finer_ground(
    dem: Elevation, row: int, col: int, rows: int, cols: int, factor: int
) -> NDArray[np.float64]:
    """Levels of a block of cells, each split into `factor` × `factor`.

    Bilinear between cell centres; past the outermost centres of the raster, and where one of the
    four cells around is nodata, the level of the cell itself. So a fine cell has a level where,
    and only where, its cell has.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    row, col, rows, cols : the block.

    Returns
    -------
    float64 (rows × factor, cols × factor) [m]
    """
    r0, r1, down = _between(row, rows, factor, dem.shape[0])
    c0, c1, along = _between(col, cols, factor, dem.shape[1])
    top, left = min(r0[0], row), min(c0[0], col)
    bottom, right = max(r1[-1], row + rows - 1) + 1, max(c1[-1], col + cols - 1) + 1
    surface = dem[top:bottom, left:right].astype(np.float64)
    r0, r1, c0, c1 = r0 - top, r1 - top, c0 - left, c1 - left
    row, col = row - top, col - left
    upper = surface[np.ix_(r0, c0)] * (1 - along) + surface[np.ix_(r0, c1)] * along
    lower = surface[np.ix_(r1, c0)] * (1 - along) + surface[np.ix_(r1, c1)] * along
    fine = upper * (1 - down[:, None]) + lower * down[:, None]
    own = np.repeat(
        np.repeat(surface[row : row + rows, col : col + cols], factor, axis=0), factor, axis=1
    )
    return np.where(np.isnan(fine) | np.isnan(own), own, fine)


def _between(
    first: int, count: int, factor: int, size: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Cells before and after each fine centre, and the share of the way from one to the other."""
    place = np.clip(first - 0.5 + (np.arange(count * factor) + 0.5) / factor, 0, size - 1)
    before = np.minimum(np.floor(place).astype(np.int64), max(size - 2, 0))
    after = np.minimum(before + 1, size - 1)
    return before, after, np.where(after > before, place - before, 0.0)
