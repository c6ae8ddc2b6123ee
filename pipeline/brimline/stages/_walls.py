"""Walls and kerbs as they stand, from the walls input."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from brimline.design import StandingWall, StandingWalls
from brimline.io.vectors import VectorSource, WantedColumn, read_layer
from brimline.stages._plan import text_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given
    from brimline.io.vectors import LayerRead

_USUAL_WALL_M: Final = 0.3


def read_walls(source: VectorSource, crs: str) -> LayerRead:
    """Read lines of walls, their names and heights; the usual height where none is stated."""
    read = read_layer(
        source,
        kinds={"line"},
        crs=crs,
        columns=[WantedColumn("height_m", "float", minimum=0), WantedColumn("name")],
        default_layer="walls",
    )
    rows = read.frame.assign(height_m=read.frame["height_m"].fillna(_USUAL_WALL_M))
    return replace(read, frame=rows)


def walls_of(given: Given) -> StandingWalls:
    """Return the walls of a stage whose sources name them; none where there is no such input."""
    source = given.source("walls", VectorSource)
    if source is None:
        return StandingWalls.of((), given.grid)
    rows = read_walls(source, given.grid.crs).usable()
    walls = [
        StandingWall(text_of(row, "name") or f"wall {number}", row.geometry, float(row.height_m))
        for number, row in enumerate(rows.itertuples(index=False), start=1)
    ]
    return StandingWalls.of(walls, given.grid)
