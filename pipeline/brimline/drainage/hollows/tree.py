"""The full tree of hollows: every pit, and every joining of hollows as water rises."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.hollows import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation


@dataclass(frozen=True, slots=True)
class HollowTree:
    """Nodes of the tree; absorbed ones, which have no depth of their own, have no deepest cell.

    Parameters
    ----------
    cells : int64 (cells,); linear indices of what lies below the filled surface.
    node_of : int32 (cells,); the innermost node in which the cell lies under water.
    parent : int32 (nodes,); -1 for an outermost hollow.
    level_m : float64 (nodes,) [m]; at which it spills or is taken in by its parent.
    meeting_cell : int64 (nodes,); where it meets others; -1 for an outermost hollow.
    deepest_cell : int64 (nodes,); -1 where no cell has data.
    depth_m, volume_cells_m : float64 (nodes,) [m]; volume as depth summed over cells.
    size : int64 (nodes,); cells with data under water.
    holds_void : bool (nodes,); nodata inside, so that depth and volume are lower bounds.
    """

    cells: NDArray[np.int64]
    node_of: NDArray[np.int32]
    parent: NDArray[np.int32]
    level_m: NDArray[np.float64]
    meeting_cell: NDArray[np.int64]
    deepest_cell: NDArray[np.int64]
    depth_m: NDArray[np.float64]
    volume_cells_m: NDArray[np.float64]
    size: NDArray[np.int64]
    holds_void: NDArray[np.bool_]


def hollow_tree(dem: Elevation, filled: Elevation, void: BoolGrid) -> HollowTree:
    """Build the tree from a surface and its fill.

    Parameters
    ----------
    dem, filled : float32 (rows, cols) [m]
    void : bool (rows, cols); nodata enclosed by data.
    """
    cells = np.flatnonzero((filled > dem) | void)
    level = dem.ravel()[cells]
    level[np.isnan(level)] = -np.inf
    by_level = np.argsort(level, kind="stable")  # equal levels stay in raster order
    cells, level = cells[by_level], level[by_level]
    rise = filled.ravel()[cells].astype(np.float64) - level
    turn = np.full(dem.shape, -1, dtype=np.int32)
    pits = _kernels.places(cells, turn)
    node_of, parent, into, close, meeting, deepest, below, volume, count, holds = _kernels.join(
        cells, level, rise, turn, pits
    )
    _kernels.settle(node_of, parent, into)
    deepest[into != np.arange(into.size)] = -1
    known = deepest >= 0
    brim = np.full(deepest.size, np.nan)
    brim[known] = filled.ravel()[deepest[known]]
    outer = parent < 0
    close[outer] = brim[outer]
    lowest = np.full(deepest.size, np.nan)
    lowest[known] = dem.ravel()[deepest[known]]
    return HollowTree(
        cells=cells,
        node_of=_kernels.surface_nodes(level, node_of, parent, close),
        parent=parent,
        level_m=close,
        meeting_cell=meeting,
        deepest_cell=deepest,
        depth_m=close - lowest,
        volume_cells_m=volume - count * (brim - close),
        size=below,
        holds_void=holds,
    )
