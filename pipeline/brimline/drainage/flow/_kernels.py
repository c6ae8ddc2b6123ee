"""Compiled loops over flow directions."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET, STEP

_OUTLET = np.uint8(OUTLET)
_NO_DATA = np.uint8(NO_DATA)
UNDECIDED = np.uint8(9)  # between kernels only: no neighbour is lower, and not at the rim
_DIAGONAL = np.sqrt(0.5)  # one over the step to a neighbour at a corner
_ROOK_FIRST = np.array([2, 4, 0, 6, 3, 1, 5, 7], dtype=np.int64)  # sides, then corners

# the steps that cells of flats carry between kernels
_DEFERRED = np.int32(-1)
_REACHED = np.int32(1 << 29)  # added once the count towards lower ground has come by

# what cells carry while water is added up: donors still to come, and one of these
_COMING = np.uint8(15)
_CONFLUENCE = np.uint8(16)  # more than one donor
_SUMMED = np.uint8(255)
_BLOCK = 512  # columns gone down together, so that what is walked over stays in the cache


@kernel
def _longer(array):
    """Copy the values into an array with room for as many again."""
    longer = np.empty(2 * array.size, dtype=array.dtype)
    for i in range(array.size):  # numba compiles this ten times faster than a slice
        longer[i] = array[i]
    return longer


@kernel
def steepest(dem, codes, first, last):
    """Steepest descent for rows first to last, in raster order of equals; NaN never receives.

    The inner loop is selects alone, so that it runs many cells at a time. Returns the number of
    undecided cells and of nodata.
    """
    rows, cols = dem.shape
    n = cols - 2
    undecided, nodata = 0, 0
    for row in range(first, last):
        inner = 0 < row < rows - 1 and n > 0
        if inner:
            nw, north, ne = dem[row - 1, :n], dem[row - 1, 1 : n + 1], dem[row - 1, 2:]
            west, here, east = dem[row, :n], dem[row, 1 : n + 1], dem[row, 2:]
            sw, south, se = dem[row + 1, :n], dem[row + 1, 1 : n + 1], dem[row + 1, 2:]
            code = codes[row, 1 : n + 1]
            for col in range(n):
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
            codes[row, 0] = _steepest_at_edge(dem, row, 0)
            codes[row, cols - 1] = _steepest_at_edge(dem, row, cols - 1)
        else:
            for col in range(cols):
                codes[row, col] = _steepest_at_edge(dem, row, col)
        line = codes[row]
        for col in range(cols):
            undecided += line[col] == UNDECIDED
            nodata += line[col] == _NO_DATA
    return undecided, nodata


@kernel
def _steepest_at_edge(dem, row, col):
    """Steepest descent of one cell on the raster's edge, an outlet if no neighbour is lower."""
    rows, cols = dem.shape
    z = np.float64(dem[row, col])
    if np.isnan(z):
        return _NO_DATA
    best, to = 0.0, _OUTLET
    for k in (3, 2, 1, 4, 0, 5, 6, 7):
        r, c = row + D_ROW[k], col + D_COL[k]
        if r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        fall = z - np.float64(dem[r, c])
        if k % 2 == 1:
            fall *= _DIAGONAL
        if fall > best:
            best, to = fall, np.uint8(k)
    return to


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
    cells = np.empty(1024, dtype=np.int64)
    queue = np.empty(1024, dtype=np.int64)
    deferred = [np.int64(0)]
    deferred.clear()
    for place in range(top, bottom):
        start = np.int64(place)
        if code[start] != UNDECIDED or step[start] == _DEFERRED:
            continue
        cells, queue, whole = _drain_flat(
            level, code, step, around, start, cells, queue, top, bottom
        )
        if not whole:
            deferred.append(np.int64(start))
    return np.array(deferred, dtype=np.int64)


@kernel
def drain_deferred(dem, codes, steps, starts):
    """Decide the flats that hold the given cells, wherever they reach."""
    level, code, step = dem.ravel(), codes.ravel(), steps.ravel()
    around = (D_ROW * codes.shape[1] + D_COL)[_ROOK_FIRST]
    cells = np.empty(1024, dtype=np.int64)
    queue = np.empty(1024, dtype=np.int64)
    for start in starts:
        if code[start] == UNDECIDED:
            cells, queue, _ = _drain_flat(
                level, code, step, around, start, cells, queue, np.int64(0), np.int64(code.size)
            )


@kernel
def _drain_flat(level, code, step, around, start, cells, queue, top, bottom):
    """Decide one flat; returns its working arrays, grown to hold it, and whether it was whole."""
    cells, size, whole, drained = _gather(level, code, step, around, start, cells, top, bottom)
    if whole:
        if not drained:
            _close(level, step, around, cells, size)
        if queue.size < size:
            queue = np.empty(cells.size, dtype=np.int64)
        _count_away(code, step, around, cells, size, queue)
        _count_toward(code, step, around, cells, size, queue)
    else:
        for i in range(size):
            step[cells[i]] = _DEFERRED
    return cells, queue, whole


@kernel
def _gather(level, code, step, around, start, cells, top, bottom):
    """List a flat's cells, noting in `step` which have higher ground and which a way down.

    A cell's note is 1, plus 2 beside higher ground, plus 16 (k + 1) where neighbour k is level
    and decided; sides come before corners.
    """
    whole, drained = True, False
    cells[0] = start
    step[start] = 1
    size, done = 1, 0
    while done < size:
        cell = cells[done]
        done += 1
        if cells.size < size + 8:
            cells = _longer(cells)
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
            elif level[beside] == z and note < 16:
                note |= 16 * (_ROOK_FIRST[i] + 1)
                drained = True
        step[cell] = note
    return cells, size, whole, drained


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
            code[cell] = (note >> 4) - 1
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
            lowest, to = step[cell], UNDECIDED
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
                    lowest, to = height, np.uint8(_ROOK_FIRST[i])
            if code[cell] == UNDECIDED:
                code[cell] = to


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
    rows, cols = dem.shape
    for row in range(first, last):
        for col in range(cols):
            code = codes[row, col]
            if code >= _OUTLET:
                facet[row, col] = _NO_RECEIVER if code == _OUTLET else _NO_DATA
                continue
            facet[row, col] = _ONE_RECEIVER + code
            z = np.float64(dem[row, col])
            steepest, along, across = 0.0, 1.0, 0.0
            for f in range(8):
                r1, c1 = row + D_ROW[_SIDE[f]], col + D_COL[_SIDE[f]]
                r2, c2 = row + D_ROW[_CORNER[f]], col + D_COL[_CORNER[f]]
                if r2 < 0 or c2 < 0 or r2 >= rows or c2 >= cols:
                    continue  # where the corner is inside the side is too
                e1, e2 = np.float64(dem[r1, c1]), np.float64(dem[r2, c2])
                s1, s2 = z - e1, e1 - e2
                if s2 <= 0.0:
                    steep, s2 = s1, 0.0
                elif s2 >= s1:
                    steep, s1, s2 = (z - e2) / STEP[1], 1.0, 1.0
                else:
                    steep = np.sqrt(s1 * s1 + s2 * s2)
                if steep > steepest:
                    steepest, along, across = steep, s1, s2
                    facet[row, col] = f
            share[row, col] = np.arctan2(across, along) / (np.pi / 4.0)


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
def spread_over_facets(facet, share, pending, total):
    """Add up from donors to receivers, `total` holding the weights at first, NaN at nodata."""
    offset = D_ROW * facet.shape[1] + D_COL
    over, part = facet.ravel(), share.ravel()
    wait, amount = pending.ravel(), total.ravel()
    stack = np.empty(1024, dtype=np.int64)
    for source in range(over.size):
        if over[source] == _NO_DATA or wait[source] != 0:
            continue
        stack[0], waiting = source, 1
        while waiting > 0:
            waiting -= 1
            cell = stack[waiting]
            wait[cell] = _SUMMED
            f = over[cell]
            if f == _NO_RECEIVER:
                continue
            if waiting + 2 > stack.size:
                stack = _longer(stack)
            away = amount[cell] * np.float64(part[cell])
            if part[cell] < 1.0:
                receiver = cell + offset[_SIDE[f]]
                amount[receiver] += amount[cell] - away
                wait[receiver] -= 1
                if wait[receiver] == 0:
                    stack[waiting] = receiver
                    waiting += 1
            if part[cell] > 0.0:
                receiver = cell + offset[_CORNER[f]]
                amount[receiver] += away
                wait[receiver] -= 1
                if wait[receiver] == 0:
                    stack[waiting] = receiver
                    waiting += 1


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
def spread_downhill(dem, codes, pending, total, exponent):
    """Add up from each cell to all its lower neighbours, or where none is lower by `codes`."""
    rows, cols = dem.shape
    stack = np.empty(1024, dtype=np.int64)
    pull = np.zeros(8)
    for row in range(rows):
        for col in range(cols):
            if codes[row, col] == _NO_DATA or pending[row, col] != 0:
                continue
            stack[0], waiting = row * cols + col, 1
            while waiting > 0:
                waiting -= 1
                y, x = stack[waiting] // cols, stack[waiting] % cols
                pending[y, x] = _SUMMED
                code = codes[y, x]
                if code == _OUTLET:
                    continue
                if waiting + 8 > stack.size:
                    stack = _longer(stack)
                z = np.float64(dem[y, x])
                steepest = 0.0
                for k in range(8):
                    r, c = y + D_ROW[k], x + D_COL[k]
                    pull[k] = 0.0
                    if r < 0 or c < 0 or r >= rows or c >= cols:
                        continue
                    fall = (z - np.float64(dem[r, c])) / STEP[k]
                    if fall > 0.0:
                        pull[k] = fall
                        steepest = max(steepest, fall)
                if steepest == 0.0:
                    pull[code] = steepest = 1.0
                whole = 0.0
                for k in range(8):
                    # slopes against the steepest, so that no power leaves the range of floats
                    if pull[k] > 0.0:
                        pull[k] = (pull[k] / steepest) ** exponent
                        whole += pull[k]
                for k in range(8):
                    r, c = y + D_ROW[k], x + D_COL[k]
                    if r < 0 or c < 0 or r >= rows or c >= cols:
                        continue
                    # a neighbour that is lower waits for its share even where that rounds to 0
                    if dem[r, c] < dem[y, x] or pull[k] > 0.0:
                        total[r, c] += total[y, x] * (pull[k] / whole)
                        pending[r, c] -= 1
                        if pending[r, c] == 0:
                            stack[waiting] = r * cols + c
                            waiting += 1
