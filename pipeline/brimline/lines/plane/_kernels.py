"""Compiled loops over lines that lie in the plane as plain vertices."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel

BLOCK = 16  # rows that share a box
_OVER = 1e-9  # part of a leg by which lines that end on each other count as crossing


@kernel
def boxes(places):
    """West, south, east, north of each block of rows, which hold x and y of one point or more."""
    count = (places.shape[0] + BLOCK - 1) // BLOCK
    out = np.empty((count, 4), dtype=np.float64)
    for b in range(count):
        out[b, 0], out[b, 1] = np.inf, np.inf
        out[b, 2], out[b, 3] = -np.inf, -np.inf
        for i in range(b * BLOCK, min((b + 1) * BLOCK, places.shape[0])):
            for k in range(0, places.shape[1], 2):
                out[b, 0], out[b, 1] = (
                    min(out[b, 0], places[i, k]),
                    min(out[b, 1], places[i, k + 1]),
                )
                out[b, 2], out[b, 3] = (
                    max(out[b, 2], places[i, k]),
                    max(out[b, 3], places[i, k + 1]),
                )
    return out


@kernel
def box_distance2(box, b, x, y):
    """Squared distance of a point from a box; 0 inside it."""
    dx = max(box[b, 0] - x, 0.0, x - box[b, 2])
    dy = max(box[b, 1] - y, 0.0, y - box[b, 3])
    return dx * dx + dy * dy


@kernel
def leg_distance2(x, y, ax, ay, bx, by):
    """Squared distance of a point from a straight piece."""
    ex, ey = bx - ax, by - ay
    length2 = ex * ex + ey * ey
    share = ((x - ax) * ex + (y - ay) * ey) / length2 if length2 > 0.0 else 0.0
    share = min(max(share, 0.0), 1.0)
    dx, dy = x - (ax + share * ex), y - (ay + share * ey)
    return dx * dx + dy * dy


@kernel
def nearest(legs, box, x, y, most, guess):
    """Return the distance of a point from the nearest leg, at most `most`, and which it is.

    A good guess saves most of the work; -1 is none.
    """
    best, which = most * most, np.int64(-1)
    if guess >= 0:
        found = leg_distance2(x, y, legs[guess, 0], legs[guess, 1], legs[guess, 2], legs[guess, 3])
        if found < best:
            best, which = found, guess
    for b in range(box.shape[0]):
        if box_distance2(box, b, x, y) >= best:
            continue
        for i in range(b * BLOCK, min((b + 1) * BLOCK, legs.shape[0])):
            found = leg_distance2(x, y, legs[i, 0], legs[i, 1], legs[i, 2], legs[i, 3])
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
