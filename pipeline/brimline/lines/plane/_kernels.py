"""Compiled loops over lines that lie in the plane as plain vertices."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel

BLOCK = 16  # legs
_OVER = 1e-9  # part of a leg by which lines that end on each other count as crossing


@kernel
def boxes(legs):
    """West, south, east, north of each block of legs."""
    count = (legs.shape[0] + BLOCK - 1) // BLOCK
    out = np.empty((count, 4), dtype=np.float64)
    for b in range(count):
        out[b, 0], out[b, 1] = np.inf, np.inf
        out[b, 2], out[b, 3] = -np.inf, -np.inf
        for i in range(b * BLOCK, min((b + 1) * BLOCK, legs.shape[0])):
            out[b, 0] = min(out[b, 0], legs[i, 0], legs[i, 2])
            out[b, 1] = min(out[b, 1], legs[i, 1], legs[i, 3])
            out[b, 2] = max(out[b, 2], legs[i, 0], legs[i, 2])
            out[b, 3] = max(out[b, 3], legs[i, 1], legs[i, 3])
    return out


@kernel
def _leg_distance2(legs, i, x, y):
    """Square of the distance of a point from a leg."""
    ax, ay = legs[i, 0], legs[i, 1]
    dx, dy = legs[i, 2] - ax, legs[i, 3] - ay
    length2 = dx * dx + dy * dy
    part = ((x - ax) * dx + (y - ay) * dy) / length2 if length2 > 0.0 else 0.0
    part = min(max(part, 0.0), 1.0)
    ex, ey = x - ax - part * dx, y - ay - part * dy
    return ex * ex + ey * ey


@kernel
def nearest(legs, box, x, y, most, guess):
    """Return the distance of a point from the nearest leg, at most `most`, and which it is.

    A good guess saves most of the work; -1 is none.
    """
    best, which = most * most, np.int64(-1)
    if guess >= 0:
        found = _leg_distance2(legs, guess, x, y)
        if found < best:
            best, which = found, guess
    for b in range(box.shape[0]):
        dx = max(box[b, 0] - x, 0.0, x - box[b, 2])
        dy = max(box[b, 1] - y, 0.0, y - box[b, 3])
        if dx * dx + dy * dy >= best:
            continue
        for i in range(b * BLOCK, min((b + 1) * BLOCK, legs.shape[0])):
            found = _leg_distance2(legs, i, x, y)
            if found < best:
                best, which = found, i
    return np.sqrt(best), which


@kernel
def nearer(points, index, own, own_box, others, others_box, most):
    """By how much each point is nearer to its own legs than to the others, to within `most`.

    Points follow each other along lines. What the difference changes by on the way from point to
    point is no more than twice that way; so, far from where it matters, points are passed over and
    have what they have at least.
    """
    out = np.empty(points.shape[0], dtype=np.float64)
    mine, theirs = np.int64(-1), np.int64(-1)
    spare, way = -np.inf, 0.0
    for p in range(points.shape[0]):
        x, y = points[p, 0], points[p, 1]
        if p > 0 and index[p] == index[p - 1]:
            way += np.hypot(x - points[p - 1, 0], y - points[p - 1, 1])
        else:
            spare = -np.inf
        if spare - 2.0 * way > most:
            out[p] = spare - 2.0 * way
            continue
        a, mine = nearest(own, own_box, x, y, np.inf, mine)
        b, theirs = nearest(others, others_box, x, y, np.inf, theirs)
        spare, way = b - a, 0.0
        out[p] = spare
    return out


@kernel
def crossings(points, legs, box):
    """Chainages at which a line crosses legs, rising; it may do so several times at one place."""
    found = np.empty(16, dtype=np.float64)
    count = 0
    at = 0.0
    for p in range(points.shape[0] - 1):
        x0, y0, x1, y1 = points[p, 0], points[p, 1], points[p + 1, 0], points[p + 1, 1]
        dx, dy = x1 - x0, y1 - y0
        west, east, south, north = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
        first = count
        for b in range(box.shape[0]):
            if box[b, 0] > east or box[b, 2] < west or box[b, 1] > north or box[b, 3] < south:
                continue
            for i in range(b * BLOCK, min((b + 1) * BLOCK, legs.shape[0])):
                ex, ey = legs[i, 2] - legs[i, 0], legs[i, 3] - legs[i, 1]
                across = dx * ey - dy * ex
                if across == 0.0:
                    continue
                fx, fy = legs[i, 0] - x0, legs[i, 1] - y0
                along, aside = (fx * ey - fy * ex) / across, (fx * dy - fy * dx) / across
                if -_OVER <= along <= 1.0 + _OVER and -_OVER <= aside <= 1.0 + _OVER:
                    if count == found.size:
                        more = np.empty(2 * count, dtype=np.float64)
                        for k in range(count):
                            more[k] = found[k]
                        found = more
                    place = at + along * np.sqrt(dx * dx + dy * dy)
                    k = count
                    while k > first and found[k - 1] > place:
                        found[k] = found[k - 1]
                        k -= 1
                    found[k] = place
                    count += 1
        at += np.sqrt(dx * dx + dy * dy)
    return found[:count]
