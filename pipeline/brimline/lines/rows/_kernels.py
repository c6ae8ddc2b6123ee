"""Compiled loops that place rows from the top of the ground down."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, STEP

VOLUME, INTERVAL, TERRACE = 0, 1, 2
_LEAST = 5  # place of the least spacing in a rule
_CROWDED = 0.25  # share of a piece that may lie within half the least spacing
_MAX_CLIMB = 256  # cells; within one band the way up is short
_HALVINGS = 24
_PER_STEP = (1.0 / STEP).astype(np.float32)
_FINE = 32  # levels in a band: cells are taken nearly in the order of their height
_UPWARD, _DIRECTION = 8, 12  # places of the bits of a cell's traits
_CLOSED, _BARRIER, _LOST, _DONE, _ROW = 1 << 16, 1 << 17, 1 << 18, 1 << 19, 1 << 20
_AREA, _UP, _RISE, _Z = 0, 1, 2, 3  # columns of a cell's state
_SUMS = 14  # cells, steepness, inflow; five sums over sound ways up, five over lost ones; close
_SOUND = 0.25  # share of ways up that must be sound for the lost ones to be left out


@kernel
def bands(dem, top_m, band_m):
    """Return the number of the height band of each cell, from 0 at the top; -1 at nodata."""
    rows, cols = dem.shape
    out = np.empty((rows, cols), dtype=np.int16)
    for row in range(rows):
        for col in range(cols):
            z = np.float64(dem[row, col])
            out[row, col] = -1 if np.isnan(z) else np.int16((top_m - z) / band_m)
    return out


@kernel
def _root(parent, label):
    while parent[label] != label:
        parent[label] = parent[parent[label]]
        label = parent[label]
    return label


@kernel
def pieces(band, free):
    """Label the connected free cells of one band (corners join), in raster order; 0 none."""
    rows, cols = band.shape
    label = np.zeros((rows, cols), dtype=np.int32)
    parent = np.zeros(rows * cols // 2 + 2, dtype=np.int32)
    count = 0
    for row in range(rows):
        for col in range(cols):
            if not free[row, col]:
                continue
            mine = 0
            for k in range(1, 5):  # NE, N, NW, W: those already numbered
                r, c = row + D_ROW[k], col + D_COL[k]
                if r < 0 or c < 0 or c >= cols or label[r, c] == 0:
                    continue
                if band[r, c] != band[row, col]:
                    continue
                other = _root(parent, label[r, c])
                if mine == 0 or other == mine:
                    mine = other
                elif other < mine:
                    parent[mine] = other
                    mine = other
                else:
                    parent[other] = mine
            if mine == 0:
                count += 1
                if count >= parent.size:
                    parent = np.concatenate((parent, np.zeros(parent.size, dtype=np.int32)))
                parent[count] = count
                mine = count
            label[row, col] = mine
    number = np.zeros(count + 1, dtype=np.int32)
    found = 0
    for i in range(1, count + 1):
        root = _root(parent, i)
        if root == i:
            found += 1
            number[i] = found
        else:
            number[i] = number[root]
    for row in range(rows):
        for col in range(cols):
            if label[row, col] > 0:
                label[row, col] = number[label[row, col]]
    return label, found


@kernel
def middles(band, piece, count, top_m, band_m):
    """Level in the middle of each piece's band; NaN for number 0."""
    out = np.full(count + 1, np.nan)
    numbers, flat = band.ravel(), piece.ravel()
    for cell in range(flat.size):
        if flat[cell] > 0:
            out[flat[cell]] = top_m - (numbers[cell] + 0.5) * band_m
    return out


@kernel
def by_band(dem, top_m, band_m, count):
    """List valid cells from the top down, by fine levels, and where each band starts."""
    flat = dem.ravel()
    fine_m = band_m / _FINE
    start = np.zeros(_FINE * count + 1, dtype=np.int64)
    for cell in range(flat.size):
        z = np.float64(flat[cell])
        if not np.isnan(z):
            start[min(np.int64((top_m - z) / fine_m), _FINE * count - 1) + 1] += 1
    for k in range(_FINE * count):
        start[k + 1] += start[k]
    fill = start.copy()
    out = np.empty(start[_FINE * count], dtype=np.int32)
    for cell in range(flat.size):
        z = np.float64(flat[cell])
        if not np.isnan(z):
            k = min(np.int64((top_m - z) / fine_m), _FINE * count - 1)
            out[fill[k]] = cell
            fill[k] += 1
    return out, start[::_FINE].copy()


@kernel
def traits(dem, directions, closed, barrier):
    """All that placing asks of a cell's surroundings, in the bits of one number.

    Its donors (8 bits), the way up its steepest rise (8 on a top) and its direction (4 bits each),
    whether no row can be there, whether a drawn row is; the rest is left to the placing.
    """
    rows, cols = dem.shape
    out = np.empty((rows, cols), dtype=np.uint32)
    for row in range(rows):
        for col in range(cols):
            z = dem[row, col]
            best, upward = np.float32(0.0), 8
            bits = 0
            for k in range(8):
                r, c = row + D_ROW[k], col + D_COL[k]
                if r < 0 or c < 0 or r >= rows or c >= cols:
                    continue
                if directions[r, c] == (k ^ 4):
                    bits |= 1 << k
                climb = (dem[r, c] - z) * _PER_STEP[k]
                if climb > best:  # False for NaN
                    best, upward = climb, k
            bits |= upward << _UPWARD
            bits |= min(np.int64(directions[row, col]), 15) << _DIRECTION
            if closed[row, col]:
                bits |= _CLOSED
            if barrier[row, col] > 0:
                bits |= _BARRIER
            out[row, col] = bits
    return out


@kernel
def _between(upper_z, lower_z, upper_row, lower_row):
    """Level of the row that lies between two cells, of those of their pieces; NaN where none does.

    This and `_apart` take numbers, not arrays: handing arrays on costs more than the rest.
    """
    if upper_z >= upper_row and upper_row > lower_z:  # False for NaN: no row there
        return upper_row
    if upper_z >= lower_row and lower_row > lower_z:
        return lower_row
    return np.nan


@kernel
def _apart(steep_sum, drop, step_m):
    """Distance down the slope between the levels of two neighbours, at most their own."""
    mean = 0.5 * steep_sum
    return step_m if mean * step_m <= drop else drop / mean


@kernel
def _turned(code, way):
    """Tell whether a cell sheds another way than back down to where one came up from."""
    turn = abs(code - (way ^ 4))
    return code < 8 and min(turn, 8 - turn) >= 2


@kernel
def _climb(trait, state, steep, piece, level, cell, cols, cell_m):
    """Distance and height up the slope to the next row or the divide, and whether it is lost.

    It is lost where it runs into closed ground, where no row can be: a boundary, a flow path.
    """
    far, high = 0.0, 0.0
    for _ in range(_MAX_CLIMB):
        here = np.int64(trait[cell])
        way = (here >> _UPWARD) & 15
        if way == 8:
            break
        above = cell + D_ROW[way] * cols + D_COL[way]
        there = np.int64(trait[above])
        if there & _CLOSED:
            return far, high, True  # past the end of the row above, if there is one
        row = np.nan
        if (there | here) & _ROW:
            row = _between(
                state[above, _Z], state[cell, _Z], level[piece[above]], level[piece[cell]]
            )
        if not np.isnan(row):
            drop = row - np.float64(state[cell, _Z])
            far += min(drop / max(np.float64(steep[cell]), 1e-6), cell_m)
            high += drop
            break
        drop = np.float64(state[above, _Z]) - np.float64(state[cell, _Z])
        far += _apart(np.float64(steep[above]) + steep[cell], drop, STEP[way] * cell_m)
        high += drop
        if there & _BARRIER or _turned((there >> _DIRECTION) & 15, way):
            break  # a drawn row, or ground that sheds another way: the divide
        if there & _DONE:
            return far + state[above, _UP], high + state[above, _RISE], (there & _LOST) != 0
        cell = above
    return far, high, False


@kernel
def _work_out(trait, state, steep, piece, level, cells, stack, cols, cell_m):
    """Work out cells that have not been yet, and first their donors, and theirs."""
    for i in range(cells.size):
        if np.int64(trait[cells[i]]) & _DONE:
            continue
        stack[0] = cells[i]
        waits = 1  # a cell has one receiver, so it stands in the stack once at most
        while waits > 0:
            at = np.int64(stack[waits - 1])
            mine = np.int64(trait[at])
            waiting = False
            total = 1.0
            bits = mine & 255
            k = 0
            while bits:
                if bits & 1:
                    donor = at + D_ROW[k] * cols + D_COL[k]
                    there = np.int64(trait[donor])
                    if not there & _DONE:
                        stack[waits] = donor
                        waits += 1
                        waiting = True
                    elif not waiting and (
                        not (there | mine) & _ROW
                        or np.isnan(
                            _between(
                                state[donor, _Z],
                                state[at, _Z],
                                level[piece[donor]],
                                level[piece[at]],
                            )
                        )
                    ):
                        total += state[donor, _AREA]
                bits >>= 1
                k += 1
            if waiting:
                continue
            waits -= 1
            far, high, astray = 0.0, 0.0, False
            way = (mine >> _UPWARD) & 15
            if mine & _BARRIER:
                total = 0.0  # a drawn row holds back all, and distances begin anew
            elif way < 8:
                above = at + D_ROW[way] * cols + D_COL[way]
                there = np.int64(trait[above])
                if there & _DONE and not (there | mine) & _ROW and not there & (_CLOSED | _BARRIER):
                    # by far the most cells: one step up to a cell that is known
                    high = np.float64(state[above, _Z]) - np.float64(state[at, _Z])
                    far = _apart(np.float64(steep[above]) + steep[at], high, STEP[way] * cell_m)
                    if not _turned((there >> _DIRECTION) & 15, way):
                        far += state[above, _UP]
                        high += state[above, _RISE]
                        astray = (there & _LOST) != 0
                else:
                    far, high, astray = _climb(trait, state, steep, piece, level, at, cols, cell_m)
            state[at, _AREA], state[at, _UP], state[at, _RISE] = total, far, high
            trait[at] = (mine & ~_LOST) | _DONE | (_LOST if astray else 0)


@kernel
def _inflow(trait, state, piece, level, cell, cols):
    """Cells that drain to a cell from outside its piece, rows holding theirs back."""
    inflow = 0.0
    here = np.int64(trait[cell])
    bits = here & 255
    k = 0
    while bits:
        if bits & 1:
            donor = cell + D_ROW[k] * cols + D_COL[k]
            if piece[donor] != piece[cell] and (
                not (np.int64(trait[donor]) | here) & _ROW
                or np.isnan(
                    _between(
                        state[donor, _Z], state[cell, _Z], level[piece[donor]], level[piece[cell]]
                    )
                )
            ):
                inflow += state[donor, _AREA]
        bits >>= 1
        k += 1
    return inflow


@kernel
def _due(rule, part, area, length, far, high):
    """Tell whether a row is due at a part of its band: its rule or its bounds say so."""
    kind, volume_m, interval_m, terrace_x, terrace_y_m, min_m, max_m = rule
    distance = far[0] + part * far[1]
    drop = high[0] + part * high[1]
    if distance < min_m:
        return False
    inflow, strip, begin, end = area
    gathered = inflow + strip * min(max((part - begin) / (end - begin), 0.0), 1.0)
    # on ground as flat as its noise ways up end at every bump; the strip does not
    if distance >= max_m or gathered >= max_m * length:
        return True
    if kind == VOLUME:
        return gathered >= volume_m * length
    if kind == INTERVAL:
        return drop >= interval_m
    return drop >= terrace_x * 100.0 * drop / max(distance, 1e-9) + terrace_y_m


@kernel
def _part(rule, area, length, far, high):
    """Smallest part of a band at which a row is due; -1 where it is not due in it."""
    if not _due(rule, 1.0, area, length, far, high):
        return -1.0
    low, up = 0.0, 1.0
    if _due(rule, 0.0, area, length, far, high):
        return 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + up)
        if _due(rule, middle, area, length, far, high):
            up = middle
        else:
            low = middle
    return up


@kernel
def place(
    dem,
    steep,
    traits_,
    piece,
    piece_count,
    cells,
    start,
    length,
    rule,
    min_length_m,
    top_m,
    band_m,
    cell_m,
):
    """Level of the row in each piece of a band (NaN: none), from the top band down."""
    cols = dem.shape[1]
    trait, g, piece = traits_.copy().ravel(), steep.ravel(), piece.ravel()
    state = np.zeros((trait.size, 4), dtype=np.float32)
    state[:, _Z] = dem.ravel()
    level = np.full(piece_count + 1, np.nan)
    stack = np.empty(trait.size, dtype=np.int32)
    sums = np.zeros((piece_count + 1, _SUMS), dtype=np.float64)
    in_band = np.zeros(piece_count + 1, dtype=np.int32)
    for band in range(start.size - 1):
        found = 0
        for again in range(2):
            if again == 1:  # rows hold back water now, so those cells are worked out once more
                for i in range(start[band], start[band + 1]):
                    cell = np.int64(cells[i])
                    if piece[cell] == 0:
                        trait[cell] = np.int64(trait[cell]) & ~_DONE
                    elif not np.isnan(level[piece[cell]]):
                        trait[cell] = (np.int64(trait[cell]) & ~_DONE) | _ROW
            here = cells[start[band] : start[band + 1]]
            _work_out(trait, state, g, piece, level, here, stack, cols, cell_m)
            if again == 1:
                break
            for i in range(here.size):
                cell = np.int64(here[i])
                mine = piece[cell]
                if mine == 0:
                    continue
                if sums[mine, 0] == 0.0:
                    in_band[found] = mine
                    found += 1
                weight, height = np.float64(g[cell]), np.float64(state[cell, _Z])
                sums[mine, 0] += 1.0
                sums[mine, 1] += weight
                sums[mine, 2] += _inflow(trait, state, piece, level, cell, cols)
                # ways up to a row or a divide count apart from those that were lost
                side = 8 if np.int64(trait[cell]) & _LOST else 3
                sums[mine, side] += 1.0
                sums[mine, side + 1] += weight
                sums[mine, side + 2] += weight * state[cell, _UP]
                sums[mine, side + 3] += height
                sums[mine, side + 4] += weight * (state[cell, _RISE] + height)
                if side == 3 and state[cell, _UP] < 0.5 * rule[_LEAST]:
                    sums[mine, 13] += 1.0
            placed = False
            upper = top_m - band * band_m
            for j in range(found):
                mine = in_band[j]
                number, weight = sums[mine, 0], sums[mine, 1]
                if not length[mine] >= min_length_m or length[mine] <= 0.0 or weight <= 0.0:
                    continue
                if sums[mine, 13] > _CROWDED * number:
                    continue  # the row above, or a divide, is too near to too much of it
                ways = sums[mine, 3:8]
                if ways[0] < _SOUND * number or ways[1] <= 0.0:
                    ways = ways + sums[mine, 8:13]
                far = (
                    (ways[2] + ways[3] - ways[0] * upper) / ways[1],
                    ways[0] * band_m / ways[1],
                )
                high = (ways[4] / ways[1] - upper, band_m)
                # the cells of the piece cover a range of levels about their mean
                tall = weight * cell_m * cell_m / length[mine] / band_m
                mean = (upper - (sums[mine, 6] + sums[mine, 11]) / number) / band_m
                area = (
                    sums[mine, 2] * cell_m * cell_m,
                    number * cell_m * cell_m,
                    mean - 0.5 * tall,
                    mean + 0.5 * tall,
                )
                part = _part(rule, area, length[mine], far, high)
                if part >= 0.0:
                    level[mine] = upper - part * band_m
                    placed = True
            if not placed:
                break
    return level
