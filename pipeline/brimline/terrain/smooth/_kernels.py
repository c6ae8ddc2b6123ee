"""Compiled loops of the smoothing bell, for one block of cells.

Sums run over whole rows, so that the compiler adds many columns at a time without changing the
order in which a cell's own sum is taken.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def take(surface, top, left, z, known):
    """Copy heights above a datum, 0 where there are none; the datum and how many are missing."""
    rows, cols = surface.shape
    high, wide = z.shape
    begin, end = max(left, 0), min(left + wide, cols)
    datum = _any_level(surface, max(top, 0), min(top + high, rows), begin, end)
    missing = 0
    for i in range(high):
        z_row, known_row = z[i], known[i]
        for j in range(wide):
            z_row[j] = np.float32(0.0)
            known_row[j] = False
        missing += wide
        if 0 <= top + i < rows:
            levels = surface[top + i, begin:end]
            missing -= _above(levels, datum, z_row[begin - left :], known_row[begin - left :])
    return datum, missing


@kernel
def _any_level(surface, top, bottom, left, right):
    """Level of the first cell that has one; 0 where none has."""
    for i in range(top, bottom):
        for j in range(left, right):
            if not np.isnan(surface[i, j]):
                return surface[i, j]
    return np.float32(0.0)


@kernel
def _above(levels, datum, z, known):
    """Heights of a row above a datum; how many there are."""
    found = 0
    for j in range(levels.size):
        height = levels[j] - datum
        there = height == height
        z[j] = height if there else np.float32(0.0)
        known[j] = there
        found += there
    return found


@kernel
def mean(z, weight, datum, out, row, col):
    """Write the mean by the bell, missing cells counting as if they lay at the datum."""
    reach = weight.size - 1
    high = min(z.shape[0] - 2 * reach, out.shape[0] - row)
    wide = min(z.shape[1] - 2 * reach, out.shape[1] - col)
    down = np.empty(z.shape[1], dtype=np.float32)
    across = np.empty(wide, dtype=np.float32)
    for i in range(high):
        _scale(down, z[i + reach], weight[0])
        for k in range(1, reach + 1):
            _add_pair(down, z[i + reach - k], z[i + reach + k], weight[k])
        _scale(across, down[reach : reach + wide], weight[0])
        for k in range(1, reach + 1):
            before, after = reach - k, reach + k
            _add_pair(across, down[before : before + wide], down[after : after + wide], weight[k])
        for j in range(wide):
            out[row + i, col + j] = across[j] + datum


@kernel
def _scale(total, values, weight):
    for j in range(total.size):
        total[j] = weight * values[j]


@kernel
def _add_pair(total, one, other, weight):
    for j in range(total.size):
        total[j] += weight * (one[j] + other[j])


@kernel
def correct(z, known, weight, sigma, datum, out, row, col):
    """Put the fitted plane in place of the mean where cells within reach are missing."""
    reach = weight.size - 1
    high = min(z.shape[0] - 2 * reach, out.shape[0] - row)
    wide = min(z.shape[1] - 2 * reach, out.shape[1] - col)
    span = z.shape[1]
    missing = np.zeros(span, dtype=np.int64)  # in each column, within reach above and below
    down = (np.empty(span), np.empty(span), np.empty(span), np.empty(span), np.empty(span))
    wanted = np.empty(wide, dtype=np.bool_)
    for i in range(2 * reach):
        for j in range(span):
            missing[j] += not known[i, j]
    for i in range(high):
        for j in range(span):
            missing[j] += not known[i + 2 * reach, j]
        near = 0
        for j in range(2 * reach):
            near += missing[j]
        for j in range(wide):
            near += missing[j + 2 * reach]
            wanted[j] = near > 0 and known[i + reach, j + reach]
            if not known[i + reach, j + reach]:
                out[row + i, col + j] = np.nan
            near -= missing[j]
        for j in range(span):
            missing[j] -= not known[i, j]
        done = 0  # columns of the window whose moments down are there
        for j in range(wide):
            if wanted[j]:
                for c in range(max(done, j), j + 2 * reach + 1):
                    _moments_down(z, known, weight, i + reach, c, down)
                done = j + 2 * reach + 1
                out[row + i, col + j] = datum + _plane(down, weight, j + reach, sigma)


@kernel
def _moments_down(z, known, weight, row, col, down):
    """Moments along a column about a cell: second order of what is known, first of heights."""
    reach = weight.size - 1
    here = weight[0] if known[row, col] else 0.0
    w0, w1, w2 = here, 0.0, 0.0
    z0, z1 = here * z[row, col], 0.0
    for k in range(1, reach + 1):
        weight1 = weight[k] * k
        weight2 = weight1 * k
        before, after = np.float64(known[row - k, col]), np.float64(known[row + k, col])
        w0 += weight[k] * (after + before)
        w1 += weight1 * (after - before)
        w2 += weight2 * (after + before)
        before, after = np.float64(z[row - k, col]), np.float64(z[row + k, col])
        z0 += weight[k] * (after + before)
        z1 += weight1 * (after - before)
    down[0][col], down[1][col], down[2][col], down[3][col], down[4][col] = w0, w1, w2, z0, z1


@kernel
def _plane(down, weight, col, sigma):
    """Height at a cell of the plane fitted to its surroundings, weighted by bell and validity."""
    w0, w1, w2, z0, z1 = down
    middle = weight[0]
    one, r, rr = middle * w0[col], middle * w1[col], middle * w2[col]
    s, sr = middle * z0[col], middle * z1[col]
    c, cc, rc, sc = 0.0, 0.0, 0.0, 0.0
    for k in range(1, weight.size):
        plain, first = weight[k], weight[k] * k
        before, after = w0[col - k], w0[col + k]
        one += plain * (after + before)
        c += first * (after - before)
        cc += first * k * (after + before)
        before, after = w1[col - k], w1[col + k]
        r += plain * (after + before)
        rc += first * (after - before)
        rr += plain * (w2[col + k] + w2[col - k])
        before, after = z0[col - k], z0[col + k]
        s += plain * (after + before)
        sc += first * (after - before)
        sr += plain * (z1[col + k] + z1[col - k])
    # Cramer's rule on the 3 × 3 normal equations for the constant term
    m0, m1, m2 = rr * cc - rc * rc, r * cc - c * rc, r * rc - c * rr
    determinant = one * m0 - r * m1 + c * m2
    if determinant > 1e-9 * one**3 * sigma**4:
        return (s * m0 - r * (sr * cc - sc * rc) + c * (sr * rc - sc * rr)) / determinant
    return s / one  # where valid cells lie in one line no plane is defined
