"""Kernels of gridding: triangles read at cell centres."""

import math

from brimline._jit import kernel

EDGE = 1e-9  # share of a triangle by which rounding may put a cell on an edge outside both


@kernel
def read_triangles(row, col, level_m, corners, wanted, out):
    """Interpolate linearly over every triangle at the wanted cells that it holds.

    row, col float64 (points,), whole numbers are cell centres; level_m float64 (points,);
    corners int32 (triangles, 3); wanted bool (rows, cols); out float32 (rows, cols), written.
    A cell on an edge takes its level from the later of the two triangles: they agree there.
    """
    rows, cols = wanted.shape
    for t in range(corners.shape[0]):
        a, b, c = corners[t, 0], corners[t, 1], corners[t, 2]
        # twice the signed area; the corners' own weights are parts of it
        area = (row[b] - row[a]) * (col[c] - col[a]) - (row[c] - row[a]) * (col[b] - col[a])
        if area == 0.0:
            continue
        top = max(0, math.ceil(min(row[a], row[b], row[c])))
        bottom = min(rows - 1, math.floor(max(row[a], row[b], row[c])))
        left = max(0, math.ceil(min(col[a], col[b], col[c])))
        right = min(cols - 1, math.floor(max(col[a], col[b], col[c])))
        for i in range(top, bottom + 1):
            for j in range(left, right + 1):
                if not wanted[i, j]:
                    continue
                of_b = ((i - row[a]) * (col[c] - col[a]) - (row[c] - row[a]) * (j - col[a])) / area
                of_c = ((row[b] - row[a]) * (j - col[a]) - (i - row[a]) * (col[b] - col[a])) / area
                of_a = 1.0 - of_b - of_c
                if of_a >= -EDGE and of_b >= -EDGE and of_c >= -EDGE:
                    out[i, j] = of_a * level_m[a] + of_b * level_m[b] + of_c * level_m[c]
