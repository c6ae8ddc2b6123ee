"""How high the points of a cloud reach over the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Terrain
from brimline.engine.stage import Stage
from brimline.io.paths import spread
from brimline.io.placed import stated_crs
from brimline.io.points import canopy_height_m

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001 - it has nothing to tell
    params = given.params("terrain", Terrain)
    height_m = canopy_height_m(
        spread(given.source("elevation", list) or ()),
        given.grid,
        given.raster("elevation"),
        vertical_unit=params.vertical_unit,
        crs=stated_crs(params),
    )
    return {"canopy_m": height_m}


STAGE = Stage(
    name="canopy",
    version=1,
    title="how high points reach over the ground",
    needs=("grid", "elevation"),
    makes=("canopy_m",),
    run=_run,
    sources=("elevation",),
    tables=("terrain",),
)
