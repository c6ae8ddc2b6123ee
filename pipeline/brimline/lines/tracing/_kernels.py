"""Compiled loops that trace one level in each labelled piece of ground."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def _corners(row, col, cols):
    """Linear indices of the four centres of a square, clockwise from the north-west."""
    first = row * cols + col
    return first, first + 1, first + cols + 1, first + cols


@kernel
def _pieces_here(flat, level, corner, seen):
    """Write the different pieces with a level among four centres to `seen`; how many there are."""
    number = 0
    for i in range(4):
        mine = flat[corner[i]]
        if mine == 0 or np.isnan(level[mine]):
            continue
        known = False
        for j in range(number):
            known = known or seen[j] == mine
        if not known:
            seen[number] = mine
            number += 1
    return number


@kernel
def _crossings(z, corner, wanted, pairs):
    """Write the sides (from, to) of a square that lines of a level join; how many lines there are.

    Going clockwise round the square, a line enters where ground turns from high to low and leaves
    where it turns back: the higher ground is then on its right.
    """
    total = 0.0
    number = 0
    sides = pairs[2]
    for i in range(4):
        total += np.float64(z[corner[i]])
        if (z[corner[i]] >= wanted) != (z[corner[(i + 1) % 4]] >= wanted):
            sides[number] = i
            number += 1
    if number == 0 or np.isnan(total):
        return 0
    shift = 0 if z[corner[sides[0]]] >= wanted else 1
    # a saddle whose middle is low keeps its two high corners apart
    onward = 3 if number == 4 and not total / 4.0 >= wanted else 1
    for i in range(number // 2):
        pairs[0, i] = sides[(2 * i + shift) % number]
        pairs[1, i] = sides[(2 * i + shift + onward) % number]
    return number // 2


@kernel
def segments(dem, piece, level):
    """Pieces of contour in every square of four centres, for each row whose piece is there.

    Gives, for each, the piece and the two grid edges that it joins, the higher ground on the
    right. An edge is numbered by twice its first cell, and one more where it runs down.
    """
    rows, cols = dem.shape
    z, flat = dem.ravel(), piece.ravel()
    size = 1024
    out = np.empty((size, 3), dtype=np.int64)
    found = 0
    seen = np.zeros(4, dtype=np.int32)
    pairs = np.zeros((3, 4), dtype=np.int64)
    for row in range(rows - 1):
        for col in range(cols - 1):
            corner = _corners(row, col, cols)
            for j in range(_pieces_here(flat, level, corner, seen)):
                mine = seen[j]
                for i in range(_crossings(z, corner, level[mine], pairs)):
                    a, b = pairs[0, i], pairs[1, i]
                    if not _of_piece(flat, mine, corner, a) or not _of_piece(flat, mine, corner, b):
                        continue
                    if found == size:
                        size *= 2
                        larger = np.empty((size, 3), dtype=np.int64)
                        larger[:found] = out
                        out = larger
                    out[found, 0] = mine
                    out[found, 1], out[found, 2] = _edge(corner, a), _edge(corner, b)
                    found += 1
    return out[:found].copy()


@kernel
def lengths(dem, piece, level):
    """Length, in cells, of the lines that `segments` would find for each piece."""
    rows, cols = dem.shape
    z, flat = dem.ravel(), piece.ravel()
    out = np.zeros(level.size, dtype=np.float64)
    seen = np.zeros(4, dtype=np.int32)
    pairs = np.zeros((3, 4), dtype=np.int64)
    for row in range(rows - 1):
        for col in range(cols - 1):
            corner = _corners(row, col, cols)
            for j in range(_pieces_here(flat, level, corner, seen)):
                mine = seen[j]
                for i in range(_crossings(z, corner, level[mine], pairs)):
                    a, b = pairs[0, i], pairs[1, i]
                    if _of_piece(flat, mine, corner, a) and _of_piece(flat, mine, corner, b):
                        r0, c0 = _on_edge(z, cols, _edge(corner, a), level[mine])
                        r1, c1 = _on_edge(z, cols, _edge(corner, b), level[mine])
                        out[mine] += np.hypot(r1 - r0, c1 - c0)
    return out


@kernel
def _edge(corner, side):
    if side == 0:
        return 2 * corner[0]
    if side == 1:
        return 2 * corner[1] + 1
    if side == 2:
        return 2 * corner[3]
    return 2 * corner[0] + 1


@kernel
def _of_piece(flat, mine, corner, side):
    return flat[corner[side]] == mine or flat[corner[(side + 1) % 4]] == mine


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
