"""Compiled loops that lay out cells band by band, with their ways up and their donors.

Rows can only be on free cells. So free cells and those beside them are kept; ways up and water
over the cells between (steep ground, mostly) are followed once, here. What is kept of a cell is
its number in the order of placing: band by band from the top, in raster order within a band.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, STEP

FREE, CLOSED, DRAWN, KEPT = np.uint8(1), np.uint8(2), np.uint8(4), np.uint8(8)  # kinds of cells
ENDS, LOST, HOLDS = np.uint8(1), np.uint8(2), np.uint8(4)  # a way up ends there, or is lost; a row
# what is kept of a cell: level, steepness and length of its way up (float32), its piece (0 for
# none, and less the cells between that shed to it), its way up, its last donor, and the donor
# before it of the same receiver
Z, STEEP, FAR, PIECE, WAY, DONOR, BESIDE = range(7)
WORDS = 7
_PER_STEP = (1.0 / STEP).astype(np.float32)
_DIAGONAL = _PER_STEP[1]
NOWHERE = -1  # no way up, no receiver, no donor
_UNKNOWN, _AWAY = -2, -3  # cells between: not followed yet, and water that reaches no kept cell
_PASSED = -4  # less the kept cell that water from between reaches


@kernel
def kinds(dem, blocked, drawn, closes):
    """Tell free cells, those where no row can be, those of drawn rows, and those to be kept.

    `closes` tells for each code of `blocked` whether rows, and ways up, end there.
    """
    rows, cols = dem.shape
    out = np.zeros((rows, cols), dtype=np.uint8)
    for row in range(rows):
        for col in range(cols):
            code = blocked[row, col]
            kind = CLOSED if closes[code] else np.uint8(0)
            if drawn[row, col]:
                kind |= DRAWN
            elif code == 0 and not np.isnan(dem[row, col]):
                kind |= FREE
            out[row, col] = kind
    near = np.zeros((3, cols + 2), dtype=np.uint8)  # free cells of a row and those beside it
    for row in range(-1, rows):
        near[0], near[1] = near[1], near[2]
        for col in range(cols):
            near[2, col + 1] = out[row + 1, col] if row + 1 < rows else np.uint8(0)
        if row < 0:
            continue
        upper, here, lower, kind = near[0], near[1], near[2], out[row]
        for col in range(cols):
            around = upper[col] | upper[col + 1] | upper[col + 2] | here[col] | here[col + 1]
            around |= here[col + 2] | lower[col] | lower[col + 1] | lower[col + 2]
            known = dem[row, col] == dem[row, col]
            kind[col] |= KEPT if around & FREE and known else np.uint8(0)
    return out


@kernel
def slots(band, kind, count):
    """Count off the kept cells band by band, and tell where each of `count` bands starts."""
    start = np.zeros(count + 1, dtype=np.int64)
    number, kinds_ = band.ravel(), kind.ravel()
    for cell in range(number.size):
        if kinds_[cell] & KEPT:
            start[number[cell] + 1] += 1
    for k in range(count):
        start[k + 1] += start[k]
    following = start.copy()
    out = np.full(band.shape, _UNKNOWN, dtype=np.int32)
    slot = out.ravel()
    for cell in range(number.size):
        if kinds_[cell] & KEPT:
            slot[cell] = following[number[cell]]
            following[number[cell]] += 1
    return out, start


@kernel
def follow(directions, kind, slot, node):
    """Follow the water of cells between: which kept cell it reaches is written to `slot`.

    How many of them shed to each kept cell is taken off its piece. A drawn row holds back all.
    """
    cols = directions.shape[1]
    flows, kinds_, flat = directions.ravel(), kind.ravel(), slot.ravel()
    for first in range(flat.size):
        if flat[first] != _UNKNOWN:
            continue
        cell = np.int64(first)
        while flat[cell] == _UNKNOWN and flows[cell] < 8 and not kinds_[cell] & DRAWN:
            cell += D_ROW[flows[cell]] * cols + D_COL[flows[cell]]
        reached = flat[cell]
        if reached >= 0:
            reached = _PASSED - reached
        elif reached == _UNKNOWN:
            flat[cell] = reached = _AWAY
        end, cell, passed = cell, np.int64(first), 0
        while cell != end:
            flat[cell] = reached
            passed += 1
            cell += D_ROW[flows[cell]] * cols + D_COL[flows[cell]]
        if reached <= _PASSED:
            node[_PASSED - reached, PIECE] -= passed


@kernel
def ways_up(dem):
    """Tell the way up the steepest rise from each cell: 0 to 7, 8 on a top. NaN is no rise.

    Of equally steep ways the first in the order of the neighbour codes is taken.
    """
    ways = np.empty(dem.shape, dtype=np.uint8)
    for row in range(dem.shape[0]):
        _ways_of_row(dem, row, ways[row])
    return ways


@kernel
def _ways_of_row(dem, row, ways):
    """Write `ways_up` of a row; over inner cells selects alone, so that many run at a time."""
    rows, cols = dem.shape
    missing = np.full(cols, np.nan, dtype=dem.dtype)
    above = dem[row - 1] if row > 0 else missing
    below = dem[row + 1] if row < rows - 1 else missing
    level = dem[row]
    n = max(cols - 2, 0)
    nw, north, ne = above[:n], above[1 : n + 1], above[2:]
    west, here, east = level[:n], level[1 : n + 1], level[2:]
    sw, south, se = below[:n], below[1 : n + 1], below[2:]
    inner = ways[1 : n + 1]
    for col in range(n):
        z = here[col]
        best, way = np.float32(0.0), np.uint8(8)
        rise = east[col] - z
        if rise > best:
            best, way = rise, np.uint8(0)
        rise = (ne[col] - z) * _DIAGONAL
        if rise > best:
            best, way = rise, np.uint8(1)
        rise = north[col] - z
        if rise > best:
            best, way = rise, np.uint8(2)
        rise = (nw[col] - z) * _DIAGONAL
        if rise > best:
            best, way = rise, np.uint8(3)
        rise = west[col] - z
        if rise > best:
            best, way = rise, np.uint8(4)
        rise = (sw[col] - z) * _DIAGONAL
        if rise > best:
            best, way = rise, np.uint8(5)
        rise = south[col] - z
        if rise > best:
            best, way = rise, np.uint8(6)
        rise = (se[col] - z) * _DIAGONAL
        if rise > best:
            best, way = rise, np.uint8(7)
        inner[col] = way
    for col in range(0, cols, max(1, cols - 1)):
        ways[col] = _way_up(dem, row, col)


@kernel
def _way_up(dem, row, col):
    """Way up from one cell, as `ways_up`."""
    rows, cols = dem.shape
    z = dem[row, col]
    best, way = np.float32(0.0), 8
    for k in range(8):
        r, c = row + D_ROW[k], col + D_COL[k]
        if r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        climb = (dem[r, c] - z) * _PER_STEP[k]
        if climb > best:  # False for NaN
            best, way = climb, k
    return way


@kernel
def _apart(steep, drop, step_m):
    """Distance down a slope between the levels of two neighbours, at most their own."""
    return step_m if steep * step_m <= drop else drop / steep


@kernel
def _turned(code, way):
    """Tell whether a cell sheds another way than back down to where one came up from."""
    turn = abs(np.int64(code) - (way ^ 4))
    return code < 8 and min(turn, 8 - turn) >= 2


@kernel
def _climb(ways, dem, slope_pct, directions, kind, slot, row, col, cell_m):
    """Go up from a cell between to the next kept one, or where the way ends.

    Gives the kept cell, the distance, the level there, and how the way ends.
    """
    far = 0.0
    while True:
        way = np.int64(ways[row, col])
        if way == 8:
            return NOWHERE, far, dem[row, col], np.uint8(0)
        r, c = row + D_ROW[way], col + D_COL[way]
        if kind[r, c] & CLOSED:
            return NOWHERE, far, dem[row, col], LOST
        steep = (np.float64(slope_pct[r, c]) + np.float64(slope_pct[row, col])) / 200.0
        drop = np.float64(dem[r, c]) - np.float64(dem[row, col])
        far += _apart(steep, drop, STEP[way] * cell_m)
        row, col = r, c
        ends = kind[r, c] & DRAWN or _turned(directions[r, c], way)
        if kind[r, c] & KEPT:
            return np.int64(slot[r, c]), far, dem[r, c], ENDS if ends else np.uint8(0)
        if ends:
            return NOWHERE, far, dem[r, c], ENDS


@kernel
def lay_out(dem, slope_pct, directions, ways, kind, piece, slot, node, cell_m):
    """Write what placing asks of each kept cell to `node`.

    Gives how each cell's way up ends, and where it leads over cells between (its way is then below
    `NOWHERE`), the kept cell that it comes to and the rise.
    """
    rows, cols = dem.shape
    count = node.shape[0]
    value = node.view(np.float32)
    flag = np.zeros(count, dtype=np.uint8)
    over_to = np.empty(64, dtype=np.int32)
    over_rise = np.empty(64, dtype=np.float32)
    over = 0
    for row in range(rows):
        for col in range(cols):
            mine = kind[row, col]
            if not mine & KEPT:
                continue
            i = slot[row, col]
            z, steep = dem[row, col], slope_pct[row, col]
            value[i, Z], value[i, STEEP], value[i, FAR] = z, steep / np.float32(100.0), 0.0
            if mine & FREE:
                node[i, PIECE] = piece[row, col]
            node[i, WAY] = node[i, DONOR] = node[i, BESIDE] = NOWHERE
            code = directions[row, col]
            if code < 8:
                to = slot[row + D_ROW[code], col + D_COL[code]]
                node[i, BESIDE] = max(to if to >= 0 else _PASSED - to, NOWHERE)
            way = np.int64(ways[row, col])
            if mine & DRAWN:
                flag[i] = HOLDS
            if mine & (DRAWN | CLOSED) or way == 8:
                continue
            r, c = row + D_ROW[way], col + D_COL[way]
            there = kind[r, c]
            if there & CLOSED:
                flag[i] = LOST  # past the end of the row above, if there is one
                continue
            drop = np.float64(dem[r, c]) - np.float64(z)
            slopes = (np.float64(slope_pct[r, c]) + np.float64(steep)) / 200.0
            distance = _apart(slopes, drop, STEP[way] * cell_m)
            end = np.uint8(0)
            if there & DRAWN or _turned(directions[r, c], way):
                end = ENDS  # a drawn row, or ground that sheds another way: the divide
            if there & KEPT:
                node[i, WAY] = slot[r, c]
            else:
                onward, top = np.int64(NOWHERE), dem[r, c]
                if not end:
                    onward, farther, top, end = _climb(
                        ways, dem, slope_pct, directions, kind, slot, r, c, cell_m
                    )
                    distance += farther
                if over == over_to.size:
                    over_to = np.concatenate((over_to, over_to))
                    over_rise = np.concatenate((over_rise, over_rise))
                node[i, WAY] = NOWHERE - 1 - over
                over_to[over], over_rise[over] = onward, top - z
                over += 1
            value[i, FAR] = distance
            flag[i] = end
    for i in range(count - 1, -1, -1):
        receiver = node[i, BESIDE]
        if receiver >= 0:
            node[i, BESIDE] = node[receiver, DONOR]
            node[receiver, DONOR] = i
    return flag, over_to[:over].copy(), over_rise[:over].copy()
