"""Compiled search for the cheapest ways out of pits."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, STEP
from brimline.terrain.conditioning._kernels import CODE, OUT, PIT

_SLIGHT = 1e-6  # share of a way's length; rounding is far below it
_CORNER = np.sqrt(0.5)
KEPT = np.uint8(10)  # a kept sink, which differs from the edge in staying uncut


@kernel
def mark_rim(codes, beyond, first, last):
    """Mark the inner cells in rows first to last beside what lies outside as letting water out."""
    rows, cols = codes.shape
    for row in range(max(first, 1), min(last, rows - 1)):
        for col in range(1, cols - 1):
            if beyond[row, col]:
                continue
            for k in range(8):
                if beyond[row + D_ROW[k], col + D_COL[k]]:
                    codes[row, col] = OUT
                    break


@kernel
def _beside(ground, cell, offset, low):
    """Slight number that grows with the ground around an inner cell: it parts ways of one length.

    Sums of float32 levels are exact in float64, so that turning the ground does not change it.
    """
    sides, corners = 0.0, 0.0
    for k in range(0, 8, 2):
        side, corner = (
            np.float64(ground[cell + offset[k]]),
            np.float64(ground[cell + offset[k + 1]]),
        )
        sides += side - low if side > -np.inf else 0.0
        corners += corner - low if corner > -np.inf else 0.0
    above = sides + _CORNER * corners
    return _SLIGHT * above / (1.0 + abs(above))


@kernel
def find_breaches(level, codes, cell_m, max_depth_m, max_length_m, room, begin, last):
    """Cells to cut, and to which level, so that the pits from cell `begin` to row last drain.

    From each pit the cheapest way is sought (Dijkstra) to a lower cell or to one where water
    leaves; the cost is depth of cut times step, summed, then length, then how the ground beside
    the way lies (`_beside`), and only then linear index. Moving over the pit's own level floor
    counts for nothing, so that it does not matter which of its cells is the pit. Ways longer or
    deeper than allowed are not followed; nodata and kept sinks are never cut.

    Also returns the cell to go on from with more room, if `room` for waiting cells or for cuts
    ran out at a pit: arrays that grow inside the search make it far slower.
    """
    rows, cols = level.shape
    ground, code = level.ravel(), codes.ravel()
    offset = D_ROW * cols + D_COL
    most_m = max_length_m * (1.0 + _SLIGHT)
    # what is known of a cell is kept in a window that no allowed way from the pit leaves
    reach = np.int64(min(max_length_m / cell_m, rows + cols))
    tall, wide = min(2 * reach + 1, rows), min(2 * reach + 1, cols)
    shift = D_ROW * wide + D_COL
    cost = np.empty(tall * wide)
    length = np.empty(tall * wide)
    came = np.empty(tall * wide, dtype=np.uint8)
    stamp = np.zeros(tall * wide, dtype=np.int32)  # the pit that the entry is about
    heap_cost, heap_length = np.empty(room), np.empty(room)
    heap_cell, heap_spot = np.empty(room, dtype=np.int64), np.empty(room, dtype=np.int64)
    cut_cell, cut_level = np.empty(room, dtype=np.int64), np.empty(room, dtype=level.dtype)
    cuts, pits = 0, np.int32(0)
    for pit in range(begin, last * cols):
        low = ground[pit]
        if code[pit] & CODE != PIT or low == -np.inf:
            continue
        pits += np.int32(1)
        row, col = pit // cols, pit % cols
        top, left = min(max(row - reach, 0), rows - tall), min(max(col - reach, 0), cols - wide)
        spot = (row - top) * wide + col - left
        cost[spot], length[spot], stamp[spot] = 0.0, 0.0, pits
        heap_cost[0], heap_length[0], heap_cell[0], heap_spot[0] = 0.0, 0.0, pit, spot
        waiting = 1
        end, end_spot = np.int64(-1), np.int64(-1)
        while waiting > 0:
            paid, gone, cell, spot = heap_cost[0], heap_length[0], heap_cell[0], heap_spot[0]
            waiting -= 1
            c, g, n, s = (
                heap_cost[waiting],
                heap_length[waiting],
                heap_cell[waiting],
                heap_spot[waiting],
            )
            hole = 0
            while True:
                child = 2 * hole + 1
                if child >= waiting:
                    break
                other = child + 1
                if other < waiting and (
                    heap_cost[other] < heap_cost[child]
                    or (
                        heap_cost[other] == heap_cost[child]
                        and (
                            heap_length[other] < heap_length[child]
                            or (
                                heap_length[other] == heap_length[child]
                                and heap_cell[other] < heap_cell[child]
                            )
                        )
                    )
                ):
                    child = other
                if c < heap_cost[child] or (
                    c == heap_cost[child]
                    and (
                        g < heap_length[child]
                        or (g == heap_length[child] and n <= heap_cell[child])
                    )
                ):
                    break
                heap_cost[hole], heap_length[hole] = heap_cost[child], heap_length[child]
                heap_cell[hole], heap_spot[hole] = heap_cell[child], heap_spot[child]
                hole = child
            heap_cost[hole], heap_length[hole], heap_cell[hole], heap_spot[hole] = c, g, n, s
            if paid > cost[spot] or gone > length[spot]:
                continue  # a better way to the cell came after this was queued
            z = ground[cell]
            if z < low or code[cell] == OUT:
                end, end_spot = cell, spot
                break
            if paid == 0.0 and cell < pit:
                break  # the same flat has an earlier pit, which speaks for it
            if waiting + 8 > room:
                return cut_cell[:cuts], cut_level[:cuts], pit
            on_floor = paid == 0.0 and gone == 0.0
            longer_by = 1.0 if on_floor else 1.0 + _beside(ground, cell, offset, low)
            spot_row, spot_col = spot // wide, spot % wide
            for k in range(8):
                r, c_in = spot_row + D_ROW[k], spot_col + D_COL[k]
                if r < 0 or c_in < 0 or r >= tall or c_in >= wide:
                    continue
                n = cell + offset[k]
                depth = np.float64(ground[n]) - np.float64(low)
                if depth == -np.inf or depth > max_depth_m:
                    continue
                if depth <= 0.0:
                    depth = 0.0
                elif code[n] == KEPT:
                    continue
                step = STEP[k] * cell_m
                g = gone + step * longer_by
                if on_floor and ground[n] == low:
                    g = 0.0
                if g > most_m:
                    continue
                c = paid + depth * step
                s = spot + shift[k]
                if stamp[s] == pits and (cost[s] < c or (cost[s] == c and length[s] <= g)):
                    continue
                stamp[s], cost[s], length[s], came[s] = pits, c, g, np.uint8(k)
                hole = waiting
                waiting += 1
                while hole > 0:
                    parent = (hole - 1) // 2
                    if heap_cost[parent] < c or (
                        heap_cost[parent] == c
                        and (
                            heap_length[parent] < g
                            or (heap_length[parent] == g and heap_cell[parent] <= n)
                        )
                    ):
                        break
                    heap_cost[hole], heap_length[hole] = heap_cost[parent], heap_length[parent]
                    heap_cell[hole], heap_spot[hole] = heap_cell[parent], heap_spot[parent]
                    hole = parent
                heap_cost[hole], heap_length[hole] = c, g
                heap_cell[hole], heap_spot[hole] = n, s
        done = cuts
        while end >= 0 and end != pit:
            if ground[end] > low:
                if cuts == room:
                    return cut_cell[:done], cut_level[:done], pit
                cut_cell[cuts], cut_level[cuts] = end, low
                cuts += 1
            k = came[end_spot]
            end -= offset[k]
            end_spot -= shift[k]
    return cut_cell[:cuts], cut_level[:cuts], last * cols


@kernel
def cut(surface, cells, levels):
    """Lower cells to levels; the lowest counts where a cell is named more than once."""
    ground = surface.ravel()
    for i in range(cells.size):
        ground[cells[i]] = min(ground[cells[i]], levels[i])
