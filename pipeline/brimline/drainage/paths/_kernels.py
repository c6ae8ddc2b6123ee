"""Compiled tracing of flow paths."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, OUTLET

_OUTLET = np.uint8(OUTLET)


@kernel
def channel_donors(codes, channel, cells, donors):
    """Count the channel donors of each channel cell.

    `cells` lists the channel cells. Returns the first of them whose receiver is not a channel
    cell, or -1.
    """
    cols = codes.shape[1]
    code, wet, count = codes.ravel(), channel.ravel(), donors.ravel()
    offset = D_ROW * cols + D_COL
    for cell in cells:
        if code[cell] >= _OUTLET:
            continue
        receiver = cell + offset[code[cell]]
        if not wet[receiver]:
            return cell
        count[receiver] += 1
    return np.int64(-1)


@kernel
def trace(codes, donors, heads, starts, cells):
    """Write the cells of each path from its head down to the next joint or outlet, included.

    Called first with no room in `cells` to fill `starts`, then with room for the last start.
    """
    cols = codes.shape[1]
    code, count = codes.ravel(), donors.ravel()
    offset = D_ROW * cols + D_COL
    room = cells.size > 0
    filled = 0
    for i in range(heads.size):
        starts[i] = filled
        cell = heads[i]
        if room:
            cells[filled] = cell
        filled += 1
        while code[cell] < _OUTLET:
            cell += offset[code[cell]]
            if room:
                cells[filled] = cell
            filled += 1
            if count[cell] > 1:
                break
    starts[heads.size] = filled


@kernel
def strahler(downstream, order_of_work):
    """Strahler order of each path; `downstream` holds positions, -1 where there is none."""
    order = np.ones(downstream.size, dtype=np.int32)
    highest = np.zeros(downstream.size, dtype=np.int32)  # of the donors so far
    again = np.zeros(downstream.size, dtype=np.bool_)  # more than one of them is of that order
    for path in order_of_work:
        if highest[path] > 0:
            order[path] = highest[path] + 1 if again[path] else highest[path]
        below = downstream[path]
        if below < 0:
            continue
        if order[path] > highest[below]:
            highest[below], again[below] = order[path], False
        elif order[path] == highest[below]:
            again[below] = True
    return order
