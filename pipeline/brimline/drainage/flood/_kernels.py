"""One time step of local-inertia flow on a grid: fluxes through faces, then depths.

Faces hold flow per width [m²/s]: `east[r, c]` between (r, c) and (r, c + 1), `south[r, c]` between
(r, c) and (r + 1, c); positive eastwards and southwards. Rows run in parallel; no result depends on
the order in which they do.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel, prange

GRAVITY = 9.80665


@kernel
def face_flow(z0, z1, h0, h1, q, q_before, q_after, rough, step_s, cell_m, thin_m, theta):
    """Return the new flow per width through a face, from bed levels and depths on both sides."""
    top0, top1 = z0 + h0, z1 + h1
    depth = max(top0, top1) - max(z0, z1)
    if depth <= thin_m:
        return 0.0
    smooth = theta * q + 0.5 * (1.0 - theta) * (q_before + q_after)
    driven = smooth - GRAVITY * depth * step_s * (top1 - top0) / cell_m
    drag = GRAVITY * step_s * rough * rough * abs(q) / (depth * depth * np.cbrt(depth))
    return driven / (1.0 + drag)


@kernel(parallel=True)
def fluxes(bed, depth, rough, east, south, new_east, new_south, step_s, cell_m, thin_m, theta):
    """Fill the new flows from the old ones; faces beside nodata stay shut."""
    rows, cols = bed.shape
    for r in prange(rows):
        for c in range(cols):
            new_east[r, c] = 0.0
            new_south[r, c] = 0.0
            z = bed[r, c]
            if np.isnan(z):
                continue
            if c + 1 < cols and not np.isnan(bed[r, c + 1]):
                before = east[r, c - 1] if c > 0 else 0.0
                new_east[r, c] = face_flow(
                    z, bed[r, c + 1], depth[r, c], depth[r, c + 1], east[r, c], before,
                    east[r, c + 1], 0.5 * (rough[r, c] + rough[r, c + 1]), step_s, cell_m, thin_m,
                    theta,
                )  # fmt: skip
            if r + 1 < rows and not np.isnan(bed[r + 1, c]):
                before = south[r - 1, c] if r > 0 else 0.0
                new_south[r, c] = face_flow(
                    z, bed[r + 1, c], depth[r, c], depth[r + 1, c], south[r, c], before,
                    south[r + 1, c], 0.5 * (rough[r, c] + rough[r + 1, c]), step_s, cell_m, thin_m,
                    theta,
                )  # fmt: skip


@kernel(parallel=True)
def shares(depth, east, south, edge_slope, rough, keep, leaves, step_s, cell_m, thin_m):
    """Share of the wanted outflow that each cell has water for, and what leaves at open edges.

    `keep` becomes the factor on all flows out of a cell, so that no depth falls below zero;
    `leaves` the depth lost through an open edge at normal flow [m].
    """
    rows, cols = depth.shape
    for r in prange(rows):
        for c in range(cols):
            h = depth[r, c]
            out = max(east[r, c], 0.0) + max(south[r, c], 0.0)
            if c > 0:
                out += max(-east[r, c - 1], 0.0)
            if r > 0:
                out += max(-south[r - 1, c], 0.0)
            over_edge = 0.0
            if edge_slope[r, c] > 0.0 and h > thin_m:
                over_edge = h * np.cbrt(h * h) * np.sqrt(edge_slope[r, c]) / rough[r, c]
            wanted = (out + over_edge) * step_s / cell_m
            share = 1.0
            if wanted > h:
                share = h / wanted
            keep[r, c] = share
            leaves[r, c] = over_edge * step_s / cell_m * share


@kernel(parallel=True)
def advance(bed, depth, east, south, keep, leaves, rain_m, soak_m, deficit_m, most, speed, soaked,
            row_out, row_soak, row_quickest, step_s, cell_m, thin_m):  # fmt: skip
    """Move water through the faces, add rain, take soakage; keep the greatest depth and speed.

    `soak_m` is what the ground can take in this step [m], `deficit_m` what it can still store.
    Flows are scaled by the share of the cell that they leave, in place.
    """
    rows, cols = bed.shape
    for r in prange(rows):
        out, taken, quickest = 0.0, 0.0, 0.0
        for c in range(cols):
            if np.isnan(bed[r, c]):
                continue
            net = 0.0
            q = east[r, c]
            net -= q * (keep[r, c] if q > 0.0 else (keep[r, c + 1] if c + 1 < cols else 1.0))
            q = south[r, c]
            net -= q * (keep[r, c] if q > 0.0 else (keep[r + 1, c] if r + 1 < rows else 1.0))
            if c > 0:
                q = east[r, c - 1]
                net += q * (keep[r, c - 1] if q > 0.0 else keep[r, c])
            if r > 0:
                q = south[r - 1, c]
                net += q * (keep[r - 1, c] if q > 0.0 else keep[r, c])
            h = depth[r, c] + net * step_s / cell_m - leaves[r, c] + rain_m[r, c]
            soak = min(max(h, 0.0), soak_m[r, c], deficit_m[r, c])
            deficit_m[r, c] -= soak
            soaked[r, c] += soak
            h = max(h - soak, 0.0)
            depth[r, c] = h
            out += leaves[r, c]
            taken += soak
            if h > most[r, c]:
                most[r, c] = h
            if h > thin_m:
                # speed of what leaves: the depth upstream is the depth of a face on steep ground
                u, v = max(east[r, c], 0.0), max(south[r, c], 0.0)
                if c > 0:
                    u = max(u, -east[r, c - 1])
                if r > 0:
                    v = max(v, -south[r - 1, c])
                fast = np.sqrt(u * u + v * v) / h
                # waves of gravity, and of friction on steep ground (5/3 of the speed, rounded up)
                quickest = max(quickest, np.sqrt(GRAVITY * h), 2.0 * fast)
                if fast > speed[r, c] and h > 10.0 * thin_m:
                    speed[r, c] = fast
        row_out[r] += out
        row_soak[r] += taken
        row_quickest[r] = quickest


@kernel(parallel=True)
def scale(east, south, keep):
    """Scale the flows by the share of the cell that they leave, for the next step."""
    rows, cols = east.shape
    for r in prange(rows):
        for c in range(cols):
            q = east[r, c]
            if q > 0.0:
                east[r, c] = q * keep[r, c]
            elif q < 0.0:
                east[r, c] = q * keep[r, c + 1]
            q = south[r, c]
            if q > 0.0:
                south[r, c] = q * keep[r, c]
            elif q < 0.0:
                south[r, c] = q * keep[r + 1, c]
