"""Contour lines for reading the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np

from brimline.engine.stage import Stage
from brimline.lines.contours import contour_levels, contours, is_index
from brimline.stages._frames import frame
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.engine.stage import Given, Reporter


def _run(given: Given, report: Reporter) -> Mapping[str, Any]:
    params, grid = given.params, given.grid
    calm = smoothed(given.raster("elevation"), cell_m=grid.cell_m, sigma_m=params.smooth_m)
    report.advanced(0.3, "tracing")
    levels = contour_levels(calm, params.interval_m)
    lines = contours(calm, grid, levels)
    drawn = np.array([not line.is_empty for line in lines], dtype=np.bool_)
    rows = gpd.GeoDataFrame(
        {
            "level_m": levels[drawn],
            "index": is_index(levels[drawn], params.interval_m, params.index_every),
        },
        geometry=[line for line, kept in zip(lines, drawn, strict=True) if kept],
    )
    return {"contours": frame(rows, "contours", grid)}


STAGE = Stage(
    name="contours",
    version=1,
    title="contours",
    needs=("grid", "elevation"),
    makes=("contours",),
    run=_run,
    table="contours",
)
