"""Compiled loops that read a surface between its cell centres."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def corner(row, col, rows, cols):
    """First cell of the four centres around a position and the position within them."""
    r0 = min(max(np.int64(np.floor(row)), 0), max(rows - 2, 0))
    c0 = min(max(np.int64(np.floor(col)), 0), max(cols - 2, 0))
    return r0, c0, row - r0, col - c0


@kernel
def level(dem, row, col):
    """Bilinear level at a fractional position; NaN outside the centres or beside nodata."""
    rows, cols = dem.shape
    if not (row >= 0.0 and col >= 0.0 and row <= rows - 1 and col <= cols - 1):
        return np.nan
    r0, c0, fr, fc = corner(row, col, rows, cols)
    total = 0.0
    for i in range(2):
        for j in range(2):
            weight = (fr if i else 1.0 - fr) * (fc if j else 1.0 - fc)
            if weight != 0.0:  # a nodata cell without weight does not matter
                total += weight * np.float64(dem[r0 + i, c0 + j])
    return total


@kernel
def _difference(dem, r, c, dr, dc):
    """Central difference at a cell, one-sided beside nodata and the edge; NaN where none is."""
    rows, cols = dem.shape
    z = np.float64(dem[r, c])
    ahead, behind = np.nan, np.nan
    if 0 <= r + dr < rows and 0 <= c + dc < cols:
        ahead = np.float64(dem[r + dr, c + dc])
    if 0 <= r - dr < rows and 0 <= c - dc < cols:
        behind = np.float64(dem[r - dr, c - dc])
    if np.isnan(ahead):
        return z - behind
    if np.isnan(behind):
        return ahead - z
    return 0.5 * (ahead - behind)


@kernel
def rise(dem, row, col):
    """Rise per cell (down the rows, along the columns), continuous from cell to cell."""
    rows, cols = dem.shape
    if not (row >= 0.0 and col >= 0.0 and row <= rows - 1 and col <= cols - 1):
        return np.nan, np.nan
    r0, c0, fr, fc = corner(row, col, rows, cols)
    down, along = 0.0, 0.0
    for i in range(2):
        for j in range(2):
            weight = (fr if i else 1.0 - fr) * (fc if j else 1.0 - fc)
            if weight != 0.0:
                down += weight * _difference(dem, r0 + i, c0 + j, 1, 0)
                along += weight * _difference(dem, r0 + i, c0 + j, 0, 1)
    return down, along


@kernel
def levels(dem, row, col):
    """Bilinear levels at many positions."""
    out = np.empty(row.size, dtype=np.float64)
    for i in range(row.size):
        out[i] = level(dem, row[i], col[i])
    return out


@kernel
def rises(dem, row, col):
    """Rises per cell at many positions: down the rows, along the columns."""
    down = np.empty(row.size, dtype=np.float64)
    along = np.empty(row.size, dtype=np.float64)
    for i in range(row.size):
        down[i], along[i] = rise(dem, row[i], col[i])
    return down, along


@kernel
def onto_level(dem, row, col, target, reach, tolerance):
    """Move positions along the gradient until the surface has the target level.

    Newton steps, each at most one cell, `reach` cells in all; a position that does not get there
    is left where it was.
    """
    out_row, out_col = row.copy(), col.copy()
    for i in range(row.size):
        r, c = row[i], col[i]
        for _ in range(20):
            miss = level(dem, r, c) - target[i]
            down, along = rise(dem, r, c)
            steep2 = down * down + along * along
            if not (steep2 > 0.0) or np.isnan(miss) or abs(miss) <= tolerance:
                break
            step = -miss / steep2
            length = abs(step) * np.sqrt(steep2)
            if length > 1.0:
                step /= length
            r += step * down
            c += step * along
        there = abs(level(dem, r, c) - target[i]) <= max(tolerance, 1e-9)
        if there and np.hypot(r - row[i], c - col[i]) <= reach:
            out_row[i], out_col[i] = r, c
    return out_row, out_col
