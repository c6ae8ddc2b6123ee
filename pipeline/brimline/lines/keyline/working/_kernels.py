"""Compiled loops over lines beside a guide: where along them water goes to the ridges."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.lines._kernels import _level_between, _levels_along


@kernel
def falls(dem, frame, xy, along, parts, start, end, half_over):
    """Chainages and fall towards the ridge of short steps of a line; columns from, to, fall.

    As `lines._kernels.drift`, step by step: between the chainages `start` and `end`, the fall of a
    step is that over `half_over` to both sides of its middle, per metre.
    """
    cell = frame[2]
    most = np.int64(np.ceil(2.0 * (end - start) / cell)) + 2 * parts.shape[0] + 2
    out = np.empty((max(most, 1), 3), dtype=np.float64)
    filled = 0
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
        a, b = 0, 0
        for i in range(known - 1):
            middle = 0.5 * (s[i] + s[i + 1])
            first = max(middle - half_over, s[0])
            last = min(middle + half_over, s[known - 1])
            before, a = _level_between(s, z, first, a)
            after, b = _level_between(s, z, last, b)
            if filled < len(out):
                out[filled, 0], out[filled, 1] = s[i], s[i + 1]
                out[filled, 2] = outwards * (before - after) / (last - first)
                filled += 1
    return out[:filled]


@kernel
def stretches(steps, least, most, weight, shortest):
    """Longest stretches of which enough falls between two bounds; chainages (stretches, 2).

    Each step that does counts its length, each other one `weight` times its length against it; a
    stretch is one of the maximal scoring ones (Ruzzo & Tompa 1999, A linear time algorithm for
    finding all maximal scoring subsequences), so of each a share of at least
    weight / (1 + weight) falls right. Those shorter than `shortest` are left out.
    """
    count = len(steps)
    first = np.empty(count, dtype=np.int64)
    last = np.empty(count, dtype=np.int64)
    before = np.empty(count, dtype=np.float64)
    after = np.empty(count, dtype=np.float64)
    kept, base, total = 0, 0, 0.0
    for i in range(count):
        length = steps[i, 1] - steps[i, 0]
        if i and steps[i, 0] - steps[i - 1, 1] > 1e-6:
            base = kept  # nothing is known between: what follows stands for itself
        if not least <= steps[i, 2] <= most:
            total -= weight * length
            continue
        first[kept], last[kept] = i, i
        before[kept], after[kept] = total, total + length
        total += length
        kept += 1
        while True:
            top = kept - 1
            j = top - 1
            while j >= base and before[j] >= before[top]:
                j -= 1
            if j < base or after[j] >= after[top]:
                break
            last[j], after[j] = last[top], after[top]
            kept = j + 1
    found = np.empty((kept, 2), dtype=np.float64)
    number = 0
    for j in range(kept):
        low, high = steps[first[j], 0], steps[last[j], 1]
        if high - low >= shortest:
            found[number, 0], found[number, 1] = low, high
            number += 1
    return found[:number]
