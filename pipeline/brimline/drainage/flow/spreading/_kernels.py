"""Compiled loops that share a cell's water among several receivers."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid._kernels import padded_row
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET, STEP

_OUTLET = np.uint8(OUTLET)
_NO_DATA = np.uint8(NO_DATA)
_SUMMED = np.uint8(255)  # a cell's donors still to come, once it has been added up

# which facet a cell drains over: 0 to 7 clockwise from west, the neighbours at its side and its
# corner being Tarboton's e1 and e2; or 8 plus the code of the only receiver
_ONE_RECEIVER = np.uint8(8)
_NO_RECEIVER = np.uint8(16)
_SIDE = np.array([4, 2, 2, 0, 0, 6, 6, 4, 0, 1, 2, 3, 4, 5, 6, 7], dtype=np.int64)
_CORNER = np.array([3, 3, 1, 1, 7, 7, 5, 5, 0, 1, 2, 3, 4, 5, 6, 7], dtype=np.int64)


@kernel
def facets(dem, codes, facet, share, first, last):
    """Steepest triangular facet of rows first to last, and the share that goes to its corner.

    Where no facet falls, which needs three cells with data, the direction in `codes` is taken.
    """
    cols = dem.shape[1]
    above = np.empty(cols + 2, dtype=dem.dtype)
    level = np.empty(cols + 2, dtype=dem.dtype)
    below = np.empty(cols + 2, dtype=dem.dtype)
    padded_row(dem, first - 1, above)
    padded_row(dem, first, level)
    steepest, along, across = np.empty(cols), np.empty(cols), np.empty(cols)
    for row in range(first, last):
        padded_row(dem, row + 1, below)
        over, part = facet[row], share[row]
        for col in range(cols):
            steepest[col], along[col], across[col] = 0.0, 1.0, 0.0
            code = codes[row, col]
            over[col] = _ONE_RECEIVER + code if code < _OUTLET else _NO_RECEIVER
        nw, north, ne = above[:cols], above[1 : cols + 1], above[2:]
        west, here, east = level[:cols], level[1 : cols + 1], level[2:]
        sw, south, se = below[:cols], below[1 : cols + 1], below[2:]
        for f, e1, e2 in (
            (0, west, nw),
            (1, north, nw),
            (2, north, ne),
            (3, east, ne),
            (4, east, se),
            (5, south, se),
            (6, south, sw),
            (7, west, sw),
        ):
            _take_steeper(here, e1, e2, np.uint8(f), steepest, along, across, over)
        for col in range(cols):
            code = codes[row, col]
            if code >= _OUTLET:
                over[col] = _NO_RECEIVER if code == _OUTLET else _NO_DATA
            part[col] = np.arctan2(across[col], along[col]) / (np.pi / 4.0)
        above, level, below = level, below, above


@kernel
def _take_steeper(here, side, corner, f, steepest, along, across, over):
    """Note a facet where it is steeper than those before; selects alone, NaN is never steeper."""
    for col in range(here.size):
        z = np.float64(here[col])
        e1, e2 = np.float64(side[col]), np.float64(corner[col])
        s1, s2 = z - e1, e1 - e2
        straight, beyond = s2 <= 0.0, s2 >= s1
        steep = np.sqrt(s1 * s1 + s2 * s2)
        steep = (z - e2) / STEP[1] if beyond else steep
        steep = s1 if straight else steep
        s2 = 0.0 if straight else s2
        turned = beyond & (not straight)
        s1, s2 = (1.0 if turned else s1), (1.0 if turned else s2)
        more = steep > steepest[col]
        steepest[col] = steep if more else steepest[col]
        along[col] = s1 if more else along[col]
        across[col] = s2 if more else across[col]
        over[col] = f if more else over[col]


@kernel
def count_facet_donors(facet, share, pending):
    """Count for each cell the neighbours that give it a share."""
    offset = D_ROW * facet.shape[1] + D_COL
    over, part, wait = facet.ravel(), share.ravel(), pending.ravel()
    for cell in range(over.size):
        f = over[cell]
        if f >= _NO_RECEIVER:
            continue
        if part[cell] < 1.0:
            wait[cell + offset[_SIDE[f]]] += 1
        if part[cell] > 0.0:
            wait[cell + offset[_CORNER[f]]] += 1


@kernel
def spread_over_facets(facet, share, pending, total, cells, amounts, begin, first, last):
    """Add up from donors to receivers within rows first to last.

    `total` holds the weights at first, NaN at nodata. Takes in `amounts` at `cells`, and at the
    beginning starts from every cell without donors. Returns the cells of other rows that are
    given to, and how much.
    """
    cols = facet.shape[1]
    offset = D_ROW * cols + D_COL
    over, part = facet.ravel(), share.ravel()
    wait, amount = pending.ravel(), total.ravel()
    top, bottom = first * cols, last * cols
    # room for whatever may come: arrays that grow inside the loop make it three times slower
    out_cell, out_amount, out = np.empty(6 * cols, dtype=np.int64), np.empty(6 * cols), 0
    stack = np.empty(bottom - top, dtype=np.int64)
    for turn in range(bottom - top if begin else cells.size):
        if begin:
            source = np.int64(top + turn)
            if over[source] == _NO_DATA or wait[source] != 0:
                continue
        else:
            source = cells[turn]
            amount[source] += amounts[turn]
            wait[source] -= 1
            if wait[source] != 0:
                continue
        stack[0], waiting = source, 1
        while waiting > 0:
            waiting -= 1
            cell = stack[waiting]
            wait[cell] = _SUMMED
            f = over[cell]
            if f == _NO_RECEIVER:
                continue
            to_corner = amount[cell] * np.float64(part[cell])
            to_side = amount[cell] - to_corner
            if part[cell] < 1.0:
                receiver = cell + offset[_SIDE[f]]
                if top <= receiver < bottom:
                    amount[receiver] += to_side
                    wait[receiver] -= 1
                    if wait[receiver] == 0:
                        stack[waiting] = receiver
                        waiting += 1
                else:
                    out_cell[out], out_amount[out] = receiver, to_side
                    out += 1
            if part[cell] > 0.0:
                receiver = cell + offset[_CORNER[f]]
                if top <= receiver < bottom:
                    amount[receiver] += to_corner
                    wait[receiver] -= 1
                    if wait[receiver] == 0:
                        stack[waiting] = receiver
                        waiting += 1
                else:
                    out_cell[out], out_amount[out] = receiver, to_corner
                    out += 1
    return out_cell[:out], out_amount[:out]


@kernel
def count_higher_donors(dem, codes, pending, first, last):
    """Count for rows first to last the neighbours that spread to each cell."""
    rows, cols = dem.shape
    for row in range(first, last):
        for col in range(cols):
            count = 0
            for k in range(8):
                r, c = row + D_ROW[k], col + D_COL[k]
                if r < 0 or c < 0 or r >= rows or c >= cols or codes[r, c] >= _OUTLET:
                    continue
                # on its own level a neighbour gives only what its direction sends
                if dem[r, c] > dem[row, col] or codes[r, c] == k ^ 4:
                    count += 1
            pending[row, col] = count


@kernel
def spread_downhill(dem, codes, exponent, pending, total, cells, amounts, begin, first, last):
    """Add up from each cell to all its lower neighbours, or where none is lower by `codes`.

    Rows, `total`, what is taken in and what is returned are as in `spread_over_facets`.
    """
    rows, cols = dem.shape
    level, code = dem.ravel(), codes.ravel()
    wait, amount = pending.ravel(), total.ravel()
    offset = D_ROW * cols + D_COL
    top, bottom = first * cols, last * cols
    # room for whatever may come: arrays that grow inside the loop make it three times slower
    out_cell, out_amount, out = np.empty(6 * cols, dtype=np.int64), np.empty(6 * cols), 0
    stack = np.empty(bottom - top, dtype=np.int64)
    pull = np.empty(8)
    for turn in range(bottom - top if begin else cells.size):
        if begin:
            source = np.int64(top + turn)
            if code[source] == _NO_DATA or wait[source] != 0:
                continue
        else:
            source = cells[turn]
            amount[source] += amounts[turn]
            wait[source] -= 1
            if wait[source] != 0:
                continue
        stack[0], waiting = source, 1
        while waiting > 0:
            waiting -= 1
            cell = stack[waiting]
            wait[cell] = _SUMMED
            if code[cell] == _OUTLET:
                continue
            row, col = cell // cols, cell % cols
            z = np.float64(level[cell])
            steepest = 0.0
            for k in range(8):
                r, c = row + D_ROW[k], col + D_COL[k]
                pull[k] = 0.0
                if r < 0 or c < 0 or r >= rows or c >= cols:
                    continue
                fall = (z - np.float64(dem[r, c])) / STEP[k]
                if fall > 0.0:
                    pull[k] = fall
                    steepest = max(steepest, fall)
            if steepest == 0.0:
                pull[code[cell]] = steepest = 1.0
            whole = 0.0
            shared = 0
            for k in range(8):
                # slopes against the steepest, so that no power leaves the range of floats
                if pull[k] > 0.0:
                    shared |= 1 << k
                    pull[k] = (pull[k] / steepest) ** exponent
                    whole += pull[k]
            for k in range(8):
                # a share that rounds to nothing is still waited for
                if not shared >> k & 1:
                    continue
                receiver = cell + offset[k]
                given = amount[cell] * (pull[k] / whole)
                if receiver < top or receiver >= bottom:
                    out_cell[out], out_amount[out] = receiver, given
                    out += 1
                    continue
                amount[receiver] += given
                wait[receiver] -= 1
                if wait[receiver] == 0:
                    stack[waiting] = receiver
                    waiting += 1
    return out_cell[:out], out_amount[:out]
