"""Flow through one outlet for given levels above and below it, and reading of stage tables.

Compiled because routing calls them some millions of times; the public functions beside them are
in ``sill``, ``pipe``, ``rating`` and ``storage``.
"""

import numpy as np

from brimline._jit import kernel

WEIR = 0  # q = (p0 + p1 H) H^1.5, drowned by Villemonte with exponent p2
PIPE = 1  # q = min(table(H), p0 sqrt(drop)); tail matters above the outlet invert p1
RATING = 2  # q = table(H), drowned by Villemonte (1.5); where the outlet lies p0 below the crest, q
# is cut by the root of the surface's fall over p0 once the level beyond leaves it less than that

# Villemonte's factor and the orifice law have an infinite slope where both levels meet. Within
# one per cent of head (weir) or one centimetre of drop (pipe) they are replaced by the chord,
# which changes a vanishing flow by a few litres and lets the coupled levels be solved.
NEAR_RATIO = 0.99
NEAR_DROP_M = 0.01
VILLEMONTE = 0.385


@kernel
def villemonte(ratio, exponent):
    """Drowning factor of a weir and its slope, for tail head over head from 0 to 1."""
    if ratio <= 0.0:
        return 1.0, 0.0
    if ratio >= 1.0:
        return 0.0, 0.0
    if ratio > NEAR_RATIO:
        at_near = (1.0 - NEAR_RATIO**exponent) ** VILLEMONTE
        slope = -at_near / (1.0 - NEAR_RATIO)
        return -slope * (1.0 - ratio), slope
    power = ratio**exponent
    factor = (1.0 - power) ** VILLEMONTE
    slope = -VILLEMONTE * factor / (1.0 - power) * exponent * power / ratio
    return factor, slope


@kernel
def table_flow(head, heads, flows, first, last):
    """Flow and its slope from rating entries `first` to `last`, straight on above the last."""
    if head <= heads[first]:
        return 0.0, 0.0
    low, high = first, last - 1
    while high - low > 1:
        middle = (low + high) // 2
        if heads[middle] <= head:
            low = middle
        else:
            high = middle
    slope = (flows[high] - flows[low]) / (heads[high] - heads[low])
    return flows[low] + slope * (head - heads[low]), slope


@kernel
def _weir(p0, p1, exponent, head, tail):
    """Weir flow with its slopes in head and in tail head."""
    root = np.sqrt(head)
    free = (p0 + p1 * head) * head * root
    free_slope = (1.5 * p0 + 2.5 * p1 * head) * root
    if tail <= 0.0:
        return free, free_slope, 0.0
    factor, slope = villemonte(tail / head, exponent)
    by_tail = free * slope / head
    return free * factor, free_slope * factor - by_tail * tail / head, by_tail


@kernel
def _drowned_pipe(coefficient, drop):
    """Flow of a full pipe between two levels, and its slope."""
    if drop < NEAR_DROP_M:
        slope = coefficient / np.sqrt(NEAR_DROP_M)
        return slope * drop, slope
    flow = coefficient * np.sqrt(drop)
    return flow, 0.5 * flow / drop


@kernel
def _backed_up(flow, slope, drop, fall):
    """Cut a uniform flow to what the surface's drop drives, Q ~ S^(1/2); with both slopes."""
    if drop >= fall:
        return flow, slope, 0.0
    near = min(NEAR_DROP_M, 0.1 * fall)
    if drop < near:
        by_drop = np.sqrt(near / fall) / near
        factor = by_drop * drop
    else:
        factor = np.sqrt(drop / fall)
        by_drop = 0.5 * factor / drop
    return flow * factor, slope * factor + flow * by_drop, -flow * by_drop


@kernel
def _forward_flow(kind, crest, p0, p1, p2, heads, flows, first, last, upper, lower):
    """Flow from the upper to the lower level through an outlet with its crest above."""
    head = upper - crest
    if head <= 0.0 or lower >= upper:
        return 0.0, 0.0, 0.0
    if kind == WEIR:
        return _weir(p0, p1, p2, head, lower - crest)
    flow, slope = table_flow(head, heads, flows, first, last)
    if kind == PIPE:
        if lower > p1:
            full, full_slope = _drowned_pipe(p0, upper - lower)
            if full < flow:
                return full, full_slope, -full_slope
        return flow, slope, 0.0
    if p0 > 0.0:
        return _backed_up(flow, slope, upper - lower, p0)
    tail = lower - crest
    if tail <= 0.0:
        return flow, slope, 0.0
    factor, factor_slope = villemonte(tail / head, 1.5)
    by_tail = flow * factor_slope / head
    return flow * factor, slope * factor - by_tail * tail / head, by_tail


@kernel
def outlet_flow(kind, crest, p0, p1, p2, heads, flows, first, last, level, tail_level):
    """Flow out of an element through one outlet, with its slopes in both levels.

    Negative where the level beyond stands higher and the outlet can run backwards (weirs and
    pipes; a rating cannot). Not falling in `level`, not rising in `tail_level`.

    Returns
    -------
    (flow m³/s, its slope in `level`, its slope in `tail_level`)
    """
    if tail_level <= level or kind == RATING:
        return _forward_flow(kind, crest, p0, p1, p2, heads, flows, first, last, level, tail_level)
    if kind == PIPE:  # the ends change places: the outlet invert is now the crest
        flow, by_tail, by_level = _forward_flow(
            kind, p1, p0, crest, p2, heads, flows, first, last, tail_level, level
        )
    else:
        flow, by_tail, by_level = _forward_flow(
            kind, crest, p0, p1, p2, heads, flows, first, last, tail_level, level
        )
    return -flow, -by_level, -by_tail


@kernel
def segment_of(value, values, first, last, hint):
    """Index of the table segment that holds a value, walking from a hint."""
    at = min(max(hint, first), last - 2)
    while at > first and value < values[at]:
        at -= 1
    while at < last - 2 and value >= values[at + 1]:
        at += 1
    return at
