"""Single levels as read, how far the surface may be off, and where to measure next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.config import Survey, Terrain
from brimline.engine.stage import Stage
from brimline.errors import InternalError, Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.io.elevation import MAX_CELLS
from brimline.io.levels import read_levels
from brimline.io.vectors import VectorSource
from brimline.stages._frames import frame_of
from brimline.terrain.levels import next_places

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid
    from brimline.io.levels import LevelsRead

_ROOF = "roof"


def _run(given: Given, report: Reporter) -> Made:
    terrain, grid = given.params("terrain", Terrain), given.grid
    files = given.source("elevation", list) or []
    read = read_levels(
        files[0],
        cell_m=terrain.cell_m,
        vertical_unit=terrain.vertical_unit,
        crs=terrain.crs,
        max_cells=MAX_CELLS,
        breaklines=given.source("breaklines", VectorSource),
    )
    if read.grid != grid:
        raise InternalError("levels were read onto another grid than the elevation")
    inside = cells_inside(given.frame("boundary").geometry, grid)
    inside &= np.isfinite(given.raster("elevation"))
    if read.error is None:
        return {
            "levels": _levels(read, given),
            "measure_next": frame_of([], [], "measure_next", grid),
            "level_error_m": np.full(grid.shape, np.nan, dtype=np.float32),
            "level_survey": {"rmse_m": None, "left_out_rmse_m": None, "levels": read.points.x.size},
        }
    report.advanced(0.6, "where to measure next")
    sd_m = np.where(np.isfinite(given.raster("elevation")), read.error.sd_m, np.float32(np.nan))
    next_ones = _next(read, inside & ~_roofs(given), given.params("survey", Survey).measure_next)
    rmse_m = float(np.sqrt(np.mean(np.square(sd_m[inside], dtype=np.float64))))
    _tell(sd_m, inside, rmse_m, report)
    return {
        "levels": _levels(read, given),
        "measure_next": frame_of(
            [
                {"rank": rank, "level_error_m": _at(sd_m, given, x, y)}
                for rank, (x, y) in enumerate(next_ones.tolist(), start=1)
            ],
            list(shapely.points(next_ones)),
            "measure_next",
            grid,
        ),
        "level_error_m": sd_m,
        "level_survey": {
            "rmse_m": rmse_m,
            "left_out_rmse_m": read.error.rmse_m,
            "levels": read.points.x.size,
        },
    }


def _levels(read: LevelsRead, given: Given) -> GeoDataFrame:
    points = read.points
    off_m = np.full(points.x.size, np.nan) if read.error is None else read.error.left_out_m
    records = [
        {
            "row": points.row[at],
            "name": points.name[at] or None,
            "code": points.role[at] or None,
            "level_m": points.level_m[at],
            "left_out_m": off_m[at] if np.isfinite(off_m[at]) else None,
        }
        for at in range(points.x.size)
    ]
    shapes = list(shapely.points(points.x, points.y, points.level_m))
    return frame_of(records, shapes, "levels", given.grid)


def _roofs(given: Given) -> BoolGrid:
    """Cells where nobody can stand to take a level."""
    surfaces = given.frame("surfaces")
    return cells_inside(surfaces[surfaces["cover"] == _ROOF].geometry, given.grid)


def _next(read: LevelsRead, wanted: BoolGrid, count: int) -> NDArray[np.float64]:
    if not count or not wanted.any():
        return np.zeros((0, 2))
    return next_places(read.mesh, read.grid, wanted, count=count)


def _at(sd_m: NDArray[np.float32], given: Given, x: float, y: float) -> float:
    grid = given.grid
    row = int((grid.north_m - y) / grid.cell_m)
    col = int((x - grid.west_m) / grid.cell_m)
    return float(sd_m[min(max(row, 0), grid.rows - 1), min(max(col, 0), grid.cols - 1)])


def _tell(sd_m: NDArray[np.float32], inside: BoolGrid, rmse_m: float, report: Reporter) -> None:
    worst_m = float(np.nanmax(sd_m[inside]))
    report.problem(
        Problem(
            Severity.NOTICE,
            f"the surface between the levels is good to {rmse_m:.3f} m inside the boundary, at"
            f" worst to {worst_m:.3f} m (standard error)",
            "see raster level_error_m, and measure_next for where a level helps most.",
            "elevation",
        )
    )


STAGE = Stage(
    name="levels",
    version=1,
    title="the error of single levels, and where to measure next",
    needs=("grid", "elevation", "boundary", "surfaces"),
    makes=("levels", "measure_next", "level_error_m", "level_survey"),
    run=_run,
    sources=("elevation", "breaklines"),
    tables=("terrain", "survey"),
)
