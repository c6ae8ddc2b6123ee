"""The ground with what stands on it, for light and wind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.grid.tiles import Window
from brimline.io.geographic import grid_north_deg, on_earth
from brimline.stages._frames import held

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.config import Sun
    from brimline.engine.stage import Given
    from brimline.grid import Grid


def raised(ground: NDArray[np.float32], grid: Grid, given: Given) -> NDArray[np.float32]:
    """Return the ground of a grid with the `obstructions` on it."""
    higher = np.zeros(grid.shape, dtype=np.float32)
    rows: GeoDataFrame = given.frame("obstructions")
    for shape, height_m in zip(rows.geometry, rows["height_m"], strict=True):
        inside = cells_inside([shape], grid)
        higher[inside] = np.maximum(higher[inside], np.float32(height_m))
    return ground + higher


def north_of(given: Given, params: Sun) -> float:
    """Return the true bearing of the grid's upward axis [°]."""
    if params.grid_north_deg is not None:
        return params.grid_north_deg
    return grid_north_deg(given.grid) if on_earth(given.grid.crs) else 0.0


def site_block(given: Given) -> Window:
    """Return the cells of the site, which light and wind are told of; needs ``near_site``."""
    return Window(**given.facts("near_site"))


def placed(name: str, values: NDArray[np.floating], given: Given) -> NDArray[np.float32]:
    """Return a raster near the site from its values on `site_block`, NaN around them."""
    found = np.full((*values.shape[:-2], *given.grid.shape), np.nan, dtype=np.float32)
    found[..., *site_block(given).inside(given.block())] = held(name, values)
    return found
