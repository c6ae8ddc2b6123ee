"""What a person has drawn into the plan, cleaned and in the run's CRS."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from brimline.engine.stage import Stage
from brimline.inputs.plan import nothing_drawn, read_plan
from brimline.layers.drawn import ITEMS

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    path, grid = given.source("plan", Path), given.grid
    if path is None:
        return nothing_drawn(grid)
    layers, problems = read_plan(path, given.raster("elevation"), grid)
    report.tell(problems)
    return layers


STAGE = Stage(
    name="plan",
    version=2,
    title="reading the plan",
    needs=("grid", "elevation"),
    makes=tuple(item.name for item in ITEMS),
    run=_run,
    sources=("plan",),
)
