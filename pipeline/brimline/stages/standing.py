"""The ground that elements are designed from: the survey without its noise.

A stage of its own, because it takes longer than most of a design and outlasts every change of plan.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Works
from brimline.design import StandingWalls
from brimline.engine.stage import Stage
from brimline.inputs.walls import walls_of
from brimline.io.vectors import VectorSource
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, _report: Reporter) -> Made:
    smooth_m = given.params("works", Works).smooth_m
    walls = walls_of(given.source("walls", VectorSource), given.grid)
    ground = walls.taken_off(given.raster("elevation"))  # nothing stands on a wall
    smooth = smoothed(ground, cell_m=given.grid.cell_m, sigma_m=smooth_m)
    return {"standing_level_m": smooth, "walls": walls}


STAGE = Stage(
    name="standing",
    version=2,
    title="taking the survey's noise off the ground that elements are designed from",
    needs=("grid", "elevation"),
    makes=("standing_level_m", "walls"),
    run=_run,
    sources=("walls",),
    tables=("works",),
    typed={"walls": StandingWalls},
)
