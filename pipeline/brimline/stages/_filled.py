"""Ground that was filled so that water runs across it, and what stands or runs there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.engine.stage import Given
    from brimline.grid import Grid

FILLED: Final = ("elevation", "conditioned", "conditioning")  # needs of `filled_ground`
ON_FILLED: Final = "on-filled-ground"


@dataclass(frozen=True, slots=True)
class FilledGround:
    """How deep the ground was filled.

    Parameters
    ----------
    depth_m : float32 (rows, cols) [m]; 0 where it was not, and off the data.
    tell_m : depth beyond which it is told of [m].
    """

    grid: Grid
    depth_m: NDArray[np.float32]
    tell_m: float

    def deepest_m(self, shape: BaseGeometry) -> float:
        """Deepest fill along a line, at a point, or on and along the outline of an area [m]."""
        cell_m = self.grid.cell_m
        points = shapely.get_coordinates(shapely.segmentize(shape, cell_m))
        if shapely.get_dimensions(shape) == 2:
            west, south, east, north = shape.bounds
            x, y = np.meshgrid(np.arange(west, east, cell_m), np.arange(south, north, cell_m))
            within = shapely.contains_xy(shape, x, y)
            points = np.vstack([points, np.column_stack([x[within], y[within]])])
        row, col = self.grid.cell(points[:, 0], points[:, 1])
        on = self.grid.holds(row, col)
        return float(self.depth_m[row[on], col[on]].max(initial=0.0))

    def flags(self, shape: BaseGeometry) -> list[str]:
        """Return the flag of what lies on ground filled deeper than is told of, if it does."""
        return [ON_FILLED] if self.deepest_m(shape) > self.tell_m else []


def filled_ground(given: Given) -> FilledGround:
    """Return how deep the ground was filled; needs `FILLED`."""
    rise = given.raster("conditioned") - given.raster("elevation")
    depth = np.maximum(np.nan_to_num(rise, nan=0.0), 0.0).astype(np.float32)
    return FilledGround(given.grid, depth, given.facts("conditioning")["tell_fill_m"])
