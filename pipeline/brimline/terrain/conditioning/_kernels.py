"""Compiled loops that condition a surface.

Filling works on the basin graph. Every cell points to a neighbour that comes before it in the
order (level, linear index); the cells that point to one pit are its basin. Where two basins meet
for the first time as levels rise, the meeting cell has lower neighbours that are not joined to
each other through lower neighbours (a saddle), so saddles alone make the graph's edges; a minimum
spanning tree rooted outside then gives each basin the level at which it spills.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid._kernels import longer
from brimline.grid.neighbours import D_COL, D_ROW

# what `relate` writes for a cell: 0 to 7 the neighbour it points to, or one of these
PIT = np.uint8(8)
OUT = np.uint8(9)  # water leaves here: raster's edge or kept sink
SADDLE = np.uint8(16)  # added to the code
CODE = np.uint8(15)  # what of a cell's value is its code

OUTSIDE = 0  # the basin of everything that leaves
_UNSET = np.int32(-1)


@kernel
def relate(level, codes, first, last):
    """Pointers and saddles of the inner cells in rows first to last; all branches are selects.

    Of a cell's neighbours those before it in raster order are lower at an equal level. A saddle
    has two or more runs of lower neighbours: Yokoi's connectivity number, corners joining.
    """
    cols = level.shape[1]
    n = cols - 2
    one = np.uint8(1)
    for row in range(max(first, 1), min(last, level.shape[0] - 1)):
        nw, north, ne = level[row - 1, :n], level[row - 1, 1 : n + 1], level[row - 1, 2:]
        west, here, east = level[row, :n], level[row, 1 : n + 1], level[row, 2:]
        sw, south, se = level[row + 1, :n], level[row + 1, 1 : n + 1], level[row + 1, 2:]
        code = codes[row, 1 : n + 1]
        for col in range(n):
            z = here[col]
            low, to = z, PIT
            if nw[col] <= low:
                low, to = nw[col], np.uint8(3)
            if north[col] <= low:
                low, to = north[col], np.uint8(2)
            if ne[col] <= low:
                low, to = ne[col], np.uint8(1)
            if west[col] <= low:
                low, to = west[col], np.uint8(4)
            if east[col] < low:
                low, to = east[col], np.uint8(0)
            if sw[col] < low:
                low, to = sw[col], np.uint8(5)
            if south[col] < low:
                low, to = south[col], np.uint8(6)
            if se[col] < low:
                low, to = se[col], np.uint8(7)
            up_nw, up_n, up_ne = nw[col] > z, north[col] > z, ne[col] > z
            up_w, up_e = west[col] > z, east[col] >= z
            up_sw, up_s, up_se = sw[col] >= z, south[col] >= z, se[col] >= z
            runs = np.uint8(up_e) & (one ^ (np.uint8(up_ne) & np.uint8(up_n)))
            runs += np.uint8(up_n) & (one ^ (np.uint8(up_nw) & np.uint8(up_w)))
            runs += np.uint8(up_w) & (one ^ (np.uint8(up_sw) & np.uint8(up_s)))
            runs += np.uint8(up_s) & (one ^ (np.uint8(up_se) & np.uint8(up_e)))
            code[col] = to | (SADDLE if runs > 1 else np.uint8(0))


@kernel
def count(codes, first, last):
    """Pits, saddles, and pointers that leave the rows first to last."""
    pits, saddles, exits = 0, 0, 0
    for row in range(first, last):
        line = codes[row]
        for col in range(line.size):
            pits += (line[col] & CODE) == PIT
            saddles += line[col] >= SADDLE
    for col in range(codes.shape[1]):
        exits += 1 <= (codes[first, col] & CODE) <= 3
        exits += 5 <= (codes[last - 1, col] & CODE) <= 7
    return pits, saddles, exits


@kernel
def label(codes, first, last, basin, labels, beyond):
    """Label rows first to last by basin, counting on from `basin`.

    A pointer that leaves the rows makes a basin of its own for now: `beyond` holds the cell that
    it leads to, and -1 for pits. Returns the number after the last basin.
    """
    cols = codes.shape[1]
    code, labelled = codes.ravel(), labels.ravel()
    step = D_ROW * cols + D_COL
    top, bottom = first * cols, last * cols
    for cell in range(top, bottom):
        labelled[cell] = _UNSET
    for start in range(top, bottom):
        if labelled[start] != _UNSET:
            continue
        cell = start
        found = _UNSET
        while found == _UNSET:
            to = code[cell] & CODE
            if to == OUT:
                found = np.int32(OUTSIDE)
            elif to == PIT:
                found = np.int32(basin)
                beyond[basin] = -1
                basin += 1
            else:
                receiver = cell + step[to]
                if receiver < top or receiver >= bottom:
                    found = np.int32(basin)
                    beyond[basin] = receiver
                    basin += 1
                else:
                    cell = receiver
                    found = labelled[cell]
        labelled[cell] = found
        last_cell, cell = cell, start
        while cell != last_cell:
            labelled[cell] = found
            cell += step[code[cell] & CODE]
    return basin


@kernel
def join_bands(labels, beyond, basins):
    """For each basin the one that it belongs to, after following what left a band's rows."""
    labelled = labels.ravel()
    root = np.empty(basins, dtype=np.int32)
    root[OUTSIDE] = OUTSIDE
    for basin in range(1, basins):
        at = basin
        while at != OUTSIDE and beyond[at] >= 0:
            at = labelled[beyond[at]]
        root[basin] = at
    return root


@kernel
def passes(level, codes, labels, root, first, last, saddles):
    """Edges of the basin graph at the saddles in rows first to last: basin, basin, level.

    Lower neighbours that touch are joined below the saddle, so one of each run is enough.
    """
    cols = codes.shape[1]
    most = 4 * saddles  # no more runs fit around a cell
    one = np.empty(most, dtype=np.int32)
    other = np.empty(most, dtype=np.int32)
    at = np.empty(most, dtype=level.dtype)
    spots = np.empty(cols, dtype=np.int64)
    edges = 0
    for row in range(first, last):
        line, found = codes[row], 0
        for col in range(cols):
            spots[found] = col
            found += line[col] >= SADDLE
        for col in spots[:found]:
            z = level[row, col]
            mine = root[labels[row, col]]
            lower = 0
            for k in range(8):
                beside = level[row + D_ROW[k], col + D_COL[k]]
                if beside < z or (beside == z and 1 <= k <= 4):
                    lower |= 1 << k
            for k in range(8):
                joined = lower >> ((k + 7) & 7) & 1
                if k % 2 == 0:
                    joined |= lower >> ((k + 6) & 7) & 1
                if joined or not lower >> k & 1:
                    continue
                basin = root[labels[row + D_ROW[k], col + D_COL[k]]]
                if basin != mine:
                    one[edges], other[edges], at[edges] = mine, basin, z
                    edges += 1
    return one[:edges], other[:edges], at[:edges]


@kernel
def rim_passes(level, labels, root, leaving):
    """Edges from each cell where water leaves to the basins of its lower neighbours."""
    rows, cols = labels.shape
    most = 4 * leaving.size
    one = np.empty(most, dtype=np.int32)
    at = np.empty(most, dtype=level.dtype)
    edges = 0
    for cell in leaving:
        row, col = cell // cols, cell % cols
        z = level[row, col]
        before = np.int32(OUTSIDE)
        for k in range(8):
            r, c = row + D_ROW[k], col + D_COL[k]
            if r < 0 or c < 0 or r >= rows or c >= cols or level[r, c] > z:
                continue
            basin = root[labels[r, c]]
            if basin != OUTSIDE and basin != before:
                if edges == most:
                    one, at = longer(one), longer(at)
                    most = at.size
                one[edges], at[edges] = basin, z
                edges += 1
            before = basin
    return one[:edges], np.zeros(edges, dtype=np.int32), at[:edges]


@kernel
def _find(parent, node):
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node


@kernel
def _spanning_tree(nodes, one, other, at):
    """Edges of the minimum spanning tree, by Borůvka's rounds; equal levels go by edge number."""
    parent = np.arange(nodes).astype(np.int32)
    lowest = np.full(nodes, -1, dtype=np.int32)
    tree = np.empty(nodes, dtype=np.int32)
    alive = np.arange(at.size).astype(np.int32)
    branches, left = 0, at.size
    while left > 0:
        kept = 0
        for i in range(left):
            edge = alive[i]
            u, v = _find(parent, one[edge]), _find(parent, other[edge])
            if u == v:
                continue
            alive[kept] = edge
            kept += 1
            for node in (u, v):
                best = lowest[node]
                # edges come in rising number, so an equal level never replaces an earlier edge
                if best < 0 or at[edge] < at[best]:
                    lowest[node] = edge
        left = kept
        for node in range(nodes):
            edge = lowest[node]
            if edge < 0:
                continue
            lowest[node] = -1
            u, v = _find(parent, one[edge]), _find(parent, other[edge])
            if u != v:
                parent[max(u, v)] = min(u, v)
                tree[branches] = edge
                branches += 1
    return tree[:branches]


@kernel
def spill_levels(nodes, one, other, at):
    """Level at which each basin spills: the lowest way outside, by its highest pass."""
    tree = _spanning_tree(nodes, one, other, at)
    start = np.zeros(nodes + 1, dtype=np.int32)
    for edge in tree:
        start[one[edge] + 1] += 1
        start[other[edge] + 1] += 1
    for node in range(nodes):
        start[node + 1] += start[node]
    place = start.copy()
    beside = np.empty(2 * tree.size, dtype=np.int32)
    for edge in tree:
        for node in (one[edge], other[edge]):
            beside[place[node]] = edge
            place[node] += 1
    spill = np.full(nodes, np.inf, dtype=at.dtype)
    spill[OUTSIDE] = -np.inf
    queue = np.empty(nodes, dtype=np.int32)
    queue[0] = OUTSIDE
    tail = 1
    for head in range(nodes):
        if head == tail:
            break
        node = queue[head]
        for i in range(start[node], start[node + 1]):
            edge = beside[i]
            next_node = one[edge] + other[edge] - node
            if spill[next_node] == np.inf:
                spill[next_node] = max(spill[node], at[edge])
                queue[tail] = next_node
                tail += 1
    return spill


@kernel
def raise_to(level, labels, spill, first, last):
    """Write the filled surface over the labels of rows first to last, read as float32.

    Raises each cell to the level at which its basin spills, and turns nodata back into NaN. The
    surface takes the place of the labels because both are the largest arrays of a fill.
    """
    nothing = np.float32(np.nan)
    for row in range(first, last):
        here, basin = level[row], labels[row]
        filled = basin.view(np.float32)
        for col in range(here.size):
            z, up = here[col], spill[basin[col]]
            filled[col] = nothing if z == -np.inf else max(z, up)


@kernel
def change(before, after):
    """Cells raised and lowered, the largest rise and cut, and their sums."""
    raised, lowered = 0, 0
    up, down, up_sum, down_sum = 0.0, 0.0, 0.0, 0.0
    for row in range(before.shape[0]):
        up_row, down_row = 0.0, 0.0
        for col in range(before.shape[1]):
            rise = np.float64(after[row, col]) - np.float64(before[row, col])
            if rise > 0.0:
                raised += 1
                up = max(up, rise)
                up_row += rise
            elif rise < 0.0:
                lowered += 1
                down = max(down, -rise)
                down_row -= rise
        up_sum += up_row
        down_sum += down_row
    return raised, lowered, up, down, up_sum, down_sum
