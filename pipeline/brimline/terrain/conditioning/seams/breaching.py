"""Breaching a survey tile by tile: a pit sees no farther than the longest way allowed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.errors import GridError
from brimline.terrain.conditioning._kernels import CODE, PIT
from brimline.terrain.conditioning.breaching import _kernels
from brimline.terrain.conditioning.breaching.limited import search
from brimline.terrain.conditioning.relations import relations

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation
    from brimline.grid.tiles import Window


def breach_halo(cell_m: float, max_length_m: float) -> int:
    """Cells around a tile that decide how its pits are breached.

    The search from a pit keeps to a window of twice the longest way, which lies around the pit or,
    beside the survey's edge, is pushed inwards; one cell more is read beside it.

    Raises
    ------
    GridError
        If the length is infinite: then every pit may see the whole survey.
    """
    if not np.isfinite(max_length_m):
        raise GridError("breaching in tiles needs a finite max_length_m")
    return 2 * int(max_length_m / cell_m) + 2


def breach_cuts(
    ground: Elevation,
    core: Window,
    around: Window,
    limits: tuple[float, float, float],
    sinks: BoolGrid | None,
) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """List what is cut for the pits of one tile, in it and around it.

    Parameters
    ----------
    ground : float32 (rows, cols) [m]
        Of `around`: the tile with `breach_halo` cells on each side, as far as the survey goes;
        NaN is nodata outside, minus infinity enclosed nodata.
    core, around : where the tile lies, and `ground`.
    limits : cell_m, max_depth_m, max_length_m; as in `breach`.
    sinks : bool (rows, cols) or None; kept sinks in `around`.

    Returns
    -------
    cells : int64; numbers within `around`. The lowest level counts of a cell named twice.
    levels : float32 [m]
    """
    beyond = np.isnan(ground)
    level = np.where(beyond, np.float32(-np.inf), ground)
    level.flags.writeable = False
    codes = relations(level)
    if beyond.any():
        _kernels.mark_rim(codes, beyond, 0, around.rows)
    if sinks is not None:
        codes[sinks] = _kernels.KEPT
    rows, cols = core.inside(around)
    mine = np.zeros(codes.shape, dtype=np.bool_)
    mine[rows, cols] = True
    codes[~mine & (codes & CODE == PIT)] = 0  # pits of other tiles are theirs to drain
    pieces = search(level, codes, limits, rows.start, rows.stop)
    cells = np.concatenate([np.empty(0, np.int64), *(cells for cells, _ in pieces)])
    levels = np.concatenate([np.empty(0, np.float32), *(levels for _, levels in pieces)])
    return cells, levels
