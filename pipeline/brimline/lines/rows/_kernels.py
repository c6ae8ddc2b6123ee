"""Compiled loops that place rows from the top of the ground down."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.lines.rows.net._kernels import (
    BESIDE,
    DONOR,
    ENDS,
    FAR,
    HOLDS,
    LOST,
    NOWHERE,
    PIECE,
    STEEP,
    WAY,
    Z,
)

VOLUME, INTERVAL, TERRACE = 0, 1, 2
_LEAST = 5  # place of the least spacing in a rule
_CROWDED = 0.25  # share of a piece that may lie within half the least spacing
_HALVINGS = 24
# what is known of a cell, beside how its way up ends
_GATHERED, _CLIMBED, _ASTRAY, _ROW = np.uint8(8), np.uint8(16), np.uint8(32), np.uint8(64)
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
            # all that touches the cell to the north touches it already: one look is enough
            here = band[row, col]
            north = row > 0
            west, east = col > 0, col < cols - 1
            if north and label[row - 1, col] > 0 and band[row - 1, col] == here:
                label[row, col] = label[row - 1, col]
                continue
            mine = 0
            if west and label[row, col - 1] > 0 and band[row, col - 1] == here:
                mine = _root(parent, label[row, col - 1])
            elif north and west and label[row - 1, col - 1] > 0 and band[row - 1, col - 1] == here:
                mine = _root(parent, label[row - 1, col - 1])
            if north and east and label[row - 1, col + 1] > 0 and band[row - 1, col + 1] == here:
                other = _root(parent, label[row - 1, col + 1])
                if mine == 0:
                    mine = other
                parent[max(mine, other)] = min(mine, other)
                mine = min(mine, other)
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
def _between(upper_z, lower_z, upper_row, lower_row):
    """Level of the row between two cells, one of those of their pieces; NaN where none is."""
    if upper_z >= upper_row and upper_row > lower_z:  # False for NaN: no row there
        return upper_row
    if upper_z >= lower_row and lower_row > lower_z:
        return lower_row
    return np.nan


@kernel
def _gather(first, last, node, level, flag, area, stack):
    """Add up the cells that drain to each of a run of cells, and first for donors, and theirs.

    A row holds back what comes to it, so a cell next below a row gets nothing from above. Runs
    are handed on, not cells: handing arrays on costs more than a cell does.
    """
    z = node.view(np.float32)
    for cell in range(first, last):
        if flag[cell] & _GATHERED:
            continue
        stack[0] = cell
        waits = 1  # a cell has one receiver, so it stands in the stack once at most
        while waits > 0:
            at = np.int64(stack[waits - 1])
            before = waits
            mine = node[at, PIECE]
            total = 1.0 - min(np.float64(mine), 0.0)
            donor = np.int64(node[at, DONOR])
            while donor >= 0:
                if not flag[donor] & _GATHERED:
                    stack[waits] = donor
                    waits += 1
                elif not (flag[donor] | flag[at]) & _ROW or np.isnan(
                    _between(
                        z[donor, Z],
                        z[at, Z],
                        level[max(node[donor, PIECE], 0)],
                        level[max(mine, 0)],
                    )
                ):
                    total += area[donor]
                donor = np.int64(node[donor, BESIDE])
            if waits == before:
                waits -= 1
                area[at] = 0.0 if flag[at] & HOLDS else total  # a drawn row holds back all
                flag[at] |= _GATHERED


@kernel
def _climb(first, last, node, over_to, over_rise, level, flag, up, rise, cell_m, stack):
    """Work out distance and height from a run of cells up to the next row or the divide.

    They are lost where the way runs into closed ground, where no row can be.
    """
    value = node.view(np.float32)
    for cell in range(first, last):
        at = np.int64(cell)
        waits = 0
        while at >= 0 and not flag[at] & _CLIMBED:
            stack[waits] = at
            waits += 1
            at = np.int64(node[at, WAY])
            if at < NOWHERE:
                at = np.int64(over_to[NOWHERE - 1 - at])
        while waits > 0:
            waits -= 1
            at = np.int64(stack[waits])
            above = np.int64(node[at, WAY])
            distance, height = np.float64(value[at, FAR]), 0.0
            ends = flag[at] & (ENDS | LOST)
            if above < NOWHERE:
                height = np.float64(over_rise[NOWHERE - 1 - above])
                above = np.int64(over_to[NOWHERE - 1 - above])
            elif above >= 0:
                here = np.float64(value[at, Z])
                height = np.float64(value[above, Z]) - here
                if (flag[above] | flag[at]) & _ROW:
                    row = _between(
                        value[above, Z],
                        value[at, Z],
                        level[max(node[above, PIECE], 0)],
                        level[max(node[at, PIECE], 0)],
                    )
                    if not np.isnan(row):
                        ends = ENDS
                        height = row - here
                        distance = min(height / max(np.float64(value[at, STEEP]), 1e-6), cell_m)
            astray = (flag[at] & LOST) > 0
            if above >= 0 and not ends:
                distance += up[above]
                height += rise[above]
                astray = (flag[above] & _ASTRAY) > 0
            up[at], rise[at] = distance, height
            flag[at] = (flag[at] & ~_ASTRAY) | _CLIMBED | (_ASTRAY if astray else np.uint8(0))


@kernel
def _add_up(first, last, node, level, flag, area, up, rise, close_m, place_of, sums):
    """Add up the cells of each piece of a band in its place of `sums`."""
    value = node.view(np.float32)
    for cell in range(first, last):
        mine = node[cell, PIECE]
        if mine <= 0:
            continue
        inflow = 0.0  # from outside the piece, rows holding theirs back
        donor = np.int64(node[cell, DONOR])
        while donor >= 0:
            theirs = node[donor, PIECE]
            if theirs != mine and (
                not (flag[donor] | flag[cell]) & _ROW
                or np.isnan(
                    _between(value[donor, Z], value[cell, Z], level[max(theirs, 0)], level[mine])
                )
            ):
                inflow += area[donor]
            donor = np.int64(node[donor, BESIDE])
        own = place_of[mine]
        weight, height = np.float64(value[cell, STEEP]), np.float64(value[cell, Z])
        sums[own, 0] += 1.0
        sums[own, 1] += weight
        sums[own, 2] += inflow
        # ways up to a row or a divide count apart from those that were lost
        side = 8 if flag[cell] & _ASTRAY else 3
        sums[own, side] += 1.0
        sums[own, side + 1] += weight
        sums[own, side + 2] += weight * up[cell]
        sums[own, side + 3] += height
        sums[own, side + 4] += weight * (rise[cell] + height)
        if side == 3 and up[cell] < close_m:
            sums[own, 13] += 1.0


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
def _level_of(sums, length, rule, upper, band_m, cell_m):
    """Level of the row in a piece of a band, from its sums; NaN where none is due."""
    number, weight = sums[0], sums[1]
    if sums[13] > _CROWDED * number:
        return np.nan  # the row above, or a divide, is too near to too much of it
    ways, far_sum, levels, high_sum = sums[3], sums[5], sums[6], sums[7]
    steep = sums[4]
    if ways < _SOUND * number or steep <= 0.0:
        ways += sums[8]
        steep += sums[9]
        far_sum += sums[10]
        levels += sums[11]
        high_sum += sums[12]
    far = ((far_sum + levels - ways * upper) / steep, ways * band_m / steep)
    high = (high_sum / steep - upper, band_m)
    # the cells of the piece cover a range of levels about their mean
    tall = weight * cell_m * cell_m / length / band_m
    mean = (upper - (sums[6] + sums[11]) / number) / band_m
    area = (
        sums[2] * cell_m * cell_m,
        number * cell_m * cell_m,
        mean - 0.5 * tall,
        mean + 0.5 * tall,
    )
    part = _part(rule, area, length, far, high)
    return upper - part * band_m if part >= 0.0 else np.nan


@kernel
def place(
    node,
    ends,
    over_to,
    over_rise,
    start,
    piece_count,
    length,
    rule,
    min_length_m,
    top_m,
    band_m,
    cell_m,
):
    """Level of the row in each piece of a band (NaN: none), from the top band down.

    `node` and the three after it are what `lay_out` gives.
    """
    count = node.shape[0]
    flag = ends.copy()
    area = np.empty(count, dtype=np.float32)
    up = np.empty(count, dtype=np.float32)
    rise = np.empty(count, dtype=np.float32)
    level = np.full(piece_count + 1, np.nan)
    stack = np.empty(count, dtype=np.int32)
    place_of = np.full(piece_count + 1, -1, dtype=np.int32)  # of a piece among those of its band
    in_band = np.empty(64, dtype=np.int32)
    sums = np.zeros((64, _SUMS), dtype=np.float64)
    for band in range(start.size - 1):
        first, last = start[band], start[band + 1]
        _gather(first, last, node, level, flag, area, stack)
        _climb(first, last, node, over_to, over_rise, level, flag, up, rise, cell_m, stack)
        found = 0
        for cell in range(first, last):
            mine = node[cell, PIECE]
            if mine <= 0 or place_of[mine] >= 0:
                continue
            if found == in_band.size:
                in_band = np.concatenate((in_band, in_band))
                sums = np.concatenate((sums, sums))
            place_of[mine] = found
            in_band[found] = mine
            sums[found] = 0.0
            found += 1
        close_m = 0.5 * rule[_LEAST]
        _add_up(first, last, node, level, flag, area, up, rise, close_m, place_of, sums)
        placed = False
        upper = top_m - band * band_m
        for j in range(found):
            mine = in_band[j]
            if length[mine] >= min_length_m and length[mine] > 0.0 and sums[j, 1] > 0.0:
                level[mine] = _level_of(sums[j], length[mine], rule, upper, band_m, cell_m)
                placed = placed or not np.isnan(level[mine])
        if not placed:
            continue
        # rows hold back water now: what lies along them is worked out once more
        for cell in range(first, last):
            mine = node[cell, PIECE]
            if mine <= 0:
                flag[cell] &= ~(_GATHERED | _CLIMBED)
            elif not np.isnan(level[mine]):
                flag[cell] = (flag[cell] & ~(_GATHERED | _CLIMBED)) | _ROW
        _gather(first, last, node, level, flag, area, stack)
        _climb(first, last, node, over_to, over_rise, level, flag, up, rise, cell_m, stack)
    return level
