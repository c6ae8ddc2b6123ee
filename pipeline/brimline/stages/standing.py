"""The ground that elements are designed from: the survey without its noise.

A stage of its own, because it takes longer than most of a design and outlasts every change of plan.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Works
from brimline.engine.stage import Stage
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, _report: Reporter) -> Made:
    smooth_m = given.params("works", Works).smooth_m
    dem = given.raster("elevation")
    return {"standing_level_m": smoothed(dem, cell_m=given.grid.cell_m, sigma_m=smooth_m)}


STAGE = Stage(
    name="standing",
    version=1,
    title="taking the survey's noise off the ground that elements are designed from",
    needs=("grid", "elevation"),
    makes=("standing_level_m",),
    run=_run,
    tables=("works",),
)
