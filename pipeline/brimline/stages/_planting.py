"""What plants find on the ground of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.grid.shapes import cells_inside
from brimline.planting.rows import PlantingGround
from brimline.planting.wetness import wetness_classes
from brimline.stages._year_site import latitude_and_height
from brimline.sun.path import season

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.config import PlantingPlan
    from brimline.engine.stage import Given


def wetness_of(given: Given, params: PlantingPlan) -> NDArray[np.uint8]:
    """Class of each cell by its rank on the site; needs soil_wetness and boundary."""
    site = cells_inside(given.frame("boundary").geometry, given.grid)
    index = given.raster("soil_wetness")
    return wetness_classes(index, site, params.dry_share, params.wet_share)


def ground_of_plants(given: Given, params: PlantingPlan, coldest_c: float) -> PlantingGround:
    """Return what plants find, cell by cell."""
    latitude, _ = latitude_and_height(given)
    level_m, dug = given.raster("elevation"), given.raster("soil_dug") == 1
    return PlantingGround(
        given.grid,
        level_m,
        given.raster("design_surface") - level_m,
        given.raster("sun_h")[list(season(latitude or 0.0))].mean(axis=0),
        wetness_of(given, params),
        np.where(dug, given.raster("soil_depth_m"), np.nan),
        given.raster("cold_air") == 1,
        coldest_c,
    )
