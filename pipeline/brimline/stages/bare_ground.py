"""The survey made bare: roofs taken off where they stand in it, walls and kerbs put on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.config import Conditioning
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.io.vectors import VectorSource, WantedColumn, read_layer
from brimline.stages._walls import low_walls, read_walls, walls_of
from brimline.terrain.objects import without_roofs
from brimline.units import counted

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid

_ROOF: Final = "roof"


def _run(given: Given, report: Reporter) -> Made:
    surface = given.raster("surveyed")
    roofs = _roofs(given)
    bare = without_roofs(surface, roofs, cell_m=given.grid.cell_m)
    if bare.taken:
        highest_m = max(bare.heights_m[number] for number in bare.taken)
        report.problem(
            Problem(
                Severity.WARNING,
                f"{counted(len(bare.taken), 'roof stands', 'roofs stand')} in the elevation, up to"
                f" {highest_m:.1f} m over the ground: taken off, and the ground beneath spanned as"
                " a membrane; nobody has measured it",
                "hand over bare ground where levels beneath or beside buildings matter",
                "elevation",
            )
        )
    _tell_walls(given, report)
    return {"elevation": walls_of(given).put_on(bare.surface, bare.surface)}


def _roofs(given: Given) -> list[BoolGrid]:
    source, grid = given.source("surfaces", VectorSource), given.grid
    if source is None:
        return []
    columns = [WantedColumn("cover", aliases=("land_cover",))]
    rows = read_layer(
        source, kinds={"polygon"}, crs=grid.crs, columns=columns, default_layer="surfaces"
    ).frame  # what is wrong with them is told where the site's layers are read
    return [
        cells_inside([shape], grid)
        for shape, cover in zip(rows.geometry, rows["cover"], strict=True)
        if cover == _ROOF
    ]


def _tell_walls(given: Given, report: Reporter) -> None:
    source = given.source("walls", VectorSource)
    if source is None:
        return
    read = read_walls(source, given.grid.crs)
    read.usable()
    for problem in (*read.problems, *low_walls(read, given.params("conditioning", Conditioning))):
        report.problem(problem)


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
