"""Compiled loops that tell how lines lie beside the ones that were drawn.

The drawn lines are given as their vertices behind one another, the first vertex of each (and the
number of all), and the box of each: west, south, east, north.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid._kernels import longer
from brimline.lines._kernels import level
from brimline.lines.plane._kernels import leg_distance2


@kernel
def _apart(west, south, east, north, box):
    """Distance between two boxes along one axis, the larger; 0 or less where they meet."""
    return max(west - box[2], box[0] - east, south - box[3], box[1] - north)


@kernel
def beside_at_end(points, vertices, start, box, count, reach):
    """First point from which on all are within reach of a line, and the line nearest to it."""
    first, line = points.shape[0], np.int64(-1)
    for i in range(points.shape[0] - 1, -1, -1):
        x, y = points[i, 0], points[i, 1]
        nearest2, nearest = reach * reach, np.int64(-1)
        for k in range(count):
            if _apart(x, y, x, y, box[k]) > reach:
                continue
            for j in range(start[k], start[k + 1] - 1):
                far2 = leg_distance2(
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
    west, south, east, north = line[0, 0], line[0, 1], line[0, 0], line[0, 1]
    for i in range(line.shape[0]):
        west, south = min(west, line[i, 0]), min(south, line[i, 1])
        east, north = max(east, line[i, 0]), max(north, line[i, 1])
    return west, south, east, north


@kernel
def beyond(line, vertices, start, box, count, reach, far):
    """Stretches of a line beyond reach of the drawn ones, and which of these are not far from it.

    Gives the numbers of the lines that lie no farther, and the distances along the line from which
    and to which nothing is within reach.
    """
    around = _box(line)
    near = np.empty(count, dtype=np.int64)
    pieces = np.empty(start[count], dtype=np.int64)  # those that may be within reach
    found, most = 0, 0
    for k in range(count):
        if _apart(box[k, 0], box[k, 1], box[k, 2], box[k, 3], around) > far:
            continue
        is_near = False
        for j in range(start[k], start[k + 1] - 1):
            west, east = vertices[j, 0], vertices[j + 1, 0]
            south, north = vertices[j, 1], vertices[j + 1, 1]
            west, east = min(west, east), max(west, east)
            south, north = min(south, north), max(south, north)
            apart = _apart(west, south, east, north, around)
            if apart <= reach:
                pieces[most] = j
                most += 1
            if is_near or apart > far:
                continue
            for i in range(line.shape[0] - 1):
                low, high = _within(line, i, vertices, j, far)
                is_near |= low <= high
        if is_near:
            near[found] = k
            found += 1
    low, high = np.empty(most), np.empty(most)
    begin, end = np.empty(line.shape[0] + most), np.empty(line.shape[0] + most)
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
        if number + stretches + 1 > begin.size:
            begin, end = longer(begin), longer(end)
        share = 0.0
        while share < 1.0:
            to, onward = share, 1.0
            for j in range(stretches):
                if low[j] <= share:
                    to = max(to, high[j])
                else:
                    onward = min(onward, low[j])
            if to == share:  # nothing is near here
                if number == 0 or end[number - 1] != along + share * length:
                    begin[number] = along + share * length
                    number += 1
                end[number - 1] = along + onward * length
                to = onward
            share = to
        along += length
    return near[:found], begin[:number], end[:number]


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
