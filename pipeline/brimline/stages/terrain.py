"""How steep the ground is, how it bends, and how it looks in slanting light."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Terrain
from brimline.engine.stage import Stage
from brimline.terrain.slope import contour_curvature, hillshade, slope_pct
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    dem, cell_m = given.raster("elevation"), given.grid.cell_m
    slope = slope_pct(dem, cell_m=cell_m)
    report.advanced(0.3, "shading")
    shade = hillshade(dem, cell_m=cell_m)
    report.advanced(0.6, "curvature")
    calm = smoothed(dem, cell_m=cell_m, sigma_m=given.params("terrain", Terrain).curvature_smooth_m)
    return {
        "slope_pct": slope,
        "hillshade": shade,
        "curvature": contour_curvature(calm, cell_m=cell_m),
    }


STAGE = Stage(
    name="terrain",
    version=1,
    title="slope, curvature and shade",
    needs=("grid", "elevation"),
    makes=("slope_pct", "hillshade", "curvature"),
    run=_run,
    tables=("terrain",),
)
