"""One time step of local-inertia flow on a grid, in a single sweep down the rows.

Faces hold flow per width [m²/s]: `east[r, c]` between (r, c) and (r, c + 1), `south[r, c]` between
(r, c) and (r + 1, c); positive eastwards and southwards. Every array is one cell wider on each side
than the ground, and that rim is a wall, so that no loop needs to ask where the edge is.

A step reads the old water and writes the new one, so bands of rows may be swept side by side; what
a band needs of its neighbours' rows it works out for itself from the old water, with the same
result. Flows and friction are float32, levels and volumes float64: what leaves one cell is the very
number that enters the next.

Each row goes through several short loops over few arrays because that is what the compiler turns
into vector instructions: it gives up where many arrays might overlap, and never reorders sums.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from brimline._jit import kernel

GRAVITY = 9.80665
WALL_M = 1e9  # level of the bed where there is no ground
THIN_M = np.float32(1e-5)  # water this thin does not flow
TRACE_M = 1e-12  # water this thin stays where it is, or it would dwindle for ever
SEEN_M = 1e-3  # speeds are kept where water is deeper
THETA = np.float32(0.8)  # de Almeida et al. (2012): 1 is the scheme of Bates et al. (2010)

_ZERO, _ONE, _TWO, _FOUR = (np.float32(number) for number in (0, 1, 2, 4))
_QUARTER, _HALF = np.float32(0.25), np.float32(0.5)
_NEARLY_ALL = 1 - 2.0**-19  # of a cell's water may leave, so that float32 never takes more
_THIRD_OF_BIAS = np.int32(709_921_077)  # of float32's exponent: a cube root good to 4 %


class Land(NamedTuple):
    """What does not change; arrays (rows + 2, cols + 2) but for the open cells.

    `kind` says which rain falls, 0 none; `rate` is what soaks in [m/s], `room` what the soil can
    take [m]; `open_start[r]` to `open_start[r + 1]` are the places of row r in `open_col` and
    `open_pull`, sqrt(slope)/n.
    `begin` and `end` are the span of each row that is looked at: all ground of the row and of its
    two neighbours, and a wall on each side; both 0 where there is none.
    """

    bed: np.ndarray
    rough: np.ndarray
    kind: np.ndarray
    rate: np.ndarray
    room: np.ndarray
    open_start: np.ndarray
    open_col: np.ndarray
    open_pull: np.ndarray
    begin: np.ndarray
    end: np.ndarray


class Water(NamedTuple):
    """Depth, flows, and which rows hold water that can flow."""

    depth: np.ndarray
    east: np.ndarray
    south: np.ndarray
    awake: np.ndarray


class Marks(NamedTuple):
    """What is kept over the run: greatest depth and speed, water soaked in and left by row."""

    most: np.ndarray
    speed: np.ndarray
    soaked: np.ndarray
    left: np.ndarray


def _quick(function):
    return kernel(function, error_model="numpy")  # division must not raise, or nothing is vector


@_quick
def _levels(bed, depth, level):
    for c in range(level.size):
        level[c] = bed[c] + depth[c]


@_quick
def _faces(bed, bed_beyond, level, level_beyond, deep, rise):
    """Depth of flow through faces, at least `THIN_M`, and rise of the water across them."""
    for c in range(deep.size):
        over = max(level[c], level_beyond[c]) - max(bed[c], bed_beyond[c])
        deep[c] = max(np.float32(over), THIN_M)
    for c in range(rise.size):
        rise[c] = np.float32(level_beyond[c] - level[c])


@_quick
def _drags(deep, rough, rough_beyond, root, weight, drag):
    """Drag g Δt n² / h^(7/3) of faces; the cube root by bits and a step of Halley, good to 3e-5."""
    bits, found = deep.view(np.int32), root.view(np.int32)
    for c in range(bits.size):
        third = bits[c] >> 2
        third += third >> 2
        third += third >> 4
        third += third >> 8
        found[c] = third + _THIRD_OF_BIAS
    for c in range(drag.size):
        h, x = deep[c], root[c]
        cube = x * x * x
        x *= (cube + h + h) / (cube + cube + h)
        n = _HALF * (rough[c] + rough_beyond[c])
        drag[c] = weight * n * n / (h * h * x)


@_quick
def _means(one, two, three, four, mean):
    for c in range(mean.size):
        mean[c] = _QUARTER * ((one[c] + two[c]) + (three[c] + four[c]))


@_quick
def _flows(old, before, after, across, deep, rise, drag, push, new):
    """Flow through faces after a step; see `brimline.drainage.flood.solver` for the formula."""
    for c in range(new.size):
        q, t, k = old[c], across[c], drag[c]
        driven = THETA * q + _HALF * (_ONE - THETA) * (before[c] + after[c])
        driven -= push * deep[c] * rise[c]
        sideways = t * (_ONE + k * np.sqrt(q * q + t * t))
        both = np.sqrt(driven * driven + sideways * sideways)
        size = _TWO * both / (_ONE + np.sqrt(_ONE + _FOUR * k * both))
        flow = driven / (_ONE + k * size)
        new[c] = flow if deep[c] > THIN_M else _ZERO


@_quick
def _share(east, west, south, north, over_edge, per_cell, has):
    """Share of a cell's wanted outflow that it has water for."""
    out = max(east, _ZERO) + max(-west, _ZERO) + max(south, _ZERO) + max(-north, _ZERO)
    wanted = (out + over_edge) * per_cell
    gives = has * _NEARLY_ALL if has > TRACE_M else 0.0
    return gives / wanted if wanted > gives else 1.0


@_quick
def _keeps(depth, east, west, south, north, per_cell, keep):
    for c in range(keep.size):
        keep[c] = np.float32(_share(east[c], west[c], south[c], north[c], 0.0, per_cell, depth[c]))


@_quick
def _kept(flow, keep, keep_beyond, scaled):
    """Flows scaled by the share of the cell that they leave."""
    for c in range(scaled.size):
        q, one, other = flow[c], keep[c], keep_beyond[c]
        scaled[c] = q * (one if q > _ZERO else other)


@_quick
def _rained(kind, falls_m, rain):
    """Rain of each cell, by its kind."""
    if falls_m.size == 2:
        all_over = falls_m[1]
        for c in range(rain.size):
            rain[c] = all_over * kind[c]  # walls are of kind 0
    else:
        for c in range(rain.size):
            rain[c] = falls_m[kind[c]]


@_quick
def _moved(rain, depth, east, west, south, north, per_cell, new):
    """Depth after flow and rain."""
    for c in range(new.size):
        net = np.float64(west[c]) - np.float64(east[c])
        net += np.float64(north[c]) - np.float64(south[c])
        new[c] = depth[c] + (net * per_cell + rain[c])


@_quick
def _soaked(rate, room, step_s, soaked, depth):
    """Take what the ground can from depths, which rounding may have left a hair below 0."""
    for c in range(depth.size):
        has = max(depth[c], 0.0)
        taken = min(has, rate[c] * step_s, room[c] - soaked[c])
        soaked[c] += taken
        depth[c] = has - taken


@_quick
def _speeds(flow, deep, speed):
    for c in range(speed.size):
        speed[c] = flow[c] / deep[c]


@_quick
def _fastest(east, west, south, north, fast):
    """Speed of what leaves each cell, from the speeds through its faces."""
    for c in range(fast.size):
        u = max(east[c], -west[c], _ZERO)
        v = max(south[c], -north[c], _ZERO)
        fast[c] = np.sqrt(u * u + v * v)


@_quick
def _kept_marks(depth, fast, most, speed):
    for c in range(depth.size):
        h, v = np.float32(depth[c]), fast[c]
        most[c] = max(h, most[c])
        seen = v if depth[c] > SEEN_M else _ZERO
        speed[c] = max(seen, speed[c])


@_quick
def _extremes(depth, fast, deepest, quickest):
    """Greatest depth and speed in each column so far; return how many cells can flow."""
    wet = 0
    for c in range(depth.size):
        h, v = np.float32(depth[c]), fast[c]
        deepest[c] = max(h, deepest[c])
        quickest[c] = max(v, quickest[c])
    for c in range(depth.size):
        wet += 1 if depth[c] > THIN_M else 0
    return wet


@_quick
def _over_edge(depth, pull):
    """Flow per width over an open edge at normal depth, h^(5/3) sqrt(slope)/n [m²/s]."""
    return depth * np.cbrt(depth * depth) * pull if depth > THIN_M else 0.0


@_quick
def sweep(land, old, new, marks, first, last, step_s, cell_m, falls_m, soaks):
    """Take rows `first` to `last` - 1 through one step; return their greatest depth and speed.

    Reads `old`, writes those rows of `new` and `marks`. Flows of two rows above and one below are
    worked out again, because the outflow of a neighbour is limited by all four of its faces.
    """
    rows, width = land.bed.shape[0] - 2, land.bed.shape[1]
    per_cell = step_s / cell_m
    weight, push = np.float32(GRAVITY * step_s), np.float32(GRAVITY * step_s / cell_m)
    level, level_below, rain = np.zeros(width), np.zeros(width), np.zeros(width)
    # rings of the last rows; past the span of its row each holds what a wall would
    east, south = np.zeros((3, width), np.float32), np.zeros((3, width), np.float32)
    keep = np.ones((3, width), np.float32)
    deep_e, deep_s = np.full((2, width), THIN_M), np.full((2, width), THIN_M)
    speed_e, speed_s = np.zeros(width, np.float32), np.zeros((2, width), np.float32)
    rise, root = np.zeros(width, np.float32), np.zeros(width, np.float32)
    drag, across = np.zeros(width, np.float32), np.zeros(width, np.float32)
    fast, above = np.zeros(width, np.float32), np.zeros(width, np.float32)
    deepest, quickest = np.zeros(width, np.float32), np.zeros(width, np.float32)
    for i in range(max(first - 2, 0), last + 1):
        a, b = land.begin[i], land.end[i]
        awake = 1 <= i <= rows and b > a and (old.awake[i] or old.awake[i + 1])
        if not (awake and b - a == width):
            east[i % 3, :] = _ZERO
            south[i % 3, :] = _ZERO
            keep[i % 3, :] = _ONE
            deep_e[i % 2, :] = THIN_M
            deep_s[i % 2, :] = THIN_M
        e, s = east[i % 3], south[i % 3]
        if awake:
            z, z_below = land.bed[i][a:b], land.bed[i + 1][a:b]
            n, n_below = land.rough[i][a:b], land.rough[i + 1][a:b]
            q_e, q_e_below = old.east[i], old.east[i + 1]
            q_s, q_s_above = old.south[i][a:b], old.south[i - 1][a:b]
            w, w_below = level[a:b], level_below[a:b]
            _levels(z, old.depth[i][a:b], w)
            _levels(z_below, old.depth[i + 1][a:b], w_below)
            d, up, x, k, t = deep_s[i % 2][a:b], rise[a:b], root[a:b], drag[a:b], across[a:b]
            _faces(z, z_below, w, w_below, d, up)
            _drags(d, n, n_below, x, weight, k)
            before, before_below = q_e[a : b - 1], q_e_below[a : b - 1]
            _means(q_e[a + 1 : b], before, q_e_below[a + 1 : b], before_below, t[1:])
            _flows(q_s, q_s_above, old.south[i + 1][a:b], t, d, up, k, push, s[a:b])
            d, up, x, k = deep_e[i % 2][a : b - 1], up[:-1], x[:-1], k[:-1]
            _faces(z[:-1], z[1:], w[:-1], w[1:], d, up)
            _drags(d, n[:-1], n[1:], x, weight, k)
            _means(q_s[:-1], q_s[1:], q_s_above[:-1], q_s_above[1:], t[:-1])
            _flows(
                q_e[a + 1 : b - 1], q_e[a : b - 2], q_e[a + 2 : b], t[1:-1], d[1:], up[1:], k[1:],
                push, e[a + 1 : b - 1],
            )  # fmt: skip
        if i < first - 1:
            continue
        if b > a:
            _keeps_row(land, old.depth, i, a, b, e, s, south[(i + 2) % 3], per_cell, keep[i % 3])
        r = i - 1
        a, b = land.begin[r], land.end[r]
        if r < first - 1 or b == a:
            continue
        flow_s = new.south[r] if r >= first else above
        _kept(south[r % 3][a:b], keep[r % 3][a:b], keep[i % 3][a:b], flow_s[a:b])
        if b - a < width:
            speed_s[r % 2, :] = _ZERO
        _speeds(flow_s[a:b], deep_s[r % 2][a:b], speed_s[r % 2][a:b])
        if r < first:
            continue
        flow_e = new.east[r]
        _kept(
            east[r % 3][a : b - 1], keep[r % 3][a : b - 1], keep[r % 3][a + 1 : b],
            flow_e[a : b - 1],
        )  # fmt: skip
        _speeds(flow_e[a:b], deep_e[r % 2][a:b], speed_e[a:b])
        h = new.depth[r]
        flow_n = new.south[r - 1] if r > first else above
        _rained(land.kind[r][a:b], falls_m, rain[a:b])
        _moved(
            rain[a + 1 : b], old.depth[r][a + 1 : b], flow_e[a + 1 : b], flow_e[a : b - 1],
            flow_s[a + 1 : b], flow_n[a + 1 : b], per_cell, h[a + 1 : b],
        )  # fmt: skip
        for at in range(land.open_start[r], land.open_start[r + 1]):
            c = land.open_col[at]
            gone = _over_edge(old.depth[r, c], land.open_pull[at]) * per_cell * keep[r % 3, c]
            h[c] -= gone
            marks.left[r] += gone
        if soaks:
            _soaked(land.rate[r][a:b], land.room[r][a:b], step_s, marks.soaked[r][a:b], h[a:b])
        v_e, v_s, v_n = speed_e[a:b], speed_s[r % 2][a:b], speed_s[(r + 1) % 2][a:b]
        _fastest(v_e[1:], v_e[:-1], v_s[1:], v_n[1:], fast[a + 1 : b])
        a += 1  # what is left of it is wall
        _kept_marks(h[a:b], fast[a:b], marks.most[r][a:b], marks.speed[r][a:b])
        new.awake[r] = _extremes(h[a:b], fast[a:b], deepest[a:b], quickest[a:b]) > 0
    return np.float64(deepest.max()), np.float64(quickest.max())


@_quick
def _keeps_row(land, depth, i, a, b, east, south, north, per_cell, keep):
    """Shares of a row, with what leaves over open edges counted in."""
    _keeps(
        depth[i][a + 1 : b], east[a + 1 : b], east[a : b - 1], south[a + 1 : b], north[a + 1 : b],
        per_cell, keep[a + 1 : b],
    )  # fmt: skip
    for at in range(land.open_start[i], land.open_start[i + 1]):
        c = land.open_col[at]
        has = depth[i, c]
        gone = _over_edge(has, land.open_pull[at])
        share = _share(east[c], east[c - 1], south[c], north[c], gone, per_cell, has)
        keep[c] = np.float32(share)
