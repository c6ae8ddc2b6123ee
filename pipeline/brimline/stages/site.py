"""The person's layers, cleaned and in the run's CRS."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.engine.stage import Stage
from brimline.errors import InputError
from brimline.io.vectors import VectorSource
from brimline.stages import _drawn

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter

SOURCES = ("boundary", "intakes", "surfaces", "soils", "keep_out", "culverts")


def _run(given: Given, report: Reporter) -> Made:
    found = _drawn.read_site(
        {name: given.source(name, VectorSource) for name in SOURCES},
        given.raster("elevation"),
        given.grid,
    )
    if found.errors:
        raise InputError(found.errors)
    for problem in found.problems:
        report.problem(problem)
    return found.layers


STAGE = Stage(
    name="site",
    version=1,
    title="reading the boundary, intakes and other drawn layers",
    needs=("grid", "elevation"),
    makes=(
        "boundary",
        "intakes_drawn",
        "surfaces",
        "soils",
        "keep_out",
        "keep_out_drawn",
        "culverts",
    ),
    run=_run,
    sources=SOURCES,
)
