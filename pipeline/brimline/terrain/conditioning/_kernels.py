"""Compiled loops that condition a surface."""

from __future__ import annotations

import heapq

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW


@kernel
def fill(dem, sinks):
    """Priority flood from the edge and the kept sinks; nodata is ground at minus infinity."""
    rows, cols = dem.shape
    filled = dem.copy()
    seen = np.zeros((rows, cols), dtype=np.bool_)
    heap = [(np.float32(0.0), np.int64(0))]
    heap.clear()
    for row in range(rows):
        for col in range(cols):
            if np.isnan(dem[row, col]):
                filled[row, col] = -np.inf
            edge = row == 0 or col == 0 or row == rows - 1 or col == cols - 1
            if edge or sinks[row, col]:
                seen[row, col] = True
                heapq.heappush(heap, (filled[row, col], np.int64(row * cols + col)))
    while len(heap) > 0:
        level, cell = heapq.heappop(heap)
        row, col = cell // cols, cell % cols
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols or seen[r, c]:
                continue
            seen[r, c] = True
            filled[r, c] = max(filled[r, c], level)
            heapq.heappush(heap, (filled[r, c], np.int64(r * cols + c)))
    for row in range(rows):
        for col in range(cols):
            if np.isnan(dem[row, col]):
                filled[row, col] = np.nan
    return filled
