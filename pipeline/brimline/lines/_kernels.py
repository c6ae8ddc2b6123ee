"""Compiled loops that read a surface between its cell centres."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def corner(row, col, rows, cols):
    """First cell of the four centres around a position and the position within them."""
    r0 = min(max(np.int64(np.floor(row)), 0), max(rows - 2, 0))
    c0 = min(max(np.int64(np.floor(col)), 0), max(cols - 2, 0))
    return r0, c0, row - r0, col - c0


@kernel
def level(dem, row, col):
    """Bilinear level at a fractional position; NaN outside the centres or beside nodata."""
    rows, cols = dem.shape
    if not (row >= 0.0 and col >= 0.0 and row <= rows - 1 and col <= cols - 1):
        return np.nan
    r0, c0, fr, fc = corner(row, col, rows, cols)
    total = 0.0
    for i in range(2):
        for j in range(2):
            weight = (fr if i else 1.0 - fr) * (fc if j else 1.0 - fc)
            if weight != 0.0:  # a nodata cell without weight does not matter
                total += weight * np.float64(dem[r0 + i, c0 + j])
    return total


@kernel
def _difference(dem, r, c, dr, dc):
    """Central difference at a cell, one-sided beside nodata and the edge; NaN where none is."""
    rows, cols = dem.shape
    z = np.float64(dem[r, c])
    ahead, behind = np.nan, np.nan
    if 0 <= r + dr < rows and 0 <= c + dc < cols:
        ahead = np.float64(dem[r + dr, c + dc])
    if 0 <= r - dr < rows and 0 <= c - dc < cols:
        behind = np.float64(dem[r - dr, c - dc])
    if np.isnan(ahead):
        return z - behind
    if np.isnan(behind):
        return ahead - z
    return 0.5 * (ahead - behind)


@kernel
def _inner_rise(dem, r, c, fr, fc):
    """`rise` where all cells around are there; NaN where one of them is nodata.

    Written out, because loops over two rows and two columns take three times as long.
    """
    nw, ne = np.float64(dem[r, c]), np.float64(dem[r, c + 1])
    sw, se = np.float64(dem[r + 1, c]), np.float64(dem[r + 1, c + 1])
    north_w, north_e = np.float64(dem[r - 1, c]), np.float64(dem[r - 1, c + 1])
    south_w, south_e = np.float64(dem[r + 2, c]), np.float64(dem[r + 2, c + 1])
    west_n, west_s = np.float64(dem[r, c - 1]), np.float64(dem[r + 1, c - 1])
    east_n, east_s = np.float64(dem[r, c + 2]), np.float64(dem[r + 1, c + 2])
    gr, gc = 1.0 - fr, 1.0 - fc
    down = gr * (gc * (sw - north_w) + fc * (se - north_e))
    down += fr * (gc * (south_w - nw) + fc * (south_e - ne))
    along = gr * (gc * (ne - west_n) + fc * (east_n - nw))
    along += fr * (gc * (se - west_s) + fc * (east_s - sw))
    return 0.5 * down, 0.5 * along


@kernel
def rise(dem, row, col):
    """Rise per cell (down the rows, along the columns), continuous from cell to cell."""
    rows, cols = dem.shape
    if not (row >= 0.0 and col >= 0.0 and row <= rows - 1 and col <= cols - 1):
        return np.nan, np.nan
    r0, c0, fr, fc = corner(row, col, rows, cols)
    down, along = 0.0, 0.0
    if 1 <= r0 < rows - 2 and 1 <= c0 < cols - 2:
        down, along = _inner_rise(dem, r0, c0, fr, fc)
        if not np.isnan(down + along):
            return down, along
        down, along = 0.0, 0.0
    for i in range(2):
        for j in range(2):
            weight = (fr if i else 1.0 - fr) * (fc if j else 1.0 - fc)
            if weight != 0.0:
                down += weight * _difference(dem, r0 + i, c0 + j, 1, 0)
                along += weight * _difference(dem, r0 + i, c0 + j, 0, 1)
    return down, along


@kernel
def levels(dem, row, col):
    """Bilinear levels at many positions."""
    out = np.empty(row.size, dtype=np.float64)
    for i in range(row.size):
        out[i] = level(dem, row[i], col[i])
    return out


@kernel
def rises(dem, row, col):
    """Rises per cell at many positions: down the rows, along the columns."""
    down = np.empty(row.size, dtype=np.float64)
    along = np.empty(row.size, dtype=np.float64)
    for i in range(row.size):
        down[i], along[i] = rise(dem, row[i], col[i])
    return down, along


@kernel
def _position(frame, x, y):
    """Fractional (row, column) of a point; `frame` is the grid's west, north and cell [m]."""
    return (frame[1] - y) / frame[2] - 0.5, (x - frame[0]) / frame[2] - 0.5


@kernel
def _way_on(vertices, index, i):
    """Way from a vertex to the next one of its line, 0 at the end; and whether it is repeated."""
    if i + 1 == index.size or index[i + 1] != index[i]:
        return 0.0, 0.0, False
    dx, dy = vertices[i + 1, 0] - vertices[i, 0], vertices[i + 1, 1] - vertices[i, 1]
    return dx, dy, dx == 0.0 and dy == 0.0


@kernel
def _pieces_of(x, y, step):
    """Into how many equal pieces, none longer than a step, a way falls."""
    return max(np.int64(np.ceil(np.hypot(x, y) / step)), 1)


@kernel
def departed(dem, frame, vertices, index, claim, fall, step):
    """Count samples of each line, their largest departure, the sum of it and of its square.

    Lines are sampled at every vertex and at equal parts of a step at most between two. `frame` is
    the grid's west and north [m] and its cell [m]; places without data are passed over.
    """
    out = np.zeros((claim.size, 4), dtype=np.float64)
    at = 0.0
    for i in range(index.size):
        line = index[i]
        if i == 0 or index[i - 1] != line:
            at = 0.0
        x, y = vertices[i, 0], vertices[i, 1]
        dx, dy, repeated = _way_on(vertices, index, i)
        if repeated:
            continue  # its sample is the next vertex's
        pieces = _pieces_of(dx, dy, step)
        length = np.hypot(dx, dy)
        for k in range(pieces):
            part = k / pieces
            row, col = _position(frame, x + part * dx, y + part * dy)
            miss = level(dem, row, col) - (claim[line] - fall[line] * (at + part * length))
            if not np.isfinite(miss):
                continue
            out[line, 0] += 1.0
            out[line, 1] = max(out[line, 1], abs(miss))
            out[line, 2] += miss
            out[line, 3] += miss * miss
        at += length
    return out


@kernel
def steepness(dem, frame, vertices, index, count, step):
    """Count samples of each of `count` lines, as `departed` takes them, and add up steepness."""
    out = np.zeros((count, 2), dtype=np.float64)
    for i in range(index.size):
        line = index[i]
        x, y = vertices[i, 0], vertices[i, 1]
        dx, dy, repeated = _way_on(vertices, index, i)
        if repeated:
            continue  # its sample is the next vertex's
        pieces = _pieces_of(dx, dy, step)
        for k in range(pieces):
            part = k / pieces
            row, col = _position(frame, x + part * dx, y + part * dy)
            down, along = rise(dem, row, col)
            steep = np.hypot(down, along) / frame[2]
            if np.isfinite(steep):
                out[line, 0] += 1.0
                out[line, 1] += steep
    return out


@kernel
def onto_level(dem, row, col, target, reach, tolerance):
    """Move positions along the gradient until the surface has the target level.

    Newton steps, each at most one cell, `reach` cells in all; a position that does not get there
    is left where it was.
    """
    out_row, out_col = row.copy(), col.copy()
    for i in range(row.size):
        r, c = row[i], col[i]
        for _ in range(20):
            miss = level(dem, r, c) - target[i]
            down, along = rise(dem, r, c)
            steep2 = down * down + along * along
            if not (steep2 > 0.0) or np.isnan(miss) or abs(miss) <= tolerance:
                break
            step = -miss / steep2
            length = abs(step) * np.sqrt(steep2)
            if length > 1.0:
                step /= length
            r += step * down
            c += step * along
        there = abs(level(dem, r, c) - target[i]) <= max(tolerance, 1e-9)
        if there and np.hypot(r - row[i], c - col[i]) <= reach:
            out_row[i], out_col[i] = r, c
    return out_row, out_col


@kernel
def spread(mask, radius):
    """Cells whose centre lies within `radius` cells of a marked cell's centre."""
    rows, cols = mask.shape
    out = mask.copy()
    reach = np.int64(np.floor(radius))
    for row in range(rows):
        for col in range(cols):
            if not mask[row, col]:
                continue
            for dr in range(-reach, reach + 1):
                for dc in range(-reach, reach + 1):
                    r, c = row + dr, col + dc
                    if 0 <= r < rows and 0 <= c < cols and dr * dr + dc * dc <= radius * radius:
                        out[r, c] = True
    return out


@kernel
def codes_at(points, codes, frame, outside):
    """Code of the cell that each point lies in; `outside` beyond the grid."""
    rows, cols = codes.shape
    out = np.empty(points.shape[0], dtype=np.uint8)
    for p in range(points.shape[0]):
        row = np.floor((frame[1] - points[p, 1]) / frame[2])
        col = np.floor((points[p, 0] - frame[0]) / frame[2])
        held = 0 <= row < rows and 0 <= col < cols
        out[p] = codes[np.int64(row), np.int64(col)] if held else outside
    return out


@kernel
def chainages(points, index):
    """Distance of each point from the first one of its own line."""
    out = np.zeros(points.shape[0], dtype=np.float64)
    for p in range(1, points.shape[0]):
        if index[p] == index[p - 1]:
            step = np.hypot(points[p, 0] - points[p - 1, 0], points[p, 1] - points[p - 1, 1])
            out[p] = out[p - 1] + step
    return out


@kernel
def bends(points, index, least):
    """Mark points at which a line bends away by more than `least`, and the ends of each line."""
    count = index.size
    out = np.ones(count, dtype=np.bool_)
    for p in range(1, count - 1):
        if index[p - 1] != index[p] or index[p + 1] != index[p]:
            continue
        x, y = points[p, 0] - points[p - 1, 0], points[p, 1] - points[p - 1, 1]
        u, v = points[p + 1, 0] - points[p, 0], points[p + 1, 1] - points[p, 1]
        onward = x * u + y * v > 0.0
        out[p] = not onward or abs(x * v - y * u) > least * np.hypot(x + u, y + v)
    return out


@kernel
def thin(line, size, moved, stack, points, filled):
    """Write a line with as few vertices as it needs (Douglas & Peucker); the end of what is filled.

    What is still to be looked at ends at the vertices of the stack, the nearest on top.
    """
    points[filled, 0], points[filled, 1] = line[0, 0], line[0, 1]
    filled += 1
    stack[0] = size - 1
    depth = 1
    a = np.int64(0)
    while depth > 0:
        b = stack[depth - 1]
        middle = _farthest(line, a, b, moved)
        if middle > a:
            stack[depth] = middle
            depth += 1
        else:
            points[filled, 0], points[filled, 1] = line[b, 0], line[b, 1]
            filled += 1
            a = b
            depth -= 1
    return filled


@kernel
def _farthest(line, a, b, moved):
    """Vertex farthest from the straight way from `a` to `b`, and farther than `moved`; else `a`."""
    x0, y0 = line[a, 0], line[a, 1]
    x, y = line[b, 0] - x0, line[b, 1] - y0
    square = x * x + y * y
    most, found = moved * moved, a
    for i in range(a + 1, b):
        px, py = line[i, 0] - x0, line[i, 1] - y0
        along = px * x + py * y
        if square == 0.0 or along <= 0.0:
            away = px * px + py * py
        elif along >= square:
            away = (px - x) ** 2 + (py - y) ** 2
        else:
            away = (px * y - py * x) ** 2 / square
        if away > most:
            most, found = away, i
    return found


@kernel
def folds(points, index, at, length, most):
    """Mark the points between whose surroundings, `length` long, a line turns by more than `most`.

    The turn is that from the mean direction over the first third to that over the last third.
    """
    count = index.size
    out = np.zeros(count, dtype=np.bool_)
    third = length / 3.0
    a, b, c = 0, 0, 0  # points that lie a third, two thirds and the whole length on
    for i in range(count):
        a, b, c = max(a, i), max(b, i), max(c, i)
        while a + 1 < count and index[a + 1] == index[i] and at[a] - at[i] < third:
            a += 1
        while b + 1 < count and index[b + 1] == index[i] and at[b] - at[i] < 2.0 * third:
            b += 1
        while c + 1 < count and index[c + 1] == index[i] and at[c] - at[i] < length:
            c += 1
        if at[c] - at[i] < length:
            continue  # so near the end of its line
        x0, y0 = points[a, 0] - points[i, 0], points[a, 1] - points[i, 1]
        x1, y1 = points[c, 0] - points[b, 0], points[c, 1] - points[b, 1]
        turn = abs(np.arctan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1))
        if turn > most:
            out[a : b + 1] = True
    return out


@kernel
def runs(code, index, at, joined_code, join):
    """Stretches of free samples along lines.

    A blocked run inside a line, no longer than `join` and all of `joined_code`, counts as free.
    Gives each stretch's first and last sample, and the codes found before and after it (0 at the
    line's own end).
    """
    count = code.size
    free = code == 0
    i = 0
    while i < count:
        if free[i]:
            i += 1
            continue
        j = i
        bridge = True
        while j < count and not free[j] and index[j] == index[i]:
            bridge = bridge and code[j] == joined_code
            j += 1
        inside = i > 0 and index[i - 1] == index[i] and j < count and index[j] == index[i]
        if bridge and inside and at[j] - at[i - 1] <= join:
            free[i:j] = True
        i = j
    first = np.empty(count, dtype=np.int64)
    last = np.empty(count, dtype=np.int64)
    before = np.empty(count, dtype=np.uint8)
    after = np.empty(count, dtype=np.uint8)
    found = 0
    i = 0
    while i < count:
        if not free[i]:
            i += 1
            continue
        j = i
        while j + 1 < count and free[j + 1] and index[j + 1] == index[i]:
            j += 1
        first[found], last[found] = i, j
        before[found] = code[i - 1] if i > 0 and index[i - 1] == index[i] else 0
        after[found] = code[j + 1] if j + 1 < count and index[j + 1] == index[i] else 0
        found += 1
        i = j + 1
    return first[:found], last[:found], before[:found], after[:found]


@kernel
def _level_between(s, z, at, k):
    """Level at a chainage, between samples `s` (rising), and the sample before it; from `k` on."""
    while k + 2 < s.size and s[k + 1] < at:
        k += 1
    return z[k] + (z[k + 1] - z[k]) * (at - s[k]) / (s[k + 1] - s[k]), k


@kernel
def _levels_along(dem, frame, xy, along, low, high):
    """Chainages and levels of a line twice a cell between two chainages, where they are known."""
    count = np.int64(np.ceil(2.0 * (high - low) / frame[2])) + 1
    s = np.empty(count, dtype=np.float64)
    z = np.empty(count, dtype=np.float64)
    known, leg = 0, 0
    for i in range(count):
        at = low + (high - low) * i / (count - 1)
        while leg + 2 < along.size and along[leg + 1] < at:
            leg += 1
        t = (at - along[leg]) / (along[leg + 1] - along[leg])
        x = xy[leg, 0] + t * (xy[leg + 1, 0] - xy[leg, 0])
        y = xy[leg, 1] + t * (xy[leg + 1, 1] - xy[leg, 1])
        row, col = _position(frame, x, y)
        found = level(dem, row, col)
        if not np.isnan(found):
            s[known], z[known] = at, found
            known += 1
    return s[:known], z[:known]


@kernel
def drift(dem, frame, xy, along, parts, start, end, half_over):
    """How a line falls from its valleys (column 0 of `parts`, chainages) to its ridges (1).

    Between the chainages `start` and `end`; the fall at a place is that over `half_over` to both
    sides. Gives the sum of the falls, the length looked at, and the length that falls to a ridge.
    """
    cell = frame[2]
    fall, length, right = 0.0, 0.0, 0.0
    for part in range(parts.shape[0]):
        low = max(min(parts[part, 0], parts[part, 1]), start)
        high = min(max(parts[part, 0], parts[part, 1]), end)
        if high - low < cell:
            continue
        s, z = _levels_along(dem, frame, xy, along, low, high)
        known = s.size
        if known < 2:
            continue
        outwards = 1.0 if parts[part, 0] <= parts[part, 1] else -1.0
        fall += outwards * (z[0] - z[known - 1])
        length += s[known - 1] - s[0]
        a, b = 0, 0
        for i in range(known - 1):
            middle = 0.5 * (s[i] + s[i + 1])
            before, a = _level_between(s, z, max(middle - half_over, s[0]), a)
            after, b = _level_between(s, z, min(middle + half_over, s[known - 1]), b)
            if outwards * (before - after) > 0.0:
                right += s[i + 1] - s[i]
    return fall, length, right
