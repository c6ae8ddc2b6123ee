"""From scattered ground points to levels on a grid: binned means, then a triangulated surface."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy import ndimage
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay, QhullError

from brimline.errors import GridError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Grid

_TILE_CELLS: Final = 192  # triangulating is slower than linear, so it goes piece by piece
_NEAT_CELLS_M: Final = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0)


class PointBins:
    """Means of the points in every cell of a grid, gathered piece by piece.

    A mean of points on a plane lies on that plane, so gathering tilts and lifts nothing; it
    takes out noise and leaves at most one point a cell to triangulate.

    Parameters
    ----------
    grid : where the cells are.
    """

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        size = grid.rows * grid.cols
        self._count = np.zeros(size, dtype=np.int64)
        self._east = np.zeros(size, dtype=np.float64)  # from the cell's own centre [m]
        self._north = np.zeros(size, dtype=np.float64)
        self._level = np.zeros(size, dtype=np.float64)

    def add(
        self, x: NDArray[np.float64], y: NDArray[np.float64], level_m: NDArray[np.float64]
    ) -> int:
        """Gather points; those off the grid are left out.

        Parameters
        ----------
        x, y : float64 (points,), map coordinates [m].
        level_m : float64 (points,) [m].

        Returns
        -------
        int
            How many points lay on the grid.

        Raises
        ------
        GridError
            If the arrays differ in length or hold values that are not finite.
        """
        if not x.shape == y.shape == level_m.shape or x.ndim != 1:
            raise GridError(
                f"x, y and level_m must be 1-D and of one length: {x.shape}, {y.shape},"
                f" {level_m.shape}"
            )
        if not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(level_m).all()):
            raise GridError("points must have finite coordinates and levels")
        row, col = self.grid.cell(x, y)
        on = self.grid.holds(row, col)
        row, col = row[on], col[on]
        centre_x, centre_y = self.grid.xy(row, col)
        cell = row * self.grid.cols + col
        np.add.at(self._count, cell, 1)
        np.add.at(self._east, cell, x[on] - centre_x)
        np.add.at(self._north, cell, y[on] - centre_y)
        np.add.at(self._level, cell, level_m[on])
        return int(on.sum())

    @property
    def occupied(self) -> BoolGrid:
        """Which cells hold a point, bool (rows, cols)."""
        return (self._count > 0).reshape(self.grid.shape)

    @property
    def cells(self) -> NDArray[np.int64]:
        """Linear indices of the cells that hold a point, ascending."""
        return np.flatnonzero(self._count)

    def means(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Return the mean point of every occupied cell, by rows.

        Returns
        -------
        row, col : float64 (cells,)
            Where it lies, in cells; whole numbers are cell centres.
        level_m : float64 (cells,) [m]
        """
        cell = self.cells
        count = self._count[cell]
        row = cell // self.grid.cols - self._north[cell] / count / self.grid.cell_m
        col = cell % self.grid.cols + self._east[cell] / count / self.grid.cell_m
        return row, col, self._level[cell] / count


def gridded(bins: PointBins, *, max_gap_m: float) -> Elevation:
    """Lay a triangulated surface through binned points and read it at every cell centre.

    Linear over Delaunay triangles. Triangulated in square tiles that see the points around
    them as far as four times the gap; a triangle whose circumcircle is larger than that may
    differ from the one over all points at once, which happens beside voids and the rim only.

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
    halo = math.ceil(4 * max_gap_m / grid.cell_m) + 1
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


class LowestBins:
    """The lowest level in every cell of a grid, gathered piece by piece."""

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        self._level = np.full(grid.shape, np.inf, dtype=np.float64)

    def add(
        self, x: NDArray[np.float64], y: NDArray[np.float64], level_m: NDArray[np.float64]
    ) -> None:
        """Gather points, float64 (points,) [m]; those off the grid are left out."""
        row, col = self.grid.cell(x, y)
        on = self.grid.holds(row, col)
        np.minimum.at(self._level, (row[on], col[on]), level_m[on])

    def levels(self) -> Elevation:
        """Return float32 (rows, cols) [m]; NaN where there is no point."""
        found = np.where(np.isfinite(self._level), self._level, np.nan)
        return found.astype(np.float32)


def fitting_cell_m(area_m2: float, points: int) -> float:
    """Choose a cell that most of the points fill: the mean spacing, rounded up to a neat size.

    Parameters
    ----------
    area_m2 : ground that the points cover [m²].
    points : how many there are.

    Raises
    ------
    ValueError
        If either is not positive.
    """
    if not area_m2 > 0 or points < 1:
        raise ValueError(f"area and count must be above 0, got {area_m2} m² and {points}")
    spacing_m = math.sqrt(area_m2 / points)
    for cell_m in _NEAT_CELLS_M:
        if spacing_m <= cell_m:
            return cell_m
    return _NEAT_CELLS_M[-1]


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
    """Read the surface at the wanted cells of one tile."""
    top, left = corner
    seen = (col >= left - halo) & (col <= left + wanted.shape[1] + halo)
    points = np.column_stack([row[seen] - top, col[seen] - left])
    result = np.full(wanted.shape, np.nan, dtype=np.float32)
    at = np.argwhere(wanted)
    surface = _surface(points, level_m[seen])
    if surface is not None:
        result[at[:, 0], at[:, 1]] = surface(at)
    return result


def _surface(points: NDArray[np.float64], level_m: NDArray[np.float64]) -> Any:  # noqa: ANN401
    """Triangulate; None where the points span no triangle."""
    if level_m.size < 3:
        return None
    try:
        return LinearNDInterpolator(Delaunay(points), level_m)
    except QhullError:
        return None  # all on one line
