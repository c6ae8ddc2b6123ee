"""Reading the site: cold air, and what cells and zones offer, in classes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.config import ColdAir, Growing, PlantingPlan, Terrain
from brimline.engine.stage import Stage
from brimline.inputs.planting import zone_shapes
from brimline.layers.reading import PERIODS
from brimline.planting.offers import OfferingGround, OfferLimits, machine_ground
from brimline.stages._frames import held, table_of
from brimline.stages._planting import wetness_of
from brimline.sun.cold_air import cold_pools, looked_m, narrow_told
from brimline.sun.path import season
from brimline.terrain.slope import gradient
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    grid, known = given.grid, np.isfinite(given.raster("elevation"))
    growing = given.params("growing", Growing)
    smooth_m = given.params("terrain", Terrain).curvature_smooth_m
    calm = smoothed(given.raster("elevation"), cell_m=grid.cell_m, sigma_m=smooth_m)
    rises = gradient(calm, cell_m=grid.cell_m)
    slope_pct = 100 * np.hypot(*rises)
    report.advanced(0.3, "cold air")
    pools = _pools(given, report)
    sun_h = given.raster("sun_h")
    ground = OfferingGround(
        grid, known, rises, slope_pct,
        sun_h[list(season(given.facts("sun").get("latitude_deg", 0.0)))].mean(axis=0),
        sun_h[PERIODS.index("shortest day")], given.raster("shelter_deg"),
        given.raster("soil_depth_m"), given.raster("soil_dug"),
        wetness_of(given, given.params("planting", PlantingPlan)), pools,
        given.raster("soil_loss_t_ha"),
        machine_ground(
            slope_pct > growing.machine_pct, known,
            width_m=growing.machine_width_m, cell_m=grid.cell_m,
        ),
    )  # fmt: skip
    limits = OfferLimits(
        growing.sun_h, growing.shelter_deg, growing.depth_m, growing.slope_pct, growing.cold_share
    )
    shapes = zone_shapes(given.frame("planting_zones"))
    zones = ground.zones(shapes, given.frame("springs").geometry.to_numpy(), limits)
    return {
        "cold_air": pools,
        "aspect_deg": held("aspect_deg", ground.aspect_deg),
        "machine_ground": ground.machine,
        "growing": ground.codes(limits),
        "zone_reading": table_of(zones, "zone_reading"),
    }


def _pools(given: Given, report: Reporter) -> NDArray[np.uint8]:
    cold, cell_m = given.params("cold_air", ColdAir), given.grid.cell_m
    around = 2 * round(cold.radius_m / cell_m)  # so that no cut survey seems too narrow
    wider = given.block(around)
    pools = cold_pools(
        *(given.raster(each, around=around) for each in ("elevation", "curvature", "slope_pct")),
        cell_m=cell_m, radius_m=cold.radius_m, lowest_share=cold.lowest_share,
        least_relief_m=cold.least_relief_m,
    )  # fmt: skip
    report.tell(
        narrow_told(looked_m(wider.shape, cell_m=cell_m, radius_m=cold.radius_m), cold.radius_m)
    )
    return pools[given.block().inside(wider)]


STAGE = Stage(
    name="reading",
    version=3,
    title="cold air, and what cells and zones offer",
    needs=(
        "grid", "near", "elevation", "slope_pct", "curvature", "soil_wetness", "boundary", "sun_h",
        "sun", "shelter_deg", "soil_depth_m", "soil_dug", "soil_loss_t_ha", "springs",
        "planting_zones",
    ),
    makes=("cold_air", "aspect_deg", "machine_ground", "growing", "zone_reading"),
    run=_run,
    tables=("cold_air", "growing", "planting", "terrain"),
    near=True,
)  # fmt: skip
