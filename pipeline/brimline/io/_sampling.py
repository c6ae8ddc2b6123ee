"""Levels between the cells of one grid, sampled at the cells of another."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from pyproj import Transformer
from scipy import ndimage

if TYPE_CHECKING:
    from affine import Affine
    from numpy.typing import NDArray
    from pyproj import CRS

    from brimline.grid import Elevation, Grid

_NODE_CELLS: Final = 32  # projections bend by (32 c)²/8/6.4e6 m between nodes: 2e-5 c of a cell c
_ENOUGH: Final = 0.5  # share of the weight that must lie on cells with data


def positions(
    grid: Grid, transform: Affine, across: tuple[CRS, CRS] | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where a grid's cell centres lie in another raster, as fractional rows and columns.

    Parameters
    ----------
    transform : of the other raster, from (column, row) of cell corners to its map coordinates.
    across : from the grid's CRS to the other's; None where they are the same.

    Returns
    -------
    row, col : float64 (rows, cols)
        Whole numbers are cell centres of the other raster.
    """
    node_row, node_col = _nodes(grid.rows), _nodes(grid.cols)
    x, y = grid.xy(node_row[:, None], node_col[None, :])
    x, y = np.broadcast_arrays(x, y)
    if across is not None:
        x, y = Transformer.from_crs(*across, always_xy=True).transform(x, y)
    col, row = ~transform @ (x, y)
    return _between(row - 0.5, grid), _between(col - 0.5, grid)


def bilinear(
    levels: Elevation, row: NDArray[np.float64], col: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Interpolate levels at fractional rows and columns.

    Cells without data take no part; the result is NaN where they would have had half the weight
    or more, and outside the outer edge of the cells.

    Parameters
    ----------
    levels : float32 (rows, cols) [m]; NaN is nodata.
    row, col : where to sample; whole numbers are cell centres.
    """
    rows, cols = levels.shape
    with np.errstate(invalid="ignore"):
        inside = (row >= -0.5) & (row <= rows - 0.5) & (col >= -0.5) & (col <= cols - 0.5)
    if not inside.any():
        return np.full(row.shape, np.nan, dtype=np.float32)
    first_row, last_row = _reach(row[inside])
    first_col, last_col = _reach(col[inside])
    levels = levels[first_row:last_row, first_col:last_col]  # what this call needs of them
    valid = np.isfinite(levels)
    at = np.array([row - first_row, col - first_col])
    at[:, ~inside] = 0
    options: dict[str, Any] = {"order": 1, "mode": "nearest", "prefilter": False}
    base = float(levels[valid].min()) if valid.any() else 0.0  # keeps float32 sums small
    height = np.where(valid, levels - np.float32(base), np.float32(0))
    total = ndimage.map_coordinates(height, at, output=np.float64, **options)
    if valid.all():
        weight = inside.astype(np.float64)
    else:
        weight = ndimage.map_coordinates(valid.astype(np.float32), at, output=np.float64, **options)
        weight *= inside
    with np.errstate(invalid="ignore", divide="ignore"):
        sampled = np.where(weight >= _ENOUGH, base + total / weight, np.nan)
    return sampled.astype(np.float32)


def _reach(at: NDArray[np.float64]) -> tuple[int, int]:
    """First and one past the last row or column that positions draw on."""
    return max(0, math.floor(at.min())), math.floor(at.max()) + 2


def block_mean(values: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Average blocks of `factor` × `factor` values; NaN where fewer than half of them are known."""
    if factor == 1:
        return values
    rows, cols = values.shape[0] // factor, values.shape[1] // factor
    blocks = values.reshape(rows, factor, cols, factor)
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    total = np.where(known, blocks, 0).sum(axis=(1, 3), dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(2 * count >= factor * factor, total / count, np.nan)
    return means.astype(np.float32)


def _nodes(count: int) -> NDArray[np.float64]:
    """Rows or columns at which positions are computed exactly: evenly, both ends included."""
    return np.linspace(0, count - 1, max(2, 1 + -(-(count - 1) // _NODE_CELLS)))


def _between(at_nodes: NDArray[np.float64], grid: Grid) -> NDArray[np.float64]:
    """Interpolate linearly from the nodes to every cell."""
    row, share_row = _cell_shares(grid.rows, at_nodes.shape[0])
    col, share_col = _cell_shares(grid.cols, at_nodes.shape[1])
    across = at_nodes[:, col] * (1 - share_col) + at_nodes[:, col + 1] * share_col
    down = share_row[:, None]
    result: NDArray[np.float64] = across[row] * (1 - down) + across[row + 1] * down
    return result


def _cell_shares(count: int, nodes: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Node before each cell and how far on the way to the next one it lies, 0 to 1."""
    if count == 1:
        return np.zeros(1, dtype=np.int64), np.zeros(1)
    at = np.linspace(0, nodes - 1, count)
    before = np.minimum(at.astype(np.int64), nodes - 2)
    return before, at - before
