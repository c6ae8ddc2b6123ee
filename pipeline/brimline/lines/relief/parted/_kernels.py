"""Compiled loops that tell how lines lie beside the ones that were drawn.

The drawn lines are given as their vertices behind one another, the first vertex of each (and the
number of all), and the box of each: west, south, east, north.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.lines._kernels import level


@kernel
def _box_distance2(x0, y0, x1, y1, box):
    """Squared distance between two boxes; 0 where they meet."""
    dx = max(box[0] - x1, x0 - box[2], 0.0)
    dy = max(box[1] - y1, y0 - box[3], 0.0)
    return dx * dx + dy * dy


@kernel
def _distance2(x, y, ax, ay, bx, by):
    """Squared distance of a point from a straight piece."""
    ex, ey = bx - ax, by - ay
    length2 = ex * ex + ey * ey
    share = ((x - ax) * ex + (y - ay) * ey) / length2 if length2 > 0.0 else 0.0
    share = min(max(share, 0.0), 1.0)
    dx, dy = x - (ax + share * ex), y - (ay + share * ey)
    return dx * dx + dy * dy


@kernel
def beside_at_end(points, vertices, start, box, count, reach):
    """First point from which on all are within reach of a line, and the line nearest to it."""
    first, line = points.shape[0], np.int64(-1)
    for i in range(points.shape[0] - 1, -1, -1):
        x, y = points[i, 0], points[i, 1]
        nearest2, nearest = reach * reach, np.int64(-1)
        for k in range(count):
            if _box_distance2(x, y, x, y, box[k]) > nearest2:
                continue
            for j in range(start[k], start[k + 1] - 1):
                far2 = _distance2(
                    x, y, vertices[j, 0], vertices[j, 1], vertices[j + 1, 0], vertices[j + 1, 1]
                )
                if far2 < nearest2 or (far2 == nearest2 and nearest < 0):
                    nearest2, nearest = far2, np.int64(k)
        if nearest < 0:
            break
        first, line = i, nearest
    return first, line


@kernel
def _circle(px, py, dx, dy, reach):
    """Shares of a straight way p + t d within reach of the origin; turned round where none."""
    a, b, c = dx * dx + dy * dy, px * dx + py * dy, px * px + py * py - reach * reach
    inside = b * b - a * c
    if a == 0.0 or inside < 0.0:
        return np.inf, -np.inf
    root = np.sqrt(inside)
    return (-b - root) / a, (-b + root) / a


@kernel
def _slab(p, d, low, high):
    """Shares at which p + t d lies between two values; turned round where none."""
    if d == 0.0:
        return (-np.inf, np.inf) if low <= p <= high else (np.inf, -np.inf)
    one, other = (low - p) / d, (high - p) / d
    return min(one, other), max(one, other)


@kernel
def _within(line, i, vertices, j, reach):
    """Shares between which a line's piece i lies within reach of the piece j of the vertices.

    What lies within reach of a straight piece has no dents, so it is one stretch: that between the
    outermost of two circles about the ends and the strip between them.
    """
    ax, ay, bx, by = line[i, 0], line[i, 1], line[i + 1, 0], line[i + 1, 1]
    cx, cy, dx, dy = vertices[j, 0], vertices[j, 1], vertices[j + 1, 0], vertices[j + 1, 1]
    if max(cx, dx) + reach < min(ax, bx) or max(ax, bx) + reach < min(cx, dx):
        return np.inf, -np.inf
    if max(cy, dy) + reach < min(ay, by) or max(ay, by) + reach < min(cy, dy):
        return np.inf, -np.inf
    way_x, way_y = bx - ax, by - ay
    low, high = _circle(ax - cx, ay - cy, way_x, way_y, reach)
    one, other = _circle(ax - dx, ay - dy, way_x, way_y, reach)
    low, high = min(low, one), max(high, other)
    length = np.hypot(dx - cx, dy - cy)
    if length > 0.0:
        ex, ey = (dx - cx) / length, (dy - cy) / length
        px, py = ax - cx, ay - cy
        one, other = _slab(px * ex + py * ey, way_x * ex + way_y * ey, 0.0, length)
        left, right = _slab(py * ex - px * ey, way_y * ex - way_x * ey, -reach, reach)
        one, other = max(one, left), min(other, right)
        if one <= other:
            low, high = min(low, one), max(high, other)
    return max(low, 0.0), min(high, 1.0)


@kernel
def _box(line):
    """Western, southern, eastern and northern edge of a line."""
    return line[:, 0].min(), line[:, 1].min(), line[:, 0].max(), line[:, 1].max()


@kernel
def _pieces_near(box, vertices, first, last, reach, found):
    """Write which pieces between the vertices first and last lie within reach of a box."""
    number = 0
    west, south, east, north = box[0] - reach, box[1] - reach, box[2] + reach, box[3] + reach
    for j in range(first, last):
        ax, ay, bx, by = vertices[j, 0], vertices[j, 1], vertices[j + 1, 0], vertices[j + 1, 1]
        beside = max(ax, bx) < west or min(ax, bx) > east
        if not (beside or max(ay, by) < south or min(ay, by) > north):
            found[number] = j
            number += 1
    return number


@kernel
def _is_near(line, vertices, pieces, reach):
    """Whether one of the pieces lies within reach of a line."""
    for j in pieces:
        for i in range(line.shape[0] - 1):
            low, high = _within(line, i, vertices, j, reach)
            if low <= high:
                return True
    return False


@kernel
def near_lines(line, vertices, start, box, count, reach):
    """Numbers of the lines within reach of a line."""
    around = _box(line)
    found = np.empty(count, dtype=np.int64)
    pieces = np.empty(start[count], dtype=np.int64)
    number = 0
    for k in range(count):
        if _box_distance2(around[0], around[1], around[2], around[3], box[k]) <= reach * reach:
            some = _pieces_near(around, vertices, start[k], start[k + 1] - 1, reach, pieces)
            if _is_near(line, vertices, pieces[:some], reach):
                found[number] = k
                number += 1
    return found[:number].copy()


@kernel
def beyond(line, vertices, start, near, reach):
    """Stretches of a line beyond reach of the near lines, as distances along it from and to."""
    around = _box(line)
    pieces = np.empty(vertices.shape[0], dtype=np.int64)
    most = 0
    for k in near:
        some = pieces[most:]
        most += _pieces_near(around, vertices, start[k], start[k + 1] - 1, reach, some)
    low, high = np.empty(most), np.empty(most)
    free = np.empty((2 * most + line.shape[0], 2))
    number = 0
    along = 0.0
    for i in range(line.shape[0] - 1):
        length = np.hypot(line[i + 1, 0] - line[i, 0], line[i + 1, 1] - line[i, 1])
        stretches = 0
        for j in pieces[:most]:
            one, other = _within(line, i, vertices, j, reach)
            if one < other:
                low[stretches], high[stretches] = one, other
                stretches += 1
        if number + stretches + 1 > free.shape[0]:
            free = np.concatenate((free, np.empty_like(free)))
        share = 0.0
        while share < 1.0:
            to, onward = share, 1.0
            for j in range(stretches):
                if low[j] <= share:
                    to = max(to, high[j])
                else:
                    onward = min(onward, low[j])
            if to == share:  # nothing is near here
                if number == 0 or free[number - 1, 1] != along + share * length:
                    free[number, 0] = along + share * length
                    number += 1
                free[number - 1, 1] = along + onward * length
                to = onward
            share = to
        along += length
    return free[:number].copy()


@kernel
def is_parted(surface, sign, place, stations, floor, floor_level, least, across):
    """Share of stations from which ground stands between them and a floor's place of equal level.

    The surface counts times `sign`; `place` is the grid's western and northern edge and its cell.
    Stations whose level the floor does not pass do not count; 1 where none does. Ground stands
    between where one of `across` places on the way is `least` higher.
    """
    shown, counted = 0, 0
    for i in range(stations.shape[0]):
        x, y = stations[i, 0], stations[i, 1]
        z = sign * level(surface, (place[1] - y) / place[2] - 0.5, (x - place[0]) / place[2] - 0.5)
        nearest, to_x, to_y = np.inf, 0.0, 0.0
        for j in range(floor.shape[0] - 1):
            one, other = floor_level[j] - z, floor_level[j + 1] - z
            if not one * other <= 0.0:
                continue
            share = one / (one - other) if one != other else 0.5
            px = floor[j, 0] + share * (floor[j + 1, 0] - floor[j, 0])
            py = floor[j, 1] + share * (floor[j + 1, 1] - floor[j, 1])
            far = np.hypot(px - x, py - y)
            if far < nearest:
                nearest, to_x, to_y = far, px, py
        if nearest == np.inf:
            continue
        counted += 1
        for step in range(1, across + 1):
            share = step / (across + 1)
            px, py = x + share * (to_x - x), y + share * (to_y - y)
            row, col = (place[1] - py) / place[2] - 0.5, (px - place[0]) / place[2] - 0.5
            if sign * level(surface, row, col) - z >= least:
                shown += 1
                break
    return shown / counted if counted > 0 else 1.0
