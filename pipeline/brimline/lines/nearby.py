"""Rows and lines that lie on marked cells."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Grid

_STEP_CELLS: Final = 4.0  # a longer leg is looked at along its way, not only at its ends


def touches(shapes: NDArray[np.object_], cells: BoolGrid, grid: Grid) -> NDArray[np.bool_]:
    """Tell which shapes have a corner, or a place along a long leg, on a marked cell.

    Parameters
    ----------
    shapes : geometries in the grid's CRS.
    cells : bool (rows, cols).

    Returns
    -------
    bool (shapes,)
    """
    found = np.zeros(len(shapes), dtype=np.bool_)
    near = np.flatnonzero(_beside(shapes, cells, grid))
    corners, owner = _corners(shapes[near], grid)
    found[near[owner[_on(corners, cells, grid)]]] = True
    return found


def parts_on(
    lines: NDArray[np.object_], cells: BoolGrid, grid: Grid
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Cut lines to their parts on marked cells, to a few cells exactly.

    A line that lies on marked cells as a whole stays as it is.

    Parameters
    ----------
    lines : LineStrings in the grid's CRS.
    cells : bool (rows, cols).

    Returns
    -------
    parts : LineStrings in the order of the lines.
    owner : int64 (parts,); place of the line that each was cut from.
    """
    near = np.flatnonzero(_beside(lines, cells, grid))
    corners, owner = _corners(lines[near], grid)
    on = _on(corners, cells, grid)
    whole = np.bincount(owner[~on], minlength=near.size) == 0
    goes_on = np.zeros(on.size, dtype=np.bool_)
    goes_on[1:] = on[1:] & on[:-1] & (owner[1:] == owner[:-1])
    first = np.flatnonzero(on & ~goes_on)
    run = np.cumsum(on & ~goes_on) - 1
    good = (np.bincount(run[on], minlength=first.size) > 1) & ~whole[owner[first]]
    kept = on.copy()
    kept[on] = good[run[on]]
    number = (np.cumsum(good) - 1)[run[kept]]
    cut = shapely.linestrings(corners[kept], indices=number) if good.any() else lines[:0]
    parts = np.concatenate([lines[near[whole]], cut])
    source = np.concatenate([near[whole], near[owner[first[good]]]])
    order = np.argsort(source, kind="stable")
    return parts[order], source[order]


def _beside(shapes: NDArray[np.object_], cells: BoolGrid, grid: Grid) -> NDArray[np.bool_]:
    """Tell which shapes' rectangles meet that of the marked cells."""
    rows, cols = np.flatnonzero(cells.any(axis=1)), np.flatnonzero(cells.any(axis=0))
    if not rows.size:
        return np.zeros(len(shapes), dtype=np.bool_)
    west, north = grid.xy(rows[0] - 0.5, cols[0] - 0.5)
    east, south = grid.xy(rows[-1] + 0.5, cols[-1] + 0.5)
    x0, y0, x1, y1 = shapely.bounds(shapes).T
    beside: NDArray[np.bool_] = (x1 >= west) & (x0 <= east) & (y1 >= south) & (y0 <= north)
    return beside


def _corners(shapes: NDArray[np.object_], grid: Grid) -> tuple[NDArray[Any], NDArray[np.int64]]:
    dense = shapely.segmentize(shapes, _STEP_CELLS * grid.cell_m)
    corners, owner = shapely.get_coordinates(dense, return_index=True)
    return corners, owner


def _on(corners: NDArray[np.float64], cells: BoolGrid, grid: Grid) -> NDArray[np.bool_]:
    row, col = grid.cell(corners[:, 0], corners[:, 1])
    on = grid.holds(row, col)
    on[on] = cells[row[on], col[on]]
    return on
