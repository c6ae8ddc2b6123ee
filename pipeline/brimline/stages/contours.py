"""Contour lines for reading the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd

from brimline.config import Contours
from brimline.engine.stage import Stage
from brimline.inputs.doubts import refuse_countless_contours
from brimline.lines.contours import drawn_contours, is_index
from brimline.stages._frames import frame
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter

_RING_CELLS = 12.0  # round a bump or a pit about as wide as the smoothing: noise, not ground


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("contours", Contours), given.grid
    refuse_countless_contours(params.interval_m, given.raster("elevation"))
    calm = smoothed(given.raster("elevation"), cell_m=grid.cell_m, sigma_m=params.smooth_m)
    report.advanced(0.3, "tracing")
    levels, lines = drawn_contours(
        calm, grid, params.interval_m, least_ring_m=_RING_CELLS * grid.cell_m
    )
    rows = gpd.GeoDataFrame(
        {
            "level_m": levels,
            "index": is_index(levels, params.interval_m, params.index_every),
        },
        geometry=lines,
    )
    return {"contours": frame(rows, "contours", grid)}


STAGE = Stage(
    name="contours",
    version=2,
    title="contours",
    needs=("grid", "near", "elevation"),
    makes=("contours",),
    run=_run,
    tables=("contours",),
    near=True,
)
