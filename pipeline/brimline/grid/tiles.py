"""A grid cut into tiles, and the cells along their borders."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from brimline.errors import GridError

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Window(NamedTuple):
    """A block of cells: its first row and column, and its size."""

    row: int
    col: int
    rows: int
    cols: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.cols

    @property
    def slices(self) -> tuple[slice, slice]:
        """Rows and columns of this block in an array of the whole grid."""
        return slice(self.row, self.row + self.rows), slice(self.col, self.col + self.cols)

    def inside(self, outer: Window) -> tuple[slice, slice]:
        """Rows and columns of this block in an array that covers `outer`."""
        top, left = self.row - outer.row, self.col - outer.col
        return slice(top, top + self.rows), slice(left, left + self.cols)

    def common(self, other: Window) -> Window:
        """Cells that both blocks have; sizes may come out as 0."""
        row, col = max(self.row, other.row), max(self.col, other.col)
        bottom = min(self.row + self.rows, other.row + other.rows)
        right = min(self.col + self.cols, other.col + other.cols)
        return Window(row, col, max(bottom - row, 0), max(right - col, 0))


@dataclass(frozen=True)
class Tiling:
    """A grid cut into tiles of one size, numbered in raster order; the last may be smaller.

    The ring of a tile is the cells on its border, in raster order. Rings are numbered through:
    `ring_starts` tells at which place those of each tile begin.

    Parameters
    ----------
    rows, cols : size of the whole grid.
    tile_rows, tile_cols : size of a tile.

    Raises
    ------
    GridError
        If a size is not positive.
    """

    rows: int
    cols: int
    tile_rows: int
    tile_cols: int

    def __post_init__(self) -> None:
        if min(self.rows, self.cols, self.tile_rows, self.tile_cols) < 1:
            raise GridError(f"a tiling needs positive sizes, got {self}")

    @property
    def down(self) -> int:
        """Tiles in a column of tiles."""
        return -(-self.rows // self.tile_rows)

    @property
    def across(self) -> int:
        """Tiles in a row of tiles."""
        return -(-self.cols // self.tile_cols)

    def __len__(self) -> int:
        return self.down * self.across

    @property
    def whole(self) -> Window:
        """All cells."""
        return Window(0, 0, self.rows, self.cols)

    def window(self, tile: int) -> Window:
        """Cells of a tile."""
        row, col = tile // self.across * self.tile_rows, tile % self.across * self.tile_cols
        return Window(
            row, col, min(self.tile_rows, self.rows - row), min(self.tile_cols, self.cols - col)
        )

    def padded(self, tile: int, halo: int) -> Window:
        """Cells of a tile and those around it, as far as the grid goes."""
        at = self.window(tile)
        return Window(at.row - halo, at.col - halo, at.rows + 2 * halo, at.cols + 2 * halo).common(
            self.whole
        )

    def over(self, window: Window) -> list[int]:
        """Tiles that have cells in a window."""
        first, last = window.row // self.tile_rows, (window.row + window.rows - 1) // self.tile_rows
        left, right = window.col // self.tile_cols, (window.col + window.cols - 1) // self.tile_cols
        return [
            row * self.across + col
            for row in range(first, last + 1)
            for col in range(left, right + 1)
        ]

    def linear(self, window: Window, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        """Linear index on the grid of cells that are numbered within a window."""
        row, col = np.divmod(cells, window.cols)
        cell: NDArray[np.int64] = (row + window.row) * self.cols + col + window.col
        return cell

    def local(self, window: Window, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the number within a window of cells by their linear index; -1 outside it."""
        row, col = np.divmod(cells, self.cols)
        row, col = row - window.row, col - window.col
        within = (row >= 0) & (row < window.rows) & (col >= 0) & (col < window.cols)
        return np.where(within, row * window.cols + col, -1)

    def owners(self, row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[np.int64]:
        """Tile of each cell."""
        tile: NDArray[np.int64] = row // self.tile_rows * self.across + col // self.tile_cols
        return tile

    @cached_property
    def ring_starts(self) -> NDArray[np.int64]:
        """Place at which the ring of each tile begins, and the number of all ring cells."""
        sizes = [ring_size(self.window(tile)) for tile in range(len(self))]
        return np.cumsum([0, *sizes])

    def ring_places(self, row: NDArray[np.int64], col: NDArray[np.int64]) -> NDArray[np.int64]:
        """Place of ring cells in the numbering of all rings."""
        top, left = row // self.tile_rows * self.tile_rows, col // self.tile_cols * self.tile_cols
        rows = np.minimum(self.tile_rows, self.rows - top)
        cols = np.minimum(self.tile_cols, self.cols - left)
        row_in, col_in = row - top, col - left
        sides = np.minimum(cols, 2)  # ring cells in a row between the first and the last
        place = np.where(
            row_in == 0, col_in, cols + (row_in - 1) * sides + np.where(col_in > 0, sides - 1, 0)
        )
        last = (row_in == rows - 1) & (rows > 1)
        place = np.where(last, cols + (rows - 2) * sides + col_in, place)
        found: NDArray[np.int64] = self.ring_starts[self.owners(row, col)] + place
        return found


def ring_size(window: Window) -> int:
    """Count the cells on the border of a window."""
    if min(window.shape) <= 2:
        return window.rows * window.cols
    return 2 * (window.rows + window.cols) - 4


def ring_cells(window: Window) -> NDArray[np.int64]:
    """Cells on the border of a window in raster order, as numbers within the window."""
    rows, cols = window.shape
    if min(rows, cols) <= 2:
        return np.arange(rows * cols)
    between = np.arange(1, rows - 1) * cols
    sides = np.column_stack((between, between + cols - 1)).ravel()
    return np.concatenate((np.arange(cols), sides, np.arange((rows - 1) * cols, rows * cols)))
