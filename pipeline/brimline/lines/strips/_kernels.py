"""Compiled loops that find what sheds to lines and how far it is up the slope from them."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW
from brimline.lines._kernels import rise

_CLEAR_CELLS = 4.0  # from a line up, where its own cells and those beside them do not count
_ASTRAY_CELLS = 2.5  # over ground that sheds elsewhere before it counts as beyond a divide


@kernel
def crossed_cells(row, col, index, number, shape):
    """Mark the cells that lines run through with their number; no diagonal step gets past them.

    Where two lines share a cell, the first keeps it. `row`, `col` are in cells from the corner.
    """
    rows, cols = shape
    out = np.zeros((rows, cols), dtype=np.int32)
    for i in range(row.size - 1):
        if index[i] != index[i + 1]:
            continue
        r, c = np.int64(np.floor(row[i])), np.int64(np.floor(col[i]))
        r1, c1 = np.int64(np.floor(row[i + 1])), np.int64(np.floor(col[i + 1]))
        dr, dc = row[i + 1] - row[i], col[i + 1] - col[i]
        step_r, step_c = (1 if dr > 0 else -1), (1 if dc > 0 else -1)
        next_r = ((r + (1 if dr > 0 else 0)) - row[i]) / dr if dr != 0.0 else np.inf
        next_c = ((c + (1 if dc > 0 else 0)) - col[i]) / dc if dc != 0.0 else np.inf
        wide_r = abs(1.0 / dr) if dr != 0.0 else np.inf
        wide_c = abs(1.0 / dc) if dc != 0.0 else np.inf
        for _ in range(abs(r1 - r) + abs(c1 - c) + 1):
            if 0 <= r < rows and 0 <= c < cols and out[r, c] == 0:
                out[r, c] = number[index[i]]
            if r == r1 and c == c1:
                break
            if c != c1 and (r == r1 or next_c <= next_r):
                c += step_c
                next_c += wide_c
            else:
                r += step_r
                next_r += wide_r
    return out


@kernel
def first_reached(directions, marks):
    """Return the number of the first marked cell that each cell's water reaches; 0 none."""
    out = np.full(marks.shape, -1, dtype=np.int32)
    _reach(directions.ravel(), marks.ravel(), out.ravel(), marks.shape[1])
    return out


@kernel
def reach_without(directions, marks, gone, reached):
    """Bring what `first_reached` gave up to date after the marks of some lines were taken away.

    `gone` tells for each number whether its line was. Returns the cells that each number gains.
    """
    flat = reached.ravel()
    again = 0
    for cell in range(flat.size):
        again += gone[flat[cell]]
    cells = np.empty(again, dtype=np.int64)
    gain = np.zeros(gone.size, dtype=np.int64)
    again = 0
    for cell in range(flat.size):
        if gone[flat[cell]]:
            gain[flat[cell]] -= 1
            flat[cell] = -1
            cells[again] = cell
            again += 1
    _reach(directions.ravel(), marks.ravel(), flat, marks.shape[1])
    for cell in cells:
        gain[flat[cell]] += 1
    return gain


@kernel
def counted(reached, count):
    """Count the cells of each number below `count`."""
    flat = reached.ravel()
    out = np.zeros(count, dtype=np.int64)
    for cell in range(flat.size):
        out[flat[cell]] += 1
    return out


@kernel
def _reach(flows, mark, reached, cols):
    """Follow the water of each cell whose number is not known yet (-1)."""
    for first in range(reached.size):
        if reached[first] >= 0:
            continue
        cell = np.int64(first)
        while reached[cell] < 0 and mark[cell] == 0 and flows[cell] < 8:
            code = flows[cell]
            cell += D_ROW[code] * cols + D_COL[code]
        number = reached[cell] if reached[cell] >= 0 else mark[cell]
        reached[cell] = number
        end, cell = cell, np.int64(first)
        while cell != end:
            reached[cell] = number
            code = flows[cell]
            cell += D_ROW[code] * cols + D_COL[code]


@kernel
def moved_on(directions, marks, reached, dem, level):
    """Cells that each number gains because only what lies above a line's level sheds to it.

    The rest of a marked cell goes to the line that water reaches after leaving the line's cells.
    """
    rows, cols = dem.shape
    flows, mark, label = directions.ravel(), marks.ravel(), reached.ravel()
    out = np.zeros(level.size, dtype=np.float64)
    for row in range(rows):
        for col in range(cols):
            line = marks[row, col]
            if line == 0:
                continue
            # over a cell the surface spans |down| + |along|; its level crosses it in proportion
            down, along = rise(dem, np.float64(row), np.float64(col))
            span = max(abs(down) + abs(along), 1e-9)
            part = 0.5 - (np.float64(dem[row, col]) - level[line]) / span
            below = 0.5 if np.isnan(part) else min(max(part, 0.0), 1.0)
            cell = row * cols + col
            while mark[cell] == line and flows[cell] < 8:
                code = flows[cell]
                cell += D_ROW[code] * cols + D_COL[code]
            out[line] -= below
            if mark[cell] != line:
                out[label[cell]] += below
    return out


@kernel
def _patch(nw, ne, sw, se, fr, fc):
    """Level and rises (down the rows, along the columns) of a bilinear patch at a place in it."""
    north, south = nw + (ne - nw) * fc, sw + (se - sw) * fc
    along = (ne - nw) * (1.0 - fr) + (se - sw) * fr
    return north + (south - north) * fr, south - north, along


@kernel
def ways_up_slope(dem, row, col, owner, level, barrier, shed, cell_m):
    """Distance over the ground from points up the slope, to the next row or the divide [m].

    And the number of the row that each ends at; 0 none. The next row is reached where the surface
    has its level among the cells that it runs through; the divide, where ground sheds to no row or
    another one for more than a few cells.
    """
    out = np.full(row.size, np.nan)
    met = np.zeros(row.size, dtype=np.int32)
    rows, cols = dem.shape
    for i in range(row.size):
        r, c = row[i], col[i]
        z = -np.inf
        far, ground, held_far, held = 0.0, 0.0, 0.0, 0.0
        last_r, last_c = 0.0, 0.0
        reached = 0
        while 0.0 <= r <= rows - 1 and 0.0 <= c <= cols - 1:
            r0, c0 = min(np.int64(r), rows - 2), min(np.int64(c), cols - 2)
            higher, down, along = _patch(
                np.float64(dem[r0, c0]),
                np.float64(dem[r0, c0 + 1]),
                np.float64(dem[r0 + 1, c0]),
                np.float64(dem[r0 + 1, c0 + 1]),
                r - r0,
                c - c0,
            )
            if not higher > z:
                break  # level ground, or missing data
            if far == 0.0:
                z = higher
            else:
                step = np.hypot(cell_m, higher - z)
                mark_r, mark_c = np.int64(r + 0.5), np.int64(c + 0.5)
                mark = barrier[mark_r, mark_c]
                if mark > 0 and (mark != owner[i] or far > _CLEAR_CELLS):
                    reached = mark
                if reached > 0:
                    wanted = level[reached]
                    if higher >= wanted or mark == 0:
                        part = (wanted - z) / (higher - z)
                        ground += step * min(max(part, 0.0), 1.0)
                        break
                elif shed[mark_r, mark_c] == owner[i] or far <= _CLEAR_CELLS:
                    held_far, held = far, ground + step
                elif far - held_far > _ASTRAY_CELLS:
                    ground = held
                    break
                ground += step
                z = higher
            length = np.hypot(down, along)
            if not length > 1e-9:
                break
            down, along = down / length, along / length
            if down * last_r + along * last_c < 0.0:
                break  # over the top
            r, c, far = r + down, c + along, far + 1.0
            last_r, last_c = down, along
        met[i] = reached
        if z > -np.inf:
            out[i] = ground
    return out, met
