"""The run's one grid as an immutable value: north-up square cells in metres."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from affine import Affine

from brimline.errors import GridError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class Grid:
    """Where the cells of a raster are.

    Parameters
    ----------
    rows, cols : number of cells southwards and eastwards, at least 1.
    cell_m : side of a cell [m].
    west_m, north_m : map coordinates of the outer corner of the first cell [m].
    crs : coordinate reference system as an authority code or WKT; empty where there is none.

    Raises
    ------
    GridError
        If a size is not positive.
    """

    rows: int
    cols: int
    cell_m: float
    west_m: float = 0.0
    north_m: float = 0.0
    crs: str = ""

    def __post_init__(self) -> None:
        if self.rows < 1 or self.cols < 1 or not self.cell_m > 0:
            raise GridError(
                f"a grid needs positive sizes, got {self.rows} rows, {self.cols} columns "
                f"and cells of {self.cell_m} m"
            )

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns, the shape of every array on this grid."""
        return self.rows, self.cols

    @property
    def cell_area_m2(self) -> float:
        """Area of one cell [m²]."""
        return self.cell_m * self.cell_m

    @property
    def transform(self) -> Affine:
        """Affine transform from (column, row) of cell corners to map coordinates."""
        return Affine(self.cell_m, 0.0, self.west_m, 0.0, -self.cell_m, self.north_m)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Outer edge as (west, south, east, north) [m]."""
        south_m = self.north_m - self.rows * self.cell_m
        east_m = self.west_m + self.cols * self.cell_m
        return self.west_m, south_m, east_m, self.north_m

    def xy(self, row: ArrayLike, col: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
        """Map coordinates of cell centres; fractional rows and columns interpolate."""
        x = self.west_m + (np.asarray(col, dtype=np.float64) + 0.5) * self.cell_m
        y = self.north_m - (np.asarray(row, dtype=np.float64) + 0.5) * self.cell_m
        return x, y

    def cell(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of the cell that holds each point; may lie outside the grid."""
        col = np.floor((np.asarray(x, dtype=np.float64) - self.west_m) / self.cell_m)
        row = np.floor((self.north_m - np.asarray(y, dtype=np.float64)) / self.cell_m)
        return row.astype(np.int64), col.astype(np.int64)

    def position(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
        """Fractional (row, column) of points, where whole numbers are cell centres."""
        col = (np.asarray(x, dtype=np.float64) - self.west_m) / self.cell_m - 0.5
        row = (self.north_m - np.asarray(y, dtype=np.float64)) / self.cell_m - 0.5
        return row, col

    def holds(self, row: ArrayLike, col: ArrayLike) -> NDArray[np.bool_]:
        """Tell which cells lie inside the grid."""
        r, c = np.asarray(row), np.asarray(col)
        inside: NDArray[np.bool_] = (r >= 0) & (r < self.rows) & (c >= 0) & (c < self.cols)
        return inside

    def window(self, row: int, col: int, rows: int, cols: int) -> Grid:
        """Return the grid of a block of cells; `row` and `col` may be negative to pad."""
        return replace(
            self,
            rows=rows,
            cols=cols,
            west_m=self.west_m + col * self.cell_m,
            north_m=self.north_m - row * self.cell_m,
        )

    def finer(self, factor: int) -> Grid:
        """Return the grid with each cell split into `factor` × `factor`."""
        return replace(
            self, rows=self.rows * factor, cols=self.cols * factor, cell_m=self.cell_m / factor
        )
