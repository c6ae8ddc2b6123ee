"""Which way water goes, and how much ground has gathered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.drainage.flow import accumulate, flow_directions, wetness_index
from brimline.engine.stage import Stage

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    grid = given.grid
    directions = flow_directions(given.raster("conditioned"), sinks=given.raster("kept_sink") == 1)
    report.advanced(0.5, "adding up")
    area_m2 = accumulate(directions) * grid.cell_area_m2
    report.advanced(0.8, "wetness")
    wetness = wetness_index(area_m2, given.raster("slope_pct"), cell_m=grid.cell_m)
    return {"flow_direction": directions, "contributing_area_m2": area_m2, "wetness": wetness}


STAGE = Stage(
    name="flow",
    version=1,
    title="flow direction, contributing area, wetness",
    needs=("grid", "conditioned", "kept_sink", "slope_pct"),
    makes=("flow_direction", "contributing_area_m2", "wetness"),
    run=_run,
)
