"""Where water gathers, as lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from brimline.config import Drainage
from brimline.drainage.paths import flow_paths
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages._filled import FILLED, filled_ground
from brimline.stages._frames import frame

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.terrain.filled import FilledGround


def _run(given: Given, report: Reporter) -> Made:
    found = flow_paths(
        given.raster("flow_direction"),
        given.raster("contributing_area_m2"),
        given.raster("conditioned"),
        given.grid,
        min_area_m2=given.params("drainage", Drainage).path_area_m2,
    )
    filled = filled_ground(given)
    on_fill_m, deepest_m = found.over(filled.depth_m, filled.tell_m, cell_m=given.grid.cell_m)
    _tell(filled, float(on_fill_m.sum()), report)
    rows = gpd.GeoDataFrame(
        {
            "path_id": np.arange(1, len(found.lines) + 1),
            "downstream_id": found.downstream_ids,
            "order": found.order,
            "area_m2": found.area_m2,
            "length_m": found.length_m,
            # filled ground is level: rounding must not make it fall upwards
            "fall_pct": np.maximum(found.fall_pct, 0.0),
            "on_fill_m": on_fill_m,
            "deepest_fill_m": deepest_m,
        },
        geometry=found.lines,
    )
    return {"flow_paths": frame(rows, "flow_paths", given.grid)}


def _tell(filled: FilledGround, length_m: float, report: Reporter) -> None:
    """Say how much ground was filled deeper than is told of, and what runs on it."""
    deep = filled.depth_m > filled.tell_m
    if not deep.any():
        return
    report.problem(
        Problem(
            Severity.NOTICE,
            f"{deep.sum() * filled.grid.cell_area_m2:.0f} m² of ground are filled deeper than"
            f" {filled.tell_m:g} m, by up to {filled.depth_m.max():.2f} m; {length_m:.0f} m of flow"
            " paths run on that fill, where water runs only once the hollows are full",
            "look at the hollows there; draw the pipes that drain them in culverts, or keep them"
            " by points in kept_hollows",
            "flow_paths",
        )
    )


STAGE = Stage(
    name="paths",
    version=2,
    title="flow paths",
    needs=("grid", "flow_direction", "contributing_area_m2", *FILLED),
    makes=("flow_paths",),
    run=_run,
    tables=("drainage",),
)
