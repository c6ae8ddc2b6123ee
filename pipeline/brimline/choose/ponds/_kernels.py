"""Compiled loops over places for banks: what a bank there takes, and what it holds back."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, OUTLET

_OUTLET = np.uint8(OUTLET)
_FINE = 0.5  # cells from point to point of a bank, so that its cells touch at a corner at least
_ASTRIDE = 0.3  # least cosine between the way across a bank and the way up the valley


@kernel
def ways_up(codes, row, col, steps):
    """Return unit vectors (n, 2), rows, columns, from where water is `steps` cells on, to each."""
    up = np.zeros((len(row), 2))
    for n in range(len(row)):
        r, c = row[n], col[n]
        for _ in range(steps):
            code = codes[r, c]
            if code >= _OUTLET:
                break
            r += D_ROW[code]
            c += D_COL[code]
        d_row, d_col = np.float64(row[n] - r), np.float64(col[n] - c)
        length = np.hypot(d_row, d_col)
        if length > 0:
            up[n, 0], up[n, 1] = d_row / length, d_col / length
    return up


@kernel
def level_at(dem, r, c):
    """Level at a fractional row and column; NaN beside nodata and outside."""
    rows, cols = dem.shape
    i, j = int(np.floor(r)), int(np.floor(c))
    if i < 0 or j < 0 or i > rows - 1 or j > cols - 1:
        return np.nan
    u, v = r - i, c - j
    i2, j2 = min(i + 1, rows - 1), min(j + 1, cols - 1)
    if (u > 0 and i2 == i) or (v > 0 and j2 == j):
        return np.nan
    upper = (1 - v) * dem[i, j] + v * dem[i, j2]
    lower = (1 - v) * dem[i2, j] + v * dem[i2, j2]
    return (1 - u) * upper + u * lower


@kernel
def arm_place(arm, t):
    """Row and column at t cells along an arm: (row, col, way, way, up, up, cells to its turn)."""
    on = min(t, arm[6])
    beyond = t - on
    return arm[0] + on * arm[2] + beyond * arm[4], arm[1] + on * arm[3] + beyond * arm[5]


@kernel
def along_arm(dem, allowed, arm, most, crests, top, batters, fill, reach, limit):
    """Add up the fill of one arm of a bank for each crest level, in cells times m².

    Between points the ground is taken as straight, and the section h (top + batters h / 2) is
    summed exactly. `reach` is where the ground comes up to the crest, NaN where it does not, or
    where every bank that is still open has come to more than its `limit`.
    """
    count = len(crests)
    reach[:] = np.nan
    left = count
    before = np.float64(level_at(dem, arm[0], arm[1]))
    for t in range(1, most + 1):
        r, c = arm_place(arm, np.float64(t))
        here = level_at(dem, r, c)
        if not np.isfinite(here) or not allowed[int(np.floor(r + 0.5)), int(np.floor(c + 0.5))]:
            return
        for k in range(count):
            if not np.isnan(reach[k]):
                continue
            high, low = crests[k] - before, crests[k] - here
            part = 1.0
            if low <= 0:
                part = high / (high - low) if high > 0 else 0.0
                high, low = max(high, 0.0), 0.0
                reach[k] = t - 1 + part
                left -= 1
            fill[k] += part * (
                top * (high + low) / 2 + batters / 6 * (high * high + high * low + low * low)
            )
        before = here
        if left == 0:
            return
        hopeless = True
        for k in range(count):
            if np.isnan(reach[k]) and fill[k] < limit[k]:
                hopeless = False
                break
        if hopeless:
            return


@kernel
def arms_of(r, c, angle, up_row, up_col, turn):
    """Both arms of a bank through a cell, and the way across it that goes up the valley.

    The last value is the cosine between that way and the one given.
    """
    d_row, d_col = np.sin(angle), np.cos(angle)
    n_row, n_col = -d_col, d_row
    cosine = n_row * up_row + n_col * up_col
    if cosine < 0:
        n_row, n_col, cosine = -n_row, -n_col, -cosine
    arms = np.empty((2, 7))
    for side in range(2):
        way = 1.0 - 2.0 * side
        arms[side, 0], arms[side, 1] = r, c
        arms[side, 2], arms[side, 3] = way * d_row, way * d_col
        arms[side, 4], arms[side, 5] = n_row, n_col
        arms[side, 6] = turn
    return arms, cosine


@kernel
def cheapest_ways(dem, allowed, row, col, up, depths, over, section, ways, turns, wing):
    """For each cell and depth the direction of the bank that takes least fill, and that fill.

    Directions are `ways` even steps of a half turn; of a bank that lies more along the valley than
    across it nothing is known. `turns` are the half-lengths after which a bank turns up the slope,
    each of which is tried. Fill is in cells times m²; where no bank closes it is infinite.
    """
    count = len(depths)
    fill = np.full((len(row), count), np.inf)
    way = np.full((len(row), count), -1, dtype=np.int32)
    sums, reach = np.empty(count), np.empty(count)
    closed = np.empty(count, dtype=np.bool_)
    for n in range(len(row)):
        base = np.float64(dem[row[n], col[n]])
        if not allowed[row[n], col[n]] or (up[n, 0] == 0 and up[n, 1] == 0):
            continue
        crests = base + depths + over
        for turn in range(len(turns)):
            for w in range(ways):
                arms, cosine = arms_of(
                    row[n], col[n], np.pi * w / ways, up[n, 0], up[n, 1], turns[turn]
                )
                if cosine < _ASTRIDE:
                    continue
                sums[:] = 0.0
                closed[:] = True
                for side in range(2):
                    most = int(turns[turn]) + wing
                    along_arm(
                        dem, allowed, arms[side], most, crests, section[0], section[1], sums, reach,
                        fill[n],
                    )  # fmt: skip
                    for k in range(count):
                        if np.isnan(reach[k]):
                            closed[k] = False
                for k in range(count):
                    if closed[k] and sums[k] < fill[n, k]:
                        fill[n, k] = sums[k]
                        way[n, k] = turn * ways + w
    return fill, way


@kernel
def pooled(dem, allowed, codes, area, r, c, arms, reaches, level, mark, stamp, queue):
    """Flood the ground behind a bank up to a level.

    `mark` is a square window of the grid around the cell, in which `stamp` means bank and
    `stamp + 1` water. Returns the volume behind the bank's axis in cells times m, the number of
    cells under water (the first ones of `queue`, as places in the window; -1 where the water runs
    out), and what drains across the bank.
    """
    rows, cols = dem.shape
    size = mark.shape[0]
    top, left = r - size // 2, c - size // 2
    volume, across = 0.0, 0.0
    for side in range(2):
        fine = int(reaches[side] / _FINE) + 1
        for step in range(fine + 1):
            y, x = arm_place(arms[side], min(step * _FINE, reaches[side]))
            i, j = int(np.floor(y + 0.5)) - top, int(np.floor(x + 0.5)) - left
            if i < 0 or j < 0 or i >= size or j >= size:
                return 0.0, -1, 0.0
            if mark[i, j] != stamp:
                mark[i, j] = stamp
                volume += 0.5 * max(level - np.float64(dem[i + top, j + left]), 0.0)
    first, last = 0, 0
    for side in range(2):
        main = min(reaches[side], arms[side, 6])
        was_i, was_j = (-1, -1) if not side else (r, c)  # the middle once
        for step in range(int(main / _FINE) + 1):
            y, x = arm_place(arms[side], step * _FINE)
            i, j = int(np.floor(y + 0.5)), int(np.floor(x + 0.5))
            code = codes[i, j]
            if (i != was_i or j != was_j) and code < _OUTLET:
                to_row, to_col = i + D_ROW[code] - top, j + D_COL[code] - left
                inside = 0 <= to_row < size and 0 <= to_col < size
                if (not inside or mark[to_row, to_col] != stamp) and area[i, j] > 0:
                    across += area[i, j]
            was_i, was_j = i, j
            for turn in range(4):
                y2, x2 = i + D_ROW[2 * turn], j + D_COL[2 * turn]
                if y2 < 0 or x2 < 0 or y2 >= rows or x2 >= cols:
                    continue
                rise = (y2 - arms[0, 0]) * arms[0, 4] + (x2 - arms[0, 1]) * arms[0, 5]
                i2, j2 = y2 - top, x2 - left
                if rise <= 0 or i2 < 0 or j2 < 0 or i2 >= size or j2 >= size:
                    continue
                if mark[i2, j2] < stamp and dem[y2, x2] < level:
                    mark[i2, j2] = stamp + 1
                    queue[last] = i2 * size + j2
                    last += 1
    while first < last:
        i, j = queue[first] // size, queue[first] % size
        first += 1
        y, x = i + top, j + left
        volume += level - np.float64(dem[y, x])
        if not allowed[y, x] or i == 0 or j == 0 or i == size - 1 or j == size - 1:
            return 0.0, -1, 0.0
        rise = (y - arms[0, 0]) * arms[0, 4] + (x - arms[0, 1]) * arms[0, 5]
        beside = (y - arms[0, 0]) * arms[0, 2] + (x - arms[0, 1]) * arms[0, 3]
        if -2.0 < rise < -0.8 and -min(reaches[1], arms[1, 6]) < beside < min(
            reaches[0], arms[0, 6]
        ):
            return 0.0, -1, 0.0  # it came round an end and stands below the bank
        for turn in range(4):
            y2, x2 = y + D_ROW[2 * turn], x + D_COL[2 * turn]
            if y2 < 0 or x2 < 0 or y2 >= rows or x2 >= cols or np.isnan(dem[y2, x2]):
                return 0.0, -1, 0.0
            i2, j2 = y2 - top, x2 - left
            if mark[i2, j2] < stamp and dem[y2, x2] < level:
                mark[i2, j2] = stamp + 1
                queue[last] = i2 * size + j2
                last += 1
    return volume, last, across


@kernel
def bank_reaches(dem, allowed, arms, most, crest, section):
    """Fill in cells times m² and the reach of both arms for one crest level."""
    crests, fill, reach = np.full(1, crest), np.zeros(1), np.empty(1)
    no_limit = np.full(1, np.inf)
    reaches = np.empty(2)
    for side in range(2):
        along_arm(
            dem, allowed, arms[side], most, crests, section[0], section[1], fill, reach, no_limit
        )
        reaches[side] = reach[0]
    return fill[0], reaches


@kernel
def storages(
    dem, allowed, codes, area, row, col, up, depths, over, section, ways, turns, wing, way, size
):
    """Storage behind the cheapest bank of each cell and depth, and what drains to it.

    In cells times m; NaN where water runs out round the bank.
    """
    count = len(depths)
    held = np.full((len(row), count), np.nan)
    drains = np.zeros((len(row), count))
    mark = np.zeros((size, size), dtype=np.int32)
    queue = np.empty(size * size, dtype=np.int32)
    stamp = np.int32(0)
    for n in range(len(row)):
        for k in range(count):
            if way[n, k] < 0:
                continue
            turn = turns[way[n, k] // ways]
            arms, _ = arms_of(
                row[n], col[n], np.pi * (way[n, k] % ways) / ways, up[n, 0], up[n, 1], turn
            )
            level = np.float64(dem[row[n], col[n]]) + depths[k]
            _, reaches = bank_reaches(dem, allowed, arms, int(turn) + wing, level + over, section)
            stamp += np.int32(2)
            volume, cells, across = pooled(
                dem, allowed, codes, area, row[n], col[n], arms, reaches, level, mark, stamp, queue
            )
            if cells > 0:
                held[n, k] = volume
                drains[n, k] = across
    return held, drains


@kernel
def picked(
    dem, allowed, codes, area, row, col, up, depths, over, section, ways, turns, wing, way, size,
    order, most,
):  # fmt: skip
    """Go through places (times depths) in an order and take those that lie on no other's ground."""
    count = len(depths)
    free = allowed.copy()
    found = np.empty(most, dtype=np.int64)
    taken = 0
    mark = np.zeros((size, size), dtype=np.int32)
    queue = np.empty(size * size, dtype=np.int32)
    stamp = np.int32(0)
    for place in order:
        n, k = place // count, place % count
        if not free[row[n], col[n]]:
            continue
        turn = turns[way[n, k] // ways]
        arms, _ = arms_of(
            row[n], col[n], np.pi * (way[n, k] % ways) / ways, up[n, 0], up[n, 1], turn
        )
        level = np.float64(dem[row[n], col[n]]) + depths[k]
        _, reaches = bank_reaches(dem, free, arms, int(turn) + wing, level + over, section)
        if np.isnan(reaches[0]) or np.isnan(reaches[1]):
            continue
        stamp += np.int32(2)
        _, cells, _ = pooled(
            dem, free, codes, area, row[n], col[n], arms, reaches, level, mark, stamp, queue
        )
        if cells <= 0:
            continue
        top, left = row[n] - size // 2, col[n] - size // 2
        for wet in queue[:cells]:
            free[wet // size + top, wet % size + left] = 0
        for side in range(2):
            for step in range(int(reaches[side] / _FINE) + 1):
                y, x = arm_place(arms[side], step * _FINE)
                free[int(np.floor(y + 0.5)), int(np.floor(x + 0.5))] = 0
        found[taken] = place
        taken += 1
        if taken == most:
            break
    return found[:taken]


@kernel
def one_pool(dem, allowed, codes, area, r, c, arms, reaches, level, size):
    """Cells (rows, columns) under water behind one bank, its volume and what drains to it."""
    mark = np.zeros((size, size), dtype=np.int32)
    queue = np.empty(size * size, dtype=np.int32)
    volume, cells, across = pooled(
        dem, allowed, codes, area, r, c, arms, reaches, level, mark, np.int32(2), queue
    )
    count = max(cells, 0)
    places = queue[:count].astype(np.int64)
    wet_rows = places // size + (r - size // 2)
    return wet_rows, places % size + (c - size // 2), volume, across, cells > 0
