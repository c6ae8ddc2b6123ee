"""The ground with what stands on it, for light and wind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.io.geographic import grid_north_deg, on_earth

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.config import Sun
    from brimline.engine.stage import Given


def raised(ground: NDArray[np.float32], given: Given) -> NDArray[np.float32]:
    """Return the ground with the `obstructions` on it."""
    higher = np.zeros(given.grid.shape, dtype=np.float32)
    rows: GeoDataFrame = given.frame("obstructions")
    for shape, height_m in zip(rows.geometry, rows["height_m"], strict=True):
        inside = cells_inside([shape], given.grid)
        higher[inside] = np.maximum(higher[inside], np.float32(height_m))
    return ground + higher


def north_of(given: Given, params: Sun) -> float:
    """Return the true bearing of the grid's upward axis [°]."""
    if params.grid_north_deg is not None:
        return params.grid_north_deg
    return grid_north_deg(given.grid) if on_earth(given.grid.crs) else 0.0
