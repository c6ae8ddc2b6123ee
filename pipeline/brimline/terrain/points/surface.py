"""A triangulated surface through points, read at the cells of a grid."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.errors import GridError
from brimline.terrain.points import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation
    from brimline.terrain.points.bins import PointBins

_TILE_CELLS: Final = 192  # triangulating is slower than linear, so it goes piece by piece


def gridded(bins: PointBins, *, max_gap_m: float) -> Elevation:
    """Lay a triangulated surface through binned points and read it at every cell centre.

    Linear over Delaunay triangles. Triangulated in square tiles that see the points around
    them as far as twice the gap; a triangle whose circumcircle is wider than that may differ
    from the one over all points at once, which happens beside voids and the rim only.

    Parameters
    ----------
    bins : the gathered points.
    max_gap_m : cells farther than this from any occupied cell are NaN [m].

    Returns
    -------
    float32 (rows, cols) [m]
        NaN outside the triangles and beyond the gap.

    Raises
    ------
    GridError
        If fewer than three points were gathered or the gap is not positive.
    """
    if not max_gap_m > 0:
        raise GridError(f"max_gap_m must be above 0 m, got {max_gap_m} m")
    row, col, level_m = bins.means()
    if row.size < 3:
        raise GridError(f"a surface needs points in at least 3 cells, got {row.size}")
    grid = bins.grid
    lines = bins.cells // grid.cols
    near = _within(bins.occupied, max_gap_m / grid.cell_m)
    halo = math.ceil(2 * max_gap_m / grid.cell_m) + 2
    dem = np.full(grid.shape, np.nan, dtype=np.float32)

    def fill(corner: tuple[int, int]) -> None:
        top, left = corner
        window = (slice(top, top + _TILE_CELLS), slice(left, left + _TILE_CELLS))
        wanted = near[window]
        if wanted.any():
            # points come by rows, so those of the rows around a tile lie together
            ends = np.searchsorted(lines, [top - halo, top + wanted.shape[0] + halo])
            part = slice(*ends.tolist())
            dem[window] = _tile(row[part], col[part], level_m[part], corner, wanted, halo)

    corners = [
        (top, left)
        for top in range(0, grid.rows, _TILE_CELLS)
        for left in range(0, grid.cols, _TILE_CELLS)
    ]
    with ThreadPoolExecutor(max_workers=2) as pool:  # tiles write apart from each other
        list(pool.map(fill, corners))
    return dem


def _within(occupied: BoolGrid, cells: float) -> BoolGrid:
    if occupied.all():
        return occupied
    near: BoolGrid = ndimage.distance_transform_edt(~occupied) <= cells
    return near


def _tile(
    row: NDArray[np.float64],
    col: NDArray[np.float64],
    level_m: NDArray[np.float64],
    corner: tuple[int, int],
    wanted: BoolGrid,
    halo: int,
) -> NDArray[np.float32]:
    """Read the surface at the wanted cells of one tile; NaN where there is no triangle."""
    top, left = corner
    result = np.full(wanted.shape, np.nan, dtype=np.float32)
    seen = (col >= left - halo) & (col <= left + wanted.shape[1] + halo)
    row, col = row[seen] - top, col[seen] - left
    if row.size < 3:
        return result
    from scipy.spatial import Delaunay, QhullError

    try:
        corners = Delaunay(np.column_stack([row, col])).simplices
    except QhullError:
        return result  # all on one line
    _kernels.read_triangles(row, col, level_m[seen], corners, wanted, result)
    return result
