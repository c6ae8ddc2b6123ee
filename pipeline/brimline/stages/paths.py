"""Where water gathers, as lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from brimline.config import Drainage
from brimline.drainage.paths import flow_paths
from brimline.engine.stage import Stage
from brimline.stages._frames import frame

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001
    found = flow_paths(
        given.raster("flow_direction"),
        given.raster("contributing_area_m2"),
        given.raster("conditioned"),
        given.grid,
        min_area_m2=given.params("drainage", Drainage).path_area_m2,
    )
    rows = gpd.GeoDataFrame(
        {
            "path_id": np.arange(1, len(found.lines) + 1),
            "downstream_id": found.downstream_ids,
            "order": found.order,
            "area_m2": found.area_m2,
            "length_m": found.length_m,
            # filled ground is level: rounding must not make it fall upwards
            "fall_pct": np.maximum(found.fall_pct, 0.0),
        },
        geometry=found.lines,
    )
    return {"flow_paths": frame(rows, "flow_paths", given.grid)}


STAGE = Stage(
    name="paths",
    version=1,
    title="flow paths",
    needs=("grid", "flow_direction", "contributing_area_m2", "conditioned"),
    makes=("flow_paths",),
    run=_run,
    tables=("drainage",),
)
