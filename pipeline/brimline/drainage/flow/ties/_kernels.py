"""Compiled choice among neighbours that are equally good, by the lie of the ground around.

All sums are of differences of float32 levels times small whole numbers, which float64 holds
exactly, so that turning or mirroring the ground turns or mirrors the choice and nothing else.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW

_RADII = np.array([1, 2, 4, 8, 32], dtype=np.int64)  # half-widths of the windows, in cells
_CORNER = np.sqrt(0.5)


@kernel
def nearest_downslope(level, row, col, tied):
    """Choose the tied neighbour nearest the downslope of planes fitted to growing windows.

    `tied` has a bit for each neighbour in question. A plane fitted by least squares to a square
    window falls along the first moments of the levels in it. What lies outside the data counts as
    level with the cell. Where the ground is symmetric as far as the widest window, the lowest
    code is taken.
    """
    rows, cols = level.shape
    z = np.float64(level[row, col])
    for radius in _RADII:
        east, south = 0.0, 0.0
        for r in range(max(row - radius, 0), min(row + radius + 1, rows)):
            total = 0.0
            for c in range(max(col - radius, 0), min(col + radius + 1, cols)):
                rise = np.float64(level[r, c]) - z
                if np.isfinite(rise):
                    east += (c - col) * rise
                    total += rise
            south += (r - row) * total
        tied = _steepest_of(tied, east, south)
        if tied & (tied - 1) == 0:
            break
    return _lowest_bit(tied)


@kernel
def nearest_downslope_in_flat(level, steps, row, col, tied, floor):
    """As `nearest_downslope`, over the heights that cells of flats carry in `steps`.

    Heights are `floor` or more; what lies in no flat of its level is passed over. What they leave
    open, the ground decides.
    """
    rows, cols = level.shape
    z, here = level[row, col], steps[row, col]
    for radius in _RADII[:2]:
        east, south = 0.0, 0.0
        for r in range(max(row - radius, 0), min(row + radius + 1, rows)):
            for c in range(max(col - radius, 0), min(col + radius + 1, cols)):
                if steps[r, c] >= floor and level[r, c] == z:
                    rise = np.float64(steps[r, c] - here)
                    east += (c - col) * rise
                    south += (r - row) * rise
        tied = _steepest_of(tied, east, south)
        if tied & (tied - 1) == 0:
            return _lowest_bit(tied)
    return nearest_downslope(level, row, col, tied)


@kernel
def _steepest_of(tied, east, south):
    """Keep the tied neighbours towards which a plane with these moments falls the most."""
    best, kept = -np.inf, np.int64(0)
    for k in range(8):
        if not tied >> k & 1:
            continue
        fall = -(D_COL[k] * east + D_ROW[k] * south)
        if k % 2 == 1:
            fall *= _CORNER
        if fall > best:
            best, kept = fall, np.int64(0)
        if fall == best:
            kept |= np.int64(1) << k
    return kept


@kernel
def _lowest_bit(tied):
    for k in range(8):
        if tied >> k & 1:
            return np.uint8(k)
    return np.uint8(0)
