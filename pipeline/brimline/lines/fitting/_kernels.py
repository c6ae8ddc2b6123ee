"""Compiled loops that space points along lines and fit them to a level as smooth curves."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.lines._kernels import level as level_at
from brimline.lines._kernels import rise as rise_at

_FLAT = 0.005  # [m/m]; on flatter ground level says little about place, and bending decides
_HELD = 1e9  # weight of a point that must not move
_LOOSE = 1e-9  # keeps the system definite where neither level nor bending says anything


@kernel
def spaced(vertices, begin, count, pad, step):
    """Points at even distances along each line, carried on past a ring's seam by `pad` steps.

    `begin` is the first vertex of each line, and one more for the end; `count` its steps.
    """
    total = 0
    for line in range(count.size):
        total += count[line] + 1 + 2 * pad[line]
    points = np.empty((total, 2), dtype=np.float64)
    index = np.empty(total, dtype=np.int64)
    inner = np.empty(total, dtype=np.bool_)
    at = 0
    for line in range(count.size):
        steps = count[line]
        first = at + pad[line]
        vertex, last = begin[line], begin[line + 1] - 1
        passed = 0.0  # distance to the vertex
        dx = vertices[vertex + 1, 0] - vertices[vertex, 0]
        dy = vertices[vertex + 1, 1] - vertices[vertex, 1]
        length = np.sqrt(dx * dx + dy * dy)
        for i in range(steps + 1):
            wanted = i * step[line]
            while wanted > passed + length and vertex + 2 <= last:
                passed += length
                vertex += 1
                dx = vertices[vertex + 1, 0] - vertices[vertex, 0]
                dy = vertices[vertex + 1, 1] - vertices[vertex, 1]
                length = np.sqrt(dx * dx + dy * dy)
            part = min((wanted - passed) / length, 1.0) if length > 0.0 else 0.0
            points[first + i, 0] = vertices[vertex, 0] + part * dx
            points[first + i, 1] = vertices[vertex, 1] + part * dy
        points[first + steps, 0], points[first + steps, 1] = vertices[last, 0], vertices[last, 1]
        for i in range(1, pad[line] + 1):
            for axis in range(2):
                points[first - i, axis] = points[first + (steps - i) % steps, axis]
                points[first + steps + i, axis] = points[first + i % steps, axis]
        for i in range(steps + 1 + 2 * pad[line]):
            index[at + i] = line
            inner[at + i] = pad[line] <= i <= pad[line] + steps
        at += steps + 1 + 2 * pad[line]
    return points, index, inner


@kernel
def _normals(points, normal):
    """Write unit normals to the left of the way along one line."""
    count = points.shape[0]
    for i in range(count):
        ahead, behind = min(i + 1, count - 1), max(i - 1, 0)
        x, y = points[ahead, 0] - points[behind, 0], points[ahead, 1] - points[behind, 1]
        length = np.sqrt(x * x + y * y)
        if length == 0.0:
            length = 1.0
        normal[i, 0], normal[i, 1] = -y / length, x / length


@kernel
def _solved(main, one, two, right):
    """Solve a symmetric system of five diagonals in place: factors L D Lᵀ, forward, back.

    `one[i]` and `two[i]` stand above the main diagonal, in column i.
    """
    count = main.size
    for i in range(count):  # `main` becomes 1 / D, `one` and `two` the rows of L
        if i > 1:
            above = two[i]
            two[i] = above * main[i - 2]
            one[i] -= above * one[i - 1]
            main[i] -= two[i] * above
            right[i] -= two[i] * right[i - 2]
        if i > 0:
            above = one[i]
            one[i] = above * main[i - 1]
            main[i] -= one[i] * above
            right[i] -= one[i] * right[i - 1]
        main[i] = 1.0 / main[i]
    for i in range(count - 1, -1, -1):
        right[i] *= main[i]
        if i + 1 < count:
            right[i] -= one[i + 1] * right[i + 1]
        if i + 2 < count:
            right[i] -= two[i + 2] * right[i + 2]


@kernel
def _moves(points, normal, miss, slope, bend, held, step, system):
    """Write the distance to move each point of one line along its normal to `system[3]`.

    A miss or slope that is not known says nothing about its point.
    """
    main, one, two, right = system
    count = points.shape[0]
    per_step = 1.0 / (2.0 * np.pi * max(step, 1e-9))
    for i in range(count):
        steep, off = slope[i], miss[i]
        if not (np.isfinite(steep) and np.isfinite(off)):
            steep, off = 0.0, 0.0
        scale = steep * steep + _FLAT * _FLAT
        main[i] = steep * steep / scale + _LOOSE + (_HELD if held[i] else 0.0)
        one[i], two[i] = 0.0, 0.0
        right[i] = -off * steep / scale
    for i in range(1, count - 1):
        half = (bend[i] * per_step) ** 2
        push = half * half  # stiffness about the point
        a, b, c = normal[i - 1], normal[i], normal[i + 1]
        main[i - 1] += push
        main[i] += 4.0 * push
        main[i + 1] += push
        one[i] -= 2.0 * push * (a[0] * b[0] + a[1] * b[1])
        one[i + 1] -= 2.0 * push * (b[0] * c[0] + b[1] * c[1])
        two[i + 1] += push * (a[0] * c[0] + a[1] * c[1])
        x = push * (points[i - 1, 0] - 2.0 * points[i, 0] + points[i + 1, 0])
        y = push * (points[i - 1, 1] - 2.0 * points[i, 1] + points[i + 1, 1])
        right[i - 1] -= x * a[0] + y * a[1]
        right[i] += 2.0 * (x * b[0] + y * b[1])
        right[i + 1] -= x * c[0] + y * c[1]
    _solved(main, one, two, right)


@kernel
def moves(points, begin, normal, miss, slope, bend, held, step):
    """Distance to move each point of each line along its normal: one banded system a line."""
    out = np.empty(points.shape[0], dtype=np.float64)
    system = np.empty((4, points.shape[0]), dtype=np.float64)
    for line in range(begin.size - 1):
        i, j = begin[line], begin[line + 1]
        one_system = (system[0, i:j], system[1, i:j], system[2, i:j], out[i:j])
        _moves(
            points[i:j],
            normal[i:j],
            miss[i:j],
            slope[i:j],
            bend[i:j],
            held[i:j],
            step[line],
            one_system,
        )
    return out


@kernel
def fitted(
    surface, guide, frame, points, begin, level, fall, claim, bend, held, step, sweeps, reach_m
):
    """Fit lines to their level on a surface, sweep by sweep, the slope taken from `guide`.

    `frame` is the grid's west and north [m] and its cell [m]. `claim`, where it has points, stands
    for an even fall from `level`. No point goes farther than `reach_m` from where it began.
    """
    west_m, north_m, cell_m = frame
    out = points.copy()
    longest = 0
    for line in range(begin.size - 1):
        longest = max(longest, begin[line + 1] - begin[line])
    normal_ = np.empty((longest, 2), dtype=np.float64)
    work = np.empty((6, longest), dtype=np.float64)
    for line in range(begin.size - 1):
        i, j = begin[line], begin[line + 1]
        count = j - i
        here, start, stays = out[i:j], points[i:j], held[i:j]
        normal, miss, slope = normal_[:count], work[4, :count], work[5, :count]
        moved = work[3, :count]
        system = (work[0, :count], work[1, :count], work[2, :count], moved)
        for _ in range(sweeps):
            _normals(here, normal)
            along = 0.0
            for k in range(count):
                x, y = here[k, 0], here[k, 1]
                if k > 0:
                    dx, dy = x - here[k - 1, 0], y - here[k - 1, 1]
                    along += np.sqrt(dx * dx + dy * dy)
                row, col = (north_m - y) / cell_m - 0.5, (x - west_m) / cell_m - 0.5
                down, right = rise_at(guide, row, col)
                slope[k] = (right * normal[k, 0] - down * normal[k, 1]) / cell_m
                wanted = claim[i + k] if claim.size else level[line] - fall[line] * along
                miss[k] = level_at(surface, row, col) - wanted
            _moves(here, normal, miss, slope, bend[i:j], stays, step[line], system)
            for k in range(count):
                far = 0.0 if stays[k] else min(max(moved[k], -cell_m), cell_m)
                x = here[k, 0] + far * normal[k, 0] - start[k, 0]
                y = here[k, 1] + far * normal[k, 1] - start[k, 1]
                length = np.sqrt(x * x + y * y)
                part = min(1.0, reach_m / max(length, reach_m))
                here[k, 0], here[k, 1] = start[k, 0] + part * x, start[k, 1] + part * y
    return out
