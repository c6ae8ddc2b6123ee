"""Which ground drains to which intake first, and how intakes follow each other."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.drainage.catchments import _kernels
from brimline.drainage.flow.directions import checked_directions, counted_donors
from brimline.errors import GridError
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Directions, Labels

_CIRCLE: Final = "directions run in a circle: not every cell reaches an outlet"


@dataclass(frozen=True, slots=True)
class Subcatchments:
    """The ground of each intake; intake numbers count from 1 in the order they were given.

    Parameters
    ----------
    labels : int32 (rows, cols)
        The intake that a cell's water meets first, the cell's own included; 0 where it meets none.
    intake_cells : int64 (intakes,)
        Linear index `row * cols + col` of each intake.
    downstream_ids : int32 (intakes,)
        The next intake on the way down; 0 where there is none.
    own_cells, cells : int64 (intakes,)
        Cells whose water meets this intake first, and all cells that drain to it.
    edge_limited : bool (intakes,)
        True where a cell that drains to the intake lies on the raster's edge or has nodata among
        its eight neighbours: ground beyond may drain to it too, so its area is a lower bound.
    """

    labels: Labels
    intake_cells: NDArray[np.int64]
    downstream_ids: NDArray[np.int32]
    own_cells: NDArray[np.int64]
    cells: NDArray[np.int64]
    edge_limited: NDArray[np.bool_]

    def gathered(self, own: ArrayLike, how: np.ufunc = np.add) -> NDArray[Any]:
        """Combine one value of each own subcatchment with those of all intakes upstream.

        Parameters
        ----------
        own : (intakes,)
            A value of the ground that drains to each intake first.
        how : numpy ufunc of two arguments
            `numpy.add` for sums, `numpy.maximum` for the highest ground, and so on.
        """
        return gathered(self.downstream_ids, own, how)


def subcatchments(directions: Directions, intakes: ArrayLike) -> Subcatchments:
    """Divide the ground among intakes, all in one pass.

    Where several intakes lie on one cell, the first given takes the ground; each of the others
    counts as lying just downstream of the one before, with no own ground and the same total.

    Parameters
    ----------
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    intakes : int (intakes, 2)
        Row and column of each intake, on cells with data. May be empty.

    Raises
    ------
    GridError
        If a direction is wrong, the directions run in a circle, or an intake lies outside the
        data.
    """
    codes = checked_directions(directions)
    counted_donors(codes)  # refuses codes that lead out of the data
    cells = intake_cells(codes, intakes)
    labels, counts = _labelled(codes, cells)
    touched = np.zeros(cells.size + 1, dtype=np.bool_)
    _kernels.mark_rim(codes, labels, touched)
    downstream = _downstream_ids(codes, labels, cells)
    return Subcatchments(
        labels=labels,
        intake_cells=cells,
        downstream_ids=downstream,
        own_cells=counts[1:],
        cells=gathered(downstream, counts[1:]),
        edge_limited=gathered(downstream, touched[1:], np.logical_or),
    )


def _labelled(codes: Directions, cells: NDArray[np.int64]) -> tuple[Labels, NDArray[np.int64]]:
    """Label the ground by the first intake on its way, and count the cells of each label."""
    labels: Labels = np.full(codes.shape, _kernels.UNSET, dtype=np.int32)
    unique, first = np.unique(cells, return_index=True)
    labels.ravel()[unique] = first + 1
    parts = bands(codes.shape[0])
    lists = side_by_side([partial(_kernels.label_first, codes, labels, *part) for part in parts])
    onward = np.concatenate(lists)
    starts = np.cumsum([0, *(found.size for found in lists)])
    top_rows = np.array([first for first, _ in parts])
    if (onward < 0).any():
        raise GridError(_CIRCLE)
    found = _kernels.labels_onward(labels, top_rows, onward, starts)
    if (found < 0).any():
        raise GridError(_CIRCLE)
    counts = np.zeros((len(parts), cells.size + 1), dtype=np.int64)
    side_by_side(
        [
            partial(_kernels.settle, labels, found[start:], count, *part)
            for part, start, count in zip(parts, starts[:-1].tolist(), counts, strict=True)
        ]
    )
    return labels, counts.sum(axis=0)


def intake_cells(codes: Directions, intakes: ArrayLike) -> NDArray[np.int64]:
    """Return the linear index of each intake given by row and column.

    Raises
    ------
    GridError
        If the shape is not (intakes, 2), or an intake lies outside the data.
    """
    places = np.asarray(intakes)
    if places.size == 0:
        places = np.empty((0, 2), dtype=np.int64)
    if places.ndim != 2 or places.shape[1] != 2 or not np.issubdtype(places.dtype, np.integer):
        raise GridError(
            f"intakes must be whole numbers of shape (intakes, 2), got {places.dtype} "
            f"{places.shape}"
        )
    row, col = places[:, 0].astype(np.int64), places[:, 1].astype(np.int64)
    rows, cols = codes.shape
    inside = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
    inside[inside] = codes[row[inside], col[inside]] != NO_DATA
    if not inside.all():
        lost = np.flatnonzero(~inside)
        named = ", ".join(f"{i + 1} at row {row[i]}, column {col[i]}" for i in lost[:5])
        raise GridError(f"{lost.size} of {row.size} intakes lie outside the data: {named}")
    cells: NDArray[np.int64] = row * cols + col
    return cells


def _downstream_ids(
    codes: Directions, labels: Labels, cells: NDArray[np.int64]
) -> NDArray[np.int32]:
    cols = codes.shape[1]
    code, label = codes.ravel(), labels.ravel()
    down = np.zeros(cells.size, dtype=np.int32)
    inner = code[cells] != OUTLET
    to = code[cells[inner]]
    down[inner] = label[cells[inner] + D_ROW[to] * cols + D_COL[to]]
    last_on: dict[int, int] = {}
    for place, cell in enumerate(cells.tolist()):
        if cell in last_on:
            down[last_on[cell]] = place + 1
        last_on[cell] = place
    return down


def gathered(
    downstream_ids: NDArray[np.int32], own: ArrayLike, how: np.ufunc = np.add
) -> NDArray[Any]:
    """Combine each value with those of everything upstream along links numbered from 1."""
    total = np.array(own)
    for place in downstream_order(downstream_ids):
        down = downstream_ids[place]
        if down > 0:
            total[down - 1] = how(total[down - 1], total[place])
    return total


def downstream_order(downstream_ids: NDArray[np.int32]) -> list[int]:
    """List positions so that each comes before the one that it drains to.

    Raises
    ------
    GridError
        If the links run in a circle.
    """
    waiting = np.bincount(downstream_ids[downstream_ids > 0] - 1, minlength=downstream_ids.size)
    order: list[int] = np.flatnonzero(waiting == 0).tolist()
    for place in order:
        down = int(downstream_ids[place]) - 1
        if down >= 0:
            waiting[down] -= 1
            if waiting[down] == 0:
                order.append(down)
    if len(order) < downstream_ids.size:
        raise GridError("downstream links run in a circle")
    return order
