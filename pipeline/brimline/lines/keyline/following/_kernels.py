"""Compiled loops that follow one level line from square to square of four cell centres."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def _turned(dem, row, col, level, side, way):
    """Side by which the line that meets a square at `side` goes on; -1 where it does not.

    `way` is 1 with the higher ground on the right, and -1 against it.
    Sides are numbered clockwise from the upper one. Going clockwise round the square, a line
    enters where ground turns from high to low and leaves where it turns back: the higher ground is
    on its right. A saddle whose middle is low keeps its two high corners apart.
    """
    rows, cols = dem.shape
    if row < 0 or col < 0 or row >= rows - 1 or col >= cols - 1:
        return -1
    total, number, other = 0.0, 0, -1
    for i in range(4):
        z0, z1 = _ends(dem, row, col, i)
        total += z0
        if (z0 > level) != (z1 > level):
            number += 1
            other = i if i != side else other
    if np.isnan(total) or number == 0:
        return -1
    if number == 2:
        return other
    return (side + (way if total / 4.0 > level else -way)) % 4


@kernel
def _ends(dem, row, col, side):
    """Levels at both ends of a square's side, clockwise."""
    r0, c0 = row + (1 if side >= 2 else 0), col + (1 if 0 < side < 3 else 0)
    r1, c1 = row + (1 if 0 < side < 3 else 0), col + (1 if side <= 1 else 0)
    return np.float64(dem[r0, c0]), np.float64(dem[r1, c1])


@kernel
def _crossing(dem, row, col, level, side):
    """Position (row, col) of a level on a square's side."""
    z0, z1 = _ends(dem, row, col, side)
    if side >= 2:  # from the west and the north, from whichever square it is looked at
        z0, z1 = z1, z0
    part = (level - z0) / (z1 - z0)
    if side % 2 == 0:
        return row + (1.0 if side == 2 else 0.0), col + part
    return row + part, col + (1.0 if side == 1 else 0.0)


@kernel
def nearest(dem, level, row, col, reach):
    """Find the piece of the level line that comes nearest to a position.

    Gives its square, the sides by which it enters and leaves it, and the position on it; a square
    of -1 where none comes within `reach` cells. Of equally near ones the first in raster order.
    """
    rows, cols = dem.shape
    found = (-1, -1, -1, -1)
    at_row, at_col, least = row, col, reach
    first, last = max(np.int64(row - reach) - 1, 0), min(np.int64(row + reach) + 1, rows - 2)
    for r in range(first, last + 1):
        for c in range(max(np.int64(col - reach) - 1, 0), min(np.int64(col + reach) + 2, cols - 1)):
            for side in range(4):
                z0, z1 = _ends(dem, r, c, side)
                if not z0 > level or z1 > level:  # a line enters here
                    continue
                out = _turned(dem, r, c, level, side, np.int64(1))
                if out < 0:
                    continue
                r0, c0 = _crossing(dem, r, c, level, side)
                r1, c1 = _crossing(dem, r, c, level, out)
                long2 = (r1 - r0) ** 2 + (c1 - c0) ** 2
                if long2 == 0.0:
                    continue  # it only touches a centre
                part = ((row - r0) * (r1 - r0) + (col - c0) * (c1 - c0)) / long2
                part = min(max(part, 0.0), 1.0)
                on_row, on_col = r0 + part * (r1 - r0), c0 + part * (c1 - c0)
                away = np.hypot(row - on_row, col - on_col)
                if away < least or (away == least and found[0] < 0):
                    found = (r, c, side, out)
                    at_row, at_col, least = on_row, on_col, away
    return found, at_row, at_col


@kernel
def followed(dem, level, square, at_row, at_col, way, reach):
    """Follow a level line from a position on it, until it is `reach` cells long or ends.

    Gives the points (row, col), the position first, and whether the line has come round to it.
    """
    row, col, entered, left = square
    side, back = (left, entered) if way == 1 else (entered, left)
    first_row, first_col = row, col
    size = 256
    out = np.empty((size, 2), dtype=np.float64)
    out[0, 0], out[0, 1] = at_row, at_col
    count, length = 1, 0.0
    while True:
        r, c = _crossing(dem, row, col, level, side)
        length += np.hypot(r - out[count - 1, 0], c - out[count - 1, 1])
        if count == size:
            size *= 2
            larger = np.empty((size, 2), dtype=np.float64)
            for i in range(count):
                larger[i, 0], larger[i, 1] = out[i, 0], out[i, 1]
            out = larger
        out[count, 0], out[count, 1] = r, c
        count += 1
        if length >= reach:
            return out[:count].copy(), False
        row += 1 if side == 2 else -1 if side == 0 else 0  # over the side into the next square
        col += 1 if side == 1 else -1 if side == 3 else 0
        side = (side + 2) % 4
        if row == first_row and col == first_col and side == back:
            return out[:count].copy(), True
        side = _turned(dem, row, col, level, side, way)
        if side < 0:
            return out[:count].copy(), False
