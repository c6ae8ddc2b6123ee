"""Compiled loops: the skyline around every cell, and the sun above it."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel

_LANES = 16  # lines that are walked side by side, so that memory is read in whole cache lines


@kernel
def _height(surface, row, col):
    """Level of a cell of the surface, NaN outside."""
    if 0 <= row < surface.shape[0] and 0 <= col < surface.shape[1]:
        return np.float64(surface[row, col])
    return np.nan


@kernel
def _between(surface, row, col, d_row, d_col, share):
    """Level between a cell and the one beside it; that of one of them where the other lacks."""
    one = _height(surface, row, col)
    if share == 0.0:
        return one
    other = _height(surface, row + d_row, col + d_col)
    if np.isnan(one):
        return other
    if np.isnan(other):
        return one
    return one + share * (other - one)


@kernel
def skyline(surface, ground, block, east, north, cell_m, least, codes_per_rad):
    """Height of the skyline towards one bearing, as codes of a block (row, col, rows, cols).

    Lines run parallel to the bearing and are walked away from it; each keeps the upper hull of what
    it has passed, on which the skyline of the next place is the tangent.
    """
    rows, cols = ground.shape
    codes = np.zeros((block[2], block[3]), dtype=np.uint8)
    by_row = abs(north) >= abs(east)
    long_side, wide = (rows, cols) if by_row else (cols, rows)
    lean = -east / north if by_row else -north / east  # sideways for a step down or to the east
    # towards the bearing is up where it is northern, to the east where it is eastern
    from_start = north > 0 if by_row else east < 0
    step_m = cell_m * np.sqrt(1.0 + lean * lean)
    down, across = (0, 1) if by_row else (1, 0)
    ahead, beyond_it = block[down], block[down] + block[2 + down]
    aside_first, aside_last = block[across], block[across] + block[2 + across]
    # lines that meet the block, and no step of them past it
    sideways = (ahead * lean, beyond_it * lean)
    first = aside_first - int(np.ceil(max(sideways))) - 1
    last = aside_last - int(np.floor(min(sideways))) + 1
    steps = beyond_it if from_start else long_side - ahead
    hull_s = np.empty((long_side, _LANES))
    hull_z = np.empty((long_side, _LANES))
    held = np.empty(_LANES, dtype=np.int64)
    d_row, d_col = (0, 1) if by_row else (1, 0)
    for start in range(first, last, _LANES):
        held[:] = 0
        for step in range(steps):
            along = step if from_start else long_side - 1 - step
            shift = along * lean
            whole = int(np.floor(shift))
            share = shift - whole
            nearer = int(np.floor(shift + 0.5))
            s = step * step_m
            for lane in range(_LANES):
                aside = start + lane + whole
                if aside < -1 or aside > wide:
                    continue
                centre = start + lane + nearer
                row, col = (along, aside) if by_row else (aside, along)
                top = held[lane] - 1
                if aside_first <= centre < aside_last and ahead <= along < beyond_it:
                    centre_row, centre_col = (along, centre) if by_row else (centre, along)
                    # from the line, not from the centre: a slope across would show as a skyline
                    z = _between(ground, row, col, d_row, d_col, share)
                    rise = -np.inf
                    place = top
                    while place >= 0:
                        further = (hull_z[place, lane] - z) / (s - hull_s[place, lane])
                        if further < rise:
                            break
                        rise = further
                        place -= 1
                    rise = max(rise, least)
                    if rise > 0.0:
                        codes[centre_row - block[0], centre_col - block[1]] = np.uint8(
                            np.arctan(rise) * codes_per_rad + 0.5
                        )
                z = _between(surface, row, col, d_row, d_col, share)
                if np.isnan(z):
                    continue
                while top >= 1:  # what lies below the line from the new point is never seen again
                    over = (hull_z[top, lane] - z) / (s - hull_s[top, lane])
                    beyond = (hull_z[top - 1, lane] - z) / (s - hull_s[top - 1, lane])
                    if over > beyond:
                        break
                    top -= 1
                hull_s[top + 1, lane] = s
                hull_z[top + 1, lane] = z
                held[lane] = top + 2
    return codes


@kernel
def light(codes, east, north, bearings, table, diffuse, angles):
    """Hours and energy of every period, and the share of the sky that is seen.

    The skyline of a cell is never below its own plane, so that the sun above it lights the plane.
    """
    sectors, rows, cols = codes.shape
    periods = table.shape[3]
    hours = np.empty((periods, rows, cols), dtype=np.float32)
    energy = np.empty((periods, rows, cols), dtype=np.float32)
    seen = np.empty((rows, cols), dtype=np.float32)
    sums = np.empty((cols, 2 * periods), dtype=np.float32)
    sky = np.empty(cols)
    per_rad = np.float64(angles.size - 1) / angles[-1]
    cos2 = np.cos(angles) ** 2
    turned = 0.5 * np.pi - angles - np.sin(angles) * np.cos(angles)
    for row in range(rows):
        sums[:] = np.float32(0.0)
        sky[:] = 0.0
        for sector in range(sectors):
            toward_east, toward_north = np.sin(bearings[sector]), np.cos(bearings[sector])
            lit = table[sector, 0, 0, 0] >= 0.0
            for col in range(cols):
                e, n = np.float64(east[row, col]), np.float64(north[row, col])
                if np.isnan(e):
                    continue
                rise = e * toward_east + n * toward_north
                code = np.int64(codes[sector, row, col])
                if rise > 0.0:
                    code = max(code, np.int64(np.arctan(rise) * per_rad + 0.5))
                up = 1.0 / np.sqrt(1.0 + e * e + n * n)
                sky[col] += up * (cos2[code] - rise * turned[code])
                if not lit:
                    continue
                facing_e, facing_n = np.float32(-e * up), np.float32(-n * up)
                upward = np.float32(up)
                for period in range(periods):
                    sums[col, period] += table[sector, code, 0, period]
                    sums[col, periods + period] += (
                        facing_e * table[sector, code, 1, period]
                        + facing_n * table[sector, code, 2, period]
                        + upward * table[sector, code, 3, period]
                    )
        for col in range(cols):
            known = not np.isnan(east[row, col])
            share = min(1.0, max(0.0, sky[col] / sectors))
            seen[row, col] = share if known else np.nan
            for period in range(periods):
                hours[period, row, col] = sums[col, period] if known else np.nan
                total = sums[col, periods + period] + share * diffuse[period]
                energy[period, row, col] = total if known else np.nan
    return hours, energy, seen


@kernel
def upwind(surface, at, low, high, shifts, shares, nearness):
    """Greatest angle to the surface along one bearing, of the rows from low to below high [rad].

    A line lies between two cells of each row (or column): `shifts` holds rows and columns of both
    from where it starts. Unknown ground counts as level with what is looked from.
    """
    rows, cols = at.shape
    found = np.empty((high - low, cols), dtype=np.float32)
    level = np.float32(0.0)
    for row in range(low, high):
        best = found[row - low]
        best[:] = np.float32(-np.inf)
        for step in range(shares.size):
            one, other = row + shifts[step, 0], row + shifts[step, 2]
            if min(one, other) < 0 or max(one, other) >= rows:
                best[:] = np.maximum(best, level)
                break
            here, there = shifts[step, 1], shifts[step, 3]
            first = min(cols, max(0, -here, -there))
            last = max(first, min(cols, cols - here, cols - there))
            best[:first] = np.maximum(best[:first], level)
            best[last:] = np.maximum(best[last:], level)
            share, near = shares[step], nearness[step]
            ones = surface[one, first + here : last + here]
            others = surface[other, first + there : last + there]
            eyes, highest = at[row, first:last], best[first:last]
            for place in range(ones.size):
                z = ones[place] + share * (others[place] - ones[place])
                rise = (z - eyes[place]) * near
                rise = level if np.isnan(rise) else rise
                if rise > highest[place]:
                    highest[place] = rise
        for col in range(cols):
            best[col] = np.nan if np.isnan(at[row, col]) else np.arctan(best[col])
    return found


@kernel
def rank_around(dem, radius):
    """Share of the cells within a radius that lie lower than a cell, and the range of them all."""
    rows, cols = dem.shape
    rank = np.full((rows, cols), np.nan, dtype=np.float32)
    relief = np.full((rows, cols), np.nan, dtype=np.float32)
    reach = int(radius)
    for row in range(rows):
        for col in range(cols):
            z = dem[row, col]
            if np.isnan(z):
                continue
            lower, count = 0, 0
            low, high = z, z
            for r in range(max(0, row - reach), min(rows, row + reach + 1)):
                for c in range(max(0, col - reach), min(cols, col + reach + 1)):
                    other = dem[r, c]
                    if np.isnan(other) or (r - row) ** 2 + (c - col) ** 2 > radius * radius:
                        continue
                    count += 1
                    lower += other < z
                    low, high = min(low, other), max(high, other)
            rank[row, col] = lower / count
            relief[row, col] = high - low
    return rank, relief
