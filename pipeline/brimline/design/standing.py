"""The ground that elements stand on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.grid.shapes import painted
from brimline.lines.sample import along, surface_at
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.design.cover import SoilArea
    from brimline.grid import Elevation, Grid

_STEP_M: Final = 1.0  # at most, along outlines and lines, for their ground levels


@dataclass(frozen=True, slots=True)
class StandingGround:
    """What elements stand on.

    Parameters
    ----------
    levels : float32 (rows, cols) [m]; smoothed survey surface.
    slope_pct : float32 (rows, cols) [%].
    soak_mm_per_h : float32 (rows, cols) tested soakage rate; NaN where it is not known.
    soils : areas of soil.
    step_m : along outlines and lines, for their ground levels [m].
    """

    grid: Grid
    levels: Elevation
    slope_pct: NDArray[np.float32]
    soak_mm_per_h: NDArray[np.float32]
    soils: tuple[SoilArea, ...]
    step_m: float = _STEP_M

    def level_along(self, line: BaseGeometry) -> NDArray[np.float64]:
        """Ground levels along a line, NaN off the data."""
        points = along(line, self.step_m)
        return surface_at(self.levels, self.grid, points[:, 0], points[:, 1])

    def level_at(self, point: shapely.Point) -> float:
        """Ground level at a point, NaN off the data."""
        return float(surface_at(self.levels, self.grid, [point.x], [point.y])[0])

    def texture_at(self, shape: BaseGeometry) -> str:
        """Soil texture in the middle of a shape; empty where none is known."""
        at = shape.interpolate(0.5, normalized=True) if shape.geom_type == "LineString" else None
        point = at or shape.representative_point()
        here = [
            soil.texture for soil in self.soils if soil.texture and soil.shape.intersects(point)
        ]
        return here[-1] if here else ""

    def soak_at(self, shape: BaseGeometry) -> float:
        """Mean tested soakage rate along a shape's line or outline; NaN where none is known."""
        return self._mean_at(self.soak_mm_per_h, shape)

    def slope_at(self, shape: BaseGeometry) -> float:
        """Mean slope along a shape's line or outline [%]."""
        return max(self._mean_at(self.slope_pct, shape), 0.1)

    def _mean_at(self, values: NDArray[np.float32], shape: BaseGeometry) -> float:
        line = shape.exterior if shape.geom_type == "Polygon" else shape
        points = shapely.get_coordinates(line)
        row, col = self.grid.cell(points[:, 0], points[:, 1])
        inside = self.grid.holds(row, col)
        found = values[row[inside], col[inside]]
        return float(np.nanmean(found)) if np.isfinite(found).any() else math.nan


def standing_ground(
    dem: Elevation,
    slope_pct: NDArray[np.float32],
    grid: Grid,
    soils: Sequence[SoilArea],
    smooth_m: float = 2.0,
    levels: Elevation | None = None,
) -> StandingGround:
    """Make the ground that elements stand on from a survey.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    slope_pct : float32 (rows, cols) [%].
    soils : where two overlap, the later one counts.
    smooth_m : takes the survey's noise off the levels that elements are designed from; it takes
        hollows of that width off too [m].
    levels : the survey smoothed by that, where it was before: it takes longest.
    """
    tested = [
        (soil.shape, soil.soak_mm_per_h) for soil in soils if not math.isnan(soil.soak_mm_per_h)
    ]
    soak = painted(np.full(grid.shape, np.nan, dtype=np.float32), tested, grid)
    if levels is None:
        levels = smoothed(dem, cell_m=grid.cell_m, sigma_m=smooth_m)
    step_m = min(_STEP_M, max(smooth_m, grid.cell_m))
    return StandingGround(grid, levels, slope_pct, soak, tuple(soils), step_m)
