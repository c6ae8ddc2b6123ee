"""Compiled loops that find stems in a flow network and the ground that belongs to each."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET, STEP
from brimline.lines._kernels import rise

_EIGHTH = np.pi / 4.0
_COMPARABLE = 0.5


@kernel
def _main_donor(directions, area_m2, surface, cell):
    """Choose the lowest of the donors that bring at least half as much as the greatest.

    Of equally low ones the first in raster order; -1 where there is none.
    """
    rows, cols = directions.shape
    row, col = cell // cols, cell % cols
    greatest = 0.0
    for k in range(8):
        r, c = row + D_ROW[k], col + D_COL[k]
        if 0 <= r < rows and 0 <= c < cols and directions[r, c] == (k ^ 4):
            greatest = max(greatest, area_m2[r, c])
    best = np.int64(-1)
    for k in range(8):
        r, c = row + D_ROW[k], col + D_COL[k]
        if r < 0 or c < 0 or r >= rows or c >= cols or directions[r, c] != (k ^ 4):
            continue
        if area_m2[r, c] < _COMPARABLE * greatest:
            continue
        here = np.int64(r * cols + c)
        if best < 0 or (surface[r, c], here) < (surface[best // cols, best % cols], best):
            best = here
    return best


@kernel
def stems(directions, area_m2, surface, order, min_area_m2):
    """Stems of the network, each from its mouth up the main donor to the divide.

    Gives all stems' cells behind one another, where each stem starts, how many of its cells belong
    to the network, and the stem that it runs into (-1: none). A stem follows the one that it joins.
    """
    cols = directions.shape[1]
    flat = directions.ravel()
    area = area_m2.ravel()
    owner = np.empty(flat.size, dtype=np.int32)
    for cell in range(flat.size):
        owner[cell] = -1
    cells = np.empty(order.size, dtype=np.int64)
    starts = np.empty(order.size + 1, dtype=np.int64)
    in_network = np.empty(order.size, dtype=np.int64)
    joins = np.empty(order.size, dtype=np.int32)
    stem, listed = 0, 0
    starts[0] = 0
    for place in range(order.size - 1, -1, -1):
        mouth = order[place]
        if not area[mouth] >= min_area_m2 or owner[mouth] >= 0:
            continue
        code = flat[mouth]
        joins[stem] = -1
        if code < OUTLET:
            joins[stem] = owner[mouth + D_ROW[code] * cols + D_COL[code]]
        network = 0
        cell = np.int64(mouth)
        while cell >= 0:
            owner[cell] = stem
            cells[listed] = cell
            listed += 1
            if area[cell] >= min_area_m2:
                network += 1
            cell = _main_donor(directions, area_m2, surface, cell)
        in_network[stem] = network
        stem += 1
        starts[stem] = listed
    return cells[:listed], starts[: stem + 1], in_network[:stem], joins[:stem]


@kernel
def block_sums(levels, factor):
    """Sum and number of the known levels in each block of `factor` × `factor` cells."""
    rows, cols = levels.shape
    high, wide = (rows + factor - 1) // factor, (cols + factor - 1) // factor
    total = np.empty((high, wide))
    count = np.empty((high, wide), dtype=np.int64)
    down, known = np.empty(cols), np.empty(cols, dtype=np.int64)
    for block in range(high):
        for col in range(cols):
            down[col], known[col] = 0.0, 0
        for row in range(block * factor, min((block + 1) * factor, rows)):
            for col in range(cols):  # many columns at a time
                z = np.float64(levels[row, col])
                down[col] += z if z == z else 0.0
                known[col] += z == z
        for place in range(wide):
            total[block, place], count[block, place] = 0.0, 0
        for col in range(cols):
            total[block, col // factor] += down[col]
            count[block, col // factor] += known[col]
    return total, count


@kernel
def _level(levels, row, col):
    """Level of a cell, infinite outside the data."""
    if row < 0 or col < 0 or row >= levels.shape[0] or col >= levels.shape[1]:
        return np.inf
    z = np.float64(levels[row, col])
    return np.inf if np.isnan(z) else z


@kernel
def _steepest_facet(levels, row, col):
    """Rook's and diagonal neighbour that bound the steepest facet, and how its fall lies between.

    Gives their codes, the angle from the rook's neighbour [rad] and +1 where the diagonal lies
    counter-clockwise of it, -1 where clockwise; OUTLET where no neighbour is lower.
    """
    z = np.float64(levels[row, col])
    best = 0.0
    rook, diagonal, angle, turn = np.int64(OUTLET), np.int64(OUTLET), 0.0, 1.0
    for k in range(0, 8, 2):
        z1 = _level(levels, row + D_ROW[k], col + D_COL[k])
        for side in (1, -1):
            d = (k + side) % 8
            z2 = _level(levels, row + D_ROW[d], col + D_COL[d])
            if z1 == np.inf and z2 == np.inf:
                continue
            if z1 == np.inf or (z2 < np.inf and z1 - z2 >= z - z1):
                a, fall = _EIGHTH, (z - z2) / STEP[1]
            elif z2 >= z1:
                a, fall = 0.0, z - z1
            else:
                a, fall = np.arctan2(z1 - z2, z - z1), np.hypot(z - z1, z1 - z2)
            if fall > best:
                best, rook, diagonal, angle, turn = fall, np.int64(k), np.int64(d), a, float(side)
    return rook, diagonal, angle, turn


@kernel
def _straight_descent(levels, downwards):
    """Steepest descent whose paths keep to the way of the ground instead of the grid's eight.

    Each cell chooses between the two neighbours beside its steepest fall so that the path that
    comes to it from its greatest donor strays least to the left or right of the true descent.
    """
    rows, cols = levels.shape
    directions = np.empty((rows, cols), dtype=np.uint8)
    gathered, greatest = np.empty(rows * cols), np.empty(rows * cols)
    astray = np.empty(rows * cols)
    for row in range(rows):
        for col in range(cols):
            directions[row, col] = NO_DATA
            here = row * cols + col
            gathered[here], greatest[here], astray[here] = 1.0, 0.0, 0.0
    for cell in downwards:
        row, col = cell // cols, cell % cols
        rook, diagonal, angle, turn = _steepest_facet(levels, row, col)
        if rook == OUTLET:
            directions[row, col] = OUTLET
            continue
        by_rook = astray[cell] - turn * np.sin(angle)
        by_diagonal = astray[cell] + turn * STEP[1] * np.sin(_EIGHTH - angle)
        code, stray = rook, by_rook
        if angle >= _EIGHTH or (angle > 0.0 and abs(by_diagonal) < abs(by_rook)):
            code, stray = diagonal, by_diagonal
        directions[row, col] = np.uint8(code)
        below = cell + D_ROW[code] * cols + D_COL[code]
        gathered[below] += gathered[cell]
        if gathered[cell] > greatest[below]:
            greatest[below] = gathered[cell]
            astray[below] = stray
    return directions


@kernel
def through_directions(levels, downwards, rim):
    """Straight descent everywhere; from each pit a way over its lowest saddle is opened.

    A flood from the rim gives every cell the neighbour that it was reached from. From each pit
    these are followed until ground lower than the pit is reached, so that the way out runs along
    the trough that leads to the saddle. Levels at the ends of such ways fall from pit to pit:
    there are no cycles.
    """
    cols = levels.shape[1]
    directions = _straight_descent(levels, downwards)
    came_from = flooded(levels, downwards, rim)
    for pit in downwards:
        row, col = pit // cols, pit % cols
        if directions[row, col] != OUTLET:
            continue
        foot = levels[row, col]
        while True:
            code = came_from[row, col]
            directions[row, col] = code
            if code == OUTLET:
                break
            row, col = row + D_ROW[code], col + D_COL[code]
            if levels[row, col] < foot:
                break
    return directions


@kernel
def flooded(levels, downwards, rim):
    """Neighbour from which a flood that comes in over the rim reaches each cell; OUTLET there.

    What waits is a heap of places in the order of levels, ties by linear index.
    """
    rows, cols = levels.shape
    z = levels.ravel()
    upwards = np.empty(downwards.size, dtype=np.int32)
    place = np.empty(z.size, dtype=np.int32)
    to, last = downwards.size, 0
    while to > 0:  # equal levels stand in the order of their indices in both
        first = last
        while last < downwards.size and z[downwards[last]] == z[downwards[first]]:
            last += 1
        to -= last - first
        for i in range(first, last):
            upwards[to + i - first] = downwards[i]
            place[downwards[i]] = to + i - first
    came_from = np.empty((rows, cols), dtype=np.uint8)
    heap = np.empty(downwards.size, dtype=np.int32)
    size = np.int64(0)
    for row in range(rows):
        for col in range(cols):
            came_from[row, col] = NO_DATA
    for cell in rim:
        came_from[cell // cols, cell % cols] = OUTLET
        size = _pushed(heap, size, place[cell])
    while size > 0:
        cell = np.int64(upwards[heap[0]])
        size = _popped(heap, size)
        row, col = cell // cols, cell % cols
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols:
                continue
            if came_from[r, c] == NO_DATA and not np.isnan(levels[r, c]):
                came_from[r, c] = np.uint8(k ^ 4)
                size = _pushed(heap, size, place[r * cols + c])
    return came_from


@kernel
def _pushed(heap, size, value):
    """Put a value on a heap, least first; its new size."""
    hole = size
    while hole > 0 and heap[(hole - 1) // 2] > value:
        heap[hole] = heap[(hole - 1) // 2]
        hole = (hole - 1) // 2
    heap[hole] = value
    return size + 1


@kernel
def _popped(heap, size):
    """Take the least value off a heap; its new size."""
    size -= 1
    value, hole, child = heap[size], 0, 1
    while child < size:
        if child + 1 < size and heap[child + 1] < heap[child]:
            child += 1
        if heap[child] >= value:
            break
        heap[hole] = heap[child]
        hole, child = child, 2 * child + 1
    heap[hole] = value
    return size


@kernel
def slope_lines(surface, sign, start, row, col, t_row, t_col, off_row, off_col, least_fall, reach):
    """Offset to the right of each course at which a line of steepest descent runs beside it.

    The surface counts times `sign`. Position, unit tangent, rise down the rows and along the
    columns that is taken off the surface's own, and least fall per cell for each point of the
    courses, in cells. The line starts on the course. It moves aside by the ratio of cross fall to
    fall along, but no farther than to where the cross fall turns round, which is the floor of the
    valley, and no more than a cell at a time; where the ground along falls less than the least
    fall, that counts.
    """
    aside = np.empty(row.size)
    for course in range(start.size - 1):
        x = 0.0
        aside[start[course]] = 0.0
        for i in range(start[course] + 1, start[course + 1]):
            step = np.hypot(row[i] - row[i - 1], col[i] - col[i - 1])
            n_row, n_col = t_col[i], -t_row[i]
            down, along = rise(surface, row[i] + x * n_row, col[i] + x * n_col)
            down, along = sign * down - off_row[i], sign * along - off_col[i]
            across = down * n_row + along * n_col
            if not np.isnan(across):
                fall = max(-(down * t_row[i] + along * t_col[i]), least_fall[i])
                move = min(max(-across / fall * step, -1.0), 1.0)
                to = min(max(x + move, -reach), reach)
                down, along = rise(surface, row[i] + to * n_row, col[i] + to * n_col)
                down, along = sign * down - off_row[i], sign * along - off_col[i]
                beyond = down * n_row + along * n_col
                if across * beyond < 0.0:
                    to = x + (to - x) * across / (across - beyond)
                x = to
            aside[i] = x
    return aside


@kernel
def running_means(values, start, reach):
    """Mean over `reach` places of each chain to both sides of what is known; NaN stays NaN."""
    means = np.empty(values.size)
    sums = np.empty(values.size + 1)
    counts = np.empty(values.size + 1, dtype=np.int64)
    for chain in range(start.size - 1):
        begin, end = start[chain], start[chain + 1]
        sums[begin], counts[begin] = 0.0, 0
        for i in range(begin, end):
            known = np.isfinite(values[i])
            sums[i + 1] = sums[i] + (values[i] if known else 0.0)
            counts[i + 1] = counts[i] + known
        for i in range(begin, end):
            means[i] = np.nan
            if np.isfinite(values[i]):
                first, last = max(i - reach[chain], begin), min(i + reach[chain] + 1, end)
                means[i] = (sums[last] - sums[first]) / (counts[last] - counts[first])
    return means


@kernel
def all_known(surface, row, col, reach):
    """Whether each cell lies on the grid with so many cells around it, and all have a level."""
    rows, cols = surface.shape
    known = np.empty(row.size, dtype=np.bool_)
    for i in range(row.size):
        top, left, bottom, right = row[i] - reach, col[i] - reach, row[i] + reach, col[i] + reach
        if top < 0 or left < 0 or bottom >= rows or right >= cols:
            known[i] = False
            continue
        missing = 0
        for r in range(top, bottom + 1):
            levels = surface[r, left : right + 1]
            for c in range(levels.size):
                missing += levels[c] != levels[c]
        known[i] = missing == 0
    return known
