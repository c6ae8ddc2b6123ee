"""The ground that drains to drawn shapes, and the way of water from one shape on."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.flow import checked_directions, upstream_order
from brimline.drainage.receiving import _kernels
from brimline.errors import GridError
from brimline.grid import D_COL, D_ROW, LABEL_NONE, NO_DATA, STEP, checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Directions, Labels


@dataclass(frozen=True, slots=True)
class Received:
    """The ground of each shape.

    Parameters
    ----------
    labels : int32 (rows, cols); the shape that a cell's water meets first, its own cells too.
    cells : int64 (shapes + 1,); cells that drain to each label, the shape's own left out.
    longest_m : float64 (shapes + 1,); longest way to it along the cells [m].
    heads : int64 (shapes + 1,); linear index of where that way begins; -1 where there is none.
    """

    labels: Labels
    cells: NDArray[np.int64]
    longest_m: NDArray[np.float64]
    heads: NDArray[np.int64]


def received(directions: Directions, seeds: Labels, *, cell_m: float) -> Received:
    """Find the ground that drains to each shape before it meets another.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    seeds : int32 (rows, cols); number of the shape that covers the cell, from 1; 0 for none.
    cell_m : side of a cell [m].

    Raises
    ------
    GridError
        If the shapes differ or a direction is wrong.
    """
    checked_same_shape(directions=directions, seeds=seeds)
    codes = checked_directions(directions)
    labels: Labels = np.where(codes == NO_DATA, LABEL_NONE, seeds).astype(np.int32)
    distance = np.zeros(codes.shape, dtype=np.float32)
    _kernels.receive(upstream_order(codes), codes, labels, distance)
    count = int(seeds.max(initial=0)) + 1
    longest = np.zeros(count, dtype=np.float64)
    heads = np.full(count, -1, dtype=np.int64)
    _kernels.farthest(labels, distance, seeds, longest, heads)
    around = labels[(labels != LABEL_NONE) & (seeds == 0)]
    return Received(
        labels=labels,
        cells=np.bincount(around, minlength=count).astype(np.int64),
        longest_m=longest * cell_m,
        heads=heads,
    )


def way_down(
    directions: Directions, row: int, col: int, stop: Labels
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Follow water from a cell until it meets a labelled cell or ends.

    Parameters
    ----------
    stop : int32 (rows, cols); the walk ends on the first cell below the start that is not 0.

    Returns
    -------
    rows, cols : int64 (cells,); the start and the last cell included.

    Raises
    ------
    GridError
        If the start lies outside the data.
    """
    codes = checked_directions(directions)
    inside = 0 <= row < codes.shape[0] and 0 <= col < codes.shape[1]
    if not inside or codes[row, col] == NO_DATA:
        raise GridError(f"the cell ({row}, {col}) lies outside the data")
    cells = np.empty(codes.size, dtype=np.int64)
    count = _kernels.follow(codes, row, col, stop, cells)
    rows, cols = np.divmod(cells[:count], codes.shape[1])
    return rows, cols


def ways_below(
    directions: Directions, starts: NDArray[np.int64], *, cell_m: float, most_m: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Follow water down from some cells, no farther than a distance along the cells.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    starts : int64 (starts,), linear indices.
    cell_m : side of a cell [m].
    most_m : how far the water is followed [m].

    Returns
    -------
    cells : int64 (cells,); linear indices of the cells that it runs over, nearest first.
    distance_m : float64 (cells,); how far it has run from the nearest start [m].
    """
    cols = directions.shape[1]
    ahead = [(0.0, start) for start in sorted(starts.tolist())]  # sorted, so a heap
    far: dict[int, float] = {}
    while ahead:
        so_far, index = heapq.heappop(ahead)
        if index in far:
            continue
        far[index] = so_far
        row, col = divmod(index, cols)
        code = int(directions[row, col])
        if code > 7:
            continue
        so_far += STEP[code] * cell_m
        if so_far <= most_m:
            heapq.heappush(ahead, (so_far, (row + D_ROW[code]) * cols + col + D_COL[code]))
    return np.array(list(far), dtype=np.int64), np.array(list(far.values()), dtype=np.float64)


def way_to(
    directions: Directions, head: int, seeds: Labels
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Follow water from a linear index to the first cell of a shape; as `way_down`."""
    row, col = divmod(head, directions.shape[1])
    return way_down(directions, int(row), int(col), seeds)
