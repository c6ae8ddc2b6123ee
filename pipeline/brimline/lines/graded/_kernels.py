"""Compiled loops that follow a falling line over the ground and search a way between two points."""

from __future__ import annotations

import heapq

import numpy as np

from brimline._jit import kernel
from brimline.lines._kernels import level as level_at
from brimline.lines._kernels import rise

_FULL_TURN = 2.0 * np.pi
_NEWTONS = 8
# why following ended: 0 to 249 are codes of blocked ground
FLAT, HOLLOW, LONG, OFF = 250, 251, 252, 253


@kernel
def _heading(dem, row, col, fall, side):
    """Return the unit way (rows, cols) of the line at a point, and how steep the ground is there.

    The way lies at asin(fall / steepness) from the contour, downhill; `side` is 1 to the left of
    somebody who looks downhill and -1 to the right. Steepness is NaN where the ground is flatter
    than the fall.
    """
    down, along = rise(dem, row, col)
    steep = np.hypot(down, along)
    if not steep > fall:
        return 0.0, 0.0, np.nan
    dr, dc = -down / steep, -along / steep  # downhill
    lr, lc = -dc, dr  # a quarter turn to the left of it: rows count southwards
    sine = fall / steep
    cosine = np.sqrt(1.0 - sine * sine) * side
    return cosine * lr + sine * dr, cosine * lc + sine * dc, steep


@kernel
def _stepped(dem, row, col, fall, side, step):
    """Fourth-order Runge-Kutta step; NaN where the ground gets too flat on the way."""
    r1, c1, _ = _heading(dem, row, col, fall, side)
    r2, c2, _ = _heading(dem, row + 0.5 * step * r1, col + 0.5 * step * c1, fall, side)
    r3, c3, _ = _heading(dem, row + 0.5 * step * r2, col + 0.5 * step * c2, fall, side)
    r4, c4, s4 = _heading(dem, row + step * r3, col + step * c3, fall, side)
    if np.isnan(s4):
        return np.nan, np.nan
    return (
        row + step * (r1 + 2.0 * r2 + 2.0 * r3 + r4) / 6.0,
        col + step * (c1 + 2.0 * c2 + 2.0 * c3 + c4) / 6.0,
    )


@kernel
def follow(dem, blocked, row, col, fall, side, step, longest):
    """Points of the line that falls by `fall` per cell from a start, and why it ended.

    After every step the point is moved along the gradient until its level is that of the fall, so
    that errors do not add up. It ends at blocked ground (the code of it), outside the data, on
    ground flatter than the fall, after a full turn, or at its longest.
    """
    size = 256
    points = np.empty((size, 2), dtype=np.float64)
    points[0, 0], points[0, 1] = row, col
    count = 1
    wanted = level_at(dem, row, col)
    far, turned = 0.0, 0.0
    last_r, last_c = 0.0, 0.0
    while True:
        if far >= longest:
            return points[:count].copy(), LONG
        stride = max(min(step, longest - far), 1e-6)
        r, c = _stepped(dem, row, col, fall, side, stride)
        if np.isnan(level_at(dem, r, c)):
            why = FLAT
            if np.isnan(_edge_ahead(dem, row, col, fall, side, stride)):
                why = OFF
            return points[:count].copy(), why
        for _ in range(_NEWTONS):
            length = np.hypot(r - row, c - col)
            miss = level_at(dem, r, c) - (wanted - fall * length)
            down, along = rise(dem, r, c)
            steep2 = down * down + along * along
            if abs(miss) < 1e-7 or not steep2 > 0.0:
                break
            r -= miss * down / steep2
            c -= miss * along / steep2
        length = np.hypot(r - row, c - col)
        gone = not (0.2 * stride < length < 3.0 * stride)
        if gone or not abs(level_at(dem, r, c) - (wanted - fall * length)) < 1e-5:
            return points[:count].copy(), FLAT  # no level of that fall close by
        code = blocked[np.int64(np.floor(r + 0.5)), np.int64(np.floor(c + 0.5))]
        if code != 0:
            return points[:count].copy(), np.int64(code)
        way_r, way_c = (r - row) / length, (c - col) / length
        if count > 1:
            turned += np.arctan2(last_r * way_c - last_c * way_r, last_r * way_r + last_c * way_c)
        if abs(turned) > _FULL_TURN:
            return points[:count].copy(), HOLLOW
        if count == size:
            size *= 2
            larger = np.empty((size, 2), dtype=np.float64)
            larger[:count] = points
            points = larger
        points[count, 0], points[count, 1] = r, c
        count += 1
        wanted -= fall * length
        far += length
        row, col, last_r, last_c = r, c, way_r, way_c


@kernel
def _edge_ahead(dem, row, col, fall, side, step):
    """Level a step ahead; NaN where the data ends there."""
    r, c, steep = _heading(dem, row, col, fall, side)
    if np.isnan(steep):
        return 0.0
    return level_at(dem, row + step * r, col + step * c)


@kernel
def search(dem, blocked, start, goal, least, most, slack, moves):
    """Shortest way over cells that falls between two grades from start to goal.

    `moves` are steps (rows, cols) of up to several cells. A move is taken if its own fall, and the
    mean fall since the start, lie between `least` and `most` per cell, give or take `slack` metres
    of height, and the cells it passes are free. Gives the cells of the way, empty where there is
    none. Equal ways fall to the smaller cell.
    """
    rows, cols = dem.shape
    far = np.full(rows * cols, np.inf, dtype=np.float64)
    come = np.full(rows * cols, -1, dtype=np.int64)
    done = np.zeros(rows * cols, dtype=np.bool_)
    z = dem.ravel()
    code = blocked.ravel()
    length = np.sqrt((moves[:, 0] ** 2 + moves[:, 1] ** 2).astype(np.float64))
    far[start] = 0.0
    queue = [(0.0, np.int64(start))]
    high = np.float64(z[start])
    low = np.float64(z[goal])
    while len(queue) > 0:
        so_far, cell = heapq.heappop(queue)
        if done[cell]:
            continue
        done[cell] = True
        if cell == goal:
            break
        row, col = cell // cols, cell % cols
        here = np.float64(z[cell])
        for k in range(moves.shape[0]):
            r, c = row + moves[k, 0], col + moves[k, 1]
            if r < 0 or c < 0 or r >= rows or c >= cols:
                continue
            to = r * cols + c
            there = np.float64(z[to])
            if done[to] or np.isnan(there) or there < low - slack:
                continue
            total = so_far + length[k]
            drop = here - there
            if drop > most * length[k] + slack or drop < least * length[k] - slack:
                continue
            if high - there > most * total + slack or high - there < least * total - slack:
                continue
            if total >= far[to] or not _free(code, row, col, moves[k], cols):
                continue
            far[to] = total
            come[to] = cell
            heapq.heappush(queue, (total, np.int64(to)))
    if not np.isfinite(far[goal]):
        return np.empty(0, dtype=np.int64)
    count = 1
    cell = np.int64(goal)
    while cell != start:
        cell = come[cell]
        count += 1
    way = np.empty(count, dtype=np.int64)
    cell = np.int64(goal)
    for i in range(count - 1, -1, -1):
        way[i] = cell
        cell = come[cell]
    return way


@kernel
def _free(code, row, col, move, cols):
    """Tell whether the cells under a move are free."""
    steps = 2 * max(abs(move[0]), abs(move[1]))
    for i in range(1, steps + 1):
        r = np.int64(np.floor(row + 0.5 + move[0] * i / steps))
        c = np.int64(np.floor(col + 0.5 + move[1] * i / steps))
        if code[r * cols + c] != 0:
            return False
    return True
