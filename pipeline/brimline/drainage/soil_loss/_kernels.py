"""Compiled loop: soil carried from cell to cell."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, OUTLET, STEP

_DIRECTIONS = np.int64(OUTLET)  # codes below it lead to a neighbour


@kernel
def carried(surface, directions, order, loss, capacity, exponent):
    """Soil that stays in each cell of what arrives and is loosened there.

    What goes on is shared among all lower neighbours by slope to a power; where there is none it
    takes its direction.

    Parameters: cells from the top down as linear indices; loss and capacity in the same unit.
    """
    rows, cols = directions.shape
    moving = np.zeros(rows * cols)
    left = np.zeros((rows, cols), dtype=np.float32)
    share = np.empty(_DIRECTIONS)
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
        if goes == 0.0 or directions[row, col] >= _DIRECTIONS:
            continue
        total = 0.0
        for to in range(_DIRECTIONS):
            share[to] = 0.0
            r, c = row + D_ROW[to], col + D_COL[to]
            if 0 <= r < rows and 0 <= c < cols and surface[r, c] < surface[row, col]:
                fall = np.float64(surface[row, col]) - np.float64(surface[r, c])
                share[to] = (fall / STEP[to]) ** exponent
                total += share[to]
        if total == 0.0:
            share[directions[row, col]] = total = 1.0
        for to in range(_DIRECTIONS):
            if share[to] > 0.0:
                moving[(row + D_ROW[to]) * cols + col + D_COL[to]] += goes * share[to] / total
    return left
