"""The survey made bare: roofs taken off where they stand in it, walls and kerbs put on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Conditioning
from brimline.engine.stage import Stage
from brimline.inputs.drawn import roofs_of
from brimline.inputs.walls import low_walls, read_walls, walls_of
from brimline.io.vectors import VectorSource
from brimline.terrain.objects import roofs_told, without_roofs

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    roofs = roofs_of(given.source("surfaces", VectorSource), given.grid)
    bare = without_roofs(given.raster("surveyed"), roofs, cell_m=given.grid.cell_m)
    report.tell(roofs_told(bare))
    walls = given.source("walls", VectorSource)
    if walls is not None:
        read = read_walls(walls, given.grid.crs)
        params = given.params("conditioning", Conditioning)
        report.tell([*read.problems, *low_walls(read, params)])
    return {"elevation": walls_of(walls, given.grid).put_on(bare.surface, bare.surface)}


STAGE = Stage(
    name="bare_ground",
    version=2,
    title="taking roofs off the survey, putting walls on",
    needs=("grid", "surveyed"),
    makes=("elevation",),
    run=_run,
    sources=("surfaces", "walls"),
    tables=("conditioning",),
)
