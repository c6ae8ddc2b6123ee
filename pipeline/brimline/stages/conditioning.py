"""Letting water through what dams it in the survey but not on the ground."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.terrain.conditioning import condition

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame

    from brimline.engine.stage import Given, Reporter
    from brimline.grid import Grid


def _run(given: Given, report: Reporter) -> Mapping[str, Any]:
    params, grid, culverts = given.params, given.grid, given.frame("culverts")
    done = condition(
        given.raster("elevation"),
        cell_m=grid.cell_m,
        mode=params.mode,
        max_depth_m=params.breach_depth_m,
        max_length_m=params.breach_length_m,
        burns=_positions(culverts, grid),
        sinks=given.raster("kept_sink") == 1,
    )
    for number in done.left_out:
        name = culverts["name"].iloc[number] or f"row {number + 1}"
        report.problem(
            Problem(
                Severity.WARNING,
                f"culvert {name} has no ground at one of its ends and was not opened",
                "draw it from inlet to outlet, both on the data",
                "culverts",
            )
        )
    return {
        "conditioned": done.surface,
        "conditioning": {"opened": asdict(done.opened), "filled": asdict(done.filled)},
    }


def _positions(lines: GeoDataFrame, grid: Grid) -> list[np.ndarray[Any, Any]]:
    """Fractional (row, column) of each line's points."""
    found = []
    for line in lines.geometry:
        x, y = shapely.get_coordinates(line).T
        found.append(np.column_stack(grid.position(x, y)))
    return found


STAGE = Stage(
    name="conditioning",
    version=1,
    title="opening culverts, breaching and filling",
    needs=("grid", "elevation", "culverts", "kept_sink"),
    makes=("conditioned", "conditioning"),
    run=_run,
    table="conditioning",
)
