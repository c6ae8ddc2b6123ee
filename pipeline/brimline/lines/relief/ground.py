"""The surface on which courses are sought: the survey as it lies, or turned upside down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.lines._kernels import levels as levels_of
from brimline.lines.relief import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid


@dataclass(frozen=True, slots=True, eq=False)
class ReliefGround:
    """A surface that was checked, and its grid.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN is nodata.
    grid : where its cells are.
    upside_down : ridges are sought, as valleys of the surface turned upside down. (The turned
        surface itself would take as much memory again.)
    """

    surface: Elevation
    grid: Grid
    upside_down: bool = False

    @property
    def sign(self) -> float:
        """What levels are multiplied with."""
        return -1.0 if self.upside_down else 1.0

    def levels_at(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bilinear levels at points (n, 2); NaN outside the data [m]."""
        row, col = self.grid.position(xy[:, 0], xy[:, 1])
        levels: NDArray[np.float64] = self.sign * levels_of(self.surface, row, col)
        return levels

    def clear_of_edge(self, xy: NDArray[np.float64], edge_m: float) -> NDArray[np.bool_]:
        """Tell which points (n, 2) lie farther than a distance from the edge of the data."""
        row, col = self.grid.cell(xy[:, 0], xy[:, 1])
        reach = int(np.ceil(edge_m / self.grid.cell_m))
        clear: NDArray[np.bool_] = _kernels.all_known(self.surface, row, col, reach)
        return clear
