"""Compiled loops over directions from shapes that cover several cells."""

from __future__ import annotations

from brimline._jit import kernel
from brimline.grid import D_COL, D_ROW, STEP


@kernel
def receive(order, codes, labels, distance):
    """Pass labels and distances [cells] up from seeds; `order` has donors before receivers.

    `labels` holds the seeds, `distance` zeros; both are filled.
    """
    cols = codes.shape[1]
    for place in range(order.size - 1, -1, -1):
        index = order[place]
        row, col = index // cols, index % cols
        code = codes[row, col]
        if labels[row, col] != 0 or code > 7:
            continue
        down_row, down_col = row + D_ROW[code], col + D_COL[code]
        labels[row, col] = labels[down_row, down_col]
        distance[row, col] = distance[down_row, down_col] + STEP[code]


@kernel
def follow(codes, row, col, stop, cells):
    """Walk down from a cell until `stop` holds a label or water ends; returns how many cells.

    The first cell never stops the walk: water that leaves a shape begins inside it.
    """
    count = 0
    while True:
        cells[count] = row * codes.shape[1] + col
        count += 1
        code = codes[row, col]
        if code > 7 or count == cells.size or (count > 1 and stop[row, col] != 0):
            return count
        row, col = row + D_ROW[code], col + D_COL[code]


@kernel
def farthest(labels, distance, seeds, best, head):
    """Find the cell farthest from each label's seeds."""
    rows, cols = labels.shape
    for row in range(rows):
        for col in range(cols):
            label = labels[row, col]
            if label != 0 and seeds[row, col] == 0 and distance[row, col] > best[label]:
                best[label] = distance[row, col]
                head[label] = row * cols + col
