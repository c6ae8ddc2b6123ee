"""What of the nodata lies outside the survey and what is enclosed, over all tiles.

Working rasters tell the two apart: NaN is outside, minus infinity is enclosed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from brimline.grid.tiles import Tiling, Window, ring_cells
from brimline.terrain.conditioning.seams.filling import seam_pairs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation

_CORNERS_JOIN = np.ones((3, 3), dtype=np.bool_)


def tile_nodata(nodata: BoolGrid, at: Window) -> NDArray[np.int32]:
    """Return the piece of nodata of each ring cell, numbered from 1; 0 where it has data."""
    labels, _ = ndimage.label(nodata, structure=_CORNERS_JOIN)
    pieces: NDArray[np.int32] = labels.ravel()[ring_cells(at)].astype(np.int32)
    return pieces


def outside_rings(tiling: Tiling, pieces: Sequence[NDArray[np.int32]]) -> list[NDArray[np.bool_]]:
    """Tell which ring cells of each tile are nodata that is joined to the survey's edge.

    Parameters
    ----------
    pieces : int32 (ring,) of each tile, as `tile_nodata` numbers them.
    """
    offsets = np.cumsum([0, *(int(piece.max(initial=0)) for piece in pieces)])
    node = np.concatenate(
        [
            np.where(piece > 0, piece + offset, 0)
            for piece, offset in zip(pieces, offsets[:-1], strict=True)
        ]
    )
    joined = [
        (node[here][both], node[there][both])
        for here, there in seam_pairs(tiling)
        for both in [(node[here] > 0) & (node[there] > 0)]
    ]
    one, other = (np.concatenate(side) for side in zip(*joined, strict=True))
    size = int(offsets[-1]) + 1
    links = coo_array((np.ones(one.size, dtype=np.int8), (one, other)), shape=(size, size))
    _, group = connected_components(links, directed=False)
    cells = [
        tiling.linear(tiling.window(tile), ring_cells(tiling.window(tile)))
        for tile in range(len(tiling))
    ]
    row, col = np.divmod(np.concatenate(cells), tiling.cols)
    edge = (row == 0) | (row == tiling.rows - 1) | (col == 0) | (col == tiling.cols - 1)
    reaches = np.zeros(size, dtype=np.bool_)
    reaches[group[node[edge & (node > 0)]]] = True
    out = (node > 0) & reaches[group[node]]
    return np.split(out, tiling.ring_starts[1:-1])


def enclosed_marked(ground: Elevation, at: Window, outside: NDArray[np.bool_]) -> Elevation:
    """Return a tile with NaN where nodata lies outside and minus infinity where it is enclosed.

    Parameters
    ----------
    ground : float32 (rows, cols) [m]; no number at nodata. Not modified.
    outside : bool (ring,); of `outside_rings`.
    """
    labels, count = ndimage.label(~np.isfinite(ground), structure=_CORNERS_JOIN)
    level = np.full(count + 1, -np.inf, dtype=np.float32)
    level[labels.ravel()[ring_cells(at)[outside]]] = np.nan
    return np.where(labels > 0, level[labels], ground)
