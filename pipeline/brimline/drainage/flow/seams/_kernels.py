"""Compiled loops over what crosses the seams of tiles: flats and flow."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.drainage.flow.flats._kernels import UNDECIDED
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET

_OUTLET = np.uint8(OUTLET)
_NO_DATA = np.uint8(NO_DATA)
_ROOK_FIRST = np.array([2, 4, 0, 6, 3, 1, 5, 7], dtype=np.int64)  # sides, then corners
_DEFERRED = np.int32(-1)  # as in the kernels of flats, as are those below
_REACHED = np.int32(1 << 29)
_TIED = np.uint8(64)
_WAYS = np.uint8(32)
_WET = np.uint8(16)  # what cells carry while inflow is passed on, more than their donors
_DONE = np.uint8(32)
HIGHER = 2  # in a note: beside higher ground
DOWN = 16  # in a note: this times one more than the neighbour that is level and decided
SEVERAL = 1 << 8  # in a note: other neighbours are as well
VOID = 1 << 9  # in a note: beside enclosed nodata
FAR = np.int64(1) << 60  # no distance yet


@kernel
def list_rim_flats(dem, codes, steps, top, left, bottom, right, depth, apart):
    """List the cells of flats that have a cell near the tile's rim, and note what decides them.

    The tile is rows top to bottom and columns left to right of the arrays. Flats are followed as
    far as `apart` cells around it; the next cells beyond are listed with note 0. Those that have
    no cell within `depth` of the rim are left for the tile alone; all others, and what lies
    farther out, are marked as deferred in `steps`. Notes are 1, plus `HIGHER`, plus `DOWN` times
    the first level way down (sides before corners), plus `SEVERAL`, plus `VOID`.
    """
    rows, cols = codes.shape
    first, last = max(top - apart, 0), min(bottom + apart, rows)
    west, east = max(left - apart, 0), min(right + apart, cols)
    undecided = 0
    for row in range(rows):
        for col in range(cols):
            undecided += codes[row, col] == UNDECIDED
    # room for all at once: arrays that grow inside a loop make it far slower
    cells = np.empty(undecided, dtype=np.int64)
    notes = np.empty(undecided, dtype=np.int32)
    size = 0
    for row in range(rows):
        for col in range(cols):
            if codes[row, col] != UNDECIDED:
                continue
            if row < first or row >= last or col < west or col >= east:
                steps[row, col] = _DEFERRED
                continue
            inner = min(row - top, bottom - 1 - row, col - left, right - 1 - col)
            if inner < depth and steps[row, col] == 0:
                steps[row, col] = _DEFERRED
                cells[size] = row * cols + col
                size += 1
    done = 0
    while done < size:
        row, col = cells[done] // cols, cells[done] % cols
        done += 1
        if row < first or row >= last or col < west or col >= east:
            notes[done - 1] = 0
            continue
        z = dem[row, col]
        note = np.int32(1)
        for i in range(8):
            k = _ROOK_FIRST[i]
            r, c = row + D_ROW[k], col + D_COL[k]
            if codes[r, c] == UNDECIDED:
                beyond = r < first or r >= last or c < west or c >= east
                if (beyond and steps[r, c] == _DEFERRED) or steps[r, c] == 0:
                    steps[r, c] = _DEFERRED - 1 if beyond else _DEFERRED
                    cells[size] = r * cols + c
                    size += 1
            elif dem[r, c] > z:
                note |= np.int32(HIGHER)
            elif dem[r, c] == z:
                if (note >> 4) & 15 == 0:
                    note |= np.int32(DOWN * (k + 1))
                elif (((note >> 4) & 15) - 1) & 1 == i >> 2:
                    note |= np.int32(SEVERAL)
            elif dem[r, c] != dem[r, c]:
                note |= np.int32(VOID)
        notes[done - 1] = note
    for i in range(size):
        steps[cells[i] // cols, cells[i] % cols] = _DEFERRED
    return cells[:size].copy(), notes[:size].copy()


@kernel
def places(cells, shape):
    """Place of each listed cell from 1, as a grid; 0 elsewhere."""
    at = np.zeros(shape, dtype=np.int32)
    spots = at.ravel()
    for i in range(cells.size):
        spots[cells[i]] = i + 1
    return at


@kernel
def spread(cells, at, start, order, step):
    """Least of each listed cell's own start and of `step` times the steps to others, plus theirs.

    Cells that touch are joined. `order` lists by rising start the cells whose start the others do
    not know yet. Cells and starts of one queue rise together, so that two queues side by side make
    a sorted one. `at` is of `places`.
    """
    rows, cols = at.shape
    value = start.copy()
    queue = np.empty(cells.size + order.size, dtype=np.int32)
    head, tail, source = 0, 0, 0
    while head < tail or source < order.size:
        if head < tail and (source == order.size or value[queue[head]] <= start[order[source]]):
            i = queue[head]
            head += 1
        else:
            i = order[source]
            source += 1
            if value[i] < start[i]:
                continue
        row, col = cells[i] // cols, cells[i] % cols
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols or at[r, c] == 0:
                continue
            j = at[r, c] - 1
            if value[j] > value[i] + step:
                value[j] = value[i] + step
                queue[tail] = j
                tail += 1
    return value


@kernel
def settle_rim_flats(codes, steps, cells, notes, away, toward):
    """Write heights and directions of listed flats from their distances; ties are marked."""
    cols = codes.shape[1]
    code, height = codes.ravel(), steps.ravel()
    around = (D_ROW * cols + D_COL)[_ROOK_FIRST]
    for i in range(cells.size):
        up = away[i] if away[i] < FAR else 0
        height[cells[i]] = _REACHED + 2 * (toward[i] + 1) - up
    for i in range(cells.size):
        if notes[i] >= DOWN and (notes[i] >> 4) & 15:
            code[cells[i]] = ((notes[i] >> 4) & 15) - 1
            if notes[i] & SEVERAL:
                code[cells[i]] |= _WAYS
    for i in range(cells.size):
        cell = cells[i]
        if code[cell] != UNDECIDED or notes[i] == 0:
            continue
        lowest, to, mark = height[cell], UNDECIDED, np.uint8(0)
        for j in range(8):
            beside = height[cell + around[j]]
            if beside < _REACHED // 2:
                continue
            if beside < lowest:
                lowest, to, mark = beside, np.uint8(_ROOK_FIRST[j]), np.uint8(0)
            elif beside == lowest and to & 1 == j >> 2 and to != UNDECIDED:
                mark = _TIED
        code[cell] = to | mark


@kernel
def exits(codes, ends, ring, ring_place):
    """For each ring cell the end that its water meets first in the tile; 0 where it stays.

    `ends` has a number from 1 at cells that end a way and 0 elsewhere, and codes that lead out of
    the tile are all ends. `ring_place` is work space of zeros, as large as the tile.
    """
    cols = codes.shape[1]
    code, end, seen = codes.ravel(), ends.ravel(), ring_place.ravel()
    offset = D_ROW * cols + D_COL
    found = np.zeros(ring.size, dtype=np.int32)
    for i in range(ring.size):
        cell = ring[i]
        while seen[cell] == 0 and end[cell] == 0 and code[cell] < _OUTLET:
            seen[cell] = -1
            cell += offset[code[cell]]
        to = end[cell]
        if to == 0:
            to = max(seen[cell], 0)
        found[i] = to
        cell = ring[i]
        while seen[cell] == -1:
            seen[cell] = to or -2
            cell += offset[code[cell]]
    return found


@kernel
def relay(below, entry, own):
    """Add up along exits: what passes each entry, and how many exits were settled.

    `below` has for each exit the exit that its water meets next or -1, `entry` the ring place that
    it enters, `own` what it gathers in its own tile.
    """
    waiting = np.zeros(below.size, dtype=np.int32)
    for i in range(below.size):
        if below[i] >= 0:
            waiting[below[i]] += 1
    queue = np.empty(below.size, dtype=np.int64)
    tail = 0
    for i in range(below.size):
        if waiting[i] == 0 and entry[i] >= 0:
            queue[tail] = i
            tail += 1
    total = own.copy()
    inflow = np.zeros(own.size, dtype=own.dtype)
    head = 0
    while head < tail:
        i = queue[head]
        head += 1
        inflow[entry[i]] += total[i]
        to = below[i]
        if to >= 0:
            total[to] += total[i]
            waiting[to] -= 1
            if waiting[to] == 0:
                queue[tail] = to
                tail += 1
    return inflow, tail


@kernel
def pass_on(codes, entries, inflow, total):
    """Add what enters a tile to every cell that it drains through, each gone through once.

    `entries` are cells, `inflow` int64 what enters each; codes do not lead out; `total` is written.
    """
    cols = codes.shape[1]
    code, amount = codes.ravel(), total.ravel()
    offset = D_ROW * cols + D_COL
    coming = np.zeros(code.size, dtype=np.uint8)  # from how many cells water has yet to come
    added = np.zeros(code.size, dtype=np.int64)
    for i in range(entries.size):
        cell = entries[i]
        added[cell] = inflow[i]
        while coming[cell] & _WET == 0:
            coming[cell] |= _WET
            if code[cell] == _OUTLET:
                break
            cell += offset[code[cell]]
            coming[cell] += np.uint8(1)
    for i in range(entries.size):
        cell = entries[i]
        while coming[cell] == _WET:
            coming[cell] = _DONE
            amount[cell] += added[cell]
            if code[cell] == _OUTLET:
                break
            to = cell + offset[code[cell]]
            added[to] += added[cell]
            coming[to] -= np.uint8(1)
            cell = to
