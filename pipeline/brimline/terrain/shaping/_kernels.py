"""Where points lie beside a line: how far along it, how far to its side, how far past its ends."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def beside(x, y, line, reach, chainage, across, beyond):
    """Fill the three from the nearest place of a polyline; points farther than `reach` get NaN.

    `across` is positive to the left of the line's direction. Past an end it counts from the end's
    own direction, and `beyond` is how far past. Of two places equally near the first one counts.
    """
    parts = line.shape[0] - 1
    length = np.empty(parts)
    along_x, along_y = np.empty(parts), np.empty(parts)
    start = np.zeros(parts)
    for k in range(parts):
        dx, dy = line[k + 1, 0] - line[k, 0], line[k + 1, 1] - line[k, 1]
        length[k] = np.hypot(dx, dy)
        along_x[k], along_y[k] = dx / length[k], dy / length[k]
        if k:
            start[k] = start[k - 1] + length[k - 1]
    for p in range(x.size):
        best, at, place = reach * reach, -1, 0.0
        for k in range(parts):
            px, py = x[p] - line[k, 0], y[p] - line[k, 1]
            t = px * along_x[k] + py * along_y[k]
            off = py * along_x[k] - px * along_y[k]
            if off * off >= best:
                continue
            clipped = min(max(t, 0.0), length[k])
            squared = off * off + (t - clipped) * (t - clipped)
            if squared < best:
                best, at, place = squared, k, t
        chainage[p], across[p], beyond[p] = np.nan, np.nan, np.nan
        if at < 0:
            continue
        px, py = x[p] - line[at, 0], y[p] - line[at, 1]
        off = py * along_x[at] - px * along_y[at]
        chainage[p] = start[at] + min(max(place, 0.0), length[at])
        across[p], beyond[p] = off, 0.0
        if place < 0.0 and at == 0:
            beyond[p] = -place
        elif place > length[at] and at == parts - 1:
            beyond[p] = place - length[at]
        elif place < 0.0 or place > length[at]:
            # a corner is nearest: its side is that of the direction halfway round it
            k = at if place < 0.0 else at + 1
            hx, hy = along_x[k - 1] + along_x[k], along_y[k - 1] + along_y[k]
            cross = (y[p] - line[k, 1]) * hx - (x[p] - line[k, 0]) * hy
            across[p] = np.sqrt(best) if cross >= 0.0 else -np.sqrt(best)


@kernel
def to_ring(x, y, ring, distance):
    """Fill the distance of points to a closed line (its last point repeats the first)."""
    for p in range(x.size):
        best = np.inf
        for k in range(ring.shape[0] - 1):
            ax, ay = ring[k, 0], ring[k, 1]
            dx, dy = ring[k + 1, 0] - ax, ring[k + 1, 1] - ay
            px, py = x[p] - ax, y[p] - ay
            squared = dx * dx + dy * dy
            t = 0.0 if squared == 0.0 else min(max((px * dx + py * dy) / squared, 0.0), 1.0)
            ox, oy = px - t * dx, py - t * dy
            best = min(best, ox * ox + oy * oy)
        distance[p] = np.sqrt(best)
