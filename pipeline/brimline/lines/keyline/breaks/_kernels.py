"""Compiled loops that try breaks of a long profile place by place.

Each fit is one of a few columns that do not depend on the place, made orthonormal once, and one or
two that do. Only what these add is worked out for each place.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel

STRAIGHT, BENT, CURVE = 0, 1, 2  # kinds of what is fitted, see `_gain`
_NOTHING = 1e-12  # part of a column's square that is left of it where it is none of its own
_SIXTH = 1.0 / 6.0
PER_SIGMA = 128.0  # entries of the table of a bell
FAR = 7.0  # standard deviations beyond which a bell rounds nothing off


@kernel
def _orthonormal(rows):
    """Make rows orthonormal in place, one after the other; rows that depend on others become 0."""
    count, n = rows.shape
    for j in range(count):
        whole, own = 0.0, 0.0
        for i in range(n):
            whole += rows[j, i] * rows[j, i]
        for k in range(j):
            along = 0.0
            for i in range(n):
                along += rows[k, i] * rows[j, i]
            for i in range(n):
                rows[j, i] -= along * rows[k, i]
        for i in range(n):
            own += rows[j, i] * rows[j, i]
        scale = 1.0 / np.sqrt(own) if own > _NOTHING * whole else 0.0
        for i in range(n):
            rows[j, i] *= scale


@kernel
def _freed(z, rows):
    """Take from values what lies along orthonormal rows."""
    left = z.copy()
    for j in range(rows.shape[0]):
        along = 0.0
        for i in range(z.size):
            along += rows[j, i] * left[i]
        for i in range(z.size):
            left[i] -= along * rows[j, i]
    return left


@kernel
def _whitened(values, rho):
    """Take from each value what the one before says of it, in place; the first stands alone."""
    for i in range(values.size - 1, 0, -1):
        values[i] -= rho * values[i - 1]
    values[0] *= np.sqrt(1.0 - rho * rho)


@kernel
def _lines(s, breaks, rho):
    """Orthonormal rows of all broken lines with given breaks, whitened."""
    n, count = s.size, breaks.size + 2
    rows = np.zeros((count, n))
    j = 0  # each station lies between two knots, at which one hat each is 1
    for i in range(n):
        while j < breaks.size and breaks[j] < s[i]:
            j += 1
        low = breaks[j - 1] if j > 0 else s[0]
        high = breaks[j] if j < breaks.size else s[n - 1]
        part = (s[i] - low) / (high - low)
        rows[j, i], rows[j + 1, i] = 1.0 - part, part
    for j in range(count):
        _whitened(rows[j], rho)
    _orthonormal(rows)
    return rows


@kernel
def off_line(s, z, breaks):
    """Take from a profile its least-squares broken line with given breaks."""
    return _freed(z, _lines(s, breaks, 0.0))


@kernel
def _place(s, value):
    """First station at or beyond a chainage."""
    low, high = 0, s.size
    while low < high:
        middle = (low + high) // 2
        if s[middle] < value:
            low = middle + 1
        else:
            high = middle
    return low


@kernel
def scan(s, z, breaks, at, rho, with_path):
    """How far one more break at each place alone explains what a broken line leaves of a profile.

    Gives the scores, in the unit of `z`, and, if `with_path` is 1, the length of the path of the
    columns over the sphere. Beside the broken line, the column of a break is a tent from the knot
    before to the knot after it. Its products with the rows come from running sums over the
    stations.
    """
    n, count = s.size, breaks.size + 3
    base = _lines(s, breaks, rho)
    white = z.copy()
    _whitened(white, rho)
    left = _freed(white, base)
    # products with a whitened tent are those of the tent with what is whitened the other way; the
    # first station stands alone, but there every tent is 0
    sums, moments = np.zeros((count, n + 1)), np.zeros((count, n + 1))
    for j in range(count):
        row = base[j] if j < count - 1 else left
        for i in range(n):
            value = row[i] - (rho * row[i + 1] if i + 1 < n else 0.0)
            sums[j, i + 1] = sums[j, i] + value
            moments[j, i + 1] = moments[j, i] + value * (s[i] - s[0])
    scores = np.zeros(at.size)
    path, own_last, first_last, end_last = 0.0, 0.0, 0, 0
    tent, tent_last = np.empty(n), np.empty(n)
    along, along_last = np.empty(count), np.empty(count)
    for p in range(at.size):
        knot = _place(breaks, at[p])
        low = breaks[knot - 1] if knot > 0 else s[0]
        high = breaks[knot] if knot < breaks.size else s[n - 1]
        first, top, end = _place(s, low), _place(s, at[p]), _place(s, high)
        up, down = 0.0, 0.0  # beyond the outer stations no break is seen
        if low < at[p] < high:
            up, down = 1.0 / (at[p] - low), 1.0 / (high - at[p])
        for j in range(count):
            rising = moments[j, top] - moments[j, first]
            rising -= (low - s[0]) * (sums[j, top] - sums[j, first])
            falling = (high - s[0]) * (sums[j, end] - sums[j, top])
            falling -= moments[j, end] - moments[j, top]
            along[j] = up * rising + down * falling
        end = min(end + 1, n)
        before, whole, own, beside = 0.0, 0.0, 0.0, 0.0
        for i in range(first, end):
            here = up * (s[i] - low) if i < top else max(down * (high - s[i]), 0.0)
            tent[i] = here - rho * before
            whole += tent[i] * tent[i]
            before = here
        if with_path == 1:
            for i in range(max(first, first_last), min(end, end_last)):
                beside += tent[i] * tent_last[i]
        own = whole
        for j in range(count - 1):
            own -= along[j] * along[j]
            beside -= along[j] * along_last[j]
        if own <= _NOTHING * whole:
            own = np.inf
        scores[p] = along[count - 1] / np.sqrt(own)
        if with_path == 1 and p > 0:
            path += np.arccos(min(max(beside / np.sqrt(own * own_last), -1.0), 1.0))
        own_last, first_last, end_last = own, first, end
        tent, tent_last = tent_last, tent
        along, along_last = along_last, along
    return scores, path


@kernel
def settled(s, z, breaks, rho, min_reach, tries, sweeps):
    """Move each break in turn to the best of many places between its neighbours."""
    count = breaks.size
    moved, others, at = np.empty(count), np.empty(max(count - 1, 0)), np.empty(tries)
    for k in range(count):
        moved[k] = breaks[k]
    place, still = 0, 0  # how many in a row are known to be at their best
    for _ in range(sweeps * count if count > 1 else count):
        for k in range(count - 1):
            others[k] = moved[k] if k < place else moved[k + 1]
        low = others[place - 1] if place > 0 else s[0]
        high = others[place] if place < count - 1 else s[s.size - 1]
        best = moved[place]
        if high - low > 2 * min_reach:
            low, high = low + min_reach, high - min_reach
            for k in range(tries):
                at[k] = k * ((high - low) / (tries - 1)) + low
            at[tries - 1] = high
            scores, _path = scan(s, z, others, at, rho, np.int64(0))
            most = -1.0
            for k in range(tries):
                if abs(scores[k]) > most:
                    best, most = at[k], abs(scores[k])
        still = still + 1 if best == moved[place] else 1
        moved[place] = best
        if still == count:
            break
        place = (place + 1) % count
    return moved


@kernel
def rounded(t, sigma, per_m, bell):
    """max(t, 0) and its square, rounded off by a bell.

    `bell` tabulates, `PER_SIGMA` to a standard deviation from -FAR on, the share of the bell up to
    there, its height, and the rounded ramp; between them Taylor's series does.
    """
    if t >= FAR * sigma:
        return t, t * t + sigma * sigma
    if t <= -FAR * sigma:
        return 0.0, 0.0
    u = t * per_m
    node = np.int64((u + FAR) * PER_SIGMA + 0.5)
    u0 = node * (1.0 / PER_SIGMA) - FAR
    d = u - u0
    share, height, ramp = bell[node, 0], bell[node, 1], bell[node, 2]
    squared = u0 * u0 - 1.0
    ramp += d * (share + height * d * (0.5 - d * (u0 * _SIXTH - d * squared * (0.25 * _SIXTH))))
    cubed = u0 * (squared - 2.0)
    share += (
        height * d * (1.0 - d * (0.5 * u0 - d * (squared * _SIXTH - d * cubed * (0.25 * _SIXTH))))
    )
    return sigma * ramp, sigma * sigma * (u * ramp + share)


@kernel
def _polynomials(s, degree):
    """Three rows: the orthonormal polynomials up to a degree of 1 or 2; without a third one, 0."""
    n = s.size
    rows = np.zeros((3, n))
    for i in range(n):
        x = (2.0 * s[i] - s[0] - s[n - 1]) / (s[n - 1] - s[0])
        rows[0, i], rows[1, i] = 1.0, x
        rows[2, i] = x * x if degree == 2 else 0.0
    _orthonormal(rows)
    return rows


@kernel
def _side(s, place, sigma):
    """Shorter side of a place (1 beyond, -1 before), and the stations that a column on it meets.

    To the other side a ramp or a bowl differs from that on this one by a line or a parabola, which
    every fit holds besides; so the shorter one will do, and is the more exact.
    """
    if place - s[0] > s[s.size - 1] - place:
        return 1, _place(s, place - FAR * sigma), s.size
    return -1, 0, _place(s, place + FAR * sigma)


@kernel
def _gain(s, rows, left, square, worth, place, sigma, per_m, bell, kind):
    """How much a joint at a place takes off the squared misfit of the polynomial; -1 if forbidden.

    Straight reaches are a line and a ramp, bent ones a parabola, a ramp and a bowl. A curve is a
    parabola and a bowl, convex before the place and concave beyond it. `square` is the part that
    the third row has in the profile, `worth` the part that it has in the parabola s².
    """
    side, first, end = _side(s, place, sigma)
    r0, r1, r2, rr, rz = 0.0, 0.0, 0.0, 0.0, 0.0
    b0, b1, b2, bb, bz = 0.0, 0.0, 0.0, 0.0, 0.0
    rb = 0.0
    for i in range(first, end):
        r, b = rounded(side * (s[i] - place), sigma, per_m, bell)
        r0 += r * rows[0, i]
        r1 += r * rows[1, i]
        r2 += r * rows[2, i]
        b0 += b * rows[0, i]
        b1 += b * rows[1, i]
        b2 += b * rows[2, i]
        rr += r * r
        rb += r * b
        bb += b * b
        rz += r * left[i]
        bz += b * left[i]
    own_r = rr - r0 * r0 - r1 * r1 - r2 * r2
    own_b = bb - b0 * b0 - b1 * b1 - b2 * b2
    if kind == CURVE:
        if own_b <= _NOTHING * bb:
            return -1.0
        here = bz / own_b
        other = (square - here * b2) / worth
        here += other
        bends_over = (other < 0.0 < here) if side > 0 else (here < 0.0 < other)
        return bz * bz / own_b if bends_over else -1.0
    gain = 0.0
    if own_r > _NOTHING * rr:
        gain = rz * rz / own_r
        if kind == BENT:
            shared = (rb - r0 * b0 - r1 * b1 - r2 * b2) / own_r
            own_b -= shared * shared * own_r
            bz -= shared * rz
    if kind == BENT and own_b > _NOTHING * bb:
        gain += bz * bz / own_b
    return gain


@kernel
def best_joint(s, z, sigma, bell, kind, tries, passes, margin):
    """Fit a description with its joint at the best place, each pass closer around the one before.

    Gives the place (NaN where there is none), what the fit leaves of the profile, and what the
    polynomial without a joint leaves.
    """
    n = s.size
    rows = _polynomials(s, 1 if kind == STRAIGHT else 2)
    left = _freed(z, rows)
    square, worth = 0.0, 0.0
    for i in range(n):
        square += rows[2, i] * z[i]
        worth += rows[2, i] * (s[i] - s[0]) ** 2
    per_m = 1.0 / sigma if sigma > 0.0 else 0.0
    low, high = s[0] + margin, s[n - 1] - margin
    best, most = np.nan, -1.0
    for _ in range(passes):
        per_try = (high - low) / (tries - 1)
        # within a bell there is one best place: every seventh is tried, then those beside the best
        stride = 7 if high - low < sigma else 1
        middle = tries // 2
        for part in range(2 if stride > 1 else 1):
            first = max(middle - stride + 1, 0) if part else 0
            last = min(middle + stride, tries) if part else tries
            for k in range(first, last, 1 if part else stride):
                place = k * per_try + low if k < tries - 1 else high
                gain = _gain(s, rows, left, square, worth, place, sigma, per_m, bell, kind)
                if gain > most:
                    best, most = place, gain
                    middle = k
        if most < 0.0:
            return best, left, left
        step = 2.0 * (high - low) / tries
        low, high = best - step, best + step
    columns = np.zeros((5, n))
    for j in range(3):
        for i in range(n):
            columns[j, i] = rows[j, i]
    side, first, end = _side(s, best, sigma)
    for i in range(first, end):
        ramp, bowl = rounded(side * (s[i] - best), sigma, per_m, bell)
        columns[3, i] = ramp if kind != CURVE else 0.0
        columns[4, i] = bowl if kind != STRAIGHT else 0.0
    _orthonormal(columns)
    return best, _freed(z, columns), left
