"""Compiled loops over the surface."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def _level(dem, row, col):
    """Level of a cell, NaN outside the raster."""
    if 0 <= row < dem.shape[0] and 0 <= col < dem.shape[1]:
        return np.float64(dem[row, col])
    return np.nan


@kernel
def _neighbours(dem, row, col):
    """Levels n, s, e, w, ne, nw, se, sw, the missing ones so that a plane stays a plane."""
    z = np.float64(dem[row, col])
    n, s = _pair(z, _level(dem, row - 1, col), _level(dem, row + 1, col), z, z)
    e, w = _pair(z, _level(dem, row, col + 1), _level(dem, row, col - 1), z, z)
    ne, sw = _pair(
        z, _level(dem, row - 1, col + 1), _level(dem, row + 1, col - 1), n + e - z, s + w - z
    )
    nw, se = _pair(
        z, _level(dem, row - 1, col - 1), _level(dem, row + 1, col + 1), n + w - z, s + e - z
    )
    return n, s, e, w, ne, nw, se, sw


@kernel
def _weighed(n, s, e, w, ne, nw, se, sw, cell_m):
    """Rise eastwards and northwards by Horn's weights."""
    east = ((ne + 2.0 * e + se) - (nw + 2.0 * w + sw)) / (8.0 * cell_m)
    north = ((nw + 2.0 * n + ne) - (sw + 2.0 * s + se)) / (8.0 * cell_m)
    return east, north


@kernel
def _inner_gradient(dem, row, col, cell_m):
    """Rise at a cell with a cell on every side; NaN beside nodata."""
    n, s = np.float64(dem[row - 1, col]), np.float64(dem[row + 1, col])
    e, w = np.float64(dem[row, col + 1]), np.float64(dem[row, col - 1])
    ne, nw = np.float64(dem[row - 1, col + 1]), np.float64(dem[row - 1, col - 1])
    se, sw = np.float64(dem[row + 1, col + 1]), np.float64(dem[row + 1, col - 1])
    return _weighed(n, s, e, w, ne, nw, se, sw, cell_m)


@kernel
def _pair(centre, one, other, one_if_both_missing, other_if_both_missing):
    """Two opposite neighbours; one that is missing is the other mirrored through the centre."""
    if np.isnan(one) and np.isnan(other):
        return one_if_both_missing, other_if_both_missing
    if np.isnan(one):
        return 2.0 * centre - other, other
    if np.isnan(other):
        return one, 2.0 * centre - one
    return one, other


@kernel
def gradient(dem, cell_m):
    """Rise eastwards and northwards per metre, Horn's weights 1 2 1."""
    rows, cols = dem.shape
    east = np.empty((rows, cols), dtype=np.float32)
    north = np.empty((rows, cols), dtype=np.float32)
    for row in range(rows):
        inner_row = 0 < row < rows - 1
        for col in range(cols):
            rise = (np.nan, np.nan)
            if not np.isnan(dem[row, col]):
                if inner_row and 0 < col < cols - 1:
                    rise = _inner_gradient(dem, row, col, cell_m)
                if np.isnan(rise[0] + rise[1]):  # beside nodata or the edge
                    n, s, e, w, ne, nw, se, sw = _neighbours(dem, row, col)
                    rise = _weighed(n, s, e, w, ne, nw, se, sw, cell_m)
            east[row, col], north[row, col] = rise
    return east, north


@kernel
def steepness(dem, cell_m):
    """Steepness in per cent, from the rises that `gradient` gives.

    The loop over a row's inner cells is plain arithmetic, so that it runs many cells at a time;
    cells beside the edge or nodata come out missing and are worked out once more with care.
    """
    rows, cols = dem.shape
    steep = np.empty((rows, cols), dtype=np.float32)
    for row in range(rows):
        here = steep[row]
        if 0 < row < rows - 1 and cols > 2:
            _inner_steepness(dem[row - 1], dem[row], dem[row + 1], here[1 : cols - 1], cell_m)
            here[0], here[cols - 1] = np.nan, np.nan
        else:
            here[:] = np.nan
        for col in range(cols):
            if np.isnan(here[col]) and not np.isnan(dem[row, col]):
                n, s, e, w, ne, nw, se, sw = _neighbours(dem, row, col)
                east, north = _weighed(n, s, e, w, ne, nw, se, sw, cell_m)
                here[col] = _per_cent(np.float32(east), np.float32(north))
    return steep


@kernel
def _per_cent(east, north):
    return np.float32(np.sqrt(np.float64(east) ** 2 + np.float64(north) ** 2)) * np.float32(100.0)


@kernel
def _inner_steepness(above, level, below, steep, cell_m):
    """Steepness of the inner cells of a row; NaN where one of the nine is nodata."""
    count = steep.size
    nw, north, ne = above[:count], above[1 : count + 1], above[2:]
    west, here, east = level[:count], level[1 : count + 1], level[2:]
    sw, south, se = below[:count], below[1 : count + 1], below[2:]
    for col in range(count):
        right, up = _weighed(
            np.float64(north[col]),
            np.float64(south[col]),
            np.float64(east[col]),
            np.float64(west[col]),
            np.float64(ne[col]),
            np.float64(nw[col]),
            np.float64(se[col]),
            np.float64(sw[col]),
            cell_m,
        )
        known = here[col] - here[col]  # NaN at nodata, 0 elsewhere
        steep[col] = _per_cent(np.float32(right), np.float32(up)) + known


@kernel
def bend_along_contour(dem, cell_m):
    """Second derivative along the contour over the fitted surface; positive gathers water."""
    rows, cols = dem.shape
    bend = np.full((rows, cols), np.nan, dtype=np.float32)
    for row in range(rows):
        for col in range(cols):
            if np.isnan(dem[row, col]):
                continue
            z = np.float64(dem[row, col])
            n, s, e, w, ne, nw, se, sw = _neighbours(dem, row, col)
            fx = (e - w) / (2.0 * cell_m)
            fy = (n - s) / (2.0 * cell_m)
            fxx = (e - 2.0 * z + w) / (cell_m * cell_m)
            fyy = (n - 2.0 * z + s) / (cell_m * cell_m)
            fxy = (ne + sw - nw - se) / (4.0 * cell_m * cell_m)
            steep2 = fx * fx + fy * fy
            if steep2 == 0.0:
                bend[row, col] = 0.0
                continue
            along = fxx * fy * fy - 2.0 * fxy * fx * fy + fyy * fx * fx
            bend[row, col] = along / (steep2 * np.sqrt(1.0 + steep2))
    return bend
