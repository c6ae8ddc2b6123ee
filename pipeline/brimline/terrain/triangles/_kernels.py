"""Right-angled triangles that halve until they follow a surface.

The square of side 2^k is two triangles along its diagonal. A triangle is halved at the middle of
its longest side; two triangles share that side and are halved together, so no cracks open. Middles
of diagonals and of level or upright sides alternate from halving to halving.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def _miss(one, other, middle):
    """Departure of a middle from the straight line; infinite where only some are known."""
    unknown = np.isnan(one) + np.isnan(other) + np.isnan(middle)
    if unknown == 3:
        return 0.0
    return np.inf if unknown else abs(0.5 * (one + other) - middle)


@kernel
def errors(level):
    """Error of not halving at each place, that of all later halvings included [m].

    `level` is (n, n) with n = 2^k + 1; NaN is nodata.
    """
    n = level.shape[0]
    found = np.zeros((n, n))
    s = 1
    while 2 * s < n:
        half = s // 2
        # middles of level and upright sides of length 2 s
        for i in range(0, n, s):
            for j in range(0, n, s):
                if (i // s + j // s) % 2 == 0:
                    continue
                if (i // s) % 2:
                    worst = _miss(level[i - s, j], level[i + s, j], level[i, j])
                else:
                    worst = _miss(level[i, j - s], level[i, j + s], level[i, j])
                if half:
                    for di in (-half, half):
                        for dj in (-half, half):
                            if 0 <= i + di < n and 0 <= j + dj < n:
                                worst = max(worst, found[i + di, j + dj])
                found[i, j] = worst
        # middles of diagonals of squares of side 2 s: from the corner that is even in units of
        # 2 s in both directions, to the one that is odd
        for i in range(s, n, 2 * s):
            for j in range(s, n, 2 * s):
                di = s if ((i + s) // (2 * s)) % 2 else -s
                dj = s if ((j + s) // (2 * s)) % 2 else -s
                worst = _miss(level[i - di, j - dj], level[i + di, j + dj], level[i, j])
                worst = max(worst, found[i - s, j], found[i + s, j])
                worst = max(worst, found[i, j - s], found[i, j + s])
                found[i, j] = worst
        s *= 2
    return found


@kernel
def triangles(level, error, limit):
    """Corners (row, col) of the triangles that are left, (triangles, 6); none touches nodata.

    Counter-clockwise as seen on a map, rows running southwards.
    """
    n = level.shape[0]
    last = n - 1
    count, found = 0, np.empty((1024, 6), np.int32)
    stack = np.empty((64, 6), np.int64)
    stack[0] = np.array([last, last, 0, 0, last, 0])
    stack[1] = np.array([0, 0, last, last, 0, last])
    depth = 2
    while depth:
        depth -= 1
        ai, aj, bi, bj, ci, cj = stack[depth]
        mi, mj = (ai + bi) // 2, (aj + bj) // 2
        whole = (ai + bi) % 2 == 0 and (aj + bj) % 2 == 0  # the middle is a place of the grid
        if whole and error[mi, mj] > limit:
            stack[depth] = np.array([ci, cj, ai, aj, mi, mj])
            stack[depth + 1] = np.array([bi, bj, ci, cj, mi, mj])
            depth += 2
            continue
        if np.isnan(level[ai, aj]) or np.isnan(level[bi, bj]) or np.isnan(level[ci, cj]):
            continue
        if count == found.shape[0]:
            grown = np.empty((2 * count, 6), np.int32)
            grown[:count] = found
            found = grown
        found[count] = np.array([ai, aj, bi, bj, ci, cj])
        count += 1
    return found[:count]


@kernel
def worst_miss(level, corners):
    """Largest departure of triangles from the surface at the places of its grid."""
    worst = 0.0
    for k in range(corners.shape[0]):
        ai, aj, bi, bj, ci, cj = corners[k]
        area = (bi - ai) * (cj - aj) - (ci - ai) * (bj - aj)
        a, b, c = level[ai, aj], level[bi, bj], level[ci, cj]
        for i in range(min(ai, bi, ci), max(ai, bi, ci) + 1):
            for j in range(min(aj, bj, cj), max(aj, bj, cj) + 1):
                u = ((i - ai) * (cj - aj) - (ci - ai) * (j - aj)) / area
                v = ((bi - ai) * (j - aj) - (i - ai) * (bj - aj)) / area
                if u >= 0.0 and v >= 0.0 and u + v <= 1.0:
                    worst = max(worst, abs(a + u * (b - a) + v * (c - a) - level[i, j]))
    return worst
