"""Compiled loops over cells, whatever they hold."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW


@kernel
def longer(array):
    """Copy the values into an array with room for as many again."""
    twice = np.empty(2 * array.size, dtype=array.dtype)
    for i in range(array.size):  # numba compiles this ten times faster than a slice
        twice[i] = array[i]
    return twice


@kernel
def joined_to_edge(cells):
    """Of the cells that are True, those joined to the raster's edge, corners joining."""
    rows, cols = cells.shape
    found = np.zeros((rows, cols), dtype=np.bool_)
    stack = [np.int64(0)]
    stack.clear()
    for row in range(rows):
        inner = 0 < row < rows - 1
        for col in range(0, cols, max(1, cols - 1) if inner else 1):
            if cells[row, col] and not found[row, col]:
                found[row, col] = True
                stack.append(np.int64(row * cols + col))
    while len(stack) > 0:
        cell = stack.pop()
        row, col = cell // cols, cell % cols
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols:
                continue
            if cells[r, c] and not found[r, c]:
                found[r, c] = True
                stack.append(np.int64(r * cols + c))
    return found


@kernel
def padded_row(grid, row, line):
    """Write a row of a float grid between two NaN; all NaN for rows that are not there."""
    cols = grid.shape[1]
    line[0] = line[cols + 1] = np.nan
    if 0 <= row < grid.shape[0]:
        for col in range(cols):
            line[col + 1] = grid[row, col]
    else:
        for col in range(cols):
            line[col + 1] = np.nan
