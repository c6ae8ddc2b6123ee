"""Walls and kerbs as they stand, from the walls input."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from brimline.design import StandingWall, StandingWalls
from brimline.errors import Problem, Severity
from brimline.inputs.rows import text_of
from brimline.io.vectors import VectorSource, WantedColumn, read_layer
from brimline.units import counted

if TYPE_CHECKING:
    from brimline.config import Conditioning
    from brimline.grid import Grid
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


def low_walls(read: LayerRead, params: Conditioning) -> list[Problem]:
    """Say which walls are so low that breaching may let water through."""
    breach_m = params.breach_depth_m
    low = int((read.frame["height_m"] <= breach_m).sum())
    if not low or params.mode != "breach":
        return []
    return [
        Problem(
            Severity.WARNING,
            f"{counted(low, 'wall is', 'walls are')} no higher than conditioning.breach_depth_m,"
            f" {breach_m:g} m: breaching may let water through",
            "set conditioning.breach_depth_m below the lowest wall that stops water",
            str(read.source),
        )
    ]


def walls_of(source: VectorSource | None, grid: Grid) -> StandingWalls:
    """Return the walls as they stand; none where there is no such input."""
    if source is None:
        return StandingWalls.of((), grid)
    rows = read_walls(source, grid.crs).usable()
    walls = [
        StandingWall(text_of(row, "name") or f"wall {number}", row.geometry, float(row.height_m))
        for number, row in enumerate(rows.itertuples(index=False), start=1)
    ]
    return StandingWalls.of(walls, grid)
