"""Compiled walks along flow directions: to intakes, to drainage, down stems."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.grid.neighbours import D_COL, D_ROW, NO_DATA, OUTLET

_OUTLET = np.uint8(OUTLET)
_NO_DATA = np.uint8(NO_DATA)
UNSET = np.int32(-1)
DIAGONAL = np.int64(1) << 32  # of packed steps: straight ones count 1, diagonal ones this


@kernel
def label_first(codes, labels, first, last):
    """Give unset cells of rows first to last the label that their water meets first, or 0.

    Two walks a cell: down to what is known, and again to write it. Where water leaves the rows
    first, the label is -2 less a position in the list of cells that it goes on to, which is
    returned; `settle` replaces it. The list ends with -1 if the directions run in a circle.
    """
    cols = codes.shape[1]
    code, label = codes.ravel(), labels.ravel()
    offset = D_ROW * cols + D_COL
    top, bottom = first * cols, last * cols
    onward = [np.int64(0)]
    onward.clear()
    for start in range(top, bottom):
        if label[start] != UNSET:
            continue
        cell, steps = start, 0
        found = UNSET
        while found == UNSET:
            to = code[cell]
            if to >= _OUTLET:
                found = np.int32(0)
                break
            receiver = cell + offset[to]
            if receiver < top or receiver >= bottom:
                found = np.int32(-2 - len(onward))
                onward.append(receiver)
                break
            cell = receiver
            found = label[cell]
            steps += 1
            if steps > bottom - top:
                onward.append(np.int64(-1))
                return np.array(onward, dtype=np.int64)
        end, cell = cell, start
        while cell != end:
            label[cell] = found
            cell += offset[code[cell]]
        label[end] = found
    return np.array(onward, dtype=np.int64)


@kernel
def labels_onward(labels, bands_of_rows, onward, starts):
    """For each cell that water goes on to from another band, the label that it meets first.

    `onward` holds the lists of all bands one after the other, `starts` where each begins, and
    `bands_of_rows` the first row of each. A label of -1 tells of a circle.
    """
    cols = labels.shape[1]
    label = labels.ravel()
    found = np.empty(onward.size, dtype=np.int32)
    for i in range(onward.size):
        cell = onward[i]
        steps = 0
        while label[cell] < UNSET and steps <= onward.size:
            band = np.searchsorted(bands_of_rows, cell // cols, side="right") - 1
            cell = onward[starts[band] - 2 - label[cell]]
            steps += 1
        found[i] = max(label[cell], UNSET)
    return found


@kernel
def settle(labels, found, counts, first, last):
    """Replace what `label_first` left open in rows first to last, and count cells by label."""
    for row in range(first, last):
        line = labels[row]
        for col in range(line.size):
            label = line[col]
            if label < UNSET:
                label = found[-2 - label]
                line[col] = label
            counts[label] += 1


@kernel
def mark_rim(codes, labels, touched):
    """Mark in `touched` the labels of cells on the raster's edge or beside nodata."""
    rows, cols = codes.shape
    for row in range(rows):
        inner = 0 < row < rows - 1
        for col in range(0, cols, max(1, cols - 1) if inner else 1):
            touched[labels[row, col]] = True
    for row in range(rows):
        line = codes[row]
        for col in range(cols):
            if line[col] != _NO_DATA:
                continue
            for k in range(8):
                r, c = row + D_ROW[k], col + D_COL[k]
                if 0 <= r < rows and 0 <= c < cols:
                    touched[labels[r, c]] = True


@kernel
def pack_steps(codes, labels, packed):
    """Count the steps from each cell to the first intake: straight ones, and diagonal ones.

    `packed` comes with 0 at intakes and -1 elsewhere, and leaves with straight steps plus
    `DIAGONAL` times diagonal steps where a label is set. Whole numbers make equal ways equal.
    """
    cols = codes.shape[1]
    code, label, count = codes.ravel(), labels.ravel(), packed.ravel()
    offset = D_ROW * cols + D_COL
    for start in range(code.size):
        if count[start] >= 0 or label[start] == 0:
            continue
        cell, way = start, np.int64(0)
        while count[cell] < 0:
            way += DIAGONAL if code[cell] & 1 else np.int64(1)
            cell += offset[code[cell]]
        way += count[cell]
        cell = start
        while count[cell] < 0:
            count[cell] = way
            way -= DIAGONAL if code[cell] & 1 else np.int64(1)
            cell += offset[code[cell]]


@kernel
def farthest(labels, packed, heads):
    """Write for each label the cell with the longest way to its intake; the first of equals."""
    label, count = labels.ravel(), packed.ravel()
    longest = np.full(heads.size, -1.0)
    for cell in range(label.size):
        mine = label[cell]
        if mine > 0:
            way = length(count[cell])
            if way > longest[mine]:
                longest[mine] = way
                heads[mine] = cell


@kernel
def length(packed):
    """Length of packed steps, in cells."""
    return np.float64(packed % DIAGONAL) + np.sqrt(2.0) * np.float64(packed // DIAGONAL)


@kernel
def unpack(packed, labels, cell_m, distance):
    """Write the length of packed steps in metres; NaN where no label is set."""
    count, label, out = packed.ravel(), labels.ravel(), distance.ravel()
    for cell in range(out.size):
        out[cell] = cell_m * length(count[cell]) if label[cell] > 0 else np.nan


@kernel
def walk(codes, start, end):
    """Cells from `start` down to `end`, both included; stops at an outlet."""
    cols = codes.shape[1]
    code = codes.ravel()
    offset = D_ROW * cols + D_COL
    cells = [np.int64(start)]
    cell = np.int64(start)
    while cell != end and code[cell] < _OUTLET:
        cell += offset[code[cell]]
        cells.append(cell)
    return np.array(cells, dtype=np.int64)


@kernel
def heights(codes, surface, drains, base, height):
    """Write each cell's height above the first drainage cell on its way; NaN where none is.

    `base` comes as -1 and leaves as that cell, or -2 where there is none. Returns False if the
    directions run in a circle.
    """
    cols = codes.shape[1]
    code, level, channel = codes.ravel(), surface.ravel(), drains.ravel()
    foot, above = base.ravel(), height.ravel()
    offset = D_ROW * cols + D_COL
    for start in range(code.size):
        cell, steps = np.int64(start), 0
        while foot[cell] == -1:
            if code[cell] == _NO_DATA:
                foot[cell] = -2
            elif channel[cell]:
                foot[cell] = cell
            elif code[cell] == _OUTLET:
                foot[cell] = -2
            else:
                cell += offset[code[cell]]
                steps += 1
                if steps > code.size:
                    return False
        found = foot[cell]
        cell = np.int64(start)
        while foot[cell] == -1:
            foot[cell] = found
            cell += offset[code[cell]]
        if found >= 0:
            above[start] = level[start] - level[found]
        else:
            above[start] = np.nan
    return True


@kernel
def stem_ends(codes, area, cells):
    """For each cell the lower end of its stem: the last cell before a larger donor takes over.

    Upstream of a joint the stem goes on along the donor with the greatest area, the first by
    linear index of equals; the other donors end there.
    """
    cols = codes.shape[1]
    ends = np.empty(cells.size, dtype=np.int64)
    for i in range(cells.size):
        cell = cells[i]
        for _ in range(codes.size):
            row, col = cell // cols, cell % cols
            to = codes[row, col]
            if to >= _OUTLET:
                break
            receiver_row, receiver_col = row + D_ROW[to], col + D_COL[to]
            if _main_donor(codes, area, receiver_row, receiver_col) != cell:
                break
            cell = receiver_row * cols + receiver_col
        ends[i] = cell
    return ends


@kernel
def _main_donor(codes, area, row, col):
    """Return the donor with the greatest area, the first by linear index of equals."""
    rows, cols = codes.shape
    greatest, main = -np.inf, np.int64(-1)
    for k in (3, 2, 1, 4, 0, 5, 6, 7):  # raster order
        r, c = row + D_ROW[k], col + D_COL[k]
        if r < 0 or c < 0 or r >= rows or c >= cols or codes[r, c] != k ^ 4:
            continue
        if area[r, c] > greatest:
            greatest, main = area[r, c], np.int64(r * cols + c)
    return main
