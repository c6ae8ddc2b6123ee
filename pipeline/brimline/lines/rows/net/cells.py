"""Cells laid out in the order in which rows are placed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.lines.rows.net import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Directions, Elevation, Labels


@dataclass(frozen=True, slots=True)
class Net:
    """Free cells and those beside them, band by band from the top.

    Parameters
    ----------
    node : int32 (cells, words), what is kept of each cell: `_kernels.Z` and those after it.
    flag : uint8 (cells,), how its way up ends.
    over_to, over_rise_m : int32, float32 (ways over cells between,), where they lead and how high.
    start : int64 (bands + 1,), where each band's cells start.
    """

    node: NDArray[np.int32]
    flag: NDArray[np.uint8]
    over_to: NDArray[np.int32]
    over_rise_m: NDArray[np.float32]
    start: NDArray[np.int64]


def net_of(
    surface: Elevation,
    slope_pct: NDArray[np.float32],
    directions: Directions,
    kind: NDArray[np.uint8],
    piece: Labels,
    slot: Labels,
    start: NDArray[np.int64],
    cell_m: float,
) -> Net:
    """Lay out the cells that placing looks at.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN is nodata.
    slope_pct : float32 (rows, cols) [%]
    directions : uint8 (rows, cols)
    kind : uint8 (rows, cols), as `_kernels.kinds` gives it.
    piece : int32 (rows, cols), number of the connected free ground of one band; 0 none.
    slot, start : what `_kernels.slots` gives; the water of cells that are not kept is followed in
        `slot`.
    cell_m : side of a cell [m].
    """
    node = np.zeros((int(start[-1]), _kernels.WORDS), dtype=np.int32)
    _kernels.follow(directions, kind, slot, node)
    flag, over_to, over_rise = _kernels.lay_out(
        surface, slope_pct, directions, _kernels.ways_up(surface), kind, piece, slot, node, cell_m
    )
    return Net(node, flag, over_to, over_rise, start)
