"""Compiled joining of hollows as their water rises, and the search for where they spill."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW

_RASTER_ORDER = np.array([3, 2, 1, 4, 0, 5, 6, 7], dtype=np.int64)


@kernel
def places(cells, turn):
    """Write each cell's turn, and count the cells without a neighbour of an earlier turn."""
    rows, cols = turn.shape
    when = turn.ravel()
    for i in range(cells.size):
        when[cells[i]] = i
    pits = 0
    for i in range(cells.size):
        row, col = cells[i] // cols, cells[i] % cols
        first = True
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if 0 <= r < rows and 0 <= c < cols and 0 <= turn[r, c] < i:
                first = False
                break
        pits += first
    return pits


@kernel
def _find(top, node):
    while top[node] != node:
        top[node] = top[top[node]]
        node = top[node]
    return node


@kernel
def _around(cell, i, turn, node_of, top, beside):
    """List in `beside` the outermost nodes of the cell's neighbours of earlier turns."""
    rows, cols = turn.shape
    row, col = cell // cols, cell % cols
    found = 0
    for k in range(8):
        r, c = row + D_ROW[k], col + D_COL[k]
        if r < 0 or c < 0 or r >= rows or c >= cols or not 0 <= turn[r, c] < i:
            continue
        node = _find(top, node_of[turn[r, c]])
        new = True
        for j in range(found):
            new &= beside[j] != node
        if new:
            beside[found] = node
            found += 1
    return found


@kernel
def _target(beside, found, z, birth, joins):
    """Choose the node that a cell of level z belongs to: -1 is a new one; tell if it joins others.

    Of nodes that started at z one that joins others goes first, for what meets at one level has
    one parent; a node without depth gives way to one with depth.
    """
    deep, joint, flat, alone = 0, np.int32(-1), np.int32(-1), np.int32(-1)
    for j in range(found):
        node = beside[j]
        if birth[node] < z:
            deep += 1
            alone = node
        elif joins[node]:
            joint = node if joint < 0 else min(node, joint)
        else:
            flat = node if flat < 0 else min(node, flat)
    if joint >= 0 or deep > 1:
        return joint, True
    return (alone if deep == 1 else flat), False


@kernel
def join(cells, level, rise, turn, pits):
    """Build the tree of hollows by taking cells from the lowest up, as if water rose.

    A cell without an earlier neighbour starts a node, a cell beside one node belongs to it, and a
    cell beside several closes them at its own level and starts the node that takes them in.

    Parameters: linear indices by rising level, then index; their levels (-inf for enclosed
    nodata); how far each lies below the filled surface; the turn of every cell (-1: none); the
    number of cells that start a node. Returns the node of each cell, and of each node: the parent
    (-1: outermost), the node that absorbed it (itself: none), the level and the cell at which it
    closes (inf and -1: outermost), its deepest cell (-1: no cell with data), its cells with data
    below the closing level, its volume below the filled surface and the cells counted in that,
    and whether it holds nodata.
    """
    most = max(1, 2 * pits)
    node_of = np.empty(cells.size, dtype=np.int32)
    top = np.arange(most).astype(np.int32)
    into = np.arange(most).astype(np.int32)
    parent = np.full(most, -1, dtype=np.int32)
    joins = np.zeros(most, dtype=np.bool_)
    birth = np.empty(most, dtype=np.float64)
    close = np.full(most, np.inf, dtype=np.float64)
    close_cell = np.full(most, -1, dtype=np.int64)
    deepest = np.full(most, -1, dtype=np.int64)
    below = np.zeros(most, dtype=np.int64)
    volume = np.zeros(most, dtype=np.float64)
    count = np.zeros(most, dtype=np.int64)
    void = np.zeros(most, dtype=np.bool_)
    latest = np.full(most, -np.inf, dtype=np.float64)  # level of the highest cell with data
    at_latest = np.zeros(most, dtype=np.int64)  # cells of that level
    when = turn.ravel()
    beside = np.empty(8, dtype=np.int32)
    nodes = 0
    for i in range(cells.size):
        cell, z = cells[i], np.float64(level[i])
        found = _around(cell, i, turn, node_of, top, beside)
        node, joint = _target(beside, found, z, birth, joins)
        if node < 0:
            node = np.int32(nodes)
            birth[node], joins[node] = z, joint
            nodes += 1
        for j in range(found):
            other = beside[j]
            if other == node:
                continue
            top[other] = node
            if joint and birth[other] < z:
                parent[other], close[other], close_cell[other] = node, z, cell
                below[other] = count[other] - (at_latest[other] if latest[other] == z else 0)
            else:
                into[other] = node
            lowest = deepest[other]
            if lowest >= 0 and (deepest[node] < 0 or when[lowest] < when[deepest[node]]):
                deepest[node] = lowest
            volume[node] += volume[other]
            count[node] += count[other]
            void[node] |= void[other]
            if latest[other] > latest[node]:
                latest[node], at_latest[node] = latest[other], at_latest[other]
            elif latest[other] == latest[node]:
                at_latest[node] += at_latest[other]
        node_of[i] = node
        if z == -np.inf:
            void[node] = True
            continue
        if deepest[node] < 0:
            deepest[node] = cell
        volume[node] += rise[i]
        count[node] += 1
        if latest[node] < z:
            latest[node], at_latest[node] = z, 0
        at_latest[node] += 1
    for node in range(nodes):
        if parent[node] < 0:
            below[node] = count[node]
    return (
        node_of,
        parent[:nodes],
        into[:nodes],
        close[:nodes],
        close_cell[:nodes],
        deepest[:nodes],
        below[:nodes],
        volume[:nodes],
        count[:nodes],
        void[:nodes],
    )


@kernel
def settle(node_of, parent, into):
    """Point cells and parents past absorbed nodes, in place."""
    for node in range(into.size):
        while into[into[node]] != into[node]:
            into[node] = into[into[node]]
    for i in range(node_of.size):
        node_of[i] = into[node_of[i]]
    for node in range(parent.size):
        if parent[node] >= 0:
            parent[node] = into[parent[node]]


@kernel
def surface_nodes(level, node_of, parent, close):
    """Find the innermost node in which each cell lies below the water, at which it closes."""
    found = np.empty_like(node_of)
    for i in range(node_of.size):
        node = node_of[i]
        while parent[node] >= 0 and level[i] >= close[node]:
            node = parent[node]
        found[i] = node
    return found


@kernel
def mark_up(nodes, parent, marked):
    """Mark the given nodes and all that hold them."""
    for node in nodes:
        while node >= 0 and not marked[node]:
            marked[node] = True
            node = parent[node]


@kernel
def inherit(order, parent, values):
    """Give each node without a value (0) its parent's; `order` has parents first."""
    for node in order:
        if values[node] == 0 and parent[node] >= 0:
            values[node] = values[parent[node]]


@kernel
def spills(filled, dem, void, deepest):
    """Where each full hollow overflows: its spill cell, and the first lower cell beyond.

    Searches breadth first from the deepest cell over the water's surface and over flat ground at
    its level, to the first cell with a lower neighbour or at the rim of the data. The spill cell
    is the first one of dry ground on that way, for a flat may lie between. The cell beyond is -1
    where the water leaves the data.
    """
    rows, cols = filled.shape
    spill_cell = np.full(deepest.size, -1, dtype=np.int64)
    beyond = np.full(deepest.size, -1, dtype=np.int64)
    seen = np.full(filled.shape, -1, dtype=np.int32)
    for i in range(deepest.size):
        row, col = deepest[i] // cols, deepest[i] % cols
        water = filled[row, col]
        queue = [deepest[i]]
        shore = [np.int64(-1)]
        seen[row, col] = i
        head = 0
        while head < len(queue):
            cell, origin = queue[head], shore[head]
            head += 1
            row, col = cell // cols, cell % cols
            if origin < 0 and dem[row, col] == water:
                origin = cell
            steepest, rim = 0.0, False
            for k in _RASTER_ORDER:
                r, c = row + D_ROW[k], col + D_COL[k]
                if r < 0 or c < 0 or r >= rows or c >= cols:
                    rim = True
                    continue
                if np.isnan(filled[r, c]) and not void[r, c]:
                    rim = True
                    continue
                if void[r, c] or filled[r, c] == water:
                    if seen[r, c] != i:
                        seen[r, c] = i
                        queue.append(np.int64(r * cols + c))
                        shore.append(origin)
                    continue
                fall = np.float64(water) - np.float64(filled[r, c])
                if k % 2 == 1:
                    fall *= np.sqrt(0.5)
                if fall > steepest:
                    steepest, beyond[i] = fall, r * cols + c
            if not void[row, col] and (rim or steepest > 0.0):
                spill_cell[i] = origin
                break
            beyond[i] = -1
    return spill_cell, beyond
