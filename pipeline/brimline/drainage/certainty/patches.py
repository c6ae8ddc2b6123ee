"""Parts of the ground, at cells as fine as a catchment needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.grid import held_levels

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import BoolGrid, Elevation


@dataclass(frozen=True, slots=True)
class Patch:
    """A box of cells, taken together by squares.

    Parameters
    ----------
    rows, cols : of the whole ground.
    coarser : sides of a square, in cells of the ground.
    cell_m : side of a square [m].
    """

    rows: slice
    cols: slice
    coarser: int
    cell_m: float

    @property
    def cells(self) -> int:
        """How many cells of the ground it holds."""
        return int((self.rows.stop - self.rows.start) * (self.cols.stop - self.cols.start))

    def wider(self) -> Patch:
        """Return the same ground in squares twice as wide."""
        return Patch(self.rows, self.cols, 2 * self.coarser, 2 * self.cell_m)

    def level(self, dem: Elevation) -> Elevation:
        """Mean level of each square; NaN where it holds no data.

        Parameters
        ----------
        dem : float32 (rows, cols) of the whole ground [m]

        Returns
        -------
        float32 (squares down, squares across) [m]
        """
        ground = dem[self.rows, self.cols]
        if self.coarser == 1:
            return np.ascontiguousarray(ground)
        known = self._sums(~np.isnan(ground))
        # above a datum, since sums of many large numbers round
        datum_m = np.floor(np.nanmin(ground))
        total = self._sums(np.nan_to_num(ground - datum_m))
        with np.errstate(invalid="ignore"):
            mean: Elevation = held_levels(total / known + np.float64(datum_m))
        return mean

    def any(self, mask: BoolGrid) -> BoolGrid:
        """Tell which squares hold a marked cell of the whole ground."""
        return self._sums(mask[self.rows, self.cols]) > 0

    def places(self, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        """Square that holds each cell, int64 (cells, 2): row and column."""
        return (cells - self._corner) // self.coarser

    def positions(self, points: ArrayLike) -> NDArray[np.float64]:
        """Fractional row and column within the patch, where whole numbers are centres."""
        inside = np.asarray(points, dtype=np.float64) - self._corner
        return (inside + 0.5) / self.coarser - 0.5

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """Give every cell of the ground in the patch the value of its square."""
        rows, cols = self.rows.stop - self.rows.start, self.cols.stop - self.cols.start
        fine = np.repeat(np.repeat(values, self.coarser, axis=0), self.coarser, axis=1)
        return fine[:rows, :cols]

    @property
    def _corner(self) -> NDArray[np.int64]:
        return np.array([self.rows.start, self.cols.start])

    def _sums(self, values: NDArray[Any]) -> NDArray[np.float64]:
        total = values.astype(np.float64)
        for axis, size in enumerate(values.shape):
            total = np.add.reduceat(total, np.arange(0, size, self.coarser), axis=axis)
        return total
