"""Where soil stays wet and springs are likely, by the shape of the ground."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import shapely

from brimline.config import PlantingPlan, Springs
from brimline.drainage.springs import likely_springs, soil_wetness
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside
from brimline.planting.wetness import wet_limits
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001 - it is quick
    grid, dem, params = given.grid, given.raster("elevation"), given.params("springs", Springs)
    wetness = soil_wetness(dem, cell_m=grid.cell_m, over_m=params.over_m)
    site = cells_inside(given.frame("boundary").geometry, grid)
    ranks = given.params("planting", PlantingPlan)
    _, wet = wet_limits(wetness.index, site, ranks.dry_share, ranks.wet_share)
    found = likely_springs(
        wetness, wet, site, cell_m=grid.cell_m,
        least_above_m=params.least_above_m, apart_m=params.apart_m,
    )  # fmt: skip
    rows, shapes = [], []
    for number, one in enumerate(found, start=1):
        told = {"spring_id": number, "level_m": float(dem[one.row, one.col]), "wetness": one.index}
        rows.append(asdict(one) | told)
        shapes.append(shapely.Point(*grid.xy(one.row, one.col)))
    return {"soil_wetness": wetness.index, "springs": frame_of(rows, shapes, "springs", grid)}


STAGE = Stage(
    name="springs",
    version=1,
    title="where soil stays wet and springs are likely",
    needs=("grid", "near", "elevation", "boundary"),
    makes=("soil_wetness", "springs"),
    run=_run,
    tables=("springs", "planting"),
    near=True,
)
