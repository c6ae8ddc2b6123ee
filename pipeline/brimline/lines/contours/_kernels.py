"""Compiled loops that trace levels through the squares between four cell centres.

Each cell is told how many of the levels lie below it; a grid edge then holds one crossing for each
level between its two ends. Crossings are numbered as the squares are passed row by row, and each
square links the crossings on its edges, so that lines need only be followed.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.lines._kernels import thin

_NONE = -1


@kernel
def follow(place, level, ahead, ended, least, moved):
    """Follow the crossings into lines of one level each, the higher ground on their right.

    Rings shorter than `least` cells are left out, and vertices whose want moves a line by no more
    than `moved` cells (none if negative).

    Gives points (col, row), the first point of each line and their end, and the place of each
    line's level. First come lines that end, then rings, both in the order of their first crossing.
    """
    count = level.size
    # as much as there could be: what is not written takes no memory
    points = np.empty((count + count // 4 + 1, 2))
    line = np.empty((count + 1, 2))
    stack = np.empty(count + 1, dtype=np.int64)
    start = np.empty(count + 1, dtype=np.int64)
    which = np.empty(count, dtype=np.int32)
    passed = np.zeros(count, dtype=np.bool_)
    found, filled = 0, np.int64(0)
    start[0] = 0
    for rings in range(2):
        for first in range(count):
            if ahead[first] < 0 or passed[first] or (rings == 0 and ended[first]):
                continue
            size, length = _line(place, ahead, passed, first, line)
            ring = line[0, 0] == line[size - 1, 0] and line[0, 1] == line[size - 1, 1]
            if size < 2 or (ring and length < least):
                continue
            which[found] = level[first]
            found += 1
            thinned = filled
            if moved >= 0.0:
                thinned = thin(line, size, moved, stack, points, filled)
            if thinned - filled < (4 if ring else 2):  # nothing left, or a ring that is a stroke
                for i in range(size):
                    points[filled + i, 0], points[filled + i, 1] = line[i, 0], line[i, 1]
                thinned = filled + size
            start[found] = filled = thinned
    return points[:filled], start[: found + 1], which[:found]


@kernel
def _line(place, ahead, passed, first, line):
    """Write the points from a crossing on, none twice; how many, and how long a line they are."""
    line[0, 0], line[0, 1] = place[first, 0], place[first, 1]
    size, length = 1, 0.0
    at = first
    while ahead[at] >= 0 and not passed[at]:
        passed[at] = True
        at = ahead[at]
        x, y = place[at, 0] - line[size - 1, 0], place[at, 1] - line[size - 1, 1]
        if x != 0.0 or y != 0.0:
            line[size, 0], line[size, 1] = place[at, 0], place[at, 1]
            length += np.sqrt(x * x + y * y)
            size += 1
    return size, length


@kernel
def link(surface, levels, limits, place, level, ahead, ended):
    """Write each crossing's (col, row), its level's place, the one ahead, and if one lies behind.

    `limits` are the levels rounded down to single precision: a height lies above the one where it
    lies above the other.
    """
    rows, cols = surface.shape
    upper, lower = np.empty(cols, dtype=np.int32), np.empty(cols, dtype=np.int32)
    north, south = np.zeros(cols, dtype=np.int64), np.zeros(cols, dtype=np.int64)
    found = np.int64(0)  # a plain 0 would compile what is called twice
    for row in range(rows):
        _below(surface[row], limits, lower)
        west = found
        for col in range(cols):
            se = lower[col]
            east = found
            if row > 0 and upper[col] != se:
                found = _cross(
                    surface, levels, upper[col], se, row - 1, col, row, col, place, level, found
                )
            if col == 0:
                west = east
                continue
            sw = lower[col - 1]
            south[col] = found
            if sw != se:
                found = _cross(surface, levels, sw, se, row, col - 1, row, col, place, level, found)
            if row > 0:
                nw, ne = upper[col - 1], upper[col]
                lowest, highest = min(nw, ne, sw, se), max(nw, ne, sw, se)
                if 0 <= lowest < highest:
                    for k in range(lowest, highest):
                        n = north[col] + k - min(nw, ne)
                        e = east + k - min(ne, se)
                        s = south[col] + k - min(se, sw)
                        w = west + k - min(sw, nw)
                        a, b, c, d = nw > k, ne > k, se > k, sw > k
                        if a == c and b == d:
                            joined = _middle(surface, row, col) > levels[k]
                            _link_saddle(n, e, s, w, a, joined, ahead, ended)
                        else:
                            _link(n, e, s, w, a, b, c, d, ahead, ended)
            west = east
        upper, lower = lower, upper
        north, south = south, north


@kernel
def number(surface, limits):
    """How many crossings there are on all grid edges."""
    rows, cols = surface.shape
    upper, lower = np.empty(cols, dtype=np.int32), np.empty(cols, dtype=np.int32)
    total = 0
    for row in range(rows):
        _below(surface[row], limits, lower)
        for col in range(cols):
            k = lower[col]
            if k >= 0:
                if row > 0 and upper[col] >= 0:
                    total += abs(k - upper[col])
                if col > 0 and lower[col - 1] >= 0:
                    total += abs(k - lower[col - 1])
        upper, lower = lower, upper
    return total


@kernel
def _below(heights, limits, count):
    """How many levels lie below each height of a row; -1 for nodata."""
    k = 0
    for j in range(heights.size):
        z = heights[j]
        if np.isnan(z):
            count[j] = _NONE
            continue
        while k < limits.size and z > limits[k]:
            k += 1
        while k > 0 and z <= limits[k - 1]:
            k -= 1
        count[j] = k


@kernel
def _cross(surface, levels, one, other, row, col, to_row, to_col, place, level, found):
    """Write the crossings of an edge between cells with `one` and `other` levels below them."""
    if one < 0 or other < 0:
        return found
    z0, z1 = np.float64(surface[row, col]), np.float64(surface[to_row, to_col])
    for k in range(min(one, other), max(one, other)):
        part = (levels[k] - z0) / (z1 - z0)
        place[found, 0] = col + (to_col - col) * part
        place[found, 1] = row + (to_row - row) * part
        level[found] = k
        found += 1
    return found


@kernel
def _middle(surface, row, col):
    """Level in the middle of the square whose south-eastern corner is a cell."""
    south = np.float64(surface[row, col - 1]) + np.float64(surface[row, col])
    return 0.25 * (
        south + np.float64(surface[row - 1, col - 1]) + np.float64(surface[row - 1, col])
    )


@kernel
def _link(n, e, s, w, a, b, c, d, ahead, ended):
    """Link the two crossings on the sides of a square whose corners are high or not, clockwise.

    Going clockwise round the square, a line enters where ground turns from high to low.
    """
    enter, leave = n, n
    if a != b:
        if a:
            enter = n
        else:
            leave = n
    if b != c:
        if b:
            enter = e
        else:
            leave = e
    if c != d:
        if c:
            enter = s
        else:
            leave = s
    if d != a:
        if d:
            enter = w
        else:
            leave = w
    ahead[enter] = leave
    ended[leave] = True


@kernel
def _link_saddle(n, e, s, w, north_west, joined, ahead, ended):
    """Link the crossings of a saddle, whose high corners may be one through its middle."""
    if north_west:
        one, other = (e, w) if joined else (w, e)
        ahead[n], ahead[s] = one, other
    else:
        one, other = (s, n) if joined else (n, s)
        ahead[e], ahead[w] = one, other
    ended[one], ended[other] = True, True
