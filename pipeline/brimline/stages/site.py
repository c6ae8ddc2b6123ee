"""The person's layers, cleaned and in the run's CRS."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.engine.stage import Stage
from brimline.inputs.drawn import SOURCES, read_site
from brimline.io.vectors import VectorSource

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    found = read_site(
        {name: given.source(name, VectorSource) for name in SOURCES},
        given.raster("elevation"),
        given.grid,
    )
    report.tell(found.problems)
    return found.layers


STAGE = Stage(
    name="site",
    version=1,
    title="reading the boundary, intakes and other drawn layers",
    needs=("grid", "elevation"),
    makes=(
        "boundary", "intakes_drawn", "surfaces", "soils", "keep_out", "keep_out_drawn", "culverts",
    ),
    run=_run,
    sources=SOURCES,
)  # fmt: skip
