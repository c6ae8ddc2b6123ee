"""Compiled loops that trace one level in each labelled piece of ground."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


def _sides() -> np.ndarray:
    """Sides (from, to) that lines of a level join in a square, by which corners are high.

    Corners go clockwise from the north-west, one bit each; a fifth bit tells that the middle of
    the square is low. Going clockwise round the square, a line enters where ground turns from
    high to low and leaves where it turns back: the higher ground is then on its right. A saddle
    whose middle is low keeps its two high corners apart.
    """
    table = np.full((32, 4), -1, dtype=np.int8)
    for case in range(32):
        high = [bool(case >> i & 1) for i in range(4)]
        sides = [i for i in range(4) if high[i] != high[(i + 1) % 4]]
        shift = 0 if sides and high[sides[0]] else 1
        onward = 3 if len(sides) == 4 and case >= 16 else 1
        for line in range(len(sides) // 2):
            table[case, 2 * line] = sides[(2 * line + shift) % len(sides)]
            table[case, 2 * line + 1] = sides[(2 * line + shift + onward) % len(sides)]
    return table


_SIDES = _sides()


@kernel
def _case(z0, z1, z2, z3, wanted):
    """Which corners of a square are high, and whether its middle is low: a row of `_SIDES`."""
    case = (z0 >= wanted) | (z1 >= wanted) << 1 | (z2 >= wanted) << 2 | (z3 >= wanted) << 3
    if case in (5, 10):
        middle = (z0 + z1 + z2 + z3) / 4.0
        case |= 0 if middle >= wanted else 16
    return case


@kernel
def _own_sides(mine, p0, p1, p2, p3):
    """Sides of a square with a corner of a piece, one bit each."""
    corners = (p0 == mine) | (p1 == mine) << 1 | (p2 == mine) << 2 | (p3 == mine) << 3
    return corners | (corners >> 1 | corners << 3) & 15


@kernel
def segments(dem, piece, level):
    """Pieces of contour in every square of four centres, for each row whose piece is there.

    Gives, for each, the piece and the two grid edges that it joins, the higher ground on the
    right. An edge is numbered by twice its first cell, and one more where it runs down.
    """
    rows, cols = dem.shape
    size = 1024
    out = np.empty((size, 3), dtype=np.int64)
    found = 0
    drawn = np.zeros(level.size, dtype=np.bool_)
    for mine in range(1, level.size):
        drawn[mine] = not np.isnan(level[mine])
    for row in range(rows - 1):
        any_here = drawn[piece[row, 0]] or drawn[piece[row + 1, 0]]
        for col in range(cols - 1):
            p1, p2 = piece[row, col + 1], piece[row + 1, col + 1]
            before, any_here = any_here, p1 | p2 != 0 and (drawn[p1] or drawn[p2])
            if not (before or any_here):
                continue
            p0, p3 = piece[row, col], piece[row + 1, col]
            z0, z1 = np.float64(dem[row, col]), np.float64(dem[row, col + 1])
            z3, z2 = np.float64(dem[row + 1, col]), np.float64(dem[row + 1, col + 1])
            if np.isnan(z0 + z1 + z2 + z3):
                continue
            first = row * cols + col
            for j in range(4):
                mine = p0 if j == 0 else p1 if j == 1 else p2 if j == 2 else p3
                if not drawn[mine] or (
                    (j > 0 and mine == p0) or (j > 1 and mine == p1) or (j > 2 and mine == p2)
                ):
                    continue
                case = _case(z0, z1, z2, z3, level[mine])
                own = _own_sides(mine, p0, p1, p2, p3)
                for i in range(0, 4, 2):
                    a, b = np.int64(_SIDES[case, i]), np.int64(_SIDES[case, i + 1])
                    if a < 0 or not own >> a & own >> b & 1:
                        continue
                    if found == size:
                        size *= 2
                        larger = np.empty((size, 3), dtype=np.int64)
                        larger[:found] = out
                        out = larger
                    out[found, 0] = mine
                    out[found, 1], out[found, 2] = _edge(first, cols, a), _edge(first, cols, b)
                    found += 1
    return out[:found].copy()


@kernel
def lengths(dem, piece, level):
    """Length, in cells, of the lines that `segments` would find for each piece."""
    rows, cols = dem.shape
    out = np.zeros(level.size, dtype=np.float64)
    for row in range(rows - 1):
        for col in range(cols - 1):
            p0, p1 = piece[row, col], piece[row, col + 1]
            p3, p2 = piece[row + 1, col], piece[row + 1, col + 1]
            if p0 | p1 | p2 | p3 == 0:
                continue
            z0, z1 = np.float64(dem[row, col]), np.float64(dem[row, col + 1])
            z3, z2 = np.float64(dem[row + 1, col]), np.float64(dem[row + 1, col + 1])
            if np.isnan(z0 + z1 + z2 + z3):
                continue
            for j in range(4):
                mine = p0 if j == 0 else p1 if j == 1 else p2 if j == 2 else p3
                if mine == 0 or (
                    (j > 0 and mine == p0) or (j > 1 and mine == p1) or (j > 2 and mine == p2)
                ):
                    continue
                wanted = level[mine]
                case = _case(z0, z1, z2, z3, wanted)  # 0 for no level: NaN is below nothing
                own = _own_sides(mine, p0, p1, p2, p3)
                for i in range(0, 4, 2):
                    a, b = _SIDES[case, i], _SIDES[case, i + 1]
                    if a < 0 or not own >> a & own >> b & 1:
                        continue
                    r0, c0 = _on_side(z0, z1, z2, z3, a, wanted)
                    r1, c1 = _on_side(z0, z1, z2, z3, b, wanted)
                    out[mine] += np.sqrt((r1 - r0) ** 2 + (c1 - c0) ** 2)
    return out


@kernel
def _on_side(z0, z1, z2, z3, side, wanted):
    """Position (row, col) in a square of a level on one of its sides."""
    if side == 0:
        return 0.0, (wanted - z0) / (z1 - z0)
    if side == 1:
        return (wanted - z1) / (z2 - z1), 1.0
    if side == 2:
        return 1.0, (wanted - z3) / (z2 - z3)
    return (wanted - z0) / (z3 - z0), 0.0


@kernel
def _edge(first, cols, side):
    """Give the number of the grid edge along a side of the square whose first cell is given."""
    if side == 0:
        return 2 * first
    if side == 1:
        return 2 * first + 3
    if side == 2:
        return 2 * (first + cols)
    return 2 * first + 1


@kernel
def chained(dem, level, segment, entered, left):
    """Link segments into lines: fractional (row, col) points, and the first point of each line.

    `entered` sorts segments by (piece, edge entered); `left` by (piece, edge left).
    """
    z, cols = dem.ravel(), dem.shape[1]
    count = segment.shape[0]
    after = np.full(count, -1, dtype=np.int64)
    has_before = np.zeros(count, dtype=np.bool_)
    i, j = 0, 0
    while i < count and j < count:
        one, two = segment[left[i]], segment[entered[j]]
        if one[0] == two[0] and one[2] == two[1]:
            after[left[i]] = entered[j]
            has_before[entered[j]] = True
            i += 1
            j += 1
        elif one[0] < two[0] or (one[0] == two[0] and one[2] < two[1]):
            i += 1
        else:
            j += 1
    points = np.empty((2 * count, 2), dtype=np.float64)
    start = np.empty(count + 1, dtype=np.int64)
    owner = np.empty(count, dtype=np.int64)
    used = np.zeros(count, dtype=np.bool_)
    lines, filled = 0, 0
    for rings in range(2):  # open lines from their first segment, then what is left: rings
        for first in range(count):
            if used[first] or (rings == 0 and has_before[first]):
                continue
            start[lines], owner[lines] = filled, segment[first, 0]
            wanted = level[segment[first, 0]]
            points[filled, 0], points[filled, 1] = _on_edge(z, cols, segment[first, 1], wanted)
            filled += 1
            at = first
            while at >= 0 and not used[at]:
                used[at] = True
                points[filled, 0], points[filled, 1] = _on_edge(z, cols, segment[at, 2], wanted)
                filled += 1
                at = after[at]
            lines += 1
    start[lines] = filled
    return points[:filled].copy(), start[: lines + 1].copy(), owner[:lines].copy()


@kernel
def _on_edge(z, cols, edge, wanted):
    """Position (row, col) of a level on a grid edge."""
    one = edge // 2
    down = edge % 2
    z0 = np.float64(z[one])
    z1 = np.float64(z[one + cols]) if down else np.float64(z[one + 1])
    part = (wanted - z0) / (z1 - z0)
    return one // cols + part * down, one % cols + part * (1 - down)
