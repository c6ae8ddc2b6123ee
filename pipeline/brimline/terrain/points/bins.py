"""Points gathered in the cells of a grid, piece by piece."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.errors import GridError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Grid

_NEAT_CELLS_M: Final = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0)


class PointBins:
    """Means of the points in every cell of a grid, gathered piece by piece.

    A mean of points on a plane lies on that plane, so gathering tilts and lifts nothing; it
    takes out noise and leaves at most one point a cell to triangulate. Takes 20 bytes a cell.

    Parameters
    ----------
    grid : where the cells are.
    """

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        size = grid.rows * grid.cols
        self._count = np.zeros(size, dtype=np.uint32)
        self._east = np.zeros(size, dtype=np.float32)  # from the cell's own centre [m]
        self._north = np.zeros(size, dtype=np.float32)
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
        np.add.at(self._count, cell, np.uint32(1))
        np.add.at(self._east, cell, (x[on] - centre_x).astype(np.float32))
        np.add.at(self._north, cell, (y[on] - centre_y).astype(np.float32))
        np.add.at(self._level, cell, level_m[on])
        return int(on.sum())

    @property
    def occupied(self) -> BoolGrid:
        """Which cells hold a point, bool (rows, cols)."""
        return (self._count > 0).reshape(self.grid.shape)

    def counts(self) -> NDArray[np.int32]:
        """Return how many points each cell holds, int32 (rows, cols); a view, not a copy."""
        return self._count.view(np.int32).reshape(self.grid.shape)

    @property
    def filled_cells(self) -> int:
        """How many cells hold a point."""
        return int(np.count_nonzero(self._count))

    def means(
        self, first: int = 0, last: int | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Return the mean point of every occupied cell, by rows.

        Parameters
        ----------
        first, last : rows that are wanted, the last not included; None for all.

        Returns
        -------
        row, col : float64 (cells,)
            Where it lies, in cells; whole numbers are cell centres.
        level_m : float64 (cells,) [m]
        """
        begin = first * self.grid.cols
        end = self._count.size if last is None else last * self.grid.cols
        cell = begin + np.flatnonzero(self._count[begin:end])
        count = self._count[cell].astype(np.float64)
        row = cell // self.grid.cols - self._north[cell] / count / self.grid.cell_m
        col = cell % self.grid.cols + self._east[cell] / count / self.grid.cell_m
        return row, col, self._level[cell] / count


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
