"""Compiled loops over flats: ground whose water no lower neighbour decides."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.drainage.flow.ties._kernels import nearest_downslope, nearest_downslope_in_flat
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET

UNDECIDED = np.uint8(9)  # between kernels only: no neighbour is lower, and not at the rim
_ROOK_FIRST = np.array([2, 4, 0, 6, 3, 1, 5, 7], dtype=np.int64)  # sides, then corners
# the steps that cells of flats carry
_DEFERRED = np.int32(-1)
_REACHED = np.int32(1 << 29)  # added once the count towards lower ground has come by
_NO_DATA = np.uint8(NO_DATA)
# added to a code until all flats are done
_TIED = np.uint8(64)  # other neighbours in the flat are as low
_WAYS = np.uint8(32)  # other neighbours lead out as well
_SEVERAL = np.int32(1 << 8)  # in a note: as `_WAYS`


@kernel
def drain_flats(dem, codes, steps, first, last):
    """Decide every undecided cell of the flats that lie within rows first to last.

    A flat that reaches beyond the rows is left, its cells marked as deferred in `steps`; a cell
    of each is returned. Undecided cells that touch are of one level, for the lower of two would
    decide the other, and none lies on the raster's edge.
    """
    cols = codes.shape[1]
    level, code, step = dem.ravel(), codes.ravel(), steps.ravel()
    around = (D_ROW * cols + D_COL)[_ROOK_FIRST]
    top, bottom = first * cols, last * cols
    undecided = 0
    for cell in range(top, bottom):
        undecided += code[cell] == UNDECIDED
    # room for all at once: arrays that grow inside a loop make it far slower
    cells = np.empty(undecided, dtype=np.int64)
    queue = np.empty(undecided, dtype=np.int64)
    deferred = [np.int64(0)]
    deferred.clear()
    for place in range(top, bottom):
        start = np.int64(place)
        if code[start] != UNDECIDED or step[start] == _DEFERRED:
            continue
        if not _drain_flat(level, code, step, around, start, cells, queue, top, bottom):
            deferred.append(start)
    return np.array(deferred, dtype=np.int64)


@kernel
def drain_deferred(dem, codes, steps, starts, room):
    """Decide the flats that hold the given cells, wherever they reach; none has over `room`."""
    level, code, step = dem.ravel(), codes.ravel(), steps.ravel()
    around = (D_ROW * codes.shape[1] + D_COL)[_ROOK_FIRST]
    cells = np.empty(room, dtype=np.int64)
    queue = np.empty(room, dtype=np.int64)
    for start in starts:
        if code[start] == UNDECIDED:
            _drain_flat(
                level, code, step, around, start, cells, queue, np.int64(0), np.int64(code.size)
            )


@kernel
def _drain_flat(level, code, step, around, start, cells, queue, top, bottom):
    """Decide one flat and tell that it was whole, or mark its cells as deferred."""
    size, whole, drained = _gather(level, code, step, around, start, cells, top, bottom)
    if whole:
        if not drained:
            _close(level, step, around, cells, size)
        _count_away(code, step, around, cells, size, queue)
        _count_toward(code, step, around, cells, size, queue)
    else:
        for i in range(size):
            step[cells[i]] = _DEFERRED
    return whole


@kernel
def _gather(level, code, step, around, start, cells, top, bottom):
    """List a flat's cells, noting in `step` which have higher ground and which a way down.

    A cell's note is 1, plus 2 beside higher ground, plus 16 (k + 1) where neighbour k is level
    and decided, plus `_SEVERAL` where others are as well; sides come before corners.
    """
    whole, drained = True, False
    cells[0] = start
    step[start] = 1
    size, done = 1, 0
    while done < size:
        cell = cells[done]
        done += 1
        z = level[cell]
        note = np.int32(1)
        for i in range(8):
            beside = cell + around[i]
            if code[beside] == UNDECIDED:
                if beside < top or beside >= bottom:
                    whole = False
                elif step[beside] <= 0:
                    step[beside] = 1
                    cells[size] = beside
                    size += 1
            elif level[beside] > z:
                note |= 2
            elif level[beside] == z:
                if note < 16:
                    note |= 16 * (_ROOK_FIRST[i] + 1)
                    drained = True
                elif (((note >> 4) & 15) - 1) & 1 == i >> 2:
                    note |= _SEVERAL
        step[cell] = note
    return size, whole, drained


@kernel
def _close(level, step, around, cells, size):
    """Note a way down at one cell of a flat that has none, so that it becomes an outlet.

    The first cell in raster order beside nodata, or else the first of all.
    """
    first, beside_nodata = np.int64(-1), np.int64(-1)
    for i in range(size):
        cell = cells[i]
        if first < 0 or cell < first:
            first = cell
        if beside_nodata < 0 or cell < beside_nodata:
            for j in range(8):
                if np.isnan(level[cell + around[j]]):
                    beside_nodata = cell
                    break
    step[beside_nodata if beside_nodata >= 0 else first] |= 16 * (OUTLET + 1)


@kernel
def _count_away(code, step, around, cells, size, queue):
    """Write the noted ways down, and replace notes by 1 plus the steps away from higher ground.

    Cells beside higher ground are one step away; where a flat has none all stay at 1.
    """
    tail = 0
    for i in range(size):
        cell = cells[i]
        note = step[cell]
        if note >= 16:
            code[cell] = ((note >> 4) & 15) - 1
            if note & _SEVERAL:
                code[cell] |= _WAYS
        step[cell] = 1
        if note & 2:
            step[cell] = 2
            queue[tail] = cell
            tail += 1
    head = 0
    while head < tail:
        cell = queue[head]
        head += 1
        next_step = step[cell] + 1
        for i in range(8):
            beside = cell + around[i]
            if step[beside] == 1:
                step[beside] = next_step
                queue[tail] = beside
                tail += 1


@kernel
def _count_toward(code, step, around, cells, size, queue):
    """Spread from the ways down, sending each cell to its lowest neighbour in the flat.

    Height in the flat is twice the steps to a way down, less the steps away from higher ground
    (Barnes et al. 2014b; what they add for a whole flat changes no difference). A cell's lowest
    neighbour is never further from a way down than the cell, so it is known when its turn comes.
    A cell that has several is marked.
    """
    tail = 0
    for i in range(size):
        cell = cells[i]
        if code[cell] != UNDECIDED:
            step[cell] = _REACHED + 2 - (step[cell] - 1)
            queue[tail] = cell
            tail += 1
    head, turn = 0, 1
    while head < tail:
        turn += 1
        end = tail
        while head < end:
            cell = queue[head]
            head += 1
            lowest, to, mark = step[cell], UNDECIDED, np.uint8(0)
            for i in range(8):
                beside = cell + around[i]
                height = step[beside]
                if height <= 0:
                    continue
                if height < _REACHED // 2:
                    step[beside] = _REACHED + 2 * turn - (height - 1)
                    queue[tail] = beside
                    tail += 1
                elif height < lowest:
                    lowest, to, mark = height, np.uint8(_ROOK_FIRST[i]), np.uint8(0)
                elif height == lowest and to & 1 == i >> 2 and to != UNDECIDED:
                    mark = _TIED
            if code[cell] == UNDECIDED:
                code[cell] = to | mark


@kernel
def settle_ties(dem, codes, steps, first, last):
    """Decide the marked cells in rows first to last, by the heights in flats, then the ground.

    Runs when all flats are done, so that it does not matter which was done first.
    """
    cols = dem.shape[1]
    floor = _REACHED // 2
    for row in range(first, last):
        for col in range(cols):
            code = codes[row, col]
            if code < _WAYS or code == _NO_DATA:
                continue
            z, here = dem[row, col], steps[row, col]
            lowest, tied = here, np.int64(0)
            for k in range(8):
                r, c = row + D_ROW[k], col + D_COL[k]
                if k & 1 != code & 1 or dem[r, c] != z:
                    continue
                if code & _WAYS:
                    if steps[r, c] == 0:  # decided before any flat was
                        tied |= np.int64(1) << k
                elif steps[r, c] >= floor and steps[r, c] <= lowest and steps[r, c] < here:
                    if steps[r, c] < lowest:
                        lowest, tied = steps[r, c], np.int64(0)
                    tied |= np.int64(1) << k
            if code & _WAYS:
                codes[row, col] = nearest_downslope(dem, row, col, tied)
            else:
                codes[row, col] = nearest_downslope_in_flat(dem, steps, row, col, tied, floor)
