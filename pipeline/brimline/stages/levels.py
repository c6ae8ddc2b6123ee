"""Single levels as read, how far the surface may be off, and where to measure next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.config import Survey
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.stages._frames import frame_of
from brimline.terrain.levels import SpotLevels, next_places

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid, Grid

_ROOF = "roof"


def _run(given: Given, report: Reporter) -> Made:
    grid, read = given.grid, given.value("spot_levels", SpotLevels)
    inside = cells_inside(given.frame("boundary").geometry, grid)
    inside &= np.isfinite(given.raster("elevation"))
    if read.error is None:
        return {
            "levels": _levels(read, given),
            "measure_next": frame_of([], [], "measure_next", grid),
            "level_error_m": np.full(grid.shape, np.nan, dtype=np.float32),
            "level_survey": {"rmse_m": None, "left_out_rmse_m": None, "levels": read.x.size},
        }
    report.advanced(0.6, "where to measure next")
    sd_m = np.where(np.isfinite(given.raster("elevation")), read.error.sd_m, np.float32(np.nan))
    count = given.params("survey", Survey).measure_next
    next_ones = _next(read, grid, inside & ~_roofs(given), count)
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
            "levels": read.x.size,
        },
    }


def _levels(read: SpotLevels, given: Given) -> GeoDataFrame:
    off_m = np.full(read.x.size, np.nan) if read.error is None else read.error.left_out_m
    records = [
        {
            "row": read.row[at],
            "name": read.name[at] or None,
            "code": read.code[at] or None,
            "level_m": read.level_m[at],
            "left_out_m": off_m[at] if np.isfinite(off_m[at]) else None,
        }
        for at in range(read.x.size)
    ]
    shapes = list(shapely.points(read.x, read.y, read.level_m))
    return frame_of(records, shapes, "levels", given.grid)


def _roofs(given: Given) -> BoolGrid:
    """Cells where nobody can stand to take a level."""
    surfaces = given.frame("surfaces")
    return cells_inside(surfaces[surfaces["cover"] == _ROOF].geometry, given.grid)


def _next(read: SpotLevels, grid: Grid, wanted: BoolGrid, count: int) -> NDArray[np.float64]:
    if not count or not wanted.any():
        return np.zeros((0, 2))
    return next_places(read.mesh, grid, wanted, count=count)


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
    version=2,
    title="the error of single levels, and where to measure next",
    needs=("grid", "elevation", "boundary", "surfaces", "spot_levels"),
    makes=("levels", "measure_next", "level_error_m", "level_survey"),
    run=_run,
    tables=("survey",),
)
