"""What still stands up from the ground, which tells that the elevation is a surface."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.grid.shapes import outlines
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of
from brimline.terrain.objects import raised_areas
from brimline.units import counted

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter

_AROUND_M = 20.0  # of the site


def _run(given: Given, report: Reporter) -> Made:
    grid = given.grid
    outline = given.frame("boundary").geometry.union_all()
    west, south, east, north = outline.buffer(_AROUND_M).bounds
    (top, left), (bottom, right) = (grid.cell(x, y) for x, y in ((west, north), (east, south)))
    rows = slice(max(int(top), 0), max(int(bottom) + 1, 0))
    cols = slice(max(int(left), 0), max(int(right) + 1, 0))
    found = raised_areas(given.raster("elevation")[rows, cols], cell_m=grid.cell_m)
    shapes = outlines(found.labels, grid, origin=(rows.start, cols.start))
    inside = [label for label, shape in shapes.items() if shape.intersects(outline)]
    records = [
        {
            "area_id": place,
            "area_m2": shapes[label].area,
            "height_m": float(found.heights_m[label - 1]),
            "flag": joined(["not-ground"]),
        }
        for place, label in enumerate(inside, start=1)
    ]
    if inside:
        area_m2 = float(np.sum([shapes[label].area for label in inside]))
        report.problem(
            Problem(
                Severity.WARNING,
                f"{counted(len(inside), 'place')} of together {area_m2:.0f} m² stand up behind"
                " steep jumps, as roofs, hedges and trees do: the elevation seems to be a surface,"
                " not bare ground",
                "look at raised_areas; draw roofs in surfaces with cover roof, and hand over bare"
                " ground for the rest",
                "elevation",
            )
        )
    return {
        "raised_areas": frame_of(
            records, [shapely.MultiPolygon(shapes[label]) for label in inside], "raised_areas", grid
        )
    }


STAGE = Stage(
    name="raised",
    version=1,
    title="looking for what stands on the ground",
    needs=("grid", "elevation", "boundary"),
    makes=("raised_areas",),
    run=_run,
)
