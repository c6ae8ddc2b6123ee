"""Compiled loops over flow directions."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET

_ROOT2 = np.sqrt(2.0)
_UNDECIDED = np.uint8(9)  # within the kernels only: level or rising all round
_RASTER_ORDER = np.array([3, 2, 1, 4, 0, 5, 6, 7], dtype=np.int64)
_ROOK_FIRST = np.array([2, 4, 0, 6, 3, 1, 5, 7], dtype=np.int64)


@kernel
def _outside(dem):
    """Nodata joined to the raster's edge, corners joining."""
    rows, cols = dem.shape
    outside = np.zeros((rows, cols), dtype=np.bool_)
    stack = [np.int64(0)]
    stack.clear()
    for row in range(rows):
        for col in range(cols):
            edge = row == 0 or col == 0 or row == rows - 1 or col == cols - 1
            if edge and np.isnan(dem[row, col]) and not outside[row, col]:
                outside[row, col] = True
                stack.append(np.int64(row * cols + col))
    while len(stack) > 0:
        cell = stack.pop()
        row, col = cell // cols, cell % cols
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols:
                continue
            if np.isnan(dem[r, c]) and not outside[r, c]:
                outside[r, c] = True
                stack.append(np.int64(r * cols + c))
    return outside


@kernel
def steepest(dem, sinks):
    """Steepest descent; cells without a lower neighbour are outlets at the rim, else undecided."""
    rows, cols = dem.shape
    outside = _outside(dem)
    directions = np.empty((rows, cols), dtype=np.uint8)
    for row in range(rows):
        for col in range(cols):
            z = np.float64(dem[row, col])
            if np.isnan(z):
                directions[row, col] = NO_DATA
                continue
            if sinks[row, col]:
                directions[row, col] = OUTLET
                continue
            best, code, rim = 0.0, _UNDECIDED, False
            for k in _RASTER_ORDER:
                r, c = row + D_ROW[k], col + D_COL[k]
                if r < 0 or c < 0 or r >= rows or c >= cols or outside[r, c]:
                    rim = True
                    continue
                fall = z - np.float64(dem[r, c])
                if k % 2 == 1:
                    fall /= _ROOT2
                if fall > best:
                    best, code = fall, np.uint8(k)
            if code == _UNDECIDED and rim:
                code = np.uint8(OUTLET)
            directions[row, col] = code
    return directions


@kernel
def drain_flats(dem, directions):
    """Directions with every undecided cell decided: away from higher, towards lower ground."""
    rows, cols = dem.shape
    decided = directions.copy()
    away = np.zeros((rows, cols), dtype=np.int32)
    toward = np.zeros((rows, cols), dtype=np.int32)
    queue = [np.int64(0)]
    queue.clear()
    for row in range(rows):
        for col in range(cols):
            if directions[row, col] != _UNDECIDED:
                continue
            for k in range(8):
                r, c = row + D_ROW[k], col + D_COL[k]
                if 0 <= r < rows and 0 <= c < cols and dem[r, c] > dem[row, col]:
                    away[row, col] = 1
                    queue.append(np.int64(row * cols + col))
                    break
    _spread(dem, directions, away, queue)
    queue.clear()
    for row in range(rows):
        for col in range(cols):
            if directions[row, col] != _UNDECIDED:
                continue
            for k in range(8):
                r, c = row + D_ROW[k], col + D_COL[k]
                if not (0 <= r < rows and 0 <= c < cols) or dem[r, c] != dem[row, col]:
                    continue
                if directions[r, c] != _UNDECIDED:
                    toward[row, col] = 1
                    queue.append(np.int64(row * cols + col))
                    break
    _spread(dem, directions, toward, queue)
    # what is left is closed: beside enclosed nodata it ends there, else at its first cell
    for beside_nodata in (True, False):
        for row in range(rows):
            for col in range(cols):
                if directions[row, col] != _UNDECIDED or toward[row, col] > 0:
                    continue
                if beside_nodata and not _touches_nodata(dem, row, col):
                    continue
                decided[row, col] = OUTLET
                toward[row, col] = 1
                queue.clear()
                queue.append(np.int64(row * cols + col))
                _spread(dem, directions, toward, queue)
    for row in range(rows):
        for col in range(cols):
            if decided[row, col] != _UNDECIDED:
                continue
            best = np.int64(2**62)
            for k in _ROOK_FIRST:
                r, c = row + D_ROW[k], col + D_COL[k]
                if not (0 <= r < rows and 0 <= c < cols) or dem[r, c] != dem[row, col]:
                    continue
                if directions[r, c] != _UNDECIDED or decided[r, c] == OUTLET:
                    height = np.int64(-(2**62))
                else:
                    height = 2 * np.int64(toward[r, c]) - np.int64(away[r, c])
                if height < best:
                    best = height
                    decided[row, col] = np.uint8(k)
    return decided


@kernel
def _touches_nodata(dem, row, col):
    rows, cols = dem.shape
    for k in range(8):
        r, c = row + D_ROW[k], col + D_COL[k]
        if 0 <= r < rows and 0 <= c < cols and np.isnan(dem[r, c]):
            return True
    return False


@kernel
def _spread(dem, directions, steps, queue):
    """Count steps breadth first from the queued cells through undecided cells of one level."""
    rows, cols = dem.shape
    head = 0
    while head < len(queue):
        cell = queue[head]
        head += 1
        row, col = cell // cols, cell % cols
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if not (0 <= r < rows and 0 <= c < cols) or dem[r, c] != dem[row, col]:
                continue
            if directions[r, c] == _UNDECIDED and steps[r, c] == 0:
                steps[r, c] = steps[row, col] + 1
                queue.append(np.int64(r * cols + c))


@kernel
def upstream_order(directions):
    """Linear indices of all valid cells, donors before receivers; -1 at the end where cyclic."""
    cols = directions.shape[1]
    flat = directions.ravel()
    donors = np.zeros(flat.size, dtype=np.uint8)
    valid = 0
    for cell in range(flat.size):
        if flat[cell] == NO_DATA:
            continue
        valid += 1
        if flat[cell] < OUTLET:
            donors[cell + D_ROW[flat[cell]] * cols + D_COL[flat[cell]]] += 1
    order = np.full(valid, -1, dtype=np.int64)
    placed = 0
    for source in range(flat.size):
        cell = source
        while flat[cell] != NO_DATA and donors[cell] == 0:
            donors[cell] = 255  # placed
            order[placed] = cell
            placed += 1
            if flat[cell] == OUTLET:
                break
            cell += D_ROW[flat[cell]] * cols + D_COL[flat[cell]]
            donors[cell] -= 1
    return order


@kernel
def accumulate(directions, weights, order):
    """Sum of weights from donors to receivers, along the order given."""
    rows, cols = directions.shape
    flat = directions.ravel()
    total = np.full(flat.size, np.nan)
    for cell in order:
        total[cell] = weights[cell] if weights.size > 1 else weights[0]
    for cell in order:
        if flat[cell] != OUTLET:
            total[cell + D_ROW[flat[cell]] * cols + D_COL[flat[cell]]] += total[cell]
    return total.reshape(rows, cols)


@kernel
def first_bad(directions):
    """Linear index of the first cell whose code is unknown or leads out of the data, or -1."""
    rows, cols = directions.shape
    for row in range(rows):
        for col in range(cols):
            code = directions[row, col]
            if code in (NO_DATA, OUTLET):
                continue
            if code > OUTLET:
                return row * cols + col
            r, c = row + D_ROW[code], col + D_COL[code]
            if not (0 <= r < rows and 0 <= c < cols) or directions[r, c] == NO_DATA:
                return row * cols + col
    return -1
