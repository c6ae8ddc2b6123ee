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

    _Points = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]

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
    if bins.filled_cells < 3:
        raise GridError(f"a surface needs points in at least 3 cells, got {bins.filled_cells}")
    grid = bins.grid
    reach = max_gap_m / grid.cell_m
    halo = math.ceil(2 * reach) + 2
    dem = np.full(grid.shape, np.nan, dtype=np.float32)
    occupied = bins.occupied
    with ThreadPoolExecutor(max_workers=2) as pool:  # tiles write apart from each other
        for top in range(0, grid.rows, _TILE_CELLS):
            first, last = max(top - halo, 0), min(top + _TILE_CELLS + halo, grid.rows)
            points = bins.means(first, last)  # of a strip of tiles only: all at once is too much
            near = _within(occupied[first:last], reach)[top - first :][:_TILE_CELLS]

            def fill(
                left: int, top: int = top, points: _Points = points, near: BoolGrid = near
            ) -> None:
                wanted = near[:, left : left + _TILE_CELLS]
                if wanted.any():
                    window = (slice(top, top + _TILE_CELLS), slice(left, left + _TILE_CELLS))
                    dem[window] = _tile(*points, (top, left), wanted, halo)

            list(pool.map(fill, range(0, grid.cols, _TILE_CELLS)))
    return dem


def _within(occupied: BoolGrid, cells: float) -> BoolGrid:
    if occupied.all():
        return occupied
    if not occupied.any():
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
