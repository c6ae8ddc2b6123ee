"""Compiled loops that join the spill graphs of tiles."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW


@kernel
def ring_passes(level, labels, root, ring):
    """Edges from each ring cell's own basin to those of its lower neighbours in the tile."""
    rows, cols = labels.shape
    one = np.empty(8 * ring.size, dtype=np.int32)
    other = np.empty(8 * ring.size, dtype=np.int32)
    at = np.empty(8 * ring.size, dtype=level.dtype)
    edges = 0
    for cell in ring:
        row, col = cell // cols, cell % cols
        z, mine = level[row, col], root[labels[row, col]]
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols or level[r, c] > z:
                continue
            basin = root[labels[r, c]]
            if basin != mine:
                one[edges], other[edges], at[edges] = mine, basin, z
                edges += 1
    return one[:edges], other[:edges], at[:edges]


@kernel
def _root(parent, node):
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node


@kernel
def contracted(place_of, one, other, at, order):
    """Edges that join places alone as cheaply as all edges do, one fewer than joined places.

    Kruskal's rounds over edges by rising level: where two groups of basins meet that both hold a
    place, the meeting is an edge between the two. `place_of` has each basin's place or -1.
    """
    parent = np.arange(place_of.size).astype(np.int32)
    holds = place_of.copy()
    first = np.empty(place_of.size, dtype=np.int32)
    second = np.empty(place_of.size, dtype=np.int32)
    levels = np.empty(place_of.size, dtype=at.dtype)
    edges = 0
    for edge in order:
        u, v = _root(parent, one[edge]), _root(parent, other[edge])
        if u == v:
            continue
        parent[max(u, v)] = min(u, v)
        if holds[u] >= 0 and holds[v] >= 0:
            first[edges], second[edges], levels[edges] = holds[u], holds[v], at[edge]
            edges += 1
        holds[min(u, v)] = max(holds[u], holds[v])
    return first[:edges], second[:edges], levels[:edges]
