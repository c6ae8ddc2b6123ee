"""Compiled loops over flow directions."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.drainage.flow.flats._kernels import UNDECIDED
from brimline.grid._kernels import padded_row
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET

_OUTLET = np.uint8(OUTLET)
_NO_DATA = np.uint8(NO_DATA)
_DIAGONAL = np.sqrt(0.5)  # one over the step to a neighbour at a corner

# what cells carry while water is added up: donors still to come, and one of these
_COMING = np.uint8(15)
_CONFLUENCE = np.uint8(16)  # more than one donor
_SUMMED = np.uint8(255)
_BLOCK = 512  # columns gone down together, so that what is walked over stays in the cache


@kernel
def steepest(dem, codes, first, last):
    """Steepest descent for rows first to last, in raster order of equals; NaN never receives.

    The inner loop is selects alone, so that it runs many cells at a time. Without a lower
    neighbour a cell is undecided, on the raster's edge an outlet. Returns the number of undecided
    cells and of nodata.
    """
    rows, cols = dem.shape
    above = np.empty(cols + 2, dtype=dem.dtype)
    level = np.empty(cols + 2, dtype=dem.dtype)
    below = np.empty(cols + 2, dtype=dem.dtype)
    padded_row(dem, first - 1, above)
    padded_row(dem, first, level)
    undecided, nodata = 0, 0
    for row in range(first, last):
        padded_row(dem, row + 1, below)
        nw, north, ne = above[:cols], above[1 : cols + 1], above[2:]
        west, here, east = level[:cols], level[1 : cols + 1], level[2:]
        sw, south, se = below[:cols], below[1 : cols + 1], below[2:]
        code = codes[row]
        for col in range(cols):
            z = np.float64(here[col])
            best, to = 0.0, UNDECIDED
            fall = (z - np.float64(nw[col])) * _DIAGONAL
            if fall > best:
                best, to = fall, np.uint8(3)
            fall = z - np.float64(north[col])
            if fall > best:
                best, to = fall, np.uint8(2)
            fall = (z - np.float64(ne[col])) * _DIAGONAL
            if fall > best:
                best, to = fall, np.uint8(1)
            fall = z - np.float64(west[col])
            if fall > best:
                best, to = fall, np.uint8(4)
            fall = z - np.float64(east[col])
            if fall > best:
                best, to = fall, np.uint8(0)
            fall = (z - np.float64(sw[col])) * _DIAGONAL
            if fall > best:
                best, to = fall, np.uint8(5)
            fall = z - np.float64(south[col])
            if fall > best:
                best, to = fall, np.uint8(6)
            fall = (z - np.float64(se[col])) * _DIAGONAL
            if fall > best:
                best, to = fall, np.uint8(7)
            code[col] = _NO_DATA if np.isnan(z) else to
        edge = row in (0, rows - 1)
        for col in range(0, cols, 1 if edge else max(1, cols - 1)):
            if code[col] == UNDECIDED:
                code[col] = _OUTLET
        for col in range(cols):
            undecided += code[col] == UNDECIDED
            nodata += code[col] == _NO_DATA
        above, level, below = level, below, above
    return undecided, nodata


@kernel
def settle_rim(codes, beyond, first, last):
    """Make undecided cells beside what lies outside into outlets; returns how many."""
    settled = 0
    for row in range(max(first, 1), min(last, codes.shape[0] - 1)):
        line = codes[row]
        for col in range(1, codes.shape[1] - 1):
            if line[col] != UNDECIDED:
                continue
            for k in range(8):
                if beyond[row + D_ROW[k], col + D_COL[k]]:
                    line[col] = _OUTLET
                    settled += 1
                    break
    return settled


@kernel
def donors(codes, pending, first, last):
    """Count the donors of each cell in rows first to last, marking confluences.

    Returns how many codes are wrong: unknown, or leading off the raster or onto nodata.
    """
    rows, cols = codes.shape
    wrong = 0
    for row in range(first, last):
        here, count = codes[row], pending[row]
        for col in range(cols):
            count[col] = 0
        if row > 0:
            above = codes[row - 1]
            _add_donors(above[: cols - 1], count[1:], np.uint8(7))
            _add_donors(above, count, np.uint8(6))
            _add_donors(above[1:], count[: cols - 1], np.uint8(5))
        _add_donors(here[: cols - 1], count[1:], np.uint8(0))
        _add_donors(here[1:], count[: cols - 1], np.uint8(4))
        if row < rows - 1:
            below = codes[row + 1]
            _add_donors(below[: cols - 1], count[1:], np.uint8(1))
            _add_donors(below, count, np.uint8(2))
            _add_donors(below[1:], count[: cols - 1], np.uint8(3))
        for col in range(cols):
            wrong += (here[col] > _OUTLET) & (here[col] != _NO_DATA)
            wrong += (here[col] == _NO_DATA) & (count[col] > 0)
            count[col] |= _CONFLUENCE if count[col] > 1 else np.uint8(0)
        if row in (0, rows - 1):
            away = (1, 2, 3) if row == 0 else (5, 6, 7)
            for col in range(cols):
                wrong += here[col] in away
        for code in (3, 4, 5):
            wrong += here[0] == code
        for code in (7, 0, 1):
            wrong += here[cols - 1] == code
    return wrong


@kernel
def _add_donors(beside, count, code):
    for col in range(beside.size):
        count[col] += np.uint8(beside[col] == code)


@kernel
def gather(codes, pending, weights, total, starts, first, last):
    """Add up for every cell whose water all comes from rows first to last.

    Follows water down from each cell without donors, block by block of columns, or from each of
    `starts` (cells that have received from other rows) where there are any, until a receiver
    still waits for another donor.
    At a confluence the donors are added in the order of the neighbour codes, whoever came first,
    so that sums do not depend on how rows were shared out. `weights` of one element is the
    weight of all cells. Returns the cells of other rows that received, and how many were summed.
    """
    cols = codes.shape[1]
    code, wait, amount = codes.ravel(), pending.ravel(), total.ravel()
    offset = D_ROW * cols + D_COL
    each = weights.size > 1
    top, bottom = first * cols, last * cols
    crossed = np.empty(2 * cols, dtype=np.int64)  # one cell leads into each cell's row beside
    crossings, summed = 0, 0
    sources = starts if starts.size else np.empty(_BLOCK, dtype=np.int64)
    rows = last - first
    for piece in range(1 if starts.size else rows * ((cols + _BLOCK - 1) // _BLOCK)):
        listed = starts.size
        if listed == 0:
            left, row = piece // rows * _BLOCK, first + piece % rows
            begin, end = row * cols + left, row * cols + min(left + _BLOCK, cols)
            listed = _list_sources(code, wait, amount, begin, end, sources)
        for turn in range(listed):
            cell = sources[turn]
            if starts.size:
                wait[cell] -= 1
                if wait[cell] & _COMING:
                    continue
                wait[cell] = _CONFLUENCE
            inflow = 0.0
            while True:
                if wait[cell] == _CONFLUENCE:
                    inflow = 0.0
                    for k in range(8):
                        beside = cell + offset[k]
                        # codes never lead off the raster, so the far end of a row is no donor
                        if 0 <= beside < code.size and code[beside] == k ^ 4:
                            inflow += amount[beside]
                inflow += weights[cell] if each else weights[0]
                amount[cell] = inflow
                wait[cell] = _SUMMED
                summed += 1
                if code[cell] == _OUTLET:
                    break
                cell += offset[code[cell]]
                if cell < top or cell >= bottom:
                    crossed[crossings] = cell
                    crossings += 1
                    break
                wait[cell] -= 1
                if wait[cell] & _COMING:
                    break
    return crossed[:crossings], summed


@kernel
def _list_sources(code, wait, amount, begin, end, sources):
    """List the valid cells of a run that have no donors, and make its nodata NaN."""
    listed = 0
    for cell in range(begin, end):
        nodata = code[cell] == _NO_DATA
        if nodata:
            amount[cell] = np.nan
        sources[listed] = cell
        listed += (wait[cell] == 0) & ~nodata
    return listed


@kernel
def order_downstream(codes, pending, order):
    """List the valid cells, donors before receivers; returns how many were listed."""
    cols = codes.shape[1]
    code, wait = codes.ravel(), pending.ravel()
    offset = D_ROW * cols + D_COL
    listed = 0
    for source in range(code.size):
        if wait[source] != 0 or code[source] == _NO_DATA:
            continue
        cell = np.int64(source)
        while True:
            wait[cell] = _SUMMED
            order[listed] = cell
            listed += 1
            if code[cell] == _OUTLET:
                break
            cell += offset[code[cell]]
            wait[cell] -= 1
            if wait[cell] & _COMING:
                break
    return listed
