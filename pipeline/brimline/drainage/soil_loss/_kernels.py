"""Compiled loop: soil carried from cell to cell."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW


@kernel
def carried(directions, order, loss, capacity):
    """Soil that stays in each cell of what arrives and is loosened there.

    Parameters: cells from the top down as linear indices; loss and capacity in the same unit.
    """
    rows, cols = directions.shape
    moving = np.zeros(rows * cols)
    left = np.zeros((rows, cols), dtype=np.float32)
    for place in range(order.size):
        cell = order[place]
        row, col = cell // cols, cell % cols
        arrives = moving[cell]
        here = np.float64(loss[row, col])
        most = np.float64(capacity[row, col])
        if np.isnan(here) or np.isnan(most):  # a channel: what comes in goes on
            goes = arrives
        else:
            goes = min(arrives + here, max(most, 0.0))
            left[row, col] = arrives + here - goes
        to = directions[row, col]
        if to < 8:
            moving[(row + D_ROW[to]) * cols + col + D_COL[to]] += goes
    return left
