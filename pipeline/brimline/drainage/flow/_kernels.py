"""Compiled loops over flow directions."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.drainage.flow.flats._kernels import UNDECIDED
from brimline.drainage.flow.ties._kernels import nearest_downslope
from brimline.grid._kernels import padded_row
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET

_OUTLET = np.uint8(OUTLET)
_NO_DATA = np.uint8(NO_DATA)
_TIED = np.uint8(64)  # added to a code: several neighbours are as steep
_DIAGONAL = np.sqrt(0.5)  # one over the step to a neighbour at a corner

# what cells carry while water is added up: donors still to come, and one of these
_COMING = np.uint8(15)
_CONFLUENCE = np.uint8(16)  # more than one donor
_SUMMED = np.uint8(255)
_BLOCK = 512  # columns gone down together, so that what is walked over stays in the cache


@kernel
def steepest(dem, codes, first, last):
    """Steepest descent for rows first to last; of equals the one nearest the ground's downslope.

    NaN never receives. The inner loop is selects alone, so that it runs many cells at a time:
    equals are of one level, so that the lowest side and the lowest corner tell all. Without a
    lower neighbour a cell is undecided, on the raster's edge an outlet. Returns the number of
    undecided cells and of nodata.
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
            z = here[col]
            side, to_side, sides = z, UNDECIDED, np.uint8(0)
            side = min(side, east[col])
            side = min(side, north[col])
            side = min(side, west[col])
            side = min(side, south[col])
            corner, to_corner, corners = z, UNDECIDED, np.uint8(0)
            corner = min(corner, ne[col])
            corner = min(corner, nw[col])
            corner = min(corner, sw[col])
            corner = min(corner, se[col])
            to_side = np.uint8(0) if east[col] == side else to_side
            to_side = np.uint8(2) if north[col] == side else to_side
            to_side = np.uint8(4) if west[col] == side else to_side
            to_side = np.uint8(6) if south[col] == side else to_side
            to_corner = np.uint8(1) if ne[col] == corner else to_corner
            to_corner = np.uint8(3) if nw[col] == corner else to_corner
            to_corner = np.uint8(5) if sw[col] == corner else to_corner
            to_corner = np.uint8(7) if se[col] == corner else to_corner
            sides += np.uint8(east[col] == side)
            sides += np.uint8(north[col] == side)
            sides += np.uint8(west[col] == side)
            sides += np.uint8(south[col] == side)
            corners += np.uint8(ne[col] == corner)
            corners += np.uint8(nw[col] == corner)
            corners += np.uint8(sw[col] == corner)
            corners += np.uint8(se[col] == corner)
            along = np.float64(z) - np.float64(side)
            across = (np.float64(z) - np.float64(corner)) * _DIAGONAL
            to = to_side if along > across else to_corner
            several = sides if along > across else corners
            to |= _TIED if (several > 1) | (along == across) else np.uint8(0)
            to = to if (side < z) | (corner < z) else UNDECIDED
            code[col] = _NO_DATA if z != z else to
        edge = row in (0, rows - 1)
        for col in range(0, cols, 1 if edge else max(1, cols - 1)):
            if code[col] == UNDECIDED:
                code[col] = _OUTLET
        tied = 0
        for col in range(cols):
            undecided += code[col] == UNDECIDED
            nodata += code[col] == _NO_DATA
            tied += (code[col] & _TIED != 0) & (code[col] != _NO_DATA)
        if tied:
            _settle_ties(dem, code, row)
        above, level, below = level, below, above
    return undecided, nodata


@kernel
def _settle_ties(dem, code, row):
    """Decide the cells of one row that are marked as tied."""
    rows, cols = dem.shape
    for col in range(cols):
        if code[col] & _TIED == 0 or code[col] == _NO_DATA:
            continue
        z = np.float64(dem[row, col])
        best, tied = 0.0, np.int64(0)
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols:
                continue
            fall = z - np.float64(dem[r, c])
            if k % 2 == 1:
                fall *= _DIAGONAL
            if fall > best:
                best, tied = fall, np.int64(0)
            if fall == best and fall > 0.0:
                tied |= np.int64(1) << k
        code[col] = nearest_downslope(dem, row, col, tied)


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
